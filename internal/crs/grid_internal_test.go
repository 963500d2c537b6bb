package crs

import (
	"math"
	"testing"
)

// Scale and convergence follow from the projection itself: they are held to its
// differences, one system for each method.
func TestScaleAndConvergenceAreThoseOfTheProjection(t *testing.T) {
	for _, tc := range []struct {
		epsg       int
		lon, lat   float64
		tolConform float64 // how far from conformal: 0 means that only areas count
	}{
		{32615, -91.55, 34.5, 1e-7},
		{32722, -49.7, -28.9, 1e-7},
		{26951, -91.5, 35.5, 1e-7},
		{6201, -84, 44, 1e-7},
		{5070, -91.55, 34.5, 0},
		{3413, -30, 75, 1e-7},
		{3031, 120, -75, 1e-7},
		{5041, 44, 80, 1e-7},
		{26931, -134, 57, 1e-7},
		{3395, 20, 50, 1e-7},
		{3857, 20, 50, 0},
	} {
		c, err := FromEPSG(tc.epsg)
		if err != nil {
			t.Fatal(err)
		}
		eastX, eastY, northX, northY := derivatives(c, tc.lon, tc.lat)
		if tc.epsg != 3857 {
			gamma := -degrees(math.Atan2(northX, northY))
			if got := c.Convergence(tc.lon, tc.lat); math.Abs(lonDiff(got, gamma)) > 1e-6 {
				t.Errorf("EPSG:%d: convergence %.8f, by differences %.8f", tc.epsg, got, gamma)
			}
		}
		area := math.Sqrt(math.Abs(eastX*northY - eastY*northX))
		if got := c.ScaleFactor(tc.lon, tc.lat); math.Abs(got-area) > 1e-7 {
			t.Errorf("EPSG:%d: scale %.9f, by differences %.9f", tc.epsg, got, area)
		}
		if tc.tolConform > 0 && math.Abs(math.Hypot(northX, northY)-area) > tc.tolConform {
			t.Errorf("EPSG:%d is not conformal", tc.epsg)
		}
	}
}

// derivatives are the steps on the plane for a metre east and a metre north.
func derivatives(c CRS, lon, lat float64) (eastX, eastY, northX, northY float64) {
	el := c.datum.ellipsoid()
	s, co := math.Sincos(radians(lat))
	w := 1 - el.e2()*s*s
	n, m := el.a/math.Sqrt(w), el.a*(1-el.e2())/(w*math.Sqrt(w))
	const h = 1e-4 // degrees
	step := func(dLon, dLat, length float64) (x, y float64) {
		x0, y0 := c.plane.forward(lon-dLon, lat-dLat)
		x1, y1 := c.plane.forward(lon+dLon, lat+dLat)
		return (x1 - x0) / length, (y1 - y0) / length
	}
	eastX, eastY = step(h, 0, 2*radians(h)*n*co)
	northX, northY = step(0, h, 2*radians(h)*m)
	return eastX, eastY, northX, northY
}

func TestTheTableIsInOrderAndWhole(t *testing.T) {
	for i := range projecteds {
		row := &projecteds[i]
		if i > 0 && projecteds[i-1].code >= row.code {
			t.Fatalf("EPSG:%d does not rise", row.code)
		}
		c, ok := findConversion(row.conversion)
		if !ok {
			t.Fatalf("EPSG:%d has no conversion", row.code)
		}
		if why := c.shape.check(c.method); why != "" {
			t.Errorf("EPSG:%d: %s", row.code, why)
		}
	}
	for i := range conversions {
		if i > 0 && conversions[i-1].code >= conversions[i].code {
			t.Fatalf("conversion %d does not rise", conversions[i].code)
		}
	}
	for _, pair := range aliases {
		if c, err := FromEPSG(pair[0]); err != nil || c.epsg != pair[1] {
			t.Errorf("EPSG:%d is read as EPSG:%d, %v", pair[0], c.epsg, err)
		}
	}
}

func TestUTMZonesAreWhatTheirNumbersSay(t *testing.T) {
	for zone := 1; zone <= 60; zone++ {
		for _, south := range []bool{false, true} {
			c := UTM(zone, south)
			fn := 0.0
			if south {
				fn = 10000000
			}
			if want := newTransverse(wgs84, float64(6*zone-183), 0, 0.9996, 500000, fn); c.plane != want {
				t.Errorf("zone %d, south %v: %+v", zone, south, c.plane)
			}
		}
	}
}
