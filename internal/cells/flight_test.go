package cells_test

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// A flown is a picture to be written: noise about a level for each band, and
// a corner without data.
type flown struct {
	name   string
	format geotiff.Format
}

func (f flown) write(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), f.name)
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(geotiff.Write(out, f.format, f.fill), out.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func (f flown) fill(w grid.Window, dst []byte) error {
	r := rand.New(rand.NewPCG(uint64(w.Col), uint64(w.Row)))
	n := f.format.Sample.Bytes()
	for i := range w.Cols * w.Rows {
		gone := w.Col+i%w.Cols+w.Row+i/w.Cols < 120
		for b := range f.format.Bands {
			v := 0.2 + 0.1*float64(b) + 0.04*r.NormFloat64()
			if f.format.Alpha && b == f.format.Bands-1 {
				v = 0.6
			}
			if gone {
				v = 0
			}
			put(dst[(i*f.format.Bands+b)*n:], f.format.Sample, max(v, 0))
		}
	}
	return nil
}

func put(dst []byte, s geotiff.Sample, v float64) {
	switch s {
	case geotiff.Uint8:
		dst[0] = byte(v * 400)
	case geotiff.Uint16, geotiff.Int16:
		binary.LittleEndian.PutUint16(dst, uint16(v*30000))
	case geotiff.Float64:
		binary.LittleEndian.PutUint64(dst, math.Float64bits(v))
	default:
		binary.LittleEndian.PutUint32(dst, math.Float32bits(float32(v)))
	}
}

func pass(t *testing.T, g grid.Grid, in []bool, opt cells.Options, paths ...string) (*cells.Summary, error) {
	t.Helper()
	flight, err := imagery.Open(t.Context(), paths, imagery.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := flight.Close(); err != nil {
			t.Error(err)
		}
	}()
	return cells.Pass(t.Context(), flight, g, in, opt)
}

// everyKind are pictures of every sample type and layout that is summed in a
// way of its own.
func everyKind() []flown {
	base := geotiff.Format{Cols: 620, Rows: 590, Tile: 256, Deflate: true, Predictor: true, Affine: grid.Affine{A: 699999, B: 0.053, D: 3900001, F: -0.053}, EPSG: 32615}
	four := []string{"green", "red", "rededge", "nir"}
	five := []string{"blue", "green", "red", "rededge", "nir"}
	rgb := []string{"red", "green", "blue"}
	with := func(name string, s geotiff.Sample, bands int, names, colors []string, change ...func(*geotiff.Format)) flown {
		f := base
		f.Sample, f.Bands, f.BandNames, f.Colors = s, bands, names, colors
		for _, c := range change {
			c(&f)
		}
		return flown{name + ".tif", f}
	}
	plain := func(f *geotiff.Format) { f.Predictor = false }
	void := func(v float64) func(*geotiff.Format) { return func(f *geotiff.Format) { f.NoData = &v } }
	alpha := func(f *geotiff.Format) { f.Alpha = true }
	return []flown{
		with("4x16", geotiff.Uint16, 4, four, nil),
		with("4x16 plain", geotiff.Uint16, 4, four, nil, plain),
		with("4x16 void", geotiff.Uint16, 4, four, nil, void(0)),
		with("4x16 other void", geotiff.Uint16, 4, four, nil, void(65535)),
		with("4x16 alpha", geotiff.Uint16, 4, append(rgb[:3:3], "alpha"), append(rgb[:3:3], "alpha"), alpha),
		with("5x16", geotiff.Uint16, 5, five, nil),
		with("3x16", geotiff.Uint16, 3, five[1:4], nil),
		with("3x8", geotiff.Uint8, 3, nil, rgb),
		with("3x8 void", geotiff.Uint8, 3, nil, rgb, void(255)),
		with("4x8", geotiff.Uint8, 4, nil, append(rgb[:3:3], "")),
		with("4x8 alpha", geotiff.Uint8, 4, nil, append(rgb[:3:3], "alpha"), alpha),
		with("4x8 linear", geotiff.Uint8, 4, four, nil, plain),
		with("5xfloat", geotiff.Float32, 5, five, nil, void(0)),
		with("3xfloat plain", geotiff.Float32, 3, five[1:4], nil, plain),
		with("3xdouble", geotiff.Float64, 3, five[1:4], nil, plain),
		with("3xint16", geotiff.Int16, 3, five[1:4], nil, void(-10000)),
	}
}

func TestSummaryOfFilesAgreesWithGDALAndNumPy(t *testing.T) {
	if testing.Short() {
		t.Skip("reads sixteen pictures twice")
	}
	python := oracle.Python(t, "numpy", "osgeo.gdal")
	g, in := square(60)
	for _, f := range everyKind() {
		t.Run(f.name, func(t *testing.T) {
			path := f.write(t)
			s, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: cells.Margin}, path)
			if err != nil {
				t.Fatal(err)
			}
			want := numpyCells(t, python, path, s, g)
			checkCells(t, s, want)
		})
	}
}

