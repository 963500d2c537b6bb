package crs

import "math"

// A conic is a Lambert Conformal Conic or an Albers Equal Area projection on
// one ellipsoid, with its constants worked out.
//
// Source: J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395 (1987), equations 15-1 to 15-11 and 14-1 to 14-21.
type conic struct {
	lon0   float64 // degrees, meridian of the origin
	fe, fn float64 // m, at the origin
	equal  bool    // Albers, else Lambert

	el   ellipsoid
	n    float64 // cone constant
	af   float64 // m, Lambert's a·F·k0
	c    float64 // Albers' C
	rho0 float64 // m, radius of the origin
}

// A coneShape is what defines a cone: degrees, and the scale that Lambert's has
// on its parallels.
type coneShape struct {
	lon0, lat0 float64
	lat1, lat2 float64
	k0         float64
	fe, fn     float64 // m
}

func newLambert(el ellipsoid, s coneShape) conic {
	c := conic{lon0: s.lon0, fe: s.fe, fn: s.fn, el: el}
	c.n = math.Sin(radians(s.lat1))
	if s.lat1 != s.lat2 {
		c.n = math.Log(el.parallel(s.lat1)/el.parallel(s.lat2)) / (el.isometric(s.lat2) - el.isometric(s.lat1))
	}
	// m = n·F·t^n on the parallel; t is exp of the negative isometric latitude.
	c.af = s.k0 * el.a * el.parallel(s.lat1) / c.n * math.Exp(c.n*el.isometric(s.lat1))
	c.rho0 = c.rho(s.lat0)
	return c
}

func newAlbers(el ellipsoid, s coneShape) conic {
	c := conic{lon0: s.lon0, fe: s.fe, fn: s.fn, equal: true, el: el}
	m1, m2 := el.parallel(s.lat1), el.parallel(s.lat2)
	q1, q2 := el.q(s.lat1), el.q(s.lat2)
	c.n = math.Sin(radians(s.lat1))
	if s.lat1 != s.lat2 {
		c.n = (m1*m1 - m2*m2) / (q2 - q1)
	}
	c.c = float64(m1*m1) + float64(c.n*q1)
	c.rho0 = c.rho(s.lat0)
	return c
}

// parallel is the radius of the parallel of latitude in semi-major axes.
func (e ellipsoid) parallel(lat float64) float64 {
	s, c := math.Sincos(radians(lat))
	return c / math.Sqrt(1-float64(e.e2()*s*s))
}

// isometric is the isometric latitude of the latitude, in radians.
func (e ellipsoid) isometric(lat float64) float64 {
	ecc := math.Sqrt(e.e2())
	s := math.Sin(radians(lat))
	return math.Atanh(s) - float64(ecc*math.Atanh(ecc*s))
}

// q is Snyder's authalic function of latitude.
func (e ellipsoid) q(lat float64) float64 {
	return 2 * (1 - e.e2()) * e.authalic(math.Sin(radians(lat)))
}

// rho is the radius in metres of the parallel of latitude on the cone.
func (c *conic) rho(lat float64) float64 {
	if c.equal {
		return c.el.a * math.Sqrt(math.Max(0, c.c-float64(c.n*c.el.q(lat)))) / c.n
	}
	return c.af * math.Exp(-c.n*c.el.isometric(lat))
}

// holds keeps clear of the far pole, where the cone has no end.
func (c conic) holds(_, lat float64) bool { return lat*c.n >= -80*math.Abs(c.n) }

func (c conic) forward(lon, lat float64) (x, y float64) {
	s, co := math.Sincos(c.n * radians(lonDiff(lon, c.lon0)))
	rho := c.rho(lat)
	return c.fe + float64(rho*s), c.fn + c.rho0 - float64(rho*co)
}

func (c conic) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-c.fe, c.rho0-(y-c.fn)
	sign := math.Copysign(1, c.n)
	rho := sign * math.Hypot(dx, dy)
	lon = wrapLon(c.lon0 + degrees(math.Atan2(sign*dx, sign*dy)/c.n))
	if c.equal {
		r := rho * c.n / c.el.a
		return lon, c.el.fromQ((c.c - float64(r*r)) / c.n)
	}
	return lon, c.el.fromIsometric(-math.Log(rho/c.af) / c.n)
}

// fromIsometric is the latitude whose isometric latitude is psi.
func (e ellipsoid) fromIsometric(psi float64) float64 {
	t := transverse{e: math.Sqrt(e.e2())}
	return degrees(math.Atan(t.geographic(math.Sinh(psi))))
}

// fromQ is the latitude whose authalic function is q, by Newton's method.
func (e ellipsoid) fromQ(q float64) float64 {
	s := math.Max(-1, math.Min(1, q/2))
	for range 10 {
		w := 1 - float64(e.e2()*s*s)
		step := (q/2/(1-e.e2()) - e.authalic(s)) * w * w
		s = math.Max(-1, math.Min(1, s+step))
		if math.Abs(step) < 1e-16 {
			break
		}
	}
	return degrees(math.Asin(s))
}

// scale is the linear scale; 1 for Albers, whose areas are true.
func (c conic) scale(_, lat float64) float64 {
	if c.equal {
		return 1
	}
	return c.rho(lat) * c.n / (c.el.a * c.el.parallel(lat))
}

func (c conic) convergence(lon, _ float64) float64 { return c.n * lonDiff(lon, c.lon0) }
