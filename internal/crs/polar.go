package crs

import "math"

// A polar is a Polar Stereographic projection of the ellipsoid.
//
// Source: J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395 (1987), equations 21-33, 21-34 and 21-39 to 21-41; the variants
// after IOGP 373-7-2, methods 9810 and 9829.
type polar struct {
	el     ellipsoid
	lon0   float64 // degrees, the meridian that points away from the pole to grid south (north)
	side   float64 // 1 around the north pole, -1 around the south pole
	rho    float64 // m, radius of a parallel for 1 of exp of the negative isometric latitude
	fe, fn float64 // m, of the pole
}

func newPolar(el ellipsoid, m method, s shape) polar {
	p := polar{el: el, lon0: s.lon0, fe: s.fe, fn: s.fn}
	latTrue := s.lat1
	if m == polarA {
		latTrue = s.lat0
	}
	p.side = math.Copysign(1, latTrue)
	if math.Abs(latTrue) == 90 {
		k0 := s.k0
		if m == polarB {
			k0 = 1
		}
		e := math.Sqrt(el.e2())
		p.rho = 2 * el.a * k0 / math.Sqrt(math.Pow(1+e, 1+e)*math.Pow(1-e, 1-e))
		return p
	}
	p.rho = el.a * el.parallel(latTrue) * math.Exp(el.isometric(math.Abs(latTrue)))
	return p
}

// holds keeps to the half of the earth around the pole and 20 degrees more.
func (p polar) holds(_, lat float64) bool { return p.side*lat >= -20 }

// radius is that of the parallel, in metres.
func (p polar) radius(lat float64) float64 {
	if p.side*lat >= 90 {
		return 0
	}
	return p.rho * math.Exp(-p.el.isometric(p.side*lat))
}

func (p polar) forward(lon, lat float64) (x, y float64) {
	s, c := math.Sincos(radians(lonDiff(lon, p.lon0)))
	r := p.radius(lat)
	return p.fe + float64(r*s), p.fn - float64(p.side*r*c)
}

func (p polar) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-p.fe, -p.side*(y-p.fn)
	r := math.Hypot(dx, dy)
	if r == 0 {
		return wrapLon(p.lon0), p.side * 90
	}
	return wrapLon(p.lon0 + degrees(math.Atan2(dx, dy))), p.side * p.el.fromIsometric(-math.Log(r/p.rho))
}

func (p polar) scale(_, lat float64) float64 {
	if p.side*lat > 90-1e-6 {
		lat = p.side * (90 - 1e-6)
	}
	return p.radius(lat) / (p.el.a * p.el.parallel(lat))
}

func (p polar) convergence(lon, _ float64) float64 { return p.side * lonDiff(lon, p.lon0) }
