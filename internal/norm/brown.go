package norm

import "bittern/internal/stat"

// What a place cannot say of itself a whole patch can, since its mean scatters little: ground that stands out as
// brown, far beyond how the crop varies, is leaf if it is speckled as leaf is, or if it throws back the near
// infrared as leaf does. Soil between plants does neither.
const (
	brownLow  = 2.5 // deviations of the crop that belong to a patch
	brownHigh = 4.0 // that it reaches somewhere
	brownStep = 4.0 // evidence for each deviation above the least of a patch, where it is brownedFrom

	brownTold = 0.3 // part of a patch that is told by specks, from which it is left to them

	driedM2 = 300.0 // m2, the least patch of leaf that has dried all over and is no rougher than the crop

	fineLow   = 2.0   // deviations of the crop that belong to a patch of leaf that has burnt in specks finer than a pixel
	fineHigh  = 3.5   // that it reaches somewhere
	fineMass  = 225.0 // m2, what its deviations have above fineLow, summed over its square metres
	fineRough = 0.65  // of the rise of its brown end, what its red contrast has risen by at least
	fineRise  = 0.35  // ln units by which its middle lies above the norm, on average, from which it has browned all over, as dead weeds have,
	fineBrown = 1.2   // and its red contrast must have risen by so much of the rise of its brown end
	fineLight = 0.14  // ln units by which it is brighter than the ground round about, on average, from which it is straw
	fineGreen = 0.04  // its excess of green, on average: soil between plants is as bright in green as rice

	tingedLow  = 2.0   // deviations of the crop that belong to a patch of leaf that has turned a little brown all over
	tingedHigh = 3.5   // that it reaches somewhere
	tingedMass = 350.0 // m2, what its deviations have above tingedLow, summed over its square metres
	tingedRise = 0.08  // ln units by which its middle lies above the norm, on average, at least,
	tingedMost = 0.25  // and at most: what has browned farther is asked for as brown leaf, or dead
	tingedFall = 0.5   // of that rise, what its ln(nir/green) has fallen by at most
	tingedGaps = 0.3   // of that rise, its excess of infrared contrast at most

	gappyLow  = 2.0   // deviations of a crop with gaps that belong to a patch of browned leaf in it
	gappyHigh = 4.0   // that it reaches somewhere
	gappyM2   = 300.0 // m2, the least such patch

	darkLow  = 4.0   // deviations of the crop, as dark leaf, that belong to a patch: far beyond what the most open ground of a clean field shows
	darkHigh = 6.0   // that it reaches somewhere
	darkM2   = 100.0 // m2, the least patch of dark leaf
	darkDead = 0.5   // part of it at most that is more of dead weeds
	darkRise = 0.15  // ln units by which its brown end lies above the norm, on average: clumps are as rough and no browner

	leafLow   = 2.0   // deviations of the crop that belong to a patch of brown leaf
	leafHigh  = 5.0   // that it reaches somewhere
	leafM2    = 300.0 // m2, the least patch of brown leaf, which is no rougher than the crop
	leafRise  = 0.25  // ln units by which its middle lies above the norm, on average: all of it is brown
	leafFall  = 0.6   // of that rise, what its ln(nir/green) has fallen by at most: soil and dead weeds have mostly fallen farther, or have gaps
	flatFall  = 0.7   // the same where the near infrared is no rougher than the crop's: soil between plants roughens it
	leafRough = 0.36  // of the rise of its brown end, what its red contrast has risen by at least: dead weeds lie in a mat that is no rougher than the crop
	leafGaps  = 0.25  // of that rise, its excess of infrared contrast at most: open ground has 0.3 to 0.5

	speckledM2 = 150.0 // m2, the least patch that is told by its specks
	speckled   = 1.2   // what its red contrast, excess of green and excess of infrared come to on average, by these weights:
	speckRed   = 2.8   // burnt leaf among green roughens the red,
	speckGreen = 17.5  // and the green, for it is paler there than rice; soil is about as bright in green as rice
	speckGap   = 17.0  // gaps are dark in the near infrared, and speckle it
	gapsMost   = 0.08  // excess of infrared contrast, on average, above which a patch is open whatever else

	leastBrowning = -0.03 // ln units that the middle and the brown end together lie above the norm in a browned patch
	noneBrowned   = -4.0  // evidence at most of ground without it

	faintMost  = 1.0   // mean evidence of a patch, below which it is asked for the specks of leaf:
	faintGaps  = 0.12  // an excess of infrared contrast of this on average is of gaps,
	faintGreen = -0.06 // one of green of this at most is no leaf's, which is paler in it than rice,
	faintLight = 0.15  // and what is brighter by this than the ground round about is straw; in colour, where dead leaf is as straw, it is not asked
)

