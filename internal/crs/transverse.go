package crs

import "math"

// A transverse is a Transverse Mercator projection on one ellipsoid, with its
// series worked out.
//
// Source: C. F. F. Karney, Transverse Mercator with an accuracy of a few
// nanometers, Journal of Geodesy 85 (2011), equations 7 to 36: Krüger's series
// to the sixth order in the third flattening.
type transverse struct {
	lon0, lat0 float64 // degrees, central meridian and latitude of origin
	k0         float64 // scale on the central meridian
	fe, fn     float64 // m, false easting and northing

	a     float64    // m, semi-major axis
	e     float64    // first eccentricity
	ra    float64    // m, rectifying radius times k0
	alpha [6]float64 // forward series
	beta  [6]float64 // inverse series
	y0    float64    // m, distance of the origin from the equator, times k0
}

func newTransverse(el ellipsoid, lon0, lat0, k0, fe, fn float64) transverse {
	t := transverse{lon0: lon0, lat0: lat0, k0: k0, fe: fe, fn: fn, a: el.a, e: math.Sqrt(el.e2())}
	n := el.n()
	n2 := n * n
	t.ra = k0 * el.a / (1 + n) * (1 + n2/4 + n2*n2/64 + n2*n2*n2/256)
	t.alpha, t.beta = krueger(n)
	if lat0 != 0 {
		p := t.project(lon0, lat0)
		t.y0 = p.xi * t.ra
	}
	return t
}

// krueger returns the coefficients of both series for third flattening n.
func krueger(n float64) (alpha, beta [6]float64) {
	poly := func(from int, c ...float64) float64 {
		v := 0.0
		for i := len(c) - 1; i >= 0; i-- {
			v = float64(v*n) + c[i]
		}
		return v * math.Pow(n, float64(from))
	}
	alpha = [6]float64{
		poly(1, 1./2, -2./3, 5./16, 41./180, -127./288, 7891./37800),
		poly(2, 13./48, -3./5, 557./1440, 281./630, -1983433./1935360),
		poly(3, 61./240, -103./140, 15061./26880, 167603./181440),
		poly(4, 49561./161280, -179./168, 6601661./7257600),
		poly(5, 34729./80640, -3418889./1995840),
		poly(6, 212378941./319334400),
	}
	beta = [6]float64{
		poly(1, 1./2, -2./3, 37./96, -1./360, -81./512, 96199./604800),
		poly(2, 1./48, 1./15, -437./1440, 46./105, -1118711./3870720),
		poly(3, 17./480, -37./840, -209./4480, 5569./90720),
		poly(4, 4397./161280, -11./504, -830251./7257600),
		poly(5, 4583./161280, -108847./3991680),
		poly(6, 20648693./638668800),
	}
	return alpha, beta
}

// A projected is a point on the way to the plane, with what the derivatives of
// the series say there.
type projected struct {
	xi, eta float64 // northing and easting in rectifying radii
	gamma   float64 // radians, convergence
	scale   float64 // scale factor
}

func (t *transverse) project(lon, lat float64) projected {
	sinL, cosL := math.Sincos(radians(lonDiff(lon, t.lon0)))
	sinP, cosP := math.Sincos(radians(lat))
	tau := sinP / cosP
	tauP := t.conformal(tau)
	xi0 := math.Atan2(tauP, cosL)
	h := math.Hypot(tauP, cosL)
	eta0 := math.Asinh(sinL / h)

	dxi, deta, p, q := series(t.alpha, xi0, eta0, 1)
	gamma := math.Atan2(tauP*sinL, cosL*math.Hypot(1, tauP)) + math.Atan2(q, p)
	// The scale on the sphere times what the series adds.
	scale := math.Sqrt(1-float64(t.e*t.e*sinP*sinP)) * math.Hypot(1, tau) / h
	return projected{
		xi: xi0 + dxi, eta: eta0 + deta, gamma: gamma,
		scale: scale * math.Hypot(p, q) * t.ra / t.a,
	}
}

// series sums sign·c·sin(2j·(xi + i·eta)) and one plus sign times its
// derivative, p + i·q.
func series(c [6]float64, xi, eta, sign float64) (dxi, deta, p, q float64) {
	p = 1
	for j, cj := range c {
		m := 2 * float64(j+1)
		s, co := math.Sincos(m * xi)
		sh, ch := math.Sinh(m*eta), math.Cosh(m*eta)
		cj *= sign
		dxi += float64(cj * s * ch)
		deta += float64(cj * co * sh)
		p += float64(m * cj * co * ch)
		q += float64(m * cj * s * sh)
	}
	return dxi, deta, p, q
}

// conformal is the tangent of the conformal latitude for tangent tau of the
// geographic latitude (Karney, equations 7 to 9).
func (t *transverse) conformal(tau float64) float64 {
	h := math.Hypot(1, tau)
	sigma := math.Sinh(t.e * math.Atanh(t.e*tau/h))
	return float64(tau*math.Hypot(1, sigma)) - float64(sigma*h)
}

// geographic inverts conformal by Newton's method (Karney, equations 19 to 21).
func (t *transverse) geographic(tauP float64) float64 {
	e2m := 1 - t.e*t.e
	tau := tauP / e2m
	for range 6 {
		got := t.conformal(tau)
		d := (tauP - got) / math.Hypot(1, got) * (1 + float64(e2m*tau*tau)) / (e2m * math.Hypot(1, tau))
		tau += d
		if math.Abs(d) < 1e-15*math.Max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}

// maxLonOffset is how far in degrees of longitude a Transverse Mercator is
// carried from its meridian: there the series still holds to a micrometre.
const maxLonOffset = 30

func (t transverse) holds(lon, _ float64) bool {
	return math.Abs(lonDiff(lon, t.lon0)) <= maxLonOffset
}

func (t transverse) scale(lon, lat float64) float64 { return t.project(lon, lat).scale }

func (t transverse) convergence(lon, lat float64) float64 {
	return degrees(t.project(lon, lat).gamma)
}

func (t transverse) forward(lon, lat float64) (x, y float64) {
	p := t.project(lon, lat)
	return t.fe + float64(t.ra*p.eta), t.fn + float64(t.ra*p.xi) - t.y0
}

func (t transverse) inverse(x, y float64) (lon, lat float64) {
	xi, eta := (y-t.fn+t.y0)/t.ra, (x-t.fe)/t.ra
	dxi, deta, _, _ := series(t.beta, xi, eta, -1)
	xi, eta = xi+dxi, eta+deta
	sh := math.Sinh(eta)
	s, c := math.Sincos(xi)
	tau := t.geographic(s / math.Hypot(sh, c))
	return wrapLon(t.lon0 + degrees(math.Atan2(sh, c))), degrees(math.Atan(tau))
}

func radians(d float64) float64 { return d * math.Pi / 180 }
func degrees(r float64) float64 { return r * 180 / math.Pi }

// lonDiff is a-b in degrees, brought into -180 to 180.
func lonDiff(a, b float64) float64 { return wrapLon(a - b) }

// wrapLon brings a longitude into -180 to 180 without touching one that is
// already there.
func wrapLon(d float64) float64 {
	if d >= -180 && d <= 180 {
		return d
	}
	return math.Remainder(d, 360)
}
