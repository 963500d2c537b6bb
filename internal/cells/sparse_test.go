package cells_test

import (
	"encoding/binary"
	"os"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
)

// TestTilesWithoutBytesAddNothing takes the bytes of some tiles away, so that
// blocks that were used for other tiles are used for them.
func TestTilesWithoutBytesAddNothing(t *testing.T) {
	g, in := square(80)
	f := geotiff.Format{
		Cols: 640, Rows: 640, Bands: 4, Sample: geotiff.Uint16, BandNames: []string{"green", "red", "rededge", "nir"},
		Tile: 64, Deflate: true, Predictor: true, EPSG: 32615, Affine: grid.Affine{A: 700000, B: 0.0625, D: 3900000, F: -0.0625}, NoData: new(float64),
	}
	path := flown{"sparse.tif", f}.write(t)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	gone := func(col, row int) bool { return (col+3*row)%4 == 2 }
	for _, tag := range []int{324, 325} { // where tiles lie, and how long they are
		at := longs(t, b, tag)
		for i := range 100 {
			if gone(i%10, i/10) {
				clear(b[at+4*i:][:4])
			}
		}
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, workers := range []int{1, 3} {
		s, err := pass(t, g, in, cells.Options{Workers: workers, MarginM: -1}, path)
		if err != nil {
			t.Fatal(err)
		}
		full := 0
		for cell, n := range s.Pixels {
			switch col, row := cell%g.Cols/8, cell/g.Cols/8; {
			case gone(col, row) && n != 0:
				t.Fatalf("cell %d of a tile without bytes has %d pixels", cell, n)
			case n == 64:
				full++
			}
		}
		if full < 2500 {
			t.Errorf("only %d cells are full", full)
		}
	}
}

// longs is where the numbers of a field of a small little-endian TIFF begin.
func longs(t *testing.T, b []byte, tag int) int {
	t.Helper()
	le := binary.LittleEndian
	at := int(le.Uint32(b[4:]))
	for i := range int(le.Uint16(b[at:])) {
		if field := b[at+2+12*i:]; int(le.Uint16(field)) == tag && le.Uint16(field[2:]) == 4 {
			return int(le.Uint32(field[8:]))
		}
	}
	t.Fatalf("there is no field %d of longs", tag)
	return 0
}
