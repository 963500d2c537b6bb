package stat

import (
	"errors"
	"math"
	"slices"
)

// ErrFewPoints is returned when there are too few points to tell a covariance.
var ErrFewPoints = errors.New("too few points for a covariance")

// An Ellipsoid is a centre and a covariance in p dimensions.
type Ellipsoid struct {
	Center []float64 // p
	Cov    []float64 // p*p, row-major, symmetric
	chol   []float64 // lower triangle L of Cov = L L'
}

// A Concentration says how [Concentrate] goes about it.
type Concentration struct {
	Share float64 // of the points that the last estimate rests on, 0.5 to 1
	Steps int     // concentration steps; 10 are plenty
	Floor float64 // least standard deviation in any direction, in the unit of the points
}

// Concentrate estimates the centre and covariance of the points x (p values
// each, row-major) when up to 1-Share of them may be something else. It starts
// from the medians and spreads of each coordinate and repeats concentration
// steps: estimate from the Share of points nearest by Mahalanobis distance
// (Rousseeuw and Van Driessen, Technometrics 41 (1999), 212-223, theorem 1),
// then scales so that the median squared distance is that of a normal
// population. Points with a NaN are passed over.
func Concentrate(x []float64, p int, c Concentration) (Ellipsoid, error) {
	x = knownRows(x, p)
	n := len(x) / p
	if n < 2*p+1 {
		return Ellipsoid{}, ErrFewPoints
	}
	e := startEllipsoid(x, p, c.Floor)
	d2 := make([]float64, n)
	order := make([]float64, n)
	h := min(max(int(c.Share*float64(n)), p+1), n)
	for range c.Steps {
		e.distances(d2, x)
		copy(order, d2)
		next := fit(x, p, d2, Select(order, h-1), c.Floor)
		same := slices.Equal(next.Center, e.Center) && slices.Equal(next.Cov, e.Cov)
		if e = next; same {
			break // so would all further steps be
		}
	}
	e.distances(d2, x)
	e.rescale(quantileOf(d2, 0.5)/chiSquareMedian(p), c.Floor)
	return e, nil
}

func knownRows(x []float64, p int) []float64 {
	out := make([]float64, 0, len(x))
rows:
	for i := 0; i+p <= len(x); i += p {
		for _, v := range x[i : i+p] {
			if v != v {
				continue rows
			}
		}
		out = append(out, x[i:i+p]...)
	}
	return out
}

func startEllipsoid(x []float64, p int, floor float64) Ellipsoid {
	e := Ellipsoid{Center: make([]float64, p), Cov: make([]float64, p*p)}
	col := make([]float64, len(x)/p)
	for j := range p {
		for i := range col {
			col[i] = x[i*p+j]
		}
		m, s := CenterSpread(col)
		s = max(s, floor, math.SmallestNonzeroFloat32)
		e.Center[j], e.Cov[j*p+j] = m, s*s
	}
	e.chol = cholesky(e.Cov, p)
	return e
}

// fit is the mean and covariance of the points with d2 <= limit.
func fit(x []float64, p int, d2 []float64, limit, floor float64) Ellipsoid {
	e := Ellipsoid{Center: make([]float64, p), Cov: make([]float64, p*p)}
	n := 0.0
	for i, d := range d2 {
		if d <= limit {
			n++
			for j, v := range x[i*p : i*p+p] {
				e.Center[j] += v
			}
		}
	}
	for j := range e.Center {
		e.Center[j] /= n
	}
	for i, d := range d2 {
		if d <= limit {
			addOuter(e.Cov, x[i*p:i*p+p], e.Center)
		}
	}
	for j := range e.Cov {
		e.Cov[j] /= n
	}
	e.lift(floor)
	return e
}

func addOuter(cov, v, center []float64) {
	p := len(v)
	for j := range p {
		dj := v[j] - center[j]
		for k := range p {
			cov[j*p+k] += float64(dj * (v[k] - center[k]))
		}
	}
}

