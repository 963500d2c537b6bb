package app

import "testing"

func TestAFieldIsNotCalledBoundary(t *testing.T) {
	for path, want := range map[string]string{"given/boundary.geojson": "The field", "Field.kml": "The field", "north 40.shp": "north 40"} {
		if got := nameOfFile(path); got != want {
			t.Errorf("%s: %q, want %q", path, got, want)
		}
	}
}
