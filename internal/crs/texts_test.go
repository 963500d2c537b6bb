package crs_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/oracle"
)

// A written text is one way in which GDAL writes a system.
type written struct {
	system        string  // EPSG:26915
	lon, lat      float64 // a position in its area of use, on its own datum
	x, y          float64 // where PROJ projects it
	flavour, text string
}

// everyText asks GDAL for the texts of systems; bare ones name no code.
func everyText(t *testing.T, systems []string, args ...string) []written {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo"), append([]string{"testdata/texts.py"}, args...)...)
	cmd.Stdin = strings.NewReader(strings.Join(systems, "\n"))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	var texts []written
	for line := range strings.Lines(string(out)) {
		f := strings.SplitN(strings.TrimSpace(line), "\t", 7)
		if len(f) != 7 {
			t.Fatalf("%.100q", line)
		}
		texts = append(texts, written{f[0], number(t, f[1]), number(t, f[2]), number(t, f[3]), number(t, f[4]), f[5], f[6]})
	}
	return texts
}

// some is every n-th code that is offered, or fewer when tests are to be short.
func some(n int) []string {
	if testing.Short() {
		n *= 20
	}
	var out []string
	for i, c := range crs.Codes() {
		if i%n == 0 {
			out = append(out, fmt.Sprintf("EPSG:%d", c.EPSG))
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
		want, err := crs.Parse(w.system)
		if err != nil {
			t.Fatal(err)
		}
		got, err := crs.Parse(w.text)
		// A height in a system of longitude and latitude is told apart by nothing.
		if err != nil || got != want && !(got.UnitM() == 0 && got.Name() == want.Name()) {
			t.Errorf("%s as %s is read as EPSG:%d %s, %v", w.system, w.flavour, got.EPSG(), got.Name(), err)
		}
	}
	t.Logf("%d texts", len(texts))
}

// distance is how far from PROJ the text's system projects the position, m.
func (w written) distance(c crs.CRS) (float64, error) {
	x, y, err := c.OwnDatum().Forward(w.lon, w.lat)
	unitM := c.UnitM()
	if unitM == 0 {
		unitM = 111320 // a degree of latitude
	}
	return unitM * math.Hypot(x-w.x, y-w.y), err
}

func TestTextsWithoutCodesGiveTheSamePositions(t *testing.T) {
	texts := everyText(t, some(1), "bare")
	far, coded := 0.0, 0
	for _, w := range texts {
		c, err := crs.Parse(w.text)
		if err != nil {
			t.Errorf("%s as %s: %v", w.system, w.flavour, err)
			continue
		}
		d, err := w.distance(c)
		if err != nil || !(d < 1e-3) {
			t.Errorf("%s as %s lies %g m away, as %s: %v", w.system, w.flavour, d, c.Name(), err)
		}
		far = math.Max(far, d)
		if c.EPSG() != 0 {
			coded++
		}
	}
	t.Logf("%d texts: %.2g m from PROJ at worst; %d of them were found in the table", len(texts), far, coded)
}

// The registry is not the only one: these are systems that PROJ knows from
// Esri's, with other parameters and other words.
func TestTextsOfOtherSystemsAreReadOrRefused(t *testing.T) {
	var systems []string
	step := 7
	if testing.Short() {
		step = 61
	}
	for code := 102001; code <= 103000; code += step {
		systems = append(systems, fmt.Sprintf("ESRI:%d", code))
	}
	texts := everyText(t, systems)
	far, read := 0.0, 0
	for _, w := range texts {
		c, err := crs.Parse(w.text)
		if err != nil {
			if !errors.Is(err, crs.ErrUnknown) || !refusal.MatchString(err.Error()) {
				t.Errorf("%s: %v", w.system, err)
			}
			continue
		}
		d, err := w.distance(c)
		if err != nil || !(d < 1e-3) {
			t.Errorf("%s as %s lies %g m away, as %s: %v", w.system, w.flavour, d, c.Name(), err)
		}
		far = math.Max(far, d)
		read++
	}
	t.Logf("%d of %d texts are read: %.2g m from PROJ at worst; the others are refused", read, len(texts), far)
}

// refusal is what a refusal says: what stands in the way, after the name.
var refusal = regexp.MustCompile(`\((datum|ellipsoid|projection) .*\): `)
