package imagery_test

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// TestPicturesThatDefineTheirSystemAreWherePROJSays has GDAL write pictures in
// systems without a code, which GeoTIFF then holds by parameters.
func TestPicturesThatDefineTheirSystemAreWherePROJSays(t *testing.T) {
	python := oracle.Python(t, "osgeo")
	step := 12
	if testing.Short() {
		step = 200
	}
	systems := []string{"ESRI:102003", "ESRI:102008"}
	for i, c := range crs.Codes() {
		// GeoTIFF has no code for Michigan's method.
		if i%step == 0 && c.UnitM != 0 && !strings.Contains(c.Method, "Michigan") {
			systems = append(systems, fmt.Sprintf("EPSG:%d", c.EPSG))
		}
	}
	cmd := exec.CommandContext(t.Context(), python, "testdata/systems.py", t.TempDir())
	cmd.Stdin = strings.NewReader(strings.Join(systems, "\n"))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	far, read := 0.0, 0
	for line := range strings.Lines(string(out)) {
		path, place, _ := strings.Cut(strings.TrimSpace(line), "\t")
		var lon, lat float64
		if _, err := fmt.Sscan(place, &lon, &lat); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		d, err := fromMiddle(t, path, lon, lat)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(path), err)
			continue
		}
		if far, read = math.Max(far, d), read+1; d > 1e-3 {
			t.Errorf("%s: %g m from where PROJ puts it", filepath.Base(path), d)
		}
	}
	t.Logf("%d pictures: %.2g m from PROJ at worst", read, far)
}

// fromMiddle is how far in metres the picture's middle lies from a position on
// the picture's own datum.
func fromMiddle(t *testing.T, path string, lon, lat float64) (float64, error) {
	t.Helper()
	flight, err := imagery.Open(t.Context(), []string{path}, imagery.Options{})
	if err != nil {
		return 0, err
	}
	defer func() { _ = flight.Close() }()
	f := flight.Files[0]
	p := f.At(2, 2)
	gotLon, gotLat := f.CRS.OwnDatum().Inverse(p.X, p.Y)
	dLon := math.Remainder(gotLon-lon, 360) * math.Cos(lat*math.Pi/180)
	return 111320 * math.Hypot(dLon, gotLat-lat), nil
}
