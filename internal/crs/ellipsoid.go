package crs

import "math"

// An ellipsoid is the figure of the earth that a CRS is built on.
type ellipsoid struct {
	a    float64 // m, semi-major axis
	invF float64 // inverse flattening
}

// The ellipsoids that are known by name.
//
// Source: IOGP EPSG dataset, ellipsoids 7030, 7019, 7043 and 7008, the last of
// which is defined by both axes.
var (
	wgs84      = ellipsoid{6378137, 298.257223563}
	grs80      = ellipsoid{6378137, 298.257222101}
	wgs72      = ellipsoid{6378135, 298.26}
	clarke1866 = ellipsoid{6378206.4, 6378206.4 / (6378206.4 - 6356583.8)}
)

// n is the third flattening.
func (e ellipsoid) n() float64 {
	f := 1 / e.invF
	return f / (2 - f)
}

// e2 is the first eccentricity squared.
func (e ellipsoid) e2() float64 {
	f := 1 / e.invF
	return f * (2 - f)
}

// authalic is the function q of latitude with sine s, divided by 2: the area
// between the equator and that latitude is a²·(1-e²)·authalic for each radian
// of longitude.
//
// Source: J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395 (1987), equation 3-12.
func (e ellipsoid) authalic(s float64) float64 {
	ecc := math.Sqrt(e.e2())
	es := ecc * s
	return (s/(1-float64(es*es)) + math.Atanh(es)/ecc) / 2
}