// addBrown takes for evidence what speaks the loudest: brown specks, patches that are brown all over, or specks that
// are dark, in deviations of the crop; nil for none.
func (w *work) addBrown(f *weighed) {
	w.addPatches(f.dried, patchRule{brownLow, brownHigh, driedM2, 0, w.isStanding})
	w.addPatches(f.brown, patchRule{brownLow, brownHigh, speckledM2, 0, w.isSpeckled})
	w.addPatches(f.brown, patchRule{leafLow, leafHigh, leafM2, 0, w.isBrownLeaf})
	w.addPatches(f.fine, patchRule{fineLow, fineHigh, 0, fineMass, w.isFinelySpeckled})
	w.addPatches(f.tinged, patchRule{tingedLow, tingedHigh, 0, tingedMass, w.isTinged})
	w.addPatches(f.gappy, patchRule{gappyLow, gappyHigh, gappyM2, 0, func([]int32) bool { return true }})
	w.addPatches(f.dark, patchRule{darkLow, darkHigh, darkM2, 0, w.isDarkLeaf})
}

// isSpeckled says whether a brown patch has the specks of leaf, and no gaps.
func (w *work) isSpeckled(patch []int32) bool {
	specks, gaps := 0.0, 0.0
	for _, at := range patch {
		gap := w.excess(w.below.open, int(at))
		specks += float64(speckRed*w.away(w.below.red, int(at))) + float64(speckGreen*w.excess(w.below.green, int(at))) - float64(speckGap*gap)
		gaps += gap
	}
	n := float64(len(patch))
	return specks >= float64(speckled*n) && gaps <= float64(gapsMost*n)
}

// isFinelySpeckled says whether a patch is rougher in the green, as leaf is that is paler in it than rice, and in the red, as
// no mat of dead weeds is, and shows no gaps. What has browned all over must be rougher still. Straw is as rough, and
// brighter than any leaf.
func (w *work) isFinelySpeckled(patch []int32) bool {
	green, gaps, rise, light := 0.0, 0.0, 0.0, 0.0
	for _, at := range patch {
		light += w.brightness(int(at))
		green += w.excess(w.below.green, int(at))
		gaps += w.excess(w.below.open, int(at))
		rise += w.away(w.below.middle, int(at))
	}
	n, rough := float64(len(patch)), fineRough
	if rise > float64(fineRise*n) {
		rough = fineBrown
	}
	return green >= float64(fineGreen*n) && gaps <= float64(gapsMost*n) && light < float64(fineLight*n) && w.roughensRed(patch, rough)
}

// isTinged says whether a patch has turned a little brown all over, its brown end at least as far as its middle, throws back
// nearly all of its near infrared and shows no gaps: leaf of another kind than the crop's, or browning.
func (w *work) isTinged(patch []int32) bool {
	rise, end, fall, gaps := 0.0, 0.0, 0.0, 0.0
	for _, at := range patch {
		rise += w.away(w.below.middle, int(at))
		end += w.away(w.below.high, int(at))
		fall -= w.away(w.below.infrared, int(at))
		gaps += w.excess(w.below.open, int(at))
	}
	n := float64(len(patch))
	return rise >= float64(tingedRise*n) && rise <= float64(tingedMost*n) && end >= rise && fall <= float64(tingedFall*rise) && gaps <= float64(tingedGaps*rise) && w.isStanding(patch)
}

// isBrownLeaf says whether a brown patch is leaf by what it throws back: brown all over, it has kept most of its near
// infrared, and shows no gaps that are dark in it.
func (w *work) isBrownLeaf(patch []int32) bool {
	rise, fall, gaps := 0.0, 0.0, 0.0
	for _, at := range patch {
		rise += w.away(w.below.middle, int(at))
		fall -= w.away(w.below.infrared, int(at))
		gaps += w.excess(w.below.open, int(at))
	}
	most := leafFall
	if gaps <= 0 {
		most = flatFall
	}
	return rise >= float64(leafRise*float64(len(patch))) && fall <= float64(most*rise) && gaps <= float64(leafGaps*rise) && w.isStanding(patch)
}

