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
	for _, word := range []string{"NaN", "Inf", "| 0.00 | **"} {
		if strings.Contains(string(page), word) {
			t.Errorf("the page holds %q:\n%s", word, page)
		}
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
