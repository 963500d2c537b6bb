package invent

import "math"

// mix hashes a seed and a place to 64 well-mixed bits (multiply and xor-shift
// rounds; counter-based, so any order of calls gives the same picture).
func mix(seed uint64, x, y int) uint64 {
	h := seed + uint64(x)*0x9E3779B97F4A7C15 + uint64(y)*0xC2B2AE3D27D4EB4F
	h = (h ^ (h >> 32)) * 0xD6E8FEB86659FD93
	h = (h ^ (h >> 29)) * 0xA0761D6478BD642F
	return h ^ (h >> 32)
}

// unit01 maps 24 bits of h to 0..1.
func unit01(h uint64) float64 { return float64(h&0xFFFFFF) / (1 << 24) }

// A dice is a stream of numbers from a seed, for planning in a fixed order.
type dice struct {
	seed uint64
	n    int
}

// u returns the next number, evenly spread over lo..hi.
func (d *dice) u(lo, hi float64) float64 {
	d.n++
	return lo + float64((hi-lo)*unit01(mix(d.seed, d.n, 77)))
}

// norm returns the next number of a normal distribution, mean 0, spread 1.
func (d *dice) norm() float64 {
	r := math.Sqrt(-2 * math.Log(d.u(1e-9, 1)))
	return r * math.Cos(2*math.Pi*d.u(0, 1))
}

// chance is true with probability p.
func (d *dice) chance(p float64) bool { return d.u(0, 1) < p }

// sub returns a seed for a part of the plan.
func sub(seed uint64, part int) uint64 { return mix(seed, part, -1) }

// bumps is smooth value noise at (x, y), -1 to 1, with hills about one unit
// across.
func bumps(seed uint64, x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	i, j := int(fx), int(fy)
	u, v := smooth(x-fx), smooth(y-fy)
	a, b := unit01(mix(seed, i, j)), unit01(mix(seed, i+1, j))
	c, d := unit01(mix(seed, i, j+1)), unit01(mix(seed, i+1, j+1))
	top := a + float64((b-a)*u)
	low := c + float64((d-c)*u)
	return 2*(top+float64((low-top)*v)) - 1
}

// hills sums octaves of [bumps], each half as wide and gain times as high as
// the one before; scale is the width of the first in metres. The spread is
// about 0.45.
func hills(seed uint64, x, y, scale float64, octaves int, gain float64) float64 {
	sum, amp, norm := 0.0, 1.0, 0.0
	// Turned from octave to octave, or the lattice shows as a weave.
	for o := range octaves {
		sum += float64(amp * bumps(seed+uint64(o)*7919, x/scale, y/scale))
		norm += float64(amp * amp)
		x, y = float64(0.8*x)-float64(0.6*y)+31.7, float64(0.6*x)+float64(0.8*y)-17.3
		scale /= 2
		amp *= gain
	}
	return sum / math.Sqrt(norm)
}

// smooth is the cubic step from 0 at 0 to 1 at 1.
func smooth(t float64) float64 {
	t = clamp(t, 0, 1)
	return t * t * (3 - 2*t)
}

// step is the cubic step from 0 at lo to 1 at hi.
func step(lo, hi, x float64) float64 { return smooth((x - lo) / (hi - lo)) }

// within is 1 for x between lo and hi and falls to 0 over soft on both sides.
func within(lo, hi, soft, x float64) float64 {
	return step(lo-soft, lo+soft, x) * (1 - step(hi-soft, hi+soft, x))
}

func clamp(x, lo, hi float64) float64 { return max(lo, min(hi, x)) }

// gauss is a table of normal quantiles, drawn from by 12 bits.
type gauss [4096]float32

// newGauss fills the table.
func newGauss() *gauss {
	g := new(gauss)
	for i := range g {
		p := (float64(i) + 0.5) / float64(len(g))
		g[i] = float32(math.Sqrt2 * math.Erfinv(2*p-1))
	}
	return g
}

// A tile is a square of noise that repeats, mean 0 and spread 1.
type tile struct {
	side int
	v    []float32
}

// newTile makes noise smoothed by a normal kernel of spread sd pixels.
func newTile(seed uint64, side int, sd float64) tile {
	t := tile{side: side, v: make([]float32, side*side)}
	g := newGauss()
	for i := range t.v {
		t.v[i] = g[mix(seed, i, 0)>>52]
	}
	if sd > 0.2 {
		t.smooth(sd)
	}
	t.standardise()
	return t
}

// smooth filters t in both directions, across its seams.
func (t tile) smooth(sd float64) {
	r := int(math.Ceil(3 * sd))
	w := make([]float32, 2*r+1)
	for i := range w {
		d := float64(i-r) / sd
		w[i] = float32(math.Exp(-d * d / 2))
	}
	line := make([]float32, t.side)
	for _, dir := range [][2]int{{1, t.side}, {t.side, 1}} {
		for k := range t.side {
			for i := range line {
				line[i] = t.v[k*dir[1]+i*dir[0]]
			}
			for i := range line {
				var sum float32
				for j, wj := range w {
					sum += float32(wj * line[(i+j-r+t.side)%t.side])
				}
				t.v[k*dir[1]+i*dir[0]] = sum
			}
		}
	}
}

// standardise brings t to mean 0 and spread 1.
func (t tile) standardise() {
	var sum, sq float64
	for _, v := range t.v {
		sum += float64(v)
		sq += float64(v) * float64(v)
	}
	n := float64(len(t.v))
	mean := sum / n
	sd := math.Sqrt(sq/n - mean*mean)
	for i, v := range t.v {
		t.v[i] = float32((float64(v) - mean) / sd)
	}
}

// row returns the tile's row under picture row y.
func (t tile) row(y int) []float32 {
	y = ((y % t.side) + t.side) % t.side
	return t.v[y*t.side : (y+1)*t.side]
}

// wrap is the column of a tile under picture column x.
func wrap(x, side int) int {
	x %= side
	if x < 0 {
		x += side
	}
	return x
}