// numpyCells reads path with GDAL and bins it with NumPy: for each cell the
// count, and for each band mean and standard deviation.
func numpyCells(t *testing.T, python, path string, s *cells.Summary, g grid.Grid) []float64 {
	t.Helper()
	const script = `
import sys, numpy as np
from osgeo import gdal
gdal.UseExceptions()
path, names = sys.argv[1], sys.argv[2].split(',')
ox, oy, cell, cols, rows = map(float, sys.argv[3:8]); cols = int(cols); rows = int(rows)
ds = gdal.Open(path)
a = ds.ReadAsArray(); n = a.shape[0]
gt = ds.GetGeoTransform()
inter = [gdal.GetColorInterpretationName(ds.GetRasterBand(i+1).GetColorInterpretation()).lower() for i in range(n)]
label = [(ds.GetRasterBand(i+1).GetDescription() or inter[i]).lower() for i in range(n)]
if a.dtype == np.uint8 and n == 4 and label[3] == 'undefined': label[3] = 'nir'
use = [label.index(x) for x in names]
nd = ds.GetRasterBand(1).GetNoDataValue()
if 'alpha' in label: ok = a[label.index('alpha')] != 0
elif a.dtype.kind == 'u': ok = ~np.all(a[use] == (0 if nd is None else nd), axis=0)
elif nd is not None: ok = ~np.any(a[use] == nd, axis=0)
else: ok = ~np.all(a[use] == 0, axis=0)
v = a[use].astype(np.float64)
if a.dtype == np.uint8 and 'red' in inter:
    v /= 255
    v = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
y, x = np.mgrid[0:a.shape[1], 0:a.shape[2]]
col = np.floor((gt[0] + gt[1] * (x + .5) - ox) / cell + 1e-6).astype(int)
row = np.floor((oy - gt[3] - gt[5] * (y + .5)) / cell + 1e-6).astype(int)
ok &= (col >= 0) & (row >= 0) & (col < cols) & (row < rows)
at = (row * cols + col)[ok]
count = np.bincount(at, minlength=cols * rows).astype(float)
out = [count]
for b in v:
    b = b[ok]
    mean = np.bincount(at, b, cols * rows) / np.maximum(count, 1)
    out += [mean, np.sqrt(np.bincount(at, (b - mean[at]) ** 2, cols * rows) / np.maximum(count, 1))]
sys.stdout.buffer.write(np.array(out).astype('<f8').tobytes())
`
	cmd := exec.CommandContext(t.Context(), python, "-c", script, path, strings.Join(s.Bands, ","),
		ftoa(g.OriginX), ftoa(g.OriginY), ftoa(g.CellM), ftoa(float64(g.Cols)), ftoa(float64(g.Rows)))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	v := make([]float64, len(out)/8)
	for i := range v {
		v[i] = math.Float64frombits(binary.LittleEndian.Uint64(out[8*i:]))
	}
	return v
}

