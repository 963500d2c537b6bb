package cells_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// TestAMosaicCountsThePictureOnTop sums three pictures that lie on each other,
// as a mosaic, and the one picture that GDAL makes of it.
func TestAMosaicCountsThePictureOnTop(t *testing.T) {
	build, translate := oracle.Need(t, "gdalbuildvrt"), oracle.Need(t, "gdal_translate")
	base := geotiff.Format{Tile: 128, Deflate: true, Predictor: true, EPSG: 32615}
	g, in := square(60)
	for name, change := range map[string]func(*geotiff.Format){
		"4x16": func(f *geotiff.Format) {
			f.Bands, f.Sample, f.BandNames = 4, geotiff.Uint16, []string{"green", "red", "rededge", "nir"}
		},
		"3x8": func(f *geotiff.Format) {
			f.Bands, f.Sample, f.Colors = 3, geotiff.Uint8, []string{"red", "green", "blue"}
		},
		"2xfloat": func(f *geotiff.Format) {
			f.Bands, f.Sample, f.BandNames = 2, geotiff.Float32, []string{"red", "nir"}
		},
	} {
		dir := t.TempDir()
		args := []string{"-q", filepath.Join(dir, "mosaic.vrt")}
		for _, at := range [][4]int{{0, 0, 400, 300}, {301, 37, 259, 411}, {150, 221, 200, 130}} {
			f := base
			f.Cols, f.Rows = at[2], at[3]
			f.Affine = grid.Affine{A: 700000 + 0.0625*float64(at[0]), B: 0.0625, D: 3900000 - 0.0625*float64(at[1]), F: -0.0625}
			change(&f)
			args = append(args, flown{"part.tif", f}.write(t))
			part := filepath.Join(dir, string(rune('a'+len(args)))+".tif")
			run(t, translate, "-q", args[len(args)-1], part)
			args[len(args)-1] = part
		}
		run(t, build, args...)
		f := base
		change(&f)
		bands := append(f.BandNames, f.Colors...)
		flat := filepath.Join(t.TempDir(), "flat.tif")
		run(t, translate, "-q", args[1], flat)
		want, err := passNamed(t, g, in, 2, bands, flat)
		if err != nil {
			t.Fatal(err)
		}
		tol := 0.0
		if name == "2xfloat" {
			tol = 1e-6 // floats are added in another order
		}
		for _, workers := range []int{1, 3} {
			got, err := passNamed(t, g, in, workers, bands, args[1])
			if err != nil {
				t.Fatal(err)
			}
			sameSummary(t, name, got, want, tol)
		}
		flight, err := imagery.Open(t.Context(), args[1:2], imagery.Options{Bands: bands})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range flight.Doubts {
			if strings.Contains(d.Says, "lie on each other") {
				t.Errorf("%s: doubted: %s", name, d.Says)
			}
		}
		red := &cells.Reduction{Factor: 8, Spool: func() (geotiff.Spool, error) { return os.CreateTemp(t.TempDir(), "spool") }}
		reduced, copies, err := cells.PassReduced(t.Context(), flight, g, in, cells.Options{Workers: 2, MarginM: -1}, red)
		if err != nil || len(copies) != 3 {
			t.Fatalf("%d copies, %v", len(copies), err)
		}
		sameSummary(t, name+", with smaller copies", reduced, want, tol)
		for _, c := range copies {
			var out bytes.Buffer
			if err := c.Write(&out); err != nil {
				t.Errorf("%s: the copy of %s: %v", name, c.Name, err)
			}
		}
		hidden := 0
		for _, f := range flight.Files {
			hidden += len(f.Hidden)
		}
		if err := flight.Close(); err != nil || hidden != 3 {
			t.Errorf("%s: %d places are hidden, %v", name, hidden, err)
		}
	}
}

// passNamed is pass with typed bands: a mosaic drops their names.
func passNamed(t *testing.T, g grid.Grid, in []bool, workers int, bands []string, path string) (*cells.Summary, error) {
	t.Helper()
	flight, err := imagery.Open(t.Context(), []string{path}, imagery.Options{Bands: bands})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = flight.Close() }() // only read from
	return cells.Pass(t.Context(), flight, g, in, cells.Options{Workers: workers, MarginM: -1})
}

func run(t *testing.T, program string, args ...string) {
	t.Helper()
	if out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", program, err, out)
	}
}
