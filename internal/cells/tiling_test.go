package cells_test

import (
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
)

// TestHowAFileIsTiledChangesNothing writes the same pixels in tiles of three
// sizes, with a ratio that drifts over the field so that every place would put
// the histogram elsewhere.
func TestHowAFileIsTiledChangesNothing(t *testing.T) {
	const cols, rows = 700, 640
	noise := rand.New(rand.NewPCG(1, 2))
	pixels := make([]uint16, cols*rows*4)
	for i := range cols * rows {
		red := 2000 + 6*(i%cols) + noise.IntN(400)
		for b, v := range [4]int{4000 + noise.IntN(500), red, 7000, 9000} {
			pixels[4*i+b] = uint16(v)
		}
	}
	fill := func(w grid.Window, dst []byte) error {
		for at := range w.Cols * w.Rows {
			from := ((w.Row+at/w.Cols)*cols + w.Col + at%w.Cols) * 4
			for b, v := range pixels[from : from+4] {
				binary.LittleEndian.PutUint16(dst[8*at+2*b:], v)
			}
		}
		return nil
	}
	g, in := square(64)
	var first *cells.Summary
	for _, tile := range []int{64, 160, 512} {
		f := everyKind()[0].format
		f.Cols, f.Rows, f.Tile = cols, rows, tile
		path := filepath.Join(t.TempDir(), "tiled.tif")
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(geotiff.Write(out, f, fill), out.Close()); err != nil {
			t.Fatal(err)
		}
		s, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: -1}, path)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = s
		} else if s.Low != first.Low || !slices.Equal(s.Hist, first.Hist) {
			t.Errorf("tiles of %d: the histogram begins at %g, not at %g as with the first", tile, s.Low, first.Low)
		}
	}
}