func checkCells(t *testing.T, s *cells.Summary, want []float64) {
	t.Helper()
	n := s.Grid.Len()
	if len(want) != n*(1+2*len(s.Bands)) {
		t.Fatalf("%d numbers from NumPy", len(want))
	}
	some := 0
	for cell := range n {
		if float64(s.Pixels[cell]) != want[cell] {
			t.Fatalf("cell %d has %d pixels, NumPy says %g", cell, s.Pixels[cell], want[cell])
		}
		if want[cell] == 0 {
			continue
		}
		some++
		for b := range s.Bands {
			mean, sd := want[(1+2*b)*n+cell], want[(2+2*b)*n+cell]
			tol := 1e-6 * max(1, mean)
			if math.Abs(float64(s.Mean[b][cell])-mean) > tol || math.Abs(float64(s.Spread[b][cell])-sd) > tol {
				t.Fatalf("cell %d %s: %g ± %g, NumPy says %g ± %g", cell, s.Bands[b], s.Mean[b][cell], s.Spread[b][cell], mean, sd)
			}
		}
	}
	if some < n/2 {
		t.Errorf("only %d of %d cells have pixels", some, n)
	}
}

func TestPicturesInOtherSystemsFallIntoTheRightCells(t *testing.T) {
	if testing.Short() {
		t.Skip("projects two million places")
	}
	// The middle of the grid lies 4 degrees east of zone 15's meridian, so the
	// neighbouring zone's rows are turned by more than 3 degrees.
	g := grid.Grid{EPSG: 32615, OriginX: 727457, OriginY: 3903632.5, CellM: 0.5, Cols: 140, Rows: 140}
	in := make([]bool, g.Len())
	for i := range in {
		in[i] = true
	}
	lon, lat := crs.UTM(15, false).Inverse(g.OriginX-20, g.OriginY+20)
	x16, y16, err := crs.UTM(16, false).Forward(lon, lat)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name   string
		epsg   int
		affine grid.Affine
	}{
		{"longitude and latitude", 4326, grid.Affine{A: lon, B: 0.13 / 91036, D: lat, F: -0.13 / 110943}},
		{"the next zone", 32616, grid.Affine{A: x16, B: 0.13, D: y16, F: -0.13}},
		{"NAD83", 26915, grid.Affine{A: g.OriginX - 20, B: 0.13, D: g.OriginY + 20, F: -0.13}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := flown{"a.tif", geotiff.Format{Cols: 1500, Rows: 1500, Bands: 2, Sample: geotiff.Float32, Tile: 512, Affine: tc.affine, EPSG: tc.epsg, BandNames: []string{"red", "green"}}}
			// Each pixel holds its own place in the grid's zone, worked out point by point.
			f.format.Cols, f.format.Rows = 800, 800
			src, err := crs.FromEPSG(tc.epsg)
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), f.name)
			out, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			fill := func(w grid.Window, dst []byte) error {
				for i := range w.Cols * w.Rows {
					c, r := float64(w.Col+i%w.Cols)+0.5, float64(w.Row+i/w.Cols)+0.5
					x, y, err := crs.UTM(15, false).Forward(src.Inverse(tc.affine.A+tc.affine.B*c, tc.affine.D+tc.affine.F*r))
					if err != nil {
						return err
					}
					put(dst[8*i:], geotiff.Float32, x-g.OriginX+1000)
					put(dst[8*i+4:], geotiff.Float32, g.OriginY-y+1000)
				}
				return nil
			}
			if err := errors.Join(geotiff.Write(out, f.format, fill), out.Close()); err != nil {
				t.Fatal(err)
			}
			s, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: cells.Margin}, path)
			if err != nil {
				t.Fatal(err)
			}
			checkPlaces(t, s)
		})
	}
}

// checkPlaces checks that the mean place of a cell's pixels lies in the cell,
// and that the cell has as many as it should. A pixel in a wrong cell would
// be seen at once: pixels lie 0.13 m apart.
func checkPlaces(t *testing.T, s *cells.Summary) {
	t.Helper()
	g := s.Grid
	x, sx := s.Band("red")
	y, sy := s.Band("green")
	for cell := range x {
		col, row := cell%g.Cols, cell/g.Cols
		if n := s.Pixels[cell]; n < 9 || n > 20 {
			t.Fatalf("cell (%d, %d) has %d pixels, want about 15", col, row, n)
		}
		dx, dy := float64(x[cell])-1000-g.CellM*float64(col), float64(y[cell])-1000-g.CellM*float64(row)
		if math.Abs(dx-0.25) > 0.07 || math.Abs(dy-0.25) > 0.07 || sx[cell] > 0.19 || sy[cell] > 0.19 {
			t.Fatalf("the pixels of cell (%d, %d) lie round (%.3f, %.3f) of it, spread %.3f %.3f", col, row, dx, dy, sx[cell], sy[cell])
		}
	}
}

