package norm

import "bittern/internal/stat"

const (
	sureFrom  = 1.0   // evidence of the cells of a patch that teach
	sureM2    = 300.0 // m2 of such cells, below which nothing is taught
	sureLow   = -1.5  // evidence that belongs to a patch
	sureHigh  = 2.5   // evidence that it reaches somewhere, or
	sureMass  = 250.0 // what its evidence has above sureLow, summed over its square metres
	sureLeast = 40.0  // m2, the least patch
	sureAway  = 8.0   // m from a patch, from where ground is surely crop
	sureCrop  = 0.25  // part of the field at least that is

	taughtM2     = 300.0 // m2 of patches that weigh as much as what is expected of weeds of all fields
	taughtFall   = 0.55  // fall of ln(nir/green), as a part of the rise of the middle, from which brown ground is not dried leaf that stands
	taughtDying  = 0.3   // evidence taken off for dead weeds, from which what living ones teach adds none
	taughtSpread = 0.06  // variance of one field's weeds, as a part of that of all fields'
	taughtEdge   = 0.5   // of the way from the crop's middle to the weeds' mean, from where ground belongs to a patch
	taughtLeast  = 2.75  // deviations of the crop that this is at least
	taughtRise   = 6.5   // evidence from the crop's middle to there
	taughtPart   = 0.45  // of the evidence that is what the field taught; the rest stays
	taughtGrow   = 0.0   // evidence by what the field taught, from which ground belongs to a patch that it hangs together with
	taughtTold   = 0.3   // part of such ground that is told by all evidence, from which the rest of it is told, too
	taughtMost   = 0.5   // evidence that it is given at most: more would shift the edge of what is told already
)

// teach replaces a part of evidence e by what the field's own sure weeds say of its doubtful ones, and returns that: the weeds
// of one field, under one treatment and one camera, are alike, while those of all fields
// differ widely. Base is the evidence that holds for all fields, of the field with its spots. Nil for nothing taught.
func (w *work) teach(e, base []float32, of spots) []float32 {
	var v []float32
	if w.p.Given == nil {
		w.out.Taught, v = w.learn(e, base, of)
	} else if w.p.Taught != nil {
		v = w.sums(base, w.p.Taught)[0]
	}
	b := w.balance()
	for at, x := range v {
		if x != x || e[at] != e[at] {
			continue
		}
		joined := e[at] + float32(taughtPart*(x-e[at]))
		if joined < e[at] || !w.looksDead(b, at) {
			e[at] = max(joined, leastEvidence)
		}
	}
	return v
}

// grow lets the patches of evidence e go as far as ground is like what they taught, v, but for killed ground. What holds for all
// fields may say nothing of the thinner part of a patch, while weeds of one field look alike: ground that hangs together by what the
// field taught, of which a good part is told, is one patch.
func (w *work) grow(e, v []float32, killed []bool) {
	alike := make([]bool, len(v))
	for at, x := range v {
		alike[at] = x >= taughtGrow && !killed[at] // NaN is not
	}
	for _, patch := range w.patchesOf(alike) {
		told := 0
		for _, at := range patch {
			if e[at] >= sureLow {
				told++
			}
		}
		if float64(told) < float64(taughtTold*float64(len(patch))) {
			continue
		}
		for _, at := range patch {
			e[at] = max(e[at], min(v[at], taughtMost))
		}
	}
}

// looksDead says whether brown is more of dead weeds than of living ones. Dried leaf that stands keeps most of its
// near infrared.
func (w *work) looksDead(b *balance, at int) bool {
	return w.dying(b, at) >= taughtDying && !(w.near && -w.away(w.below.infrared, at) < taughtFall*w.away(w.below.middle, at))
}

