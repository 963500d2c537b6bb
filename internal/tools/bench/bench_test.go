//go:build unix

package main

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/oracle"
)

// TestMain lets the test's own program stand for the bench where that starts
// itself again.
func TestMain(m *testing.M) {
	if os.Getenv("BITTERN_BENCH_SELF") != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

func TestQuickMeasuresEveryRowAndDrawsThePlot(t *testing.T) {
	if testing.Short() {
		t.Skip("runs GDAL some twenty times")
	}
	oracle.Python(t, "osgeo.gdal", "numpy", "scipy")
	oracle.Need(t, "gdal_translate")
	oracle.Need(t, "gdal_calc.py")
	t.Setenv("BITTERN_BENCH_SELF", "1")
	dir := t.TempDir()
	var said bytes.Buffer
	if err := command(t.Context(), []string{"--quick", "--cache", filepath.Join(dir, "cache"), "--out", dir}, &said); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "speed.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range (settings{}).cases() {
		if !strings.Contains(said.String(), c.name) || !strings.Contains(string(page), "| "+c.name+" |") {
			t.Errorf("no row says %q", c.name)
		}
	}
	for line := range strings.Lines(string(page)) {
		for _, word := range []string{"NaN", "Inf", "| 0.00 | **"} {
			// There is next to no ground to plant in on such a field.
			if strings.Contains(line, word) && !strings.Contains(line, "smallest seen alone") {
				t.Errorf("a line of the page holds %q: %s", word, line)
			}
		}
	}
	if !strings.Contains(string(page), "| - smallest seen alone |") {
		t.Error("no row tells of smallest seen")
	}
	plot, err := os.ReadFile(filepath.Join(dir, "speed.svg"))
	if err != nil {
		t.Fatal(err)
	}
	for d := xml.NewDecoder(bytes.NewReader(plot)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("the plot is not XML: %v", err)
		}
	}
	if bytes.Contains(plot, []byte("NaN")) {
		t.Error("the plot holds something that is no number")
	}
}
