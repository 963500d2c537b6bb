package crs_test

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/oracle"
)

// A written text is one way in which GDAL writes a code.
type written struct {
	code          int
	lon, lat      float64 // a position in its area of use, on its own datum
	flavour, text string
}

// everyText asks GDAL for the texts of the codes; bare ones name no code.
func everyText(t *testing.T, codes []crs.Code, args ...string) []written {
	t.Helper()
	var in strings.Builder
	for _, c := range codes {
		fmt.Fprintln(&in, c.EPSG)
	}
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo"), append([]string{"testdata/texts.py"}, args...)...)
	cmd.Stdin = strings.NewReader(in.String())
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	var texts []written
	for line := range strings.Lines(string(out)) {
		f := strings.SplitN(strings.TrimSpace(line), "\t", 5)
		code, err := strconv.Atoi(f[0])
		if err != nil || len(f) != 5 {
			t.Fatalf("%.100q: %v", line, err)
		}
		if !strings.HasPrefix(f[4], "none: ") {
			texts = append(texts, written{code, number(t, f[1]), number(t, f[2]), f[3], f[4]})
		}
	}
	return texts
}

// some is every n-th code, or fewer when tests are to be short.
func some(n int) []crs.Code {
	if testing.Short() {
		n *= 20
	}
	var out []crs.Code
	for i, c := range crs.Codes() {
		if i%n == 0 {
			out = append(out, c)
		}
	}
	return out
}

func TestTextsWithCodesAreReadAsThem(t *testing.T) {
	texts := everyText(t, some(5))
	for _, w := range texts {
		if w.flavour == "WKT1_ESRI" {
			continue // it has no codes
		}
		want, err := crs.FromEPSG(w.code)
		if err != nil {
			t.Fatal(err)
		}
		got, err := crs.Parse(w.text)
		// A height in a system of longitude and latitude is told apart by nothing.
		if err != nil || got != want && !(got.UnitM() == 0 && got.Name() == want.Name()) {
			t.Errorf("EPSG:%d as %s is read as EPSG:%d %s, %v", w.code, w.flavour, got.EPSG(), got.Name(), err)
		}
	}
	t.Logf("%d texts", len(texts))
}

func TestTextsWithoutCodesGiveTheSamePositions(t *testing.T) {
	texts := everyText(t, some(1), "bare")
	far, coded := 0.0, 0
	for _, w := range texts {
		want, err := crs.FromEPSG(w.code)
		if err != nil {
			t.Fatal(err)
		}
		got, err := crs.Parse(w.text)
		if err != nil {
			t.Errorf("EPSG:%d as %s: %v", w.code, w.flavour, err)
			continue
		}
		x, y, err := want.OwnDatum().Forward(w.lon, w.lat)
		x2, y2, err2 := got.OwnDatum().Forward(w.lon, w.lat)
		d := math.Hypot(x2-x, y2-y) * math.Max(1, want.UnitM())
		if err != nil || err2 != nil || !(d < 0.002) || got.UnitM() != want.UnitM() {
			t.Errorf("EPSG:%d as %s lies %g m away (%v, %v), as %s", w.code, w.flavour, d, err, err2, got.Name())
		}
		far = math.Max(far, d)
		if got.EPSG() != 0 {
			coded++
		}
	}
	t.Logf("%d texts: positions %.2g m apart at worst; %d of them were found in the table", len(texts), far, coded)
}
