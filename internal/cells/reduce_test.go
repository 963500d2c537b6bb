package cells_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// reduce passes over a picture and writes its smaller copy.
func reduce(t *testing.T, path string, in []bool, g grid.Grid, workers, factor int, margin float64) (*cells.Summary, string) {
	t.Helper()
	flight, err := imagery.Open(t.Context(), []string{path}, imagery.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = flight.Close() }() // only read from
	spool, err := os.Create(filepath.Join(t.TempDir(), "spool"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = spool.Close() }() // thrown away
	red := &cells.Reduction{Factor: factor, Spool: func() (geotiff.Spool, error) { return spool, nil }}
	sum, copies, err := cells.PassReduced(t.Context(), flight, g, in, cells.Options{Workers: workers, MarginM: margin}, red)
	if err != nil || len(copies) != 1 {
		t.Fatalf("%d copies, %v", len(copies), err)
	}
	var out bytes.Buffer
	if err := copies[0].Write(&out); err != nil {
		t.Fatal(err)
	}
	small := filepath.Join(t.TempDir(), "small.tif")
	if err := os.WriteFile(small, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return sum, small
}

// compareReduced holds a smaller copy to NumPy's means of the pixels with data
// as GDAL reads them.
const compareReduced = `
import sys, json, numpy as np
from osgeo import gdal
from osgeo_utils.samples import validate_cloud_optimized_geotiff as cog
gdal.UseExceptions()
src, small, k = gdal.Open(sys.argv[1]), gdal.Open(sys.argv[2]), int(sys.argv[3])
n = src.RasterCount
alpha = src.GetRasterBand(n).GetColorInterpretation() == gdal.GCI_AlphaBand
a = src.ReadAsArray().astype(float)
void = src.GetRasterBand(1).GetNoDataValue()
if alpha:
    some, a = a[-1] != 0, a[:-1]
elif void is not None:
    some = ~((a == void).all(axis=0) | np.isnan(a).any(axis=0))
    if src.GetRasterBand(1).DataType in (6, 7):
        some &= ~(a == void).any(axis=0)
else:
    some = (a != 0).any(axis=0) & ~np.isnan(a).any(axis=0)
rows, cols = a.shape[1:]
pad = ((0, 0), (0, -rows % k), (0, -cols % k))
count = np.pad(some[None].astype(float), pad)
group = lambda x: x.reshape(x.shape[0], x.shape[1] // k, k, x.shape[2] // k, k).sum(axis=(2, 4))
count, total = group(count), group(np.pad(np.where(some, a, 0), pad))
got = small.ReadAsArray().astype(float)
if got.shape[0] > a.shape[0]:
    opaque, got = got[-1] != 0, got[:-1]
else:
    opaque = ~np.isnan(got[0])
with np.errstate(all='ignore'):
    want = total / count
same = bool((opaque == (count[0] > 0)).all())
gt, sg = src.GetGeoTransform(), small.GetGeoTransform()
print(json.dumps({'Same': same, 'Some': int(opaque.sum()),
    'Worst': float(np.abs(got - want)[:, opaque].max()), 'Float': small.GetRasterBand(1).DataType == gdal.GDT_Float32,
    'Most': float(want[:, opaque].max()),
    'Place': bool(np.allclose([gt[0], gt[1] * k, gt[3], gt[5] * k], [sg[0], sg[1], sg[3], sg[5]], rtol=0, atol=1e-9)),
    'Cog': str(cog.validate(sys.argv[2])[1])}))`

func TestSmallerCopiesAreTheMeansOfNumPy(t *testing.T) {
	python := oracle.Python(t, "osgeo_utils.samples.validate_cloud_optimized_geotiff", "numpy")
	g, in := square(60)
	for i, k := range everyKind() {
		if testing.Short() && i%6 > 0 {
			continue
		}
		for _, factor := range []int{4, 8}[i%2:] {
			path := k.write(t)
			sum, small := reduce(t, path, in, g, 2, factor, -1)
			alone, err := pass(t, g, in, cells.Options{Workers: 1, MarginM: -1}, path)
			if err != nil {
				t.Fatal(err)
			}
			if !same(sum, alone) {
				t.Errorf("%s: the cells change when a copy is made", k.name)
			}
			out, err := exec.CommandContext(t.Context(), python, "-c", compareReduced, path, small, fmt.Sprint(factor)).CombinedOutput()
			if err != nil {
				t.Fatalf("%s: %v: %s", k.name, err, out)
			}
			var got struct {
				Same, Place bool
				Some        int
				Worst, Most float64
				Float       bool
				Cog         string
			}
			if err := json.Unmarshal(out, &got); err != nil {
				t.Fatal(err)
			}
			far := 0.5001 // of a whole number
			if got.Float {
				far = 1e-6 * got.Most
			}
			if !got.Same || !got.Place || got.Some == 0 || got.Worst > far || got.Cog != "[]" {
				t.Errorf("%s by %d: %+v", k.name, factor, got)
			}
		}
	}
}

func TestSmallerCopiesOfPartsDoNotDependOnWorkers(t *testing.T) {
	k := everyKind()[0]
	g, in := square(60)
	path := k.write(t)
	for i := range in { // a field in a corner: most windows are not read
		in[i] = in[i] && i/g.Cols > g.Rows*3/4 && i%g.Cols > g.Cols/2
	}
	var first []byte
	for _, workers := range []int{1, 4} {
		_, small := reduce(t, path, in, g, workers, 4, 1)
		data, err := os.ReadFile(small)
		if err != nil {
			t.Fatal(err)
		}
		if first != nil && !slices.Equal(first, data) {
			t.Errorf("with %d workers the copy differs", workers)
		}
		first = data
	}
}

// TestSmallerCopiesOfOddStrips reads strips of a number of rows that is no
// multiple of the factor, so that windows share reduced rows.
func TestSmallerCopiesOfOddStrips(t *testing.T) {
	python := oracle.Python(t, "osgeo_utils.samples.validate_cloud_optimized_geotiff", "numpy")
	translate := oracle.Need(t, "gdal_translate")
	k := everyKind()[0]
	g, in := square(60)
	path := k.write(t)
	strips := filepath.Join(t.TempDir(), "strips.tif")
	if out, err := exec.CommandContext(t.Context(), translate, "-q", "-co", "COMPRESS=LZW", "-co", "BLOCKYSIZE=67", path, strips).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	_, small := reduce(t, strips, in, g, 3, 8, -1)
	out, err := exec.CommandContext(t.Context(), python, "-c", compareReduced, path, small, "8").CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte(`"Same": true`)) || !bytes.Contains(out, []byte(`"Worst": 0.5`)) && !bytes.Contains(out, []byte(`"Worst": 0.4`)) {
		t.Errorf("%v: %s", err, out)
	}
}

// BenchmarkSmallerCopy is the pass over 17 million pixels of four bands of 16
// bits, alone and with a copy at a quarter of the size.
func BenchmarkSmallerCopy(b *testing.B) {
	f := everyKind()[0]
	f.format.Cols, f.format.Rows, f.format.Tile = 4096, 4096, 512
	path := filepath.Join(b.TempDir(), f.name)
	out, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(geotiff.Write(out, f.format, f.fill), out.Close()); err != nil {
		b.Fatal(err)
	}
	flight, err := imagery.Open(b.Context(), []string{path}, imagery.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = flight.Close() }() // only read from
	g, in := square(216)
	for _, factor := range []int{0, 4, 8} {
		b.Run(fmt.Sprintf("by%d", factor), func(b *testing.B) {
			for b.Loop() {
				spool, err := os.Create(filepath.Join(b.TempDir(), "spool"))
				if err != nil {
					b.Fatal(err)
				}
				red := &cells.Reduction{Factor: factor, Spool: func() (geotiff.Spool, error) { return spool, nil }}
				if factor == 0 {
					red = nil
				}
				_, copies, err := cells.PassReduced(b.Context(), flight, g, in, cells.Options{Workers: 1, MarginM: -1}, red)
				if err != nil {
					b.Fatal(err)
				}
				for _, c := range copies {
					if err := c.Write(io.Discard); err != nil {
						b.Fatal(err)
					}
				}
				if err := spool.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
