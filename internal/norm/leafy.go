package norm

import (
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A leafiness weighs what tells living weeds that stand above the crop without
// burnt leaf from crop of any shade. Clumps of another leaf, sunlit and with dark
// gaps between them, roughen every band from pixel to pixel, while no pixel browns.
// Richer or paler crop moves all its pixels and is no rougher; a thin stand is
// rougher, but soil shows and even its greenest pixels rise.
type leafiness struct {
	red, green, infrared float64 // red contrast, ln units; excess of the other two, of the mean
	low, middle, high    float64 // quantiles of the ratio, ln units
	near                 float64 // ln(nir/green), ln units
	bright               float64 // green brightness against the ground round about, ln units
	bias                 float64
}

// The weights are those of a logistic regression on invented fields with three
// kinds of such weeds (paler than rice, nearly as green, and dark and tall),
// against all other crop; rounded.
var (
	leafyInfrared = leafiness{red: 2.5, green: 38, infrared: 10, low: -20.5, high: 3, near: 3.5, bright: 16.5, bias: 5.9}
	leafyColour   = leafiness{red: 2.4, green: 14.5, low: -19.5, middle: 7, high: 1, bright: 12, bias: 5.4}
)

const (
	leafyM      = 3.0  // m, half the side of the square over which leafiness is averaged, beyond the pool cell itself
	leastLeafy  = -8.0 // no less than this is said of any ground
	leafyLow    = -2.5 // leafiness that belongs to a patch
	leafyHigh   = -0.5 // leafiness that it reaches somewhere
	leafyM2     = 40.0 // m2, the least patch
	leafyRoundM = 20.0 // m, half the side of the square of ground outside that a patch is held against
	leafyStep   = 4.0  // leafiness that a patch has above it: a stand that thickens over tens of metres is no patch
	brownFrom   = -2.5 // mean evidence of brown specks from which they help a patch of leaf
	brownShare  = 0.5  // leafiness for each 1 beyond
	brownFall   = 3.0  // evidence that a place may fall short of the patch's mean: what is read over 3 m is sharper than leafiness
	greenRise   = 0.03 // ln units that the green end may rise; more is soil, straw or dead leaf
	risenWeight = 60.0 // leafiness taken off for each 1 beyond
	leafyScale  = 2.0  // evidence for each 1 of leafiness: a patch has its neighbours' word, too
	leafyShift  = 3.5  // puts leafyLow and leafyHigh where evidence has its own
)

// addLeafy takes for evidence what speaks the louder: brown specks, or living
// leaf above the crop.
func (w *work) addLeafy() {
	if w.s.Ratio == "" || w.below.green == nil || w.p.Given != nil || w.p.Search != nil {
		return
	}
	v := w.leafy()
	w.leaf = make([]bool, len(v))
	for at, ok := range w.leafyPatches(v) {
		if e := float32(leafyScale)*v[at] + leafyShift; ok && e > w.pooledEvidence[at] {
			w.pooledEvidence[at], w.leaf[at] = e, true
		}
	}
}

// leafy is the leafiness of every pool cell; leastLeafy where nothing is looked
// at.
func (w *work) leafy() []float32 {
	b := leafyColour
	if w.near {
		b = leafyInfrared
	}
	n := w.pool.size.Len()
	v, in := make([]float32, n), make([]bool, n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 {
				v[at], in[at] = float32(w.leafiness(&b, at)), true
			}
		}
	})
	stat.Box(v, v, in, w.pool.size, w.reach(leafyM))
	for at, ok := range in {
		if !ok {
			v[at] = leastLeafy
		}
	}
	return v
}

// leafiness is the weighed sum at a pool cell.
func (w *work) leafiness(b *leafiness, at int) float64 {
	low := w.away(w.below.low, at)
	sum := float64(b.red * held(w.away(w.below.red, at), -0.5, 1.2))
	sum += float64(b.green * held(w.excess(w.below.green, at), -0.1, 0.14))
	sum += float64(b.infrared * held(w.excess(w.below.open, at), -0.15, 0.2))
	sum += float64(b.low * held(low, -0.25, 0.25))
	sum += float64(b.middle * held(w.away(w.below.middle, at), -0.3, 0.5))
	sum += float64(b.high * held(w.away(w.below.high, at), -0.3, 0.6))
	sum += float64(b.near * held(w.away(w.below.infrared, at), -0.3, 0.3))
	if r := float64(w.bright[at]); r == r {
		sum += float64(b.bright * held(r, -0.2, 0.2))
	}
	sum -= float64(risenWeight * held(low-greenRise, 0, 0.2))
	return max(sum-b.bias, leastLeafy)
}

// leafyPatches marks ground that stands out from what lies round about. Weeds
// end within a few metres; a denser stand, a wet end and the sun's angle on the
// crop do not.
func (w *work) leafyPatches(v []float32) []bool {
	size := w.pool.size
	in := stat.Hysteresis(v, size, leafyLow, leafyHigh)
	outside := make([]bool, len(v))
	for at, n := range w.pool.cells {
		outside[at] = n > 0 && v[at] < leafyLow
	}
	round := make([]float32, len(v))
	stat.Box(round, v, outside, size, w.reach(leafyRoundM))

	labels, sizes := stat.Components(in, size, true)
	own, beyond, beside, brown := make([]float64, len(sizes)), make([]float64, len(sizes)), make([]float64, len(sizes)), make([]float64, len(sizes))
	for at, l := range labels {
		if !in[at] {
			continue
		}
		own[l] += float64(v[at])
		brown[l] += float64(w.pooledEvidence[at])
		if b := float64(round[at]); b == b { // the middle of a wide patch sees nothing outside
			beyond[l] += b
			beside[l]++
		}
	}
	side := w.s.Grid.CellM * float64(w.pool.fold)
	for at, l := range labels {
		if in[at] {
			n := float64(sizes[l])
			step := own[l]/n - beyond[l]/beside[l] + float64(brownShare*held(brown[l]/n-brownFrom, 0, 3))
			in[at] = n*side*side >= leafyM2 && beside[l] > 0 && step >= leafyStep && float64(w.pooledEvidence[at]) >= brown[l]/n-brownFall
		}
	}
	return in
}
