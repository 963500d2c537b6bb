package cells_test

import (
	"bytes"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/oracle"
)

// TestMasksScalesAndFilesBesideThePictureTellTheSameGround writes one flight
// in many ways with GDAL, and sums each into the same cells.
func TestMasksScalesAndFilesBesideThePictureTellTheSameGround(t *testing.T) {
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "numpy", "osgeo.gdal"), filepath.Join("testdata", "beside.py"), t.TempDir())
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, errs.String())
	}
	g, in := square(60)
	var want *cells.Summary
	tol, compared := 0.0, 0
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimSpace(line), "\t")
		s, err := pass(t, g, in, cells.Options{Workers: 2, MarginM: cells.Margin}, f[1:]...)
		if err != nil {
			t.Errorf("%s: %v", f[0], err)
			continue
		}
		if strings.HasPrefix(f[0], "=") {
			want, tol = s, 0
			if strings.HasPrefix(f[0], "=~") { // sums of floats, or of another decoder's pixels
				tol = 3e-6
			}
			if f[0] == "=~photo" {
				tol = 0.01
			}
			continue
		}
		sameSummary(t, f[0], s, want, tol)
		compared++
	}
	if compared < 17 {
		t.Errorf("only %d ways were compared", compared)
	}
}

// sameSummary fails the test unless two summaries agree to tol of their means.
func sameSummary(t *testing.T, name string, got, want *cells.Summary, tol float64) {
	t.Helper()
	if strings.Join(got.Bands, " ") != strings.Join(want.Bands, " ") {
		t.Errorf("%s: bands %q, want %q", name, got.Bands, want.Bands)
		return
	}
	some := 0
	for cell := range got.Grid.Len() {
		if got.Pixels[cell] != want.Pixels[cell] {
			t.Errorf("%s: cell %d has %d pixels, want %d", name, cell, got.Pixels[cell], want.Pixels[cell])
			return
		}
		for b := range got.Bands {
			g, w := float64(got.Mean[b][cell]), float64(want.Mean[b][cell])
			if math.IsNaN(g) && math.IsNaN(w) {
				continue
			}
			some++
			if !(math.Abs(g-w) <= tol*math.Abs(w)) {
				t.Errorf("%s: %s of cell %d is %g, want %g", name, got.Bands[b], cell, g, w)
				return
			}
		}
	}
	if some < got.Grid.Len() {
		t.Errorf("%s: only %d means of %d cells", name, some, got.Grid.Len())
	}
}
