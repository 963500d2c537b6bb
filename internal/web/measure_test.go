package web_test

import (
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/invent"
	"bittern/internal/oracle"
	"bittern/internal/vector"
)

// TestPageIsMeasured prints what docs/methods/page.md claims of speed and memory:
//
//	BITTERN_MEASURE=1 go test ./internal/web -run TestPageIsMeasured -v -timeout 60m
func TestPageIsMeasured(t *testing.T) {
	if os.Getenv("BITTERN_MEASURE") == "" {
		t.Skip("takes many minutes; set BITTERN_MEASURE=1")
	}
	node := oracle.Need(t, "node")
	oracle.Need(t, "chromium")
	needModules(t)
	program := filepath.Join(t.TempDir(), "bittern")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, "bittern/cmd/bittern").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Setenv("BITTERN_PROGRAM", program)
	t.Setenv("BITTERN_LARGE", largeFlight(t, "1600"))
	run(t, node, "e2e/measure.mjs")
}

// largeFlight makes a flight of so many acres, whose picture repeats the tiles of an
// invented one: picture.tif and boundary.geojson in the folder that is returned.
func largeFlight(t *testing.T, acres string) string {
	t.Helper()
	base, cache := t.TempDir(), t.TempDir()
	scene := invent.Believable(invent.FourBand16, 1)
	scene.Acres = 16
	field, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	is := field.Format()
	write(t, filepath.Join(base, "picture.tif"), func(w io.WriteSeeker) error { // as the bench repeats it
		return geotiff.Write(w, geotiff.Format{
			Cols: is.Cols, Rows: is.Rows, Bands: len(is.Bands), Sample: geotiff.Uint16, Tile: 512, Deflate: true, Predictor: true, Big: true,
			Affine: is.Affine, EPSG: is.EPSG, BandNames: is.Bands,
		}, field.Fill)
	})
	cmd := exec.CommandContext(t.Context(), "go", "run", "bittern/internal/tools/bench", "--repeat", base, "--acres", acres, "--cache", cache)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	dir := strings.TrimSpace(string(out))
	text, err := os.ReadFile(filepath.Join(dir, "field.json"))
	if err != nil {
		t.Fatal(err)
	}
	var square struct {
		EPSG int
		Ring geo.Ring
	}
	if err := json.Unmarshal(text, &square); err != nil {
		t.Fatal(err)
	}
	zone, err := crs.FromEPSG(square.EPSG)
	if err != nil {
		t.Fatal(err)
	}
	var ring geo.Ring
	for _, p := range append(square.Ring, square.Ring[0]) {
		lon, lat := zone.Inverse(p.X, p.Y)
		ring = append(ring, geo.Point{X: lon, Y: lat})
	}
	write(t, filepath.Join(dir, "boundary.geojson"), func(w io.WriteSeeker) error {
		return vector.WriteGeoJSON(w, vector.Layer{Features: []vector.Feature{{Polygons: geo.MultiPolygon{{Outer: ring}}}}})
	})
	return dir
}

func write(t *testing.T, path string, fill func(io.WriteSeeker) error) {
	t.Helper()
	f, err := os.Create(path)
	if err == nil {
		err = fill(f)
	}
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}
