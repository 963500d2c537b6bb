package geotiff_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
)

// told is what describe.py prints of a file.
type told struct {
	Size      [3]int
	Type      string
	Block     [2]int
	Transform []float64
	EPSG      string
	NoData    []string
	Names     []string
	Colors    []string
	Date      string
	Software  string
	Overviews [][2]int
}

func noData(v float64) *float64 { return &v }

// randomPixels is a picture of smooth and noisy parts.
func randomPixels(f geotiff.Format) []byte {
	rng := rand.New(rand.NewPCG(1, uint64(f.Bands)))
	out := make([]byte, f.Cols*f.Rows*f.Bands*f.Sample.Bytes())
	for i := range out {
		out[i] = byte(i / 37)
		if i > len(out)/2 {
			out[i] = byte(rng.UintN(256))
		}
	}
	if f.Sample == geotiff.Float32 || f.Sample == geotiff.Float64 {
		for i := f.Sample.Bytes() - 1; i < len(out); i += f.Sample.Bytes() {
			out[i] &= 0x3f // no NaN among them, whose bits need not survive elsewhere
		}
	}
	return out
}

// fillFrom gives the windows of a whole picture.
func fillFrom(f geotiff.Format, all []byte) geotiff.Fill {
	px := f.Bands * f.Sample.Bytes()
	return func(w grid.Window, dst []byte) error {
		for r := range w.Rows {
			copy(dst[r*w.Cols*px:(r+1)*w.Cols*px], all[((w.Row+r)*f.Cols+w.Col)*px:])
		}
		return nil
	}
}

// formats are pictures of all the kinds that are written.
func formats() map[string]geotiff.Format {
	north := grid.Affine{A: 615000.5, B: 0.5, D: 3900000, F: -0.5}
	return map[string]geotiff.Format{
		"plain": {Cols: 100, Rows: 70, Bands: 3, Sample: geotiff.Uint8, Tile: 32, Affine: north, EPSG: 32615},
		"rgba": {
			Cols: 100, Rows: 70, Bands: 4, Sample: geotiff.Uint8, Tile: 64, Deflate: true, Predictor: true, Affine: north, EPSG: 32615,
			Alpha: true, Colors: []string{"red", "green", "blue", "alpha"}, DateTime: "2026:07:14 09:05:00", Software: "a test",
		},
		"named": {
			Cols: 90, Rows: 170, Bands: 4, Sample: geotiff.Uint16, Tile: 16, Deflate: true, Predictor: true, Affine: north, EPSG: 32715,
			NoData: noData(0), BandNames: []string{"green", "red & <ripe>", "red edge", ""}, Wavelengths: []float64{560, 668, 717.5, 0}, Colors: []string{"green", "red", "rededge", "nir"},
		},
		"departure": {
			Cols: 513, Rows: 512, Bands: 1, Sample: geotiff.Float32, Deflate: true, Predictor: true, Level: 9, Affine: north, EPSG: 32615,
			NoData: noData(math.NaN()), BandNames: []string{"departure"},
		},
		"degrees": {
			Cols: 33, Rows: 20, Bands: 2, Sample: geotiff.Float64, Tile: 16, Deflate: true, Predictor: true, EPSG: 4326,
			Affine: grid.Affine{A: -91.5, B: 1e-6, D: 35.25, F: -1e-6}, NoData: noData(-9999.5),
		},
		"turned": {Cols: 33, Rows: 20, Bands: 1, Sample: geotiff.Int16, Tile: 16, Deflate: true, Affine: grid.Affine{A: 1, B: 2, C: 3, D: 4, E: 5, F: 6}, EPSG: 3857},
		"big":    {Cols: 33, Rows: 20, Bands: 5, Sample: geotiff.Int32, Tile: 16, Big: true, Deflate: true, Predictor: true, Affine: north, EPSG: 26915, NoData: noData(-2147483648)},
		"bigraw": {Cols: 33, Rows: 20, Bands: 6, Sample: geotiff.Uint32, Tile: 16, Big: true},
		"rgbnir": {Cols: 33, Rows: 20, Bands: 5, Sample: geotiff.Uint16, Tile: 16, Colors: []string{"red", "green", "blue", "nir", "alpha"}, Alpha: true, Affine: north, EPSG: 32615},
	}
}

// create writes a picture into a file of a temporary folder.
func create(tb testing.TB, name string, write func(io.WriteSeeker) error) string {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), name+".tif")
	file, err := os.Create(path)
	if err != nil {
		tb.Fatal(err)
	}
	if err := errors.Join(write(file), file.Close()); err != nil {
		tb.Fatal(err)
	}
	return path
}

// createAll writes every format and returns the files by name.
func createAll(t *testing.T, write func(io.WriteSeeker, geotiff.Format, []byte) error) map[string]string {
	t.Helper()
	paths := map[string]string{}
	for name, f := range formats() {
		paths[name] = create(t, name, func(w io.WriteSeeker) error { return write(w, f, randomPixels(f)) })
	}
	return paths
}

func TestWrittenPicturesReadTheSameWithGDAL(t *testing.T) {
	paths := createAll(t, func(w io.WriteSeeker, f geotiff.Format, all []byte) error {
		return geotiff.Write(w, f, fillFrom(f, all))
	})
	expectAllInGDAL(t, paths)
}

