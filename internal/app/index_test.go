package app_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/oracle"
)

// fourBands writes a picture of green, red, red edge and near infrared whose
// first pixel lies at column col and row row of a common raster; a corner of it
// has no data.
func fourBands(t *testing.T, path string, cols, rows, col, row int) {
	t.Helper()
	void := 65535.0
	f := geotiff.Format{
		Cols: cols, Rows: rows, Bands: 4, Sample: geotiff.Uint16, Tile: 64, Deflate: true, Predictor: true,
		Affine: grid.Affine{A: 650000 + 0.1*float64(col), B: 0.1, D: 3887000 - 0.1*float64(row), F: -0.1}, EPSG: 32615,
		BandNames: []string{"green", "red", "rededge", "nir"}, NoData: &void,
	}
	save(t, path, func(w io.WriteSeeker) error {
		return geotiff.Write(w, f, func(win grid.Window, dst []byte) error {
			for i := range win.Cols * win.Rows {
				x, y := win.Col+i%win.Cols, win.Row+i/win.Cols
				for b := range 4 {
					v := uint16(3000 + 2500*math.Sin(float64(x*(b+1)+col)/17)*math.Cos(float64(y-b*row)/23))
					if x+y < 30 {
						v = 65535
					}
					binary.LittleEndian.PutUint16(dst[8*i+2*b:], v)
				}
			}
			return nil
		})
	})
}

// compareIndex holds both pictures of an index to NumPy's on the pixels as GDAL
// reads them, and to GDAL's check of cloud-optimised files.
const compareIndex = `
import sys, json, numpy as np
from osgeo import gdal
from osgeo_utils.samples import validate_cloud_optimized_geotiff as cog
gdal.UseExceptions()
src, colors, values, expr = sys.argv[1:5]
d = gdal.Open(src)
a = d.ReadAsArray().astype(float)
void = d.GetRasterBand(1).GetNoDataValue()
if void is not None:
    a[a == void] = np.nan
env = dict(zip(sys.argv[5].split(','), a), np=np)
with np.errstate(all='ignore'):
    want = eval(expr, env)
want[~np.isfinite(want)] = np.nan
v, c = gdal.Open(values), gdal.Open(colors)
got, band = v.ReadAsArray().astype(float), c.GetRasterBand(1)
code = band.ReadAsArray()
some = code > 0
low, high = band.GetOffset() + band.GetScale(), band.GetOffset() + 255 * band.GetScale()
print(json.dumps({
    'Gaps': bool((np.isnan(got) == np.isnan(want)).all() and (np.isnan(want) == ~some).all()),
    'Some': int(some.sum()), 'None': int((~some).sum()),
    'Worst': float(np.nanmax(np.abs(got - want))),
    'Steps': float(np.abs(np.clip(got[some], low, high) - (code[some] * band.GetScale() + band.GetOffset())).max() / band.GetScale()),
    'Place': v.GetGeoTransform() == d.GetGeoTransform() == c.GetGeoTransform() and v.GetSpatialRef().IsSame(d.GetSpatialRef()) == 1,
    'First': band.GetColorTable().GetColorEntry(1)[:3], 'Last': band.GetColorTable().GetColorEntry(255)[:3],
    'Cog': [str(cog.validate(f)[1]) for f in (values, colors)],
}))`

type indexCompared struct {
	Gaps, Place bool
	Some, None  int
	Worst       float64
	Steps       float64
	First, Last [3]int
	Cog         [2]string
}

func compareIndexOf(t *testing.T, src, colors, expr, bands string) indexCompared {
	t.Helper()
	python := oracle.Python(t, "osgeo_utils.samples.validate_cloud_optimized_geotiff", "numpy")
	values := strings.TrimSuffix(colors, ".tif") + ".values.tif"
	cmd := exec.CommandContext(t.Context(), python, "-c", compareIndex, src, colors, values, expr, bands)
	var says bytes.Buffer
	cmd.Stderr = &says
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, says.Bytes())
	}
	var got indexCompared
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	return got
}

