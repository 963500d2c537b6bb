package crs

import (
	"math"
	"testing"
)

// The published examples stand on ellipsoids that no CRS here offers by name.
func TestTransverseMercatorReproducesPublishedExamples(t *testing.T) {
	airy := ellipsoid{6377563.396, 299.32496}
	clarke1866 := ellipsoid{6378206.4, 294.978698213898}
	for _, tc := range []struct {
		source     string
		tm         transverse
		lon, lat   float64
		east, nrth float64
		scale, tol float64
	}{
		{
			"T10.1: IOGP 373-7-2, Transverse Mercator, worked example", newTransverse(airy, -2, 49, 0.9996012717, 400000, -100000),
			0.5, 50.5, 577274.984, 69740.492, 0, 0.001,
		},
		{
			"T10.3: Snyder, USGS PP 1395 (1987), p. 269", newTransverse(clarke1866, -75, 0, 0.9996, 0, 0),
			-73.5, 40.5, 127106.467, 4484124.434, 0.9997989, 0.001,
		},
	} {
		x, y := tc.tm.forward(tc.lon, tc.lat)
		if math.Hypot(x-tc.east, y-tc.nrth) > tc.tol {
			t.Errorf("%s: got %.4f %.4f, want %.4f %.4f", tc.source, x, y, tc.east, tc.nrth)
		}
		if k := tc.tm.project(tc.lon, tc.lat).scale; tc.scale != 0 && math.Abs(k-tc.scale) > 5e-8 {
			t.Errorf("%s: scale %.8f, want %.7f", tc.source, k, tc.scale)
		}
		lon, lat := tc.tm.inverse(x, y)
		if math.Abs(lon-tc.lon) > 1e-12 || math.Abs(lat-tc.lat) > 1e-12 {
			t.Errorf("%s: back to %.14f %.14f", tc.source, lon, lat)
		}
	}
}