// learn is the discriminant of the field's sure weeds, in evidence: what belongs to a patch lies half of the way
// from the crop's middle to their mean, or farther. Nil where too few are sure.
func (w *work) learn(e, base []float32, of spots) (*Fitted, []float32) {
	sure, crop, m2 := w.examples(e)
	if sure == nil {
		return nil, nil
	}
	var weeds, rest []int32
	for i, at := range of.at {
		switch {
		case sure[at]:
			weeds = append(weeds, int32(i))
		case crop[at]:
			rest = append(rest, int32(i))
		}
	}
	if len(rest) < max(leastSpots, int(sureCrop*float64(len(of.at)))) || len(weeds) == 0 {
		return nil, nil
	}
	x := w.expectations()
	mean, own, crops := roundAbout(&x.browned.mean, roundShare), middleOf(of.spot, weeds), middleOf(of.spot, rest)
	for k := range mean {
		mean[k] += float64(m2 / (m2 + taughtM2) * (own[k] - crops[k] - mean[k]))
	}
	f := discriminant(&mean, &x.browned.deviation, &x.opened, shares{taughtSpread, taughtSpread * openedShare}, covariance(of.spot, rest))
	v := w.sums(base, f)[0]
	center, deviation := cropOf(v)
	edge := max(taughtEdge*(meanOf(v, sure)-center), taughtLeast*deviation)
	f.rescale(v, center+edge, sureLow, taughtRise/edge)
	return f, v
}

// middleOf is the mean of some spots, by their places in of.
func middleOf(of []spot, some []int32) (mean spot) {
	for _, i := range some {
		for k, x := range of[i] {
			mean[k] += x / float64(len(some))
		}
	}
	return mean
}

// meanOf is the mean of the values in some cells.
func meanOf(v []float32, in []bool) float64 {
	sum, n := 0.0, 0.0
	for at, x := range v {
		if in[at] && x == x {
			sum += float64(x)
			n++
		}
	}
	return sum / n
}

// examples are pool cells of patches that are sure, and ground that is surely crop; nil where too little is sure. They
// have m2 square metres.
func (w *work) examples(e []float32) (sure, crop []bool, m2 float64) {
	size := w.pool.size
	side := w.s.Grid.CellM * float64(w.pool.fold)
	sure = make([]bool, len(e))
	for at, x := range e {
		sure[at] = x > sureLow // NaN is not
	}
	runs, sizes := stat.Runs(sure, size, true)
	mass, top := make([]float64, len(sizes)), make([]float32, len(sizes))
	for _, r := range runs {
		for _, x := range e[r.From:r.To] {
			mass[r.Part] += float64(x - sureLow)
			top[r.Part] = max(top[r.Part], x)
		}
	}
	sureCells := 0
	for _, r := range runs {
		if !(float64(sizes[r.Part])*side*side >= sureLeast && (top[r.Part] >= sureHigh || mass[r.Part]*side*side >= sureMass)) {
			clear(sure[r.From:r.To])
			continue
		}
		for _, x := range e[r.From:r.To] {
			m2 += side * side
			if x > sureFrom {
				sureCells++
			}
		}
	}
	if float64(sureCells)*side*side < sureM2 {
		return nil, nil, 0
	}
	crop = stat.Grow(sure, size, sureAway/side)
	for at, near := range crop {
		crop[at] = !near && e[at] == e[at]
	}
	return sure, crop, m2
}

// covariance is that of some spots, by their places in of; row-major.
func covariance(of []spot, some []int32) []float64 {
	mean, n := middleOf(of, some), float64(len(some))
	cov := make([]float64, len(mean)*len(mean))
	var off spot
	for _, i := range some {
		for j, x := range of[i] {
			off[j] = x - mean[j]
		}
		for j, x := range off {
			row := cov[j*len(off):][:j+1]
			for k := range row {
				row[k] += float64(x * off[k] / n)
			}
		}
	}
	for j := range mean {
		for k := range j {
			cov[k*len(mean)+j] = cov[j*len(mean)+k]
		}
	}
	return cov
}
