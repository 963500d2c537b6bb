package norm

import (
	"math"
	"slices"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A Fitted is a sum whose weights are fitted to one field: what a kind of weeds is expected to
// change, held against how this field's crop varies. Gaps, waves of a paler stand and
// the camera's noise differ from field to field, in size and in which figures they move
// together; a direction in which the crop itself varies says little of weeds.
type Fitted struct {
	weights spot // deviations of the crop for each unit of a figure, of a place and of the ground round about
	bias    float64
}

// expected is what a kind of weeds changes where it is worth acting on, and how widely
// that scatters from field to field and from place to place.
type expected struct{ mean, deviation figures }

// A sensor's expectations: weeds of which leaf has burnt, weeds that stand green above the crop, and
// what soil that shows between plants changes.
type expectations struct {
	browned, coarse expected
	opened          figures
}

// Means and deviations of the invented fields with odd seeds, rounded; what each rests on
// in the field stands in docs/methods/norm.md.
var (
	expectedInfrared = expectations{
		browned: expected{
			mean: figures{
				figureRed: 0.66, figureGreen: 0.05, figureInfraredContrast: 0.012, figureLow: 0.027, figureMiddle: 0.084,
				figureHigh: 0.24, figureInfrared: -0.07, figureBright: 0.026, figureEvidence: 8,
			},
			deviation: figures{
				figureRed: 0.25, figureGreen: 0.032, figureInfraredContrast: 0.052, figureLow: 0.056, figureMiddle: 0.087,
				figureHigh: 0.13, figureInfrared: 0.083, figureBright: 0.045, figureEvidence: 3.4,
			},
		},
		coarse: expected{
			mean: figures{
				figureRed: 0.21, figureGreen: 0.046, figureInfraredContrast: -0.014, figureLow: -0.064, figureMiddle: -0.02,
				figureInfrared: -0.004, figureBright: 0.025,
			},
			deviation: figures{
				figureRed: 0.08, figureGreen: 0.016, figureInfraredContrast: 0.027, figureLow: 0.027, figureMiddle: 0.033,
				figureHigh: 0.05, figureInfrared: 0.044, figureBright: 0.025, figureEvidence: unasked,
			},
		},
		opened: figures{
			figureRed: 0.62, figureGreen: 0.055, figureInfraredContrast: 0.11, figureLow: 0.17, figureMiddle: 0.32,
			figureHigh: 0.43, figureInfrared: -0.26, figureBright: 0.03,
		},
	}
	expectedColour = expectations{
		browned: expected{
			mean: figures{
				figureRed: 0.55, figureGreen: 0.077, figureLow: 0.05, figureMiddle: 0.14, figureHigh: 0.3,
				figureBright: 0.028, figureEvidence: 6.7,
			},
			deviation: figures{
				figureRed: 0.23, figureGreen: 0.036, figureInfraredContrast: 0.05, figureLow: 0.1, figureMiddle: 0.14,
				figureHigh: 0.16, figureInfrared: 0.08, figureBright: 0.05, figureEvidence: 3,
			},
		},
		coarse: expected{
			mean: figures{
				figureRed: 0.17, figureGreen: 0.033, figureLow: -0.105, figureMiddle: -0.054, figureHigh: -0.035, figureBright: 0.033,
			},
			deviation: figures{
				figureRed: 0.08, figureGreen: 0.016, figureInfraredContrast: 0.03, figureLow: 0.033, figureMiddle: 0.044,
				figureHigh: 0.055, figureInfrared: 0.044, figureBright: 0.025, figureEvidence: unasked,
			},
		},
		opened: figures{
			figureRed: 0.4, figureGreen: 0.07, figureLow: 0.18, figureMiddle: 0.35, figureHigh: 0.45, figureBright: 0.04, figureEvidence: 2.4,
		},
	}
)

const (
	unasked     = 100.0 // deviation of a figure that says nothing of a kind of weeds
	roundShare  = 0.83  // of what weeds change at a place, what the 15 m about it show of it
	roundSpread = 0.85  // the same of the deviation
	openedShare = 0.05  // variance that opened ground adds along what it changes: all but the most open ground is in the crop's scatter
	roundKept   = 0.6   // part of the weights round about that stays there; the rest goes to the place, or edges would blur over 15 m

	leastSpots  = 50   // below which a field's scatter is not known
	weedyFrom   = 2.5  // deviations of evidence above the crop's middle from which a spot is left out of its scatter
	cropMost    = 2.5  // deviations above the middle beyond which ground is not taken for crop
	farTail     = 0.01 // quantile; a crop whose values lie far out there has as many far out on the other side
	farTails    = 1.9  // deviations that it lies below the middle at most, in a crop without a tail
	leastEffect = 0.08 // the least deviation, as a part of what weeds are expected to change

	fittedCrop = -5.5 // evidence of the crop's middle
	fittedStep = 1.75 // evidence for each deviation
	fittedPart = 0.6  // of the evidence that is fitted; the rest stays what holds for all fields
	fittedLead = 1.0  // evidence may lie above the fitted one by so much
)

// fit weighs a field's ground again, of which e is the evidence that holds for all fields: in deviations of its
// crop, as browned weeds and as coarse ones; nil where too little is known of it. A part of a field takes
// what was fitted to the whole; neither it nor a search is asked for coarse weeds.
func (w *work) fit(e []float32) (browned, coarse []float32) {
	if w.p.Given != nil {
		if w.p.Fitted != nil {
			browned = w.deviations(w.p.Fitted, e, 0)
		}
		return browned, nil
	}
	if w.below.middle == nil || !w.leafCrop() {
		return nil, nil
	}
	of := w.spots(e)
	if len(of) < leastSpots {
		return nil, nil
	}
	x, cov := w.expectations(), covariance(mostlyCrop(of))
	w.out.Fitted, browned = w.fitted(x.browned, x.opened, cov, e, 0)
	if w.p.Search == nil {
		_, coarse = w.fitted(x.coarse, x.opened, cov, e, leafyM)
	}
	return browned, coarse
}

// leafy are the deviations of the crop as coarse weeds alone; nil where too little is known.
func (w *work) leafy() []float32 {
	e := nans(w.pool.size.Len()) // not asked for
	for at, n := range w.pool.cells {
		if n > 0 {
			e[at] = 0
		}
	}
	of := w.spots(e)
	if len(of) < leastSpots {
		return nil
	}
	x := w.expectations()
	_, v := w.fitted(x.coarse, x.opened, covariance(of), e, leafyM)
	return v
}

// expectations are what the flight's bands show of weeds.
func (w *work) expectations() *expectations {
	if w.near {
		return &expectedInfrared
	}
	return &expectedColour
}

// leafCrop says whether on most of the ground the norm's middle pixel is leaf. Where soil is the norm,
// plants of any kind roughen the red as burnt leaf does.
func (w *work) leafCrop() bool {
	leaf, n := 0, 0
	for at, cells := range w.pool.cells {
		if cells > 0 {
			n++
			if w.below.middle.centerAt(w.pool.check[at]) < -math.Log(greenOverRed) {
				leaf++
			}
		}
	}
	return 2*leaf > n
}

// join sets evidence e by what is fitted to the field and what holds for all fields.
func join(e, fitted []float32) {
	for at, d := range fitted {
		if d == d && e[at] == e[at] {
			f := fittedCrop + fittedStep*d
			e[at] = max(min((1-fittedPart)*e[at]+fittedPart*f, f+fittedLead), leastEvidence)
		}
	}
}

// fitted is Fisher's linear discriminant (Annals of Eugenics 7 (1936), 179-188) of weeds that are
// expected against the field's own crop, and its value at every pool cell, in the crop's
// deviations above its middle, averaged over m metres to each side. The covariance may hold some
// weeds, too: what they add lies mostly along what is sought, and changes the sum's size, which is taken from the crop.
func (w *work) fitted(x expected, opened figures, cov []float64, e []float32, m float64) (*Fitted, []float32) {
	var mean, open spot
	s := append([]float64(nil), cov...)
	for k := range figureCount {
		mean[k], mean[figureCount+k] = x.mean[k], roundShare*x.mean[k]
		open[k], open[figureCount+k] = opened[k], roundShare*opened[k]
		d := x.deviation[k]
		s[k*len(mean)+k] += d * d
		s[(figureCount+k)*len(mean)+figureCount+k] += roundSpread * roundSpread * d * d
	}
	for i, a := range open {
		for j, b := range open {
			s[i*len(open)+j] += float64(openedShare * a * b)
		}
	}
	ellipsoid := stat.NewEllipsoid(make([]float64, len(mean)), s)
	f, length := &Fitted{}, 0.0
	for k, d := range ellipsoid.Solve(mean[:]) {
		f.weights[k] = d
		length += float64(d * mean[k])
	}
	for k := range figureCount {
		near, round := f.weights[k]/length, f.weights[figureCount+k]/length
		f.weights[k], f.weights[figureCount+k] = near+float64((1-roundKept)*round), roundKept*round
	}
	v := w.deviations(f, e, m)
	center, deviation := cropOf(v)
	unit := 1 / max(deviation, leastEffect)
	for k := range f.weights {
		f.weights[k] *= unit
	}
	f.bias = -center * unit
	for at := range v {
		v[at] = float32((float64(v[at]) - center) * unit)
	}
	return f, v
}

// deviations is the sum at every pool cell, averaged over m metres to each side.
func (w *work) deviations(f *Fitted, e []float32, m float64) []float32 {
	near, round := nans(len(e)), nans(len(e))
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if e[at] != e[at] {
				continue
			}
			a, b := f.bias, 0.0
			for k, x := range w.figuresAt(at, e) {
				a += float64(f.weights[k] * x)
				b += float64(f.weights[figureCount+k] * x)
			}
			near[at], round[at] = float32(a), float32(b)
		}
	})
	raster.Together(w.p.Workers, func() { near = w.smooth(near) }, func() { round = w.around(w.smooth(round)) })
	for at, x := range round {
		near[at] += x
	}
	if m > 0 {
		in := make([]bool, len(near))
		for at, x := range near {
			in[at] = x == x
		}
		stat.Box(near, near, in, w.pool.size, w.reach(m))
		for at, ok := range in {
			if !ok {
				near[at] = float32(math.NaN())
			}
		}
	}
	return near
}

