package crs

import (
	"math"

	"bittern/internal/geo"
)

// AreaM2 is the area in square metres on the WGS84 ellipsoid of polygons in
// longitude and latitude: outer rings less holes, whatever way the rings turn.
// See [RingAreaM2].
func AreaM2(m geo.MultiPolygon) float64 {
	total := 0.0
	for _, p := range m {
		a := math.Abs(RingAreaM2(p.Outer))
		for _, h := range p.Holes {
			a -= math.Abs(RingAreaM2(h))
		}
		total += a
	}
	return total
}

// RingAreaM2 is the signed area in square metres on the WGS84 ellipsoid of a
// ring in longitude and latitude, positive counter-clockwise.
//
// Edges are geodesics: the straight lines that a person walks between corners,
// which is also what a line that is straight in a UTM zone comes to. The area
// agrees with GeographicLib's to 1 part in 10^9 while edges are shorter than 10
// km, and to 1 in 10^7 at a degree. Were the edges straight in longitude and
// latitude instead, a square mile askew to the meridian would differ by up to 2
// parts in 10^5. A ring may cross the antimeridian and may enclose a pole.
//
// Source: Green's theorem over the authalic latitude, Snyder, USGS Professional
// Paper 1395 (1987), equation 3-12, for edges straight in longitude and latitude;
// between those and geodesics, the leading term of the geodesic equation.
func RingAreaM2(r geo.Ring) float64 {
	if len(r) < 3 {
		return 0
	}
	// The reference latitude keeps a small field from being the difference of
	// two large numbers.
	reference := wgs84.authalic(math.Sin(radians(r[0].Y)))
	sum, turn, slivers := 0.0, 0.0, 0.0
	for i, p := range r {
		q := r[(i+1)%len(r)]
		d := radians(lonDiff(q.X, p.X))
		turn += d
		sum -= float64(d * (meanAuthalic(p.Y, q.Y) - reference))
		slivers += sliver(p, q)
	}
	if math.Abs(turn) > math.Pi {
		// The integral is the area down to the reference; the one that the ring
		// encloses lies on the side of the pole.
		pole := wgs84.authalic(math.Copysign(1, r[0].Y))
		sum += float64(turn * (pole - reference))
	}
	return float64(sum*wgs84.a*wgs84.a*(1-wgs84.e2())) - slivers
}

// sliver is the area in m² between the edge from p to q that is straight in
// longitude and latitude and the geodesic, positive where the geodesic lies to
// the left. Both curves are parabolas apart to the leading order.
func sliver(p, q geo.Point) float64 {
	dLon, dLat := radians(lonDiff(q.X, p.X)), radians(q.Y-p.Y)
	s, c := math.Sincos(radians((p.Y + q.Y) / 2))
	w := 1 - float64(wgs84.e2()*s*s)
	n := wgs84.a / math.Sqrt(w)        // radius across the meridian
	m := n * (1 - wgs84.e2()) / w      // radius along the meridian
	mPhi := 3 * wgs84.e2() * s * c / w // its relative change with latitude
	bulgeLat := (float64(n*c*s/m*dLon*dLon) + float64(mPhi*dLat*dLat)) / 8
	bulgeLonTimesCos := -m * s / n * dLat * dLon / 4
	return 2. / 3 * m * n * (float64(dLon*c*bulgeLat) - float64(dLat*bulgeLonTimesCos))
}

// meanAuthalic is the mean of the authalic function over an edge along which the
// latitude runs evenly from lat1 to lat2 degrees, by Gauss-Legendre quadrature of
// five points on pieces of at most one degree.
func meanAuthalic(lat1, lat2 float64) float64 {
	pieces := math.Max(1, math.Ceil(math.Abs(lat2-lat1)))
	sum := 0.0
	for k := range int(pieces) {
		for i, x := range gaussX {
			t := (float64(k) + (1+x)/2) / pieces
			lat := lat1 + float64((lat2-lat1)*t)
			sum += float64(gaussW[i] / 2 * wgs84.authalic(math.Sin(radians(lat))))
		}
	}
	return sum / pieces
}

// Nodes and weights of five-point Gauss-Legendre quadrature on -1..1.
//
// Source: NIST Digital Library of Mathematical Functions, table 3.5.1.
var (
	gaussX = [5]float64{-0.906179845938664, -0.538469310105683, 0, 0.538469310105683, 0.906179845938664}
	gaussW = [5]float64{0.236926885056189, 0.478628670499366, 0.568888888888889, 0.478628670499366, 0.236926885056189}
)
