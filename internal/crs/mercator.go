package crs

import "math"

// A mercator is a Mercator projection of the ellipsoid.
//
// Source: J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395 (1987), equations 7-6 to 7-12.
type mercator struct {
	el     ellipsoid
	lon0   float64 // degrees
	k0     float64 // scale on the equator
	fe, fn float64 // m
}

func (m mercator) holds(_, lat float64) bool { return math.Abs(lat) <= 89 }

func (m mercator) forward(lon, lat float64) (x, y float64) {
	ak := m.el.a * m.k0
	return m.fe + float64(ak*radians(lonDiff(lon, m.lon0))), m.fn + float64(ak*m.el.isometric(lat))
}

func (m mercator) inverse(x, y float64) (lon, lat float64) {
	ak := m.el.a * m.k0
	return wrapLon(m.lon0 + degrees((x-m.fe)/ak)), m.el.fromIsometric((y - m.fn) / ak)
}

func (m mercator) scale(_, lat float64) float64 { return m.k0 / m.el.parallel(lat) }

func (m mercator) convergence(_, _ float64) float64 { return 0 }

// A web is Mercator's projection of the sphere given the latitudes of the
// ellipsoid WGS84, as web maps have it. It is not conformal.
//
// Source: IOGP 373-7-2, Popular Visualisation Pseudo Mercator (method 1024).
type web struct {
	lon0   float64 // degrees
	fe, fn float64 // m
}

func (w web) holds(_, lat float64) bool { return math.Abs(lat) <= 89 }

func (w web) forward(lon, lat float64) (x, y float64) {
	return w.fe + wgs84.a*radians(lonDiff(lon, w.lon0)), w.fn + wgs84.a*math.Asinh(math.Tan(radians(lat)))
}

func (w web) inverse(x, y float64) (lon, lat float64) {
	return w.lon0 + degrees((x-w.fe)/wgs84.a), degrees(math.Atan(math.Sinh((y - w.fn) / wgs84.a)))
}

func (w web) scale(_, lat float64) float64 {
	s, co := math.Sincos(radians(lat))
	ww := 1 - wgs84.e2()*s*s
	return math.Sqrt(ww*ww/(1-wgs84.e2())) / co
}

func (w web) convergence(_, _ float64) float64 { return 0 }
