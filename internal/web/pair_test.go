package web_test

import (
	"io"
	"path/filepath"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/vector"
)

// twoFlights writes an invented field that was flown twice, the earlier picture
// lying off the later one: flight.tif, before.tif and boundary.geojson in the folder.
func twoFlights(t *testing.T, dir string, acres float64) {
	t.Helper()
	scene := invent.Believable(invent.FourBand16, 3)
	scene.Acres, scene.PixelM = acres, 0.1
	scene.Weeds = invent.Weeds{Acres: 0.08 * acres, Patches: 4, Light: 0.5, Heavy: 0.8}
	now, errA := invent.New(scene)
	before, errB := invent.New(scene.Earlier())
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	for name, fill := range map[string]func(io.WriteSeeker) error{
		"flight.tif": now.WritePicture, "before.tif": before.WritePicture,
		"boundary.geojson": func(w io.WriteSeeker) error {
			return vector.WriteGeoJSON(w, vector.Layer{Features: []vector.Feature{{Polygons: geo.MultiPolygon{now.Boundary()}}}})
		},
	} {
		write(t, filepath.Join(dir, name), fill)
	}
}
