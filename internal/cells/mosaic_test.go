package cells_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// TestAMosaicShowsWhatGDALShows sums three pictures that lie on each other, as a
// mosaic and as files of one flight, and the one picture that GDAL makes of the
// mosaic: where a picture has no data, the one below shows.
func TestAMosaicShowsWhatGDALShows(t *testing.T) {
	build, translate := oracle.Need(t, "gdalbuildvrt"), oracle.Need(t, "gdal_translate")
	four := func(f *geotiff.Format) {
		f.Bands, f.Sample, f.BandNames = 4, geotiff.Uint16, []string{"green", "red", "rededge", "nir"}
	}
	rgb := func(f *geotiff.Format) {
		f.Bands, f.Sample, f.Colors = 3, geotiff.Uint8, []string{"red", "green", "blue"}
	}
	void := func(v float64) func(*geotiff.Format) { return func(f *geotiff.Format) { f.NoData = &v } }
	for name, c := range map[string]struct {
		change []func(*geotiff.Format)
		part   []string // to gdal_translate, for each part
		build  []string // to gdalbuildvrt
		tol    float64  // floats are added in another order
	}{
		"4x16, no data":  {change: []func(*geotiff.Format){four, void(0)}},
		"4x16, strips":   {change: []func(*geotiff.Format){four, void(0)}, part: []string{"-co", "TILED=NO", "-co", "BLOCKYSIZE=7", "-co", "COMPRESS=LZW"}},
		"4x16, taken":    {change: []func(*geotiff.Format){four}, build: []string{"-srcnodata", "0", "-vrtnodata", "0"}},
		"3x8, alpha":     {change: []func(*geotiff.Format){rgb, func(f *geotiff.Format) { f.Bands, f.Alpha, f.Colors = 4, true, append(f.Colors, "alpha") }}},
		"3x8, mask":      {change: []func(*geotiff.Format){rgb, void(0)}, part: []string{"-mask", "1", "-a_nodata", "none"}},
		"3x8, mask file": {change: []func(*geotiff.Format){rgb, void(0)}, part: []string{"-mask", "1", "-a_nodata", "none", "--config", "GDAL_TIFF_INTERNAL_MASK", "NO"}},
		"2xfloat": {change: []func(*geotiff.Format){void(0), func(f *geotiff.Format) {
			f.Bands, f.Sample, f.BandNames = 2, geotiff.Float32, []string{"red", "nir"}
		}}, tol: 1e-6},
	} {
		t.Run(name, func(t *testing.T) {
			g, in := square(60)
			dir := t.TempDir()
			var parts, bands []string
			for i, at := range [][4]int{{0, 0, 400, 300}, {301, 37, 259, 411}, {150, 221, 200, 130}} {
				f := geotiff.Format{
					Cols: at[2], Rows: at[3], Tile: 128, Deflate: true, Predictor: true, EPSG: 32615,
					Affine: grid.Affine{A: 700000 + 0.0625*float64(at[0]), B: 0.0625, D: 3900000 - 0.0625*float64(at[1]), F: -0.0625},
				}
				for _, change := range c.change {
					change(&f)
				}
				bands = slices.DeleteFunc(append(f.BandNames, f.Colors...), func(s string) bool { return s == "alpha" })
				part := filepath.Join(dir, string(rune('a'+i))+".tif")
				args := []string{"-q", "--config", "GDAL_TIFF_INTERNAL_MASK", "YES", "-co", "TILED=YES", "-co", "BLOCKXSIZE=128", "-co", "BLOCKYSIZE=128"}
				run(t, translate, append(append(args, c.part...), flown{"part.tif", f}.write(t), part)...)
				parts = append(parts, part)
			}
			plain, shown, flat := filepath.Join(dir, "plain.vrt"), filepath.Join(dir, "shown.vrt"), filepath.Join(t.TempDir(), "flat.tif")
			run(t, build, append([]string{"-q", plain}, parts...)...)
			run(t, build, append(append([]string{"-q"}, c.build...), append([]string{shown}, parts...)...)...)
			run(t, translate, "-q", shown, flat)
			want, err := passNamed(t, g, in, 2, bands, flat)
			if err != nil {
				t.Fatal(err)
			}
			for _, workers := range []int{1, 3} {
				for _, paths := range [][]string{{plain}, parts} {
					got, err := passNamed(t, g, in, workers, bands, paths...)
					if err != nil {
						t.Fatal(err)
					}
					sameSummary(t, filepath.Base(paths[0]), got, want, c.tol)
				}
			}
			flight, err := imagery.Open(t.Context(), []string{plain}, imagery.Options{Bands: bands})
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = flight.Close() }() // only read from
			red := &cells.Reduction{Factor: 8, Spool: func() (geotiff.Spool, error) { return os.CreateTemp(t.TempDir(), "spool") }}
			reduced, copies, err := cells.PassReduced(t.Context(), flight, g, in, cells.Options{Workers: 2, MarginM: -1}, red)
			if err != nil || len(copies) != 3 {
				t.Fatalf("%d copies, %v", len(copies), err)
			}
			sameSummary(t, "with smaller copies", reduced, want, c.tol)
			for _, c := range copies {
				var out bytes.Buffer
				if err := c.Write(&out); err != nil {
					t.Errorf("the copy of %s: %v", c.Name, err)
				}
			}
		})
	}
}