// lift adds the floor's variance to the diagonal and factorises.
func (e *Ellipsoid) lift(floor float64) {
	p := len(e.Center)
	add := math.SmallestNonzeroFloat32
	if floor > 0 {
		add = floor * floor
	}
	for j := range p {
		e.Cov[j*p+j] += add
	}
	e.chol = cholesky(e.Cov, p)
}

func (e *Ellipsoid) rescale(factor, floor float64) {
	if !(factor > 0) {
		return
	}
	for j := range e.Cov {
		e.Cov[j] *= factor
	}
	e.lift(floor)
}

// chiSquareMedian is Wilson and Hilferty's approximation, good to 0.02 from one
// degree of freedom on (Proc. Natl. Acad. Sci. 17 (1931), 684-688).
func chiSquareMedian(p int) float64 {
	v := 1 - 2/(9*float64(p))
	return float64(p) * v * v * v
}

// cholesky is L of m = L L'. A pivot that is not positive becomes tiny, so that
// a direction without spread counts as very narrow instead of failing.
func cholesky(m []float64, p int) []float64 {
	l := make([]float64, p*p)
	for i := range p {
		for j := range i + 1 {
			sum := m[i*p+j]
			for k := range j {
				sum -= float64(l[i*p+k] * l[j*p+k])
			}
			if i == j {
				l[i*p+i] = math.Sqrt(max(sum, 1e-30))
			} else {
				l[i*p+j] = sum / l[j*p+j]
			}
		}
	}
	return l
}

// NewEllipsoid is the ellipsoid of a centre and a covariance (p*p, row-major,
// symmetric, positive).
func NewEllipsoid(center, cov []float64) Ellipsoid {
	return Ellipsoid{Center: center, Cov: cov, chol: cholesky(cov, len(center))}
}

// Distance2 is the squared Mahalanobis distance of the point v.
func (e *Ellipsoid) Distance2(v []float64) float64 {
	var buf [8]float64
	return e.distance2(v, e.scratch(buf[:]))
}

// Whitener returns the p*p lower triangle W, row-major, that turns a deviation
// from the centre into independent unit spreads: W Cov W' is the identity, and
// the squared length of W(v-Center) is [Ellipsoid.Distance2].
func (e *Ellipsoid) Whitener() []float64 {
	p := len(e.Center)
	w := make([]float64, p*p)
	for j := range p {
		for i := j; i < p; i++ {
			t := 0.0
			if i == j {
				t = 1
			}
			for k := j; k < i; k++ {
				t -= float64(e.chol[i*p+k] * w[k*p+j])
			}
			w[i*p+j] = t / e.chol[i*p+i]
		}
	}
	return w
}

func (e *Ellipsoid) scratch(buf []float64) []float64 {
	if p := len(e.Center); p > len(buf) {
		return make([]float64, p)
	}
	return buf[:len(e.Center)]
}

func (e *Ellipsoid) distance2(v, y []float64) float64 {
	p := len(e.Center)
	sum := 0.0
	for i := range p {
		t := v[i] - e.Center[i]
		for k := range i {
			t -= float64(e.chol[i*p+k] * y[k])
		}
		y[i] = t / e.chol[i*p+i]
		sum += float64(y[i] * y[i])
	}
	return sum
}

func (e *Ellipsoid) distances(d2, x []float64) {
	p := len(e.Center)
	y := make([]float64, p)
	for i := range d2 {
		d2[i] = e.distance2(x[i*p:i*p+p], y)
	}
}

// Solve returns the inverse of the covariance times v: the weights of a matched
// filter for the direction v.
func (e *Ellipsoid) Solve(v []float64) []float64 {
	p := len(e.Center)
	y := make([]float64, p)
	for i := range p {
		t := v[i]
		for k := range i {
			t -= float64(e.chol[i*p+k] * y[k])
		}
		y[i] = t / e.chol[i*p+i]
	}
	for i := p - 1; i >= 0; i-- {
		t := y[i]
		for k := i + 1; k < p; k++ {
			t -= float64(e.chol[k*p+i] * y[k])
		}
		y[i] = t / e.chol[i*p+i]
	}
	return y
}