func TestTilesFarFromTheFieldAreSkipped(t *testing.T) {
	g, in := square(60)
	for i := range in {
		in[i] = i/g.Cols >= 10 && i/g.Cols < 20 && i%g.Cols >= 10 && i%g.Cols < 20
	}
	path := everyKind()[0].write(t) // tiles of 13.6 m
	var far [2]uint32
	for i, margin := range []float64{2, -1} {
		s, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: margin}, path)
		if err != nil {
			t.Fatal(err)
		}
		if s.Covered != 1 {
			t.Errorf("margin %g: %.2f of the field is covered", margin, s.Covered)
		}
		far[i] = s.Pixels[g.Index(55, 5)] + s.Pixels[g.Index(5, 55)] + s.Pixels[g.Index(55, 55)]
	}
	if far[0] != 0 || far[1] == 0 {
		t.Errorf("25 m from the field there are %d pixels, and %d when all are read", far[0], far[1])
	}
}

func TestAPictureThatDoesNotFitTheFieldIsUnfit(t *testing.T) {
	g, in := square(60)
	good := everyKind()[0]
	far, coarse, void := good, good, good
	far.format.Affine.A += 5000
	coarse.format.Affine.B, coarse.format.Affine.F = 2, -2
	zero := 0.0
	void.format.NoData = &zero
	for _, tc := range []struct {
		what string
		path string
		says string
	}{
		{"elsewhere", far.write(t), "does not lie over the field"},
		{"coarse", coarse.write(t), "a pixel is 2 m"},
		{"empty", writeEmpty(t, void), "has no data inside"},
	} {
		_, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: cells.Margin}, tc.path)
		var p *doubt.Problem
		if !errors.As(err, &p) || p.Kind != doubt.Unfit || !strings.Contains(p.Error(), tc.says) {
			t.Errorf("%s: %v", tc.what, err)
		}
	}
}

func writeEmpty(t *testing.T, f flown) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), f.name)
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(geotiff.Write(out, f.format, func(grid.Window, []byte) error { return nil }), out.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFilesWhosePixelsCoincideAreReadAsOne(t *testing.T) {
	g, in := square(60)
	kinds := everyKind()
	together := kinds[0] // four bands of 16 bits
	names := together.format.BandNames
	var apart []string
	for b, name := range names {
		one := together
		one.name, one.format.Bands, one.format.BandNames = name+".tif", 1, []string{name}
		path := filepath.Join(t.TempDir(), one.name)
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		fill := func(w grid.Window, dst []byte) error {
			all := make([]byte, w.Cols*w.Rows*8)
			err := together.fill(w, all)
			for i := range w.Cols * w.Rows {
				copy(dst[2*i:2*i+2], all[8*i+2*b:])
			}
			return err
		}
		if err := errors.Join(geotiff.Write(out, one.format, fill), out.Close()); err != nil {
			t.Fatal(err)
		}
		apart = append(apart, path)
	}
	opt := cells.Options{Workers: 2, MarginM: cells.Margin}
	want, err := pass(t, g, in, opt, together.write(t))
	if err != nil {
		t.Fatal(err)
	}
	got, err := pass(t, g, in, opt, apart...)
	if err != nil {
		t.Fatal(err)
	}
	if got.Ratio != "ln(red/green)" || !same(got, want) {
		t.Errorf("four files of one band give another summary than one file of four")
	}
}

func TestADamagedTileIsAProblemWithTheFilesName(t *testing.T) {
	path := everyKind()[0].write(t)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 2000; i < 2100; i++ {
		data[i] ^= 0x55
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	g, in := square(60)
	_, err = pass(t, g, in, cells.Options{Workers: 2, MarginM: cells.Margin}, path)
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Input || p.File != "4x16.tif" {
		t.Errorf("a damaged tile: %v", err)
	}
}