// A grown is a picture whose pixels are held in memory: 16 bits of green and red,
// with a hole of zeros, which are no data.
type grown struct {
	format geotiff.Format
	px     []uint16
}

func newGrown(seed uint64, epsg, cols, rows int, a grid.Affine) *grown {
	r := rand.New(rand.NewPCG(seed, 3))
	p := &grown{px: make([]uint16, 2*cols*rows)}
	p.format = geotiff.Format{
		Cols: cols, Rows: rows, Bands: 2, Sample: geotiff.Uint16, BandNames: []string{"green", "red"},
		Tile: 64, Deflate: true, Predictor: true, EPSG: epsg, Affine: a, NoData: new(float64),
	}
	for i := range cols * rows {
		if c, w := i%cols-cols/2, i/cols-rows/2; c*c+w*w > cols*rows/40 {
			p.px[2*i], p.px[2*i+1] = uint16(4000+r.IntN(900)), uint16(2000+r.IntN(900))
		}
	}
	return p
}

func (p *grown) open(t *testing.T, name string) *imagery.Flight {
	t.Helper()
	flight, err := imagery.Open(t.Context(), []string{p.write(t, name)}, imagery.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = flight.Close() }) // only read from
	return flight
}

func (p *grown) write(t *testing.T, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	fill := func(w grid.Window, dst []byte) error {
		for i := range w.Cols * w.Rows {
			from := 2 * ((w.Row+i/w.Cols)*p.format.Cols + w.Col + i%w.Cols)
			binary.LittleEndian.PutUint16(dst[4*i:], p.px[from])
			binary.LittleEndian.PutUint16(dst[4*i+2:], p.px[from+1])
		}
		return nil
	}
	if err := errors.Join(geotiff.Write(out, p.format, fill), out.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestFilesOfAFlightHideWhatIsUnderThem sums two files that lie on each other in
// any way, and holds them to sums of each alone, the lower one without the pixels
// whose centres lie in a pixel of the upper one with data, found one by one.
func TestFilesOfAFlightHideWhatIsUnderThem(t *testing.T) {
	g, in := square(64)
	flat := grid.Affine{A: 700001, B: 0.11, D: 3899999, F: -0.11}
	lon, lat := g.CRS().Inverse(700009, 3899993)
	for name, c := range map[string]struct {
		epsg int
		a    grid.Affine
	}{
		"on the same pixels": {32615, grid.Affine{A: 700001 + 50*0.11, B: 0.11, D: 3899999 - 37*0.11, F: -0.11}},
		"between pixels":     {32615, grid.Affine{A: 700007.02, B: 0.11, D: 3899993.09, F: -0.11}},
		"finer":              {32615, grid.Affine{A: 700007, B: 0.07, D: 3899993, F: -0.07}},
		"coarser, south up":  {32615, grid.Affine{A: 700003, B: 0.31, D: 3899971, F: 0.31}},
		"turned":             {32615, grid.Affine{A: 700005, B: 0.1, C: 0.04, D: 3899989, E: 0.04, F: -0.1}},
		"in degrees":         {4326, grid.Affine{A: lon, B: 1.3e-6, D: lat, F: -1.1e-6}},
		"beside":             {32615, grid.Affine{A: 700001 + 130*0.11, B: 0.11, D: 3899999, F: -0.11}},
	} {
		t.Run(name, func(t *testing.T) {
			lower, upper := newGrown(1, 32615, 130, 170, flat), newGrown(2, c.epsg, 120, 110, c.a)
			low, up := lower.open(t, "lower.tif"), upper.open(t, "upper.tif")
			back, _ := c.a.Invert()
			hidden := 0
			at, _ := low.Files[0].To(up.Files[0].CRS)
			for i := range lower.format.Cols * lower.format.Rows {
				p := back.Apply(at(float64(i%lower.format.Cols)+0.5, float64(i/lower.format.Cols)+0.5))
				col, row := int(math.Floor(p.X+1e-6)), int(math.Floor(p.Y+1e-6))
				if col >= 0 && row >= 0 && col < 120 && row < 110 && upper.px[2*(row*120+col)] != 0 && lower.px[2*i] != 0 {
					lower.px[2*i], lower.px[2*i+1] = 0, 0
					hidden++
				}
			}
			if (hidden < 2000) != (name == "beside") {
				t.Errorf("%d pixels are hidden", hidden)
			}
			opt := cells.Options{Workers: 1, MarginM: -1}
			a, err := cells.Pass(t.Context(), lower.open(t, "cut.tif"), g, in, opt)
			if err != nil {
				t.Fatal(err)
			}
			b, err := cells.Pass(t.Context(), up, g, in, opt)
			if err != nil {
				t.Fatal(err)
			}
			whole := newGrown(1, 32615, 130, 170, flat)
			paths := []string{whole.write(t, "lower.tif"), upper.write(t, "upper.tif")}
			var first *cells.Summary
			for _, workers := range []int{1, 4} {
				got, err := pass(t, g, in, cells.Options{Workers: workers, MarginM: -1}, paths...)
				if err != nil {
					t.Fatal(err)
				}
				if first != nil && !same(got, first) {
					t.Error("more workers change the result")
				}
				first = got
			}
			for cell, n := range first.Pixels {
				if n != a.Pixels[cell]+b.Pixels[cell] {
					t.Fatalf("cell %d has %d pixels, not %d and %d", cell, n, a.Pixels[cell], b.Pixels[cell])
				}
				if n == 0 {
					continue
				}
				sum := 0.0
				for _, s := range []*cells.Summary{a, b} {
					if s.Pixels[cell] > 0 {
						sum += float64(s.Pixels[cell]) * float64(s.Mean[1][cell])
					}
				}
				if mean := sum / float64(n); math.Abs(mean-float64(first.Mean[1][cell])) > 1e-6*mean {
					t.Fatalf("cell %d: a mean of %g, not %g", cell, first.Mean[1][cell], mean)
				}
			}
		})
	}
}

// TestPicturesThatHideEachOtherInPartAreADoubt lays pictures on each other that
// have one band in common, all or none.
func TestPicturesThatHideEachOtherInPartAreADoubt(t *testing.T) {
	g, in := square(64)
	for _, c := range []struct {
		bands  []string
		beside bool
		want   bool
	}{
		{bands: []string{"red", "nir"}, want: true},
		{bands: []string{"red", "nir"}, beside: true},
		{bands: []string{"red", "green"}},
		{bands: []string{"rededge", "nir"}},
	} {
		a := newGrown(1, 32615, 130, 170, grid.Affine{A: 700001, B: 0.11, D: 3899999, F: -0.11})
		b := newGrown(2, 32615, 100, 100, grid.Affine{A: 700005, B: 0.11, D: 3899997, F: -0.11})
		b.format.BandNames = c.bands
		if c.beside {
			b.format.Affine.A = 700001 + 130*0.11
		}
		s, err := pass(t, g, in, cells.Options{Workers: 1, MarginM: -1}, a.write(t, "a.tif"), b.write(t, "b.tif"))
		if err != nil {
			t.Fatal(err)
		}
		got := slices.ContainsFunc(s.Doubts, func(d doubt.Doubt) bool { return strings.Contains(d.Says, "a.tif and a later one") })
		if got != c.want {
			t.Errorf("%v, beside %v: doubted %v", c.bands, c.beside, got)
		}
	}
}

// passNamed is pass with typed bands: a mosaic drops their names.
func passNamed(t *testing.T, g grid.Grid, in []bool, workers int, bands []string, paths ...string) (*cells.Summary, error) {
	t.Helper()
	flight, err := imagery.Open(t.Context(), paths, imagery.Options{Bands: bands})
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