func (c indexCompared) check(t *testing.T) {
	t.Helper()
	if !c.Gaps || !c.Place || c.Some == 0 || c.Worst > 1e-6 || c.Steps > 0.501 || c.Cog != [2]string{"[]", "[]"} {
		t.Errorf("the index differs: %+v", c)
	}
	if c.First != [3]int{0, 0x22, 0x4e} || c.Last != [3]int{0xfe, 0xe8, 0x38} {
		t.Errorf("its colours run from %v to %v", c.First, c.Last)
	}
}

const numpyNDVI = "(nir-red)/(nir+red)"

func TestAnIndexIsThatOfNumPyWithAnyWorkers(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "in.tif")
	fourBands(t, in, 700, 300, 0, 0)
	var first [2][]byte
	for _, workers := range []int{1, 3} {
		out := filepath.Join(dir, "ndvi.tif")
		d, err := app.DescribeIndex(t.Context(), in, nil, app.IndexRequest{Name: "NDVI", Out: out, Program: "bittern test"}, app.Setting{Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		if d.Index == nil || d.Index.Low == nil || *d.Index.Low >= *d.Index.High || !strings.Contains(d.Letter(), "ndvi.values.tif") {
			t.Fatalf("described as %+v", d.Index)
		}
		compareIndexOf(t, in, out, numpyNDVI, "green,red,rededge,nir").check(t)
		for i, name := range []string{"ndvi.tif", "ndvi.values.tif"} {
			data, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			if first[i] != nil && !bytes.Equal(first[i], data) {
				t.Errorf("%s differs with %d workers", name, workers)
			}
			first[i] = data
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".tmp-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// TestAnIndexOfAMosaicShowsWhatGDALShows compares the index of two pictures
// that overlap with that of the mosaic as GDAL reads it: the last lies on top.
func TestAnIndexOfAMosaicShowsWhatGDALShows(t *testing.T) {
	build := oracle.Need(t, "gdalbuildvrt")
	dir := t.TempDir()
	a, b, c := filepath.Join(dir, "a.tif"), filepath.Join(dir, "b.tif"), filepath.Join(dir, "c.tif")
	fourBands(t, a, 200, 150, 40, 20)
	fourBands(t, b, 210, 190, 0, 0)
	fourBands(t, c, 100, 100, 130, 100)
	mosaic := filepath.Join(dir, "mosaic.vrt")
	if out, err := exec.CommandContext(t.Context(), build, "-q", mosaic, a, b, c).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out := filepath.Join(dir, "ndvi.tif")
	if _, err := app.DescribeIndex(t.Context(), mosaic, nil, app.IndexRequest{Name: "ndvi", Out: out}, app.Setting{Workers: 2}); err != nil {
		t.Fatal(err)
	}
	compareIndexOf(t, mosaic, out, numpyNDVI, "green,red,rededge,nir").check(t)
}

func TestAnIndexOfARealPictureIsThatOfNumPy(t *testing.T) {
	if testing.Short() {
		t.Skip("16 megapixels")
	}
	in := oracle.Data(t, "ortho/potato-west-rgb.tif")
	out := filepath.Join(t.TempDir(), "exg.tif")
	if _, err := app.DescribeIndex(t.Context(), in, nil, app.IndexRequest{Name: "exg", Out: out}, app.Setting{Workers: 2}); err != nil {
		t.Fatal(err)
	}
	compareIndexOf(t, in, out, "(2*green-red-blue)/(red+green+blue)", "red,green,blue").check(t)
}

func TestAnIndexThatCannotBeMadeIsAnsweredAndWritesNothing(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "in.tif")
	fourBands(t, in, 300, 200, 0, 0)
	cut := filepath.Join(dir, "cut.tif")
	whole, err := os.ReadFile(in)
	if err != nil {
		t.Fatal(err)
	}
	spoiled := bytes.Clone(whole)
	for i := len(spoiled) / 3; i < len(spoiled)/2; i++ {
		spoiled[i] ^= 0x5a
	}
	notes := filepath.Join(dir, "notes.tif")
	for path, data := range map[string][]byte{cut: spoiled, notes: []byte("not a picture")} {
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		in, index, out string
		kind           doubt.Kind
		says           string
	}{
		"a band that is missing":   {in, "exg", "new.tif", doubt.Unfit, "ExG needs blue, green and red, and the picture has no blue band"},
		"an index that is unknown": {in, "greenness", "new.tif", doubt.Input, "ndvi, gndvi"},
		"no name":                  {in, "ndvi", "", doubt.Input, "--out"},
		"no picture's name":        {in, "ndvi", "new.png", doubt.Input, ".tif"},
		"no folder":                {in, "ndvi", "nowhere/new.tif", doubt.Input, "no such folder"},
		"the picture itself":       {in, "ndvi", "in.tif", doubt.Input, "would be lost"},
		"another file":             {in, "ndvi", "notes.tif", doubt.Input, "no picture that bittern wrote"},
		"a damaged picture":        {cut, "ndvi", "new.tif", doubt.Input, "damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			out := c.out
			if out != "" {
				out = filepath.Join(dir, out)
			}
			before := listing(t, dir)
			_, err := app.DescribeIndex(t.Context(), c.in, nil, app.IndexRequest{Name: c.index, Out: out}, app.Setting{Workers: 2})
			p, ok := errors.AsType[*doubt.Problem](err)
			if !ok || p.Kind != c.kind || !strings.Contains(p.Error(), c.says) {
				t.Errorf("answered with %v", err)
			}
			if after := listing(t, dir); after != before {
				t.Errorf("left %s, before there was %s", after, before)
			}
		})
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := app.DescribeIndex(stopped, in, nil, app.IndexRequest{Name: "ndvi", Out: filepath.Join(dir, "new.tif")}, app.Setting{Workers: 2}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped, it says %v", err)
	}
	if names := listing(t, dir); strings.Contains(names, "new") || strings.Contains(names, "tmp") {
		t.Errorf("stopped, it left %s", names)
	}
}

// listing is the names in a folder.
func listing(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// TestAnIndexOfBandsInFilesOfTheirOwn reads red from strips and near infrared
// from tiles of the same ground, with scale and offset, and the mosaic that
// joins them; its acres are counted once.
func TestAnIndexOfBandsInFilesOfTheirOwn(t *testing.T) {
	python := oracle.Python(t, "osgeo.gdal", "numpy")
	build := oracle.Need(t, "gdalbuildvrt")
	dir := t.TempDir()
	const make2 = `
import sys, numpy as np
from osgeo import gdal, osr
gdal.UseExceptions()
rng, s = np.random.default_rng(1), osr.SpatialReference()
s.ImportFromEPSG(32615)
for name, low, high, o in (('f_red', 0, 4000, ['COMPRESS=LZW']), ('f_nir', 2000, 9000, ['TILED=YES', 'BLOCKXSIZE=64', 'BLOCKYSIZE=128'])):
    d = gdal.GetDriverByName('GTiff').Create(sys.argv[1] + '/' + name + '.tif', 517, 333, 1, gdal.GDT_UInt16, options=o)
    d.SetGeoTransform((650000, .1, 0, 3887000, 0, -.1)); d.SetProjection(s.ExportToWkt())
    b = d.GetRasterBand(1)
    b.WriteArray(rng.integers(low, high, (333, 517))); b.SetScale(1 / 10000); b.SetOffset(-0.01)
`
	if out, err := exec.CommandContext(t.Context(), python, "-c", make2, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	joined, out := filepath.Join(dir, "joined.vrt"), filepath.Join(dir, "savi.tif")
	if says, err := exec.CommandContext(t.Context(), build, "-q", "-separate", joined, filepath.Join(dir, "f_red.tif"), filepath.Join(dir, "f_nir.tif")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, says)
	}
	d, err := app.DescribeIndex(t.Context(), joined, nil, app.IndexRequest{Name: "savi", Out: out}, app.Setting{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	// 517 x 333 pixels of 0.1 m on the grid, which is 0.9998 of the ground there.
	if want := 517 * 333 * 0.01 / 4046.8564224; d.Acres == nil || math.Abs(*d.Acres/want-1) > 0.001 {
		t.Errorf("it covers %v acres, want %.4f", d.Acres, want)
	}
	got := compareIndexOf(t, joined, out, "np.where((red < 100) | (nir < 100), np.nan, 1.5*(nir-red)/10000/((nir+red)/10000 - .02 + .5))", "red,nir")
	got.check(t)
}
