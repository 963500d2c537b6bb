package geotiff_test

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"bittern/internal/geotiff"
	"bittern/internal/oracle"
)

// python runs a script of testdata with the system's interpreter and returns
// what it printed.
func python(t *testing.T, script string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo.gdal", "numpy"), append([]string{filepath.Join("testdata", script)}, args...)...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, err, errs.String())
	}
	return string(out)
}

// open opens a file for the length of the test.
func open(t *testing.T, path string) (*geotiff.Image, error) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	return geotiff.Open(f, info.Size())
}

// errHuge says that a picture is sound but not for a test to hold in memory.
var errHuge = errors.New("too large for this test")

// pixels decodes a whole picture, pixel by pixel, without what lies outside.
func pixels(im *geotiff.Image) ([]byte, error) {
	px := im.Bands * im.Sample.Bytes()
	if int64(im.Cols)*int64(im.Rows)*int64(px) > 256<<20 {
		return nil, errHuge
	}
	out := make([]byte, im.Cols*im.Rows*px)
	block := make([]byte, im.BlockBytes())
	d := im.NewDecoder()
	for i := range im.Blocks() {
		if err := d.Decode(i, block); err != nil {
			return nil, err
		}
		w := im.Block(i)
		for r := range w.Rows {
			from := block[r*im.BlockCols*px:][:w.Cols*px]
			copy(out[((w.Row+r)*im.Cols+w.Col)*px:], from)
		}
	}
	return out, nil
}

func TestPicturesWrittenByGDALDecodeToItsPixels(t *testing.T) {
	dir := t.TempDir()
	python(t, "layouts.py", dir)
	list, err := os.ReadFile(filepath.Join(dir, "cases.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(list)), "\n")
	if len(lines) < 100 {
		t.Fatalf("only %d cases", len(lines))
	}
	for _, line := range lines {
		f := strings.Split(line, "\t")
		t.Run(f[0], func(t *testing.T) {
			im, err := open(t, filepath.Join(dir, f[0]+".tif"))
			if err != nil {
				t.Fatal(err)
			}
			if got := describe(im); got != strings.Join(f[1:], "\t") {
				t.Errorf("got  %s\nwant %s", got, strings.Join(f[1:], "\t"))
			}
			got, err := pixels(im)
			if err != nil {
				t.Fatal(err)
			}
			want, err := os.ReadFile(filepath.Join(dir, f[0]+".raw"))
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("pixels differ (block %d x %d, predictor %d)", im.BlockCols, im.BlockRows, im.Predictor)
			}
		})
	}
}

// describe is a line of cases.tsv after its name.
func describe(im *geotiff.Image) string {
	words := []string{strconv.Itoa(im.Cols), strconv.Itoa(im.Rows), strconv.Itoa(im.Bands), im.Sample.String()}
	words = append(words, "none")
	if im.NoData != nil {
		words[4] = number(*im.NoData)
	}
	if a := im.Affine; a != nil {
		for _, v := range []float64{a.A, a.B, a.C, a.D, a.E, a.F} {
			words = append(words, number(v))
		}
	} else {
		words = append(words, "0", "0", "0", "0", "0", "0")
	}
	return strings.Join(append(words, strconv.Itoa(im.EPSG)), "\t")
}

// number is a float as Python prints it.
func number(v float64) string {
	if math.IsNaN(v) {
		return "nan"
	}
	s := strconv.FormatFloat(v, 'g', -1, 64)
	if strings.Contains(s, "e") && (math.Abs(v) < 1e16 && math.Abs(v) >= 1e-4) {
		s = strconv.FormatFloat(v, 'f', -1, 64)
	}
	if !strings.ContainsAny(s, ".ein") {
		s += ".0"
	}
	return s
}
