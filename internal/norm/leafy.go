package norm

import "bittern/internal/stat"

// Living weeds that stand above the crop without burnt leaf: clumps of another leaf, sunlit and
// with dark gaps between them, roughen every band from pixel to pixel, while no pixel
// browns. Richer or paler crop moves all its pixels and is no rougher; a thin stand is
// rougher, but soil shows and even its greenest pixels rise.
const (
	leafyM     = 2.0   // m, half the side of the square that such weeds are averaged over, beyond the pool cell itself
	leafyLow   = 2.2   // deviations of the crop that belong to a patch
	leafyHigh  = 3.4   // that it reaches somewhere
	leafyM2    = 150.0 // m2, the least patch
	leafyRough = 0.75  // part of the excess of green contrast that is expected, which it has at least: richer rice is greener and no rougher
	leafyRed   = 0.6   // the same of the red contrast: where a crop is very even, ground that is a little rougher stands out, too
	leafyRise  = 0.03  // ln units that its green end has risen at most: more is soil, straw or dead leaf
	leafyBrown = 0.25  // part of a patch at most whose specks speak as loud, within a deviation: the rim of weeds that have burnt is no patch of green ones
	leafyStep  = 4.0   // evidence for each deviation above leafyLow, where it is brownedFrom
)

// addLeafy takes for evidence what speaks the louder: brown specks, or living
// leaf above the crop, in deviations of the crop; nil for none.
func (w *work) addLeafy(coarse []float32) {
	if coarse == nil {
		return
	}
	for at, x := range coarse {
		if x != x {
			coarse[at] = 0
		}
	}
	in := stat.Hysteresis(coarse, w.pool.size, leafyLow, leafyHigh)
	runs, sizes := stat.Runs(in, w.pool.size, true)
	browned := make([]int, len(sizes))
	rough, red, rise := make([]float64, len(sizes)), make([]float64, len(sizes)), make([]float64, len(sizes))
	for _, r := range runs {
		l := r.Part
		for at := int(r.From); at < int(r.To); at++ {
			rough[l] += w.excess(w.below.green, at)
			red[l] += w.away(w.below.red, at)
			rise[l] += w.away(w.below.low, at)
			if e := w.pooledEvidence[at]; e >= brownedFrom && e >= leafyEvidence(coarse[at])-leafyStep {
				browned[l]++
			}
		}
	}
	side := w.s.Grid.CellM * float64(w.pool.fold)
	expected := &w.expectations().coarse.mean
	leastGreen, leastRed := float64(leafyRough*expected[figureGreen]), float64(leafyRed*expected[figureRed])
	w.leaf = make([]bool, len(coarse))
	for _, r := range runs {
		l, n := r.Part, float64(sizes[r.Part])
		if n*side*side < leafyM2 || rough[l] < leastGreen*n || red[l] < leastRed*n || rise[l] > leafyRise*n || float64(browned[l]) > leafyBrown*n {
			continue
		}
		for at := r.From; at < r.To; at++ {
			if e := leafyEvidence(coarse[at]); e > w.pooledEvidence[at] {
				w.pooledEvidence[at], w.leaf[at] = e, true
			}
		}
	}
}

// leafyEvidence turns deviations of the crop into evidence.
func leafyEvidence(d float32) float32 { return brownedFrom + leafyStep*(d-leafyLow) }
