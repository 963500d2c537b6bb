package crs

import (
	"fmt"
	"math"
)

// A method is a map projection with its way of stating parameters.
type method uint8

const (
	noMethod method = iota
	transverseMercator
	lambert1        // Lambert Conformal Conic with one standard parallel and a scale
	lambert2        // with two
	lambertMichigan // with two, on an ellipsoid that is scaled, which scales the cone alike
	albers
	polarA   // Polar Stereographic with a scale at the pole
	polarB   // with a standard parallel
	obliqueA // Hotine's Oblique Mercator, false origin where the line meets the aposphere's equator
	obliqueB // false origin at the projection's centre
	mercatorA
	mercatorB // with a standard parallel
	webMercator
)

// methodNames are the names of the methods in EPSG's registry.
var methodNames = [...]string{
	transverseMercator: "Transverse Mercator",
	lambert1:           "Lambert Conic Conformal (1SP)",
	lambert2:           "Lambert Conic Conformal (2SP)",
	lambertMichigan:    "Lambert Conic Conformal (2SP Michigan)",
	albers:             "Albers Equal Area",
	polarA:             "Polar Stereographic (variant A)",
	polarB:             "Polar Stereographic (variant B)",
	obliqueA:           "Hotine Oblique Mercator (variant A)",
	obliqueB:           "Hotine Oblique Mercator (variant B)",
	mercatorA:          "Mercator (variant A)",
	mercatorB:          "Mercator (variant B)",
	webMercator:        "Popular Visualisation Pseudo Mercator",
}

// A shape holds the parameters of a projection. A field that the method does
// not use is 0.
type shape struct {
	lon0, lat0 float64 // degrees, the origin or centre
	lat1, lat2 float64 // degrees, standard parallels
	azimuth    float64 // degrees, of the oblique line at the centre
	skew       float64 // degrees, from the rectified grid to the oblique one
	k0         float64 // scale at the origin; of the ellipsoid for lambertMichigan
	fe, fn     float64 // m, easting and northing of the origin
}

// A plane is a projection with its constants worked out: a value that compares
// with ==. Positions are degrees on the projection's ellipsoid and metres.
type plane interface {
	forward(lon, lat float64) (x, y float64)
	inverse(x, y float64) (lon, lat float64)
	holds(lon, lat float64) bool          // whether forward may be asked
	scale(lon, lat float64) float64       // see CRS.ScaleFactor
	convergence(lon, lat float64) float64 // degrees, see CRS.Convergence
}

// newPlane works out a projection whose shape was checked.
func newPlane(el ellipsoid, m method, s shape) plane {
	switch m {
	case transverseMercator:
		return newTransverse(el, s.lon0, s.lat0, s.k0, s.fe, s.fn)
	case lambert1:
		return newLambert(el, coneShape{s.lon0, s.lat0, s.lat0, s.lat0, s.k0, s.fe, s.fn})
	case lambert2:
		return newLambert(el, coneShape{s.lon0, s.lat0, s.lat1, s.lat2, 1, s.fe, s.fn})
	case lambertMichigan:
		return newLambert(el, coneShape{s.lon0, s.lat0, s.lat1, s.lat2, s.k0, s.fe, s.fn})
	case albers:
		return newAlbers(el, coneShape{s.lon0, s.lat0, s.lat1, s.lat2, 1, s.fe, s.fn})
	case polarA, polarB:
		return newPolar(el, m, s)
	case obliqueA, obliqueB:
		return newOblique(el, m, s)
	case mercatorB:
		s.k0 = el.parallel(s.lat1)
		return mercator{el: el, lon0: s.lon0, k0: s.k0, fe: s.fe, fn: s.fn}
	case mercatorA:
		return mercator{el: el, lon0: s.lon0, k0: s.k0, fe: s.fe, fn: s.fn}
	default:
		return web{lon0: s.lon0, fe: s.fe, fn: s.fn}
	}
}

// check says what in the shape no projection of method m can have, or nothing.
func (s shape) check(m method) string {
	within := func(limit float64, angles ...float64) bool {
		for _, a := range angles {
			if !(math.Abs(a) <= limit) {
				return false
			}
		}
		return true
	}
	pole := m == polarA || m == polarB
	// A cone's tip has a place on the plane: the pole on the parallels' side.
	tip := (m == lambert2 || m == lambertMichigan || m == albers) && s.lat0*(s.lat1+s.lat2) > 0
	switch {
	case !within(360, s.lon0, s.azimuth, s.skew), !within(90, s.lat0), !pole && !tip && !within(89, s.lat0):
		return fmt.Sprintf("origin at longitude %g, latitude %g", s.lon0, s.lat0)
	case !within(90, s.lat1, s.lat2), !pole && !within(89, s.lat1, s.lat2):
		return fmt.Sprintf("parallels %g and %g", s.lat1, s.lat2)
	case !within(1e9, s.fe, s.fn):
		return fmt.Sprintf("false easting %g and northing %g m", s.fe, s.fn)
	case m.scaled() && !(s.k0 > 0.5 && s.k0 < 1.5):
		return fmt.Sprintf("scale factor %g", s.k0)
	}
	return s.checkMethod(m)
}

// scaled reports whether k0 counts.
func (m method) scaled() bool {
	switch m {
	case transverseMercator, lambert1, lambertMichigan, polarA, obliqueA, obliqueB, mercatorA:
		return true
	default:
		return false
	}
}

// checkMethod is the part of check that only one method asks.
func (s shape) checkMethod(m method) string {
	switch m {
	case lambert2, lambertMichigan, albers:
		if math.Abs(s.lat1+s.lat2) < 1 {
			return fmt.Sprintf("parallels %g and %g", s.lat1, s.lat2)
		}
	case lambert1:
		if math.Abs(s.lat0) < 0.5 {
			return fmt.Sprintf("parallel %g", s.lat0)
		}
	case polarA:
		if math.Abs(s.lat0) != 90 {
			return fmt.Sprintf("a pole at latitude %g", s.lat0)
		}
	case polarB:
		if math.Abs(s.lat1) < 30 {
			return fmt.Sprintf("parallel %g", s.lat1)
		}
	case obliqueA, obliqueB:
		return s.checkOblique()
	case mercatorA:
		if s.lat0 != 0 {
			return fmt.Sprintf("origin at latitude %g", s.lat0)
		}
	case webMercator:
		if s.lat0 != 0 || s.lat1 != 0 {
			return fmt.Sprintf("origin at latitude %g", math.Max(math.Abs(s.lat0), math.Abs(s.lat1)))
		}
	default:
	}
	return ""
}

// checkOblique refuses the lines for which Hotine's formulas have no value:
// through a pole, along the equator, or due east and west.
func (s shape) checkOblique() string {
	along := math.Abs(math.Remainder(s.azimuth, 180))
	if math.Abs(s.lat0) < 0.1 || along < 0.1 || along > 89.9 {
		return fmt.Sprintf("a line of azimuth %g through latitude %g", s.azimuth, s.lat0)
	}
	return ""
}

// slope is the way east and north, in metres for each radian, that a step to
// the north takes on the plane; by differences.
func slope(p plane, lon, lat float64) (east, north float64) {
	const step = 1e-4 // degrees: rounding and curvature are both below 1e-9 then
	x0, y0 := p.forward(lon, lat-step)
	x1, y1 := p.forward(lon, lat+step)
	return (x1 - x0) / radians(2*step), (y1 - y0) / radians(2*step)
}
