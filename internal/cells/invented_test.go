package cells_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/invent"
)

func TestAnInventedPictureGivesTheSameCellsFromItsFileAndFromItsMaker(t *testing.T) {
	if testing.Short() {
		t.Skip("draws four fields")
	}
	for sensor := invent.ColorJPEGLike8; sensor <= invent.FiveBandFloat; sensor++ {
		turned := 7 * float64(sensor%2)
		s := invent.Believable(sensor, 11)
		s.Acres, s.PixelM, s.RotateDeg = 2, 0.1, turned
		s.Weeds.Acres, s.KilledAcres = 0.1, 0.1
		f, err := invent.New(s)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "a.tif")
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(f.WritePicture(out), out.Close()); err != nil {
			t.Fatal(err)
		}
		is := f.Format()
		g := gridUnder(is)
		in := slices.Repeat([]bool{true}, g.Len())
		got, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: -1}, path)
		if err != nil {
			t.Fatal(err)
		}
		want, err := cells.FromSource(t.Context(), []cells.Source{{
			Cols: is.Cols, Rows: is.Rows, Affine: is.Affine, Bands: is.Bands,
			Sample: map[int]cells.Sample{1: cells.Uint8, 2: cells.Uint16, 4: cells.Float32}[is.SampleBytes],
			SRGB:   is.SampleBytes == 1, Fill: f.Fill,
		}}, g, in, 2)
		if err != nil {
			t.Fatal(err)
		}
		if !same(got, want) {
			t.Errorf("%v, turned by %g: the file and its maker give other cells", sensor, turned)
		}
		if got.Ratio != "ln(red/green)" || got.Covered < 0.9 || len(got.Bands) != len(is.Bands) {
			t.Errorf("%v: bands %v, histogram of %q, %.2f covered", sensor, got.Bands, got.Ratio, got.Covered)
		}
	}
}

// gridUnder is a grid in the middle of a picture.
func gridUnder(is invent.Format) grid.Grid {
	a, c, r := is.Affine, float64(is.Cols)/2, float64(is.Rows)/2
	x, y := math.Round(a.A+a.B*c+a.C*r), math.Round(a.D+a.E*c+a.F*r)
	return grid.Grid{EPSG: is.EPSG, OriginX: x - 30, OriginY: y + 30, CellM: 0.5, Cols: 120, Rows: 120}
}