// expectAllInGDAL holds what GDAL and what we read of the files to what was
// written.
func expectAllInGDAL(t *testing.T, paths map[string]string) map[string]told {
	t.Helper()
	names := slices.Sorted(maps.Keys(paths))
	var files []string
	for _, name := range names {
		files = append(files, paths[name])
	}
	out := map[string]told{}
	lines := json.NewDecoder(strings.NewReader(python(t, "describe.py", files...)))
	for _, name := range names {
		var got told
		if err := lines.Decode(&got); err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) { expectInGDAL(t, paths[name], formats()[name], got) })
		out[name] = got
	}
	return out
}

// expectInGDAL is expectAllInGDAL for one file.
func expectInGDAL(t *testing.T, path string, f geotiff.Format, got told) {
	t.Helper()
	all := randomPixels(f)
	raw, err := os.ReadFile(path + ".raw")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(raw, all) {
		t.Error("GDAL reads other pixels than were written")
	}
	if want := expected(f, got); !reflect.DeepEqual(got, want) {
		t.Errorf("GDAL says\n%+v, want\n%+v", got, want)
	}
	im, err := open(t, path)
	if err != nil {
		t.Fatal(err)
	}
	if ours, err := pixels(im); err != nil || !bytes.Equal(ours, all) {
		t.Errorf("we read other pixels than were written (%v)", err)
	}
	if f.BandNames != nil && !slices.Equal(im.BandNames, f.BandNames) || f.Colors != nil && !slices.Equal(im.Colors, f.Colors) {
		t.Errorf("we read names %q, colours %q", im.BandNames, im.Colors)
	}
	if f.Wavelengths != nil && !slices.Equal(im.Wavelengths, f.Wavelengths) {
		t.Errorf("we read wavelengths %v", im.Wavelengths)
	}
}

// expected is what GDAL should say of a format. Overviews are the caller's.
func expected(f geotiff.Format, got told) told {
	types := map[geotiff.Sample]string{
		geotiff.Uint8: "Byte", geotiff.Uint16: "UInt16", geotiff.Int16: "Int16", geotiff.Uint32: "UInt32",
		geotiff.Int32: "Int32", geotiff.Float32: "Float32", geotiff.Float64: "Float64",
	}
	tile := f.Tile
	if tile == 0 {
		tile = 512
	}
	want := told{Size: [3]int{f.Cols, f.Rows, f.Bands}, Type: types[f.Sample], Block: [2]int{tile, tile}, Date: f.DateTime, Software: f.Software, Overviews: got.Overviews}
	if a := f.Affine; a != (grid.Affine{}) {
		want.Transform = []float64{a.A, a.B, a.C, a.D, a.E, a.F}
	}
	if f.EPSG != 0 {
		want.EPSG = fmt.Sprint(f.EPSG)
	}
	// GDAL 3.6 knows no colour beyond the visible, and calls a first band gray.
	known := map[string]string{"red": "Red", "green": "Green", "blue": "Blue", "alpha": "Alpha", "gray": "Gray"}
	for b := range f.Bands {
		name, color, none := "", "Undefined", "None"
		if f.BandNames != nil {
			name = f.BandNames[b]
		}
		if f.Colors == nil && b == 0 {
			color = "Gray"
		}
		if f.Colors != nil && known[f.Colors[b]] != "" {
			color = known[f.Colors[b]]
		}
		if f.NoData != nil {
			none = number(*f.NoData)
		}
		want.Names, want.Colors, want.NoData = append(want.Names, name), append(want.Colors, color), append(want.NoData, none)
	}
	return want
}

func TestTheNumberOfWorkersChangesNoByte(t *testing.T) {
	f := formats()["named"]
	all := randomPixels(f)
	var first []byte
	for _, workers := range []int{1, 2, 7} {
		f.Workers = workers
		path := create(t, "picture", func(w io.WriteSeeker) error { return geotiff.Write(w, f, fillFrom(f, all)) })
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = got
		}
		if !bytes.Equal(first, got) {
			t.Errorf("%d workers write other bytes", workers)
		}
	}
}

func TestWriteHandsOnTheErrorOfFill(t *testing.T) {
	bad := errors.New("no pixels")
	f := formats()["plain"]
	n := 0
	fill := func(grid.Window, []byte) error {
		if n++; n > 3 {
			return bad
		}
		return nil
	}
	file, err := os.Create(filepath.Join(t.TempDir(), "x.tif"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if err := geotiff.Write(file, f, fill); !errors.Is(err, bad) {
		t.Errorf("got %v", err)
	}
	if n != 4 {
		t.Errorf("fill was called %d times, last after its error", n)
	}
}

func TestWriteRefusesWhatNoFileCanHold(t *testing.T) {
	for name, spoil := range map[string]func(*geotiff.Format){
		"no columns":    func(f *geotiff.Format) { f.Cols = 0 },
		"no bands":      func(f *geotiff.Format) { f.Bands = 0 },
		"odd tiles":     func(f *geotiff.Format) { f.Tile = 100 },
		"too few names": func(f *geotiff.Format) { f.BandNames = []string{"one"} },
		"too high":      func(f *geotiff.Format) { f.Rows = 1 << 40 },
	} {
		f := formats()["plain"]
		spoil(&f)
		if err := geotiff.Write(nil, f, nil); err == nil || strings.Contains(err.Error(), "%!") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
