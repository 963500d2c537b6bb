package geotiff_test

import (
	"cmp"
	"encoding/binary"
	"encoding/json"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/oracle"
)

func TestCloudOptimisedPicturesPassGDALsCheckAndReadTheSame(t *testing.T) {
	oracle.Python(t, "osgeo_utils.samples.validate_cloud_optimized_geotiff")
	paths := createAll(t, func(w io.WriteSeeker, f geotiff.Format, all []byte) error {
		return geotiff.WriteCOG(w, f, fillFrom(f, all))
	})
	if out := python(t, "validate.py", slices.Sorted(maps.Values(paths))...); out != "" {
		t.Errorf("not cloud-optimised: %s", out)
	}
	for name, got := range expectAllInGDAL(t, paths) {
		f := formats()[name]
		want := overviewSizes(f)
		if !slices.Equal(got.Overviews, want) {
			t.Errorf("%s: overviews in GDAL are %v, want %v", name, got.Overviews, want)
		}
		if im, err := open(t, paths[name]); err != nil || im.Overviews != len(want) {
			t.Errorf("%s: we do not see %d overviews (%v)", name, len(want), err)
		}
	}
}

// overviewSizes halves the picture until one tile holds it.
func overviewSizes(f geotiff.Format) [][2]int {
	tile := cmp.Or(f.Tile, 512)
	sizes := [][2]int{}
	for cols, rows := f.Cols, f.Rows; cols > tile || rows > tile; {
		cols, rows = (cols+1)/2, (rows+1)/2
		sizes = append(sizes, [2]int{cols, rows})
	}
	return sizes
}

// TestOverviewsAreMeansOfValidCells holds overviews to means computed by
// NumPy from the full picture.
func TestOverviewsAreMeansOfValidCells(t *testing.T) {
	f := geotiff.Format{
		Cols: 75, Rows: 61, Bands: 1, Sample: geotiff.Float32, Tile: 32, Deflate: true, Predictor: true,
		Affine: grid.Affine{A: 615000, B: 0.5, D: 3900000, F: -0.5}, EPSG: 32615, NoData: noData(math.NaN()),
	}
	all := make([]byte, f.Cols*f.Rows*4)
	for i := range f.Cols * f.Rows {
		v := float32(math.Sin(float64(i)))
		if i%7 < 3 || i/f.Cols < 9 {
			v = float32(math.NaN())
		}
		binary.LittleEndian.PutUint32(all[i*4:], math.Float32bits(v))
	}
	path := create(t, "means", func(w io.WriteSeeker) error { return geotiff.WriteCOG(w, f, fillFrom(f, all)) })
	var got struct {
		Worst   float64
		NaNs    bool
		Checked int
	}
	if err := json.Unmarshal([]byte(python(t, "overviews.py", path)), &got); err != nil {
		t.Fatal(err)
	}
	if got.Checked < 1000 || !got.NaNs || got.Worst > 1e-6 {
		t.Errorf("worst difference %g over %d cells, no data in the same places: %v", got.Worst, got.Checked, got.NaNs)
	}
}

func TestOverviewsOfWholeNumbersRoundAndMindAlpha(t *testing.T) {
	f := geotiff.Format{Cols: 32, Rows: 32, Bands: 2, Sample: geotiff.Uint8, Tile: 16, Alpha: true}
	all := make([]byte, 32*32*2)
	for i := range 32 * 32 {
		all[2*i] = byte(10 + i%2*5) // columns of 10 and 15
		all[2*i+1] = byte(i % 2 * 255)
	}
	for i := 16 * 32; i < 32*32; i++ {
		all[2*i+1] = 255
	}
	path := create(t, "alpha", func(w io.WriteSeeker) error { return geotiff.WriteCOG(w, f, fillFrom(f, all)) })
	data := overviewBytes(t, path)
	if data[0] != 15 || data[1] != 255 {
		t.Errorf("a group with one transparent column gives %v, want its other column, opaque", data[:2])
	}
	if at := 2 * 16 * 15; data[at] != 13 || data[at+1] != 255 {
		t.Errorf("an opaque group of 10 and 15 gives %v, want 13, opaque", data[at:at+2])
	}
}

// overviewBytes returns the first bytes after the directories, which are the
// smallest overview when tiles are stored plainly.
func overviewBytes(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b[len(b)-5*16*16*2:][:16*16*2] // one overview tile, then four tiles of the picture
}

func TestCloudOptimisedPicturesNeedNoFile(t *testing.T) {
	f := formats()["named"]
	if err := geotiff.WriteCOG(io.Discard, f, fillFrom(f, randomPixels(f))); err != nil {
		t.Fatal(err)
	}
	full, err := os.OpenFile(filepath.Join("/dev", "full"), os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no device that is always full")
	}
	defer full.Close()
	if err := geotiff.WriteCOG(full, f, fillFrom(f, randomPixels(f))); err == nil {
		t.Error("a full disk goes unnoticed")
	}
}