// isStanding says whether the brown of a patch stands between green, as leaf does that has browned on living plants. Weeds
// that have died and collapsed lie as an even mat.
func (w *work) isStanding(patch []int32) bool { return w.roughensRed(patch, leafRough) }

// roughensRed says whether the red contrast of a patch has risen by a part of what its brown end has.
func (w *work) roughensRed(patch []int32, part float64) bool {
	red, rise := 0.0, 0.0
	for _, at := range patch {
		red += w.away(w.below.red, int(at))
		rise += w.away(w.below.high, int(at))
	}
	return red >= float64(part*rise)
}

// isDarkLeaf says whether a patch that stands out as dark leaf has browned, and has not died for the most part. What keeps
// its near infrared is no exception here, as it is for looksDead: leaf of that kind is asked for as dried.
func (w *work) isDarkLeaf(patch []int32) bool {
	b := w.balance()
	dead, rise := 0, 0.0
	for _, at := range patch {
		if w.dying(b, int(at)) >= taughtDying {
			dead++
		}
		rise += w.away(w.below.high, int(at))
	}
	n := float64(len(patch))
	return float64(dead) <= float64(darkDead*n) && rise >= float64(darkRise*n)
}

// A patchRule says which ground that stands out is a patch of brown leaf.
type patchRule struct {
	low, high float32 // deviations of the crop that belong to it, and that it reaches somewhere
	leastM2   float64 // m2
	leastMass float64 // m2, of what its deviations have above low, summed over its square metres
	taken     func(patch []int32) bool
}

// addPatches raises the evidence of the patches of v that a rule takes
// and of which little is told by specks: round weeds that are, brown ground is their rim, or dead ones beside them.
func (w *work) addPatches(v []float32, rule patchRule) {
	if v == nil {
		return
	}
	side := w.s.Grid.CellM * float64(w.pool.fold)
	for at, x := range v {
		if x != x {
			v[at] = 0
		}
	}
	for _, patch := range w.patchesOf(stat.Hysteresis(v, w.pool.size, rule.low, rule.high)) {
		told, mass := 0, 0.0
		for _, at := range patch {
			mass += float64(v[at] - rule.low)
			if w.pooledEvidence[at] >= brownedFrom {
				told++
			}
		}
		n := float64(len(patch))
		if n*side*side < rule.leastM2 || mass*side*side < rule.leastMass || float64(told) >= float64(brownTold*n) || !rule.taken(patch) {
			continue
		}
		for _, at := range patch {
			w.pooledEvidence[at] = max(w.pooledEvidence[at], brownedFrom+brownStep*(v[at]-rule.low))
		}
	}
}

// dropUnbrowned takes the evidence of patches that are rough and not brown: clumps of a crop that is
// greener or paler than the rest are as rough as weeds. Faint ones are also asked for the specks of leaf.
func (w *work) dropUnbrowned() {
	in := make([]bool, len(w.pooledEvidence))
	for at, e := range w.pooledEvidence {
		in[at] = e >= brownedFrom
	}
	for _, patch := range w.patchesOf(in) {
		rise, strength, gaps, green, light := 0.0, 0.0, 0.0, 0.0, 0.0
		for _, at := range patch {
			light += w.brightness(int(at))
			rise += w.away(w.below.middle, int(at)) + w.away(w.below.high, int(at))
			strength += float64(w.pooledEvidence[at])
			gaps += w.excess(w.below.open, int(at))
			green += w.excess(w.below.green, int(at))
		}
		n := float64(len(patch))
		unlike := strength < float64(faintMost*n) && (gaps >= float64(faintGaps*n) || green <= float64(faintGreen*n) || w.near && light >= float64(faintLight*n))
		if rise >= float64(leastBrowning*n) && !unlike {
			continue
		}
		for _, at := range patch {
			w.pooledEvidence[at] = noneBrowned
		}
	}
}

// patchesOf are the pool cells of what hangs together.
func (w *work) patchesOf(in []bool) [][]int32 {
	runs, sizes := stat.Runs(in, w.pool.size, true)
	out := make([][]int32, len(sizes))
	for _, r := range runs {
		for at := r.From; at < r.To; at++ {
			out[r.Part] = append(out[r.Part], at)
		}
	}
	return out
}