// cropOf is the middle of the crop's values and their deviation, taken on the lower side, where
// weeds do not reach; what lies far above is left out first, since much of it
// would shift both. A crop of many gaps and clumps has more values far out than a normal of
// its middle half: there the far tail is the deviation.
func cropOf(v []float32) (center, deviation float64) {
	sample := stat.Sample(v, nil, 4*sampleMost)
	xs := make([]float64, 0, len(sample))
	for _, x := range sample {
		if x == x {
			xs = append(xs, float64(x))
		}
	}
	for range 3 {
		center = stat.Median(xs)
		most := center + float64(cropMost*(center-stat.Quantile(xs, quietTail)))
		kept := make([]float64, 0, len(xs))
		for _, x := range xs {
			if x < most {
				kept = append(kept, x)
			}
		}
		if len(kept) < len(xs)/2 {
			break
		}
		xs = kept
	}
	center = stat.Median(xs)
	return center, max(center-stat.Quantile(xs, quietTail), (center-stat.Quantile(xs, farTail))/farTails)
}

// mostlyCrop leaves out what stands far out by the evidence that holds for all fields: dense weeds over a quarter
// of a field would be taken for one of the ways in which its crop varies.
func mostlyCrop(of []spot) []spot {
	v := make([]float32, len(of))
	for i := range of {
		v[i] = float32(of[i][figureEvidence])
	}
	center, deviation := cropOf(v)
	return slices.DeleteFunc(of, func(s spot) bool { return s[figureEvidence] >= center+float64(weedyFrom*deviation) })
}
