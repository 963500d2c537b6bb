package crs

import "math"

// An oblique is Hotine's Oblique Mercator projection of the ellipsoid.
//
// Source: IOGP 373-7-2, Hotine Oblique Mercator, variants A and B (methods 9812
// and 9815), whose letters are kept; the same as J. P. Snyder, Map Projections: A
// Working Manual, USGS Professional Paper 1395 (1987), equations 9-11 to 9-48.
type oblique struct {
	el         ellipsoid
	a, b, h    float64 // A in metres, B, H
	lonC, lon0 float64 // degrees: of the centre, and where the line crosses the aposphere's equator
	sinG, cosG float64 // of gamma0, the line's angle there
	sinS, cosS float64 // of the skew
	uc         float64 // m, of the centre along the line; 0 for variant A
	fe, fn     float64 // m
}

func newOblique(el ellipsoid, m method, s shape) oblique {
	o := oblique{el: el, lonC: s.lon0, fe: s.fe, fn: s.fn}
	e2 := el.e2()
	sinP, cosP := math.Sincos(radians(s.lat0))
	sinA, cosA := math.Sincos(radians(s.azimuth))
	w := 1 - e2*sinP*sinP
	o.b = math.Sqrt(1 + e2*cosP*cosP*cosP*cosP/(1-e2))
	o.a = el.a * o.b * s.k0 * math.Sqrt(1-e2) / w
	d := o.b * math.Sqrt(1-e2) / (cosP * math.Sqrt(w))
	root := math.Copysign(math.Sqrt(math.Max(0, d*d-1)), s.lat0)
	f := d + root
	o.h = f * math.Exp(-o.b*el.isometric(s.lat0))
	gamma := math.Asin(sinA / d)
	o.sinG, o.cosG = math.Sincos(gamma)
	o.lon0 = s.lon0 - degrees(math.Asin((f-1/f)/2*math.Tan(gamma))/o.b)
	o.sinS, o.cosS = math.Sincos(radians(s.skew))
	if m == obliqueB {
		o.uc = o.a / o.b * math.Atan2(root, cosA)
	}
	return o
}

// holds keeps to the side of the earth that the centre lies on.
func (o oblique) holds(lon, lat float64) bool {
	return math.Abs(lonDiff(lon, o.lonC)) <= 60 && math.Abs(lat) < 90
}

func (o oblique) forward(lon, lat float64) (x, y float64) {
	q := o.h * math.Exp(o.b*o.el.isometric(lat))
	sh, ch := (q-1/q)/2, (q+1/q)/2
	sinV, cosV := math.Sincos(o.b * radians(lonDiff(lon, o.lon0)))
	v := -o.a / o.b * math.Atanh((float64(sh*o.sinG)-float64(sinV*o.cosG))/ch)
	u := o.a/o.b*math.Atan2(float64(sh*o.cosG)+float64(sinV*o.sinG), cosV) - o.uc
	return o.fe + float64(v*o.cosS) + float64(u*o.sinS), o.fn + float64(u*o.cosS) - float64(v*o.sinS)
}

func (o oblique) inverse(x, y float64) (lon, lat float64) {
	dx, dy := x-o.fe, y-o.fn
	v := float64(dx*o.cosS) - float64(dy*o.sinS)
	u := float64(dy*o.cosS) + float64(dx*o.sinS) + o.uc
	bv := -o.b * v / o.a
	sh, ch := math.Sinh(bv), math.Cosh(bv)
	sinU, cosU := math.Sincos(o.b * u / o.a)
	t := (float64(sinU*o.cosG) + float64(sh*o.sinG)) / ch
	psi := (math.Atanh(t) - math.Log(o.h)) / o.b
	across := math.Atan2(float64(sh*o.cosG)-float64(sinU*o.sinG), cosU)
	return wrapLon(o.lon0 - degrees(across)/o.b), o.el.fromIsometric(psi)
}

// scale and convergence follow from the step north: the projection is
// conformal.
func (o oblique) scale(lon, lat float64) float64 {
	s := math.Sin(radians(lat))
	w := 1 - o.el.e2()*s*s
	return math.Hypot(slope(o, lon, lat)) / (o.el.a * (1 - o.el.e2()) / (w * math.Sqrt(w)))
}

func (o oblique) convergence(lon, lat float64) float64 {
	east, north := slope(o, lon, lat)
	return -degrees(math.Atan2(east, north))
}
