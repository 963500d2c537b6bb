package cells_test

import (
	"math"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// TestAFirstLookFromOverviewsShowsTheSameMeans sums a picture and the overviews
// that GDAL made of it by averaging: they round at each of two levels.
func TestAFirstLookFromOverviewsShowsTheSameMeans(t *testing.T) {
	add := oracle.Need(t, "gdaladdo")
	four := []string{"green", "red", "rededge", "nir"}
	g, in := square(60)
	for name, change := range map[string]func(*geotiff.Format){
		"16 bits":  func(f *geotiff.Format) { f.Sample, f.Tile, f.Deflate, f.Predictor = geotiff.Uint16, 128, true, true },
		"with gap": func(f *geotiff.Format) { f.Sample, f.Tile, f.NoData = geotiff.Uint16, 256, new(float64) },
		"floats":   func(f *geotiff.Format) { f.Sample, f.Tile = geotiff.Float32, 64 },
	} {
		f := geotiff.Format{
			Cols: 512, Rows: 480, Bands: 4, BandNames: four, EPSG: 32615,
			Affine: grid.Affine{A: 700000, B: 0.0625, D: 3900000, F: -0.0625},
		}
		change(&f)
		path := flown{"look.tif", f}.write(t)
		run(t, add, "-q", "-r", "average", path, "2", "4", "8", "16")
		flight, err := imagery.Open(t.Context(), []string{path}, imagery.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = flight.Close() }() // only read from
		coarse := flight.Coarse(g.CellM / 2)
		if im := coarse.Files[0].Image; im.Cols != 128 || im.Rows != 120 || coarse.Files[0].PixelM < 0.24 || flight.Files[0].Image.Cols != 512 {
			t.Errorf("%s: looks at %d x %d pixels of %g m", name, im.Cols, im.Rows, coarse.Files[0].PixelM)
		}
		if im := flight.Coarse(0.1).Files[0].Image; im.Cols != 512 {
			t.Errorf("%s: %d columns are to have pixels of 0.1 m", name, im.Cols)
		}
		opt := cells.Options{Workers: 2, MarginM: -1}
		want, err := cells.Pass(t.Context(), flight, g, in, opt)
		if err != nil {
			t.Fatal(err)
		}
		opt.Plain = true
		got, err := cells.Pass(t.Context(), coarse, g, in, opt)
		if err != nil {
			t.Fatal(err)
		}
		tol := 1.0 // half a unit for each level
		if f.Sample == geotiff.Float32 {
			tol = 1e-6
		}
		compared := 0
		for cell, n := range want.Pixels {
			if n != 64 { // at a gap, GDAL averages what it takes for data
				continue
			}
			if compared++; got.Pixels[cell] != 4 {
				t.Fatalf("%s: cell %d has %d pixels of the overview", name, cell, got.Pixels[cell])
			}
			for b := range want.Bands {
				if d := math.Abs(float64(got.Mean[b][cell]) - float64(want.Mean[b][cell])); !(d <= tol) {
					t.Fatalf("%s: %s of cell %d differs by %g", name, want.Bands[b], cell, d)
				}
			}
		}
		if compared < 3000 {
			t.Errorf("%s: only %d cells are compared", name, compared)
		}
	}
}
