package norm

import (
	"math"
	"slices"
	"sort"

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

// A sensor's expectations: weeds of which leaf has burnt in specks, weeds that stand green above the crop,
// weeds of which leaf has burnt dark, no paler in green than the crop, leaf that has dried all over, ground
// that has browned for any cause, weeds of which leaf has burnt in specks that are finer than a pixel, leaf that has turned a little
// brown all over, browned leaf in a crop with gaps (none of these in colour alone, where
// such leaf is as soil), and what soil that shows between plants changes.
type expectations struct {
	browned, coarse, dark             expected
	dried, brown, fine, tinged, gappy *expected
	opened                            figures
}

// How widely brown leaf scatters, whatever the evidence that holds for all fields says of it.
var (
	brownInfrared = figures{
		figureRed: 0.25, figureGreen: 0.032, figureInfraredContrast: 0.052, figureLow: 0.056, figureMiddle: 0.087,
		figureHigh: 0.13, figureInfrared: 0.083, figureBright: 0.045, figureEvidence: unasked,
	}
	brownColour = figures{
		figureRed: 0.23, figureGreen: 0.036, figureInfraredContrast: 0.05, figureLow: 0.1, figureMiddle: 0.14,
		figureHigh: 0.16, figureInfrared: 0.08, figureBright: 0.05, figureEvidence: unasked,
	}
)

// times is f with every figure times x.
func (f figures) times(x float64) figures {
	for k := range f {
		f[k] *= x
	}
	return f
}

// evidence is f with a deviation of evidence of its own.
func (f figures) evidence(deviation float64) figures {
	f[figureEvidence] = deviation
	return f
}

// Means and deviations of the invented fields with odd seeds, rounded; of dried and of brown ground the means of
// the other painter's (docs/methods/outside.md), of dark leaf those of a third's, of fine specks and of tinged leaf near those of a fourth's. What each rests on in the field stands in
// docs/methods/norm.md.
var (
	expectedInfrared = expectations{
		browned: expected{
			mean: figures{
				figureRed: 0.66, figureGreen: 0.05, figureInfraredContrast: 0.012, figureLow: 0.027, figureMiddle: 0.084,
				figureHigh: 0.24, figureInfrared: -0.07, figureBright: 0.026, figureEvidence: 8,
			},
			deviation: brownInfrared.evidence(3.4),
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
		dark: expected{
			mean: figures{
				figureRed: 0.6, figureInfraredContrast: 0.07, figureLow: 0.02, figureMiddle: 0.06,
				figureHigh: 0.38, figureInfrared: -0.12, figureBright: 0.05,
			},
			deviation: brownInfrared,
		},
		dried: &expected{
			mean:      figures{figureRed: 0.18, figureLow: 0.08, figureMiddle: 0.22, figureHigh: 0.3, figureInfrared: -0.04, figureBright: 0.01},
			deviation: brownInfrared,
		},
		brown: &expected{
			mean:      figures{figureRed: 0.3, figureLow: 0.12, figureMiddle: 0.25, figureHigh: 0.25, figureInfrared: -0.1, figureBright: 0.02},
			deviation: brownInfrared,
		},
		fine: &expected{
			mean: figures{
				figureRed: 0.27, figureGreen: 0.08, figureLow: 0.07, figureMiddle: 0.13,
				figureHigh: 0.18, figureInfrared: -0.09, figureBright: 0.05,
			},
			deviation: brownInfrared,
		},
		tinged: &expected{
			mean: figures{
				figureRed: 0.1, figureGreen: 0.02, figureLow: 0.04, figureMiddle: 0.1,
				figureHigh: 0.1, figureInfrared: -0.01, figureBright: 0.01,
			},
			deviation: brownInfrared.times(tingedSpread),
		},
		gappy: &expected{
			mean: figures{
				figureRed: 0.41, figureInfraredContrast: -0.025, figureLow: 0.1, figureMiddle: 0.17,
				figureHigh: 0.09, figureInfrared: -0.12, figureBright: 0.04, figureEvidence: 3.1,
			},
			deviation: figures{
				figureRed: 0.25, figureGreen: 0.05, figureInfraredContrast: 0.05, figureLow: 0.06, figureMiddle: 0.11,
				figureHigh: 0.09, figureInfrared: 0.09, figureBright: 0.045, figureEvidence: 3.4,
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
			deviation: brownColour.evidence(3),
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
		dark: expected{
			mean:      figures{figureRed: 0.36, figureGreen: 0.03, figureLow: 0.03, figureMiddle: 0.09, figureHigh: 0.3, figureBright: 0.065},
			deviation: brownColour,
		},
		opened: figures{
			figureRed: 0.4, figureGreen: 0.07, figureLow: 0.18, figureMiddle: 0.35, figureHigh: 0.45, figureBright: 0.04, figureEvidence: 2.4,
		},
	}
)

const (
	unasked      = 100.0 // deviation of a figure that says nothing of a kind of weeds
	tingedSpread = 0.25  // of how widely brown leaf scatters, what leaf does that has turned a little: so little shows only in figures that a crop moves together
	roundShare   = 0.83  // of what weeds change at a place, what the 15 m about it show of it
	roundSpread  = 0.85  // the same of the deviation
	openedShare  = 0.05  // variance that opened ground adds along what it changes: all but the most open ground is in the crop's scatter
	roundKept    = 0.6   // part of the weights round about that stays there; the rest goes to the place, or edges would blur over 15 m

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

// Weighed is a field's ground in deviations of its crop, as weeds of each kind; nil where too little is known of it.
type weighed struct {
	browned, coarse, dark, dried, brown, fine, tinged, gappy []float32
	of                                                       spots // of the field
}

// fit weighs a field's ground again, of which e is the evidence that holds for all fields. A part of a field takes
// what was fitted to the whole; neither it nor a search is asked for more than browned weeds.
func (w *work) fit(e []float32) (f weighed) {
	if w.p.Given != nil {
		if w.p.Fitted != nil {
			f.browned = w.sums(e, w.p.Fitted)[0]
		}
		return f
	}
	if w.below.middle == nil || !w.leafCrop() {
		return f
	}
	of := w.spots(e)
	if len(of.spot) < leastSpots {
		return f
	}
	f.of = of
	x, cov := w.expectations(), covariance(of.spot, mostlyCrop(of.spot))
	var kinds []*Fitted
	var into []*[]float32
	ask := func(kind *expected, opened float64, of *[]float32) {
		if kind != nil {
			kinds, into = append(kinds, x.discriminant(kind, opened, cov)), append(into, of)
		}
	}
	ask(&x.browned, openedShare, &f.browned)
	if w.p.Search == nil {
		ask(&x.coarse, openedShare, &f.coarse)
		ask(&x.dark, openedShare, &f.dark)
		ask(x.dried, 1, &f.dried)
		ask(x.brown, openedShare, &f.brown)
		ask(x.fine, openedShare, &f.fine)
		if w.gappyCrop() {
			ask(x.gappy, openedShare, &f.gappy)
		} else {
			ask(x.tinged, openedShare, &f.tinged)
		}
	}
	for i, v := range w.sums(e, kinds...) {
		if into[i] == &f.coarse {
			v = w.wide(v, leafyM)
		}
		inDeviations(kinds[i], v)
		*into[i] = v
	}
	w.out.Fitted = kinds[0]
	return f
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
	if len(of.spot) < leastSpots {
		return nil
	}
	x := w.expectations()
	f := x.discriminant(&x.coarse, openedShare, covariance(of.spot, everyOf(len(of.spot))))
	v := w.wide(w.sums(e, f)[0], leafyM)
	inDeviations(f, v)
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
	return w.mostly(func(check int32) bool { return w.below.middle.centerAt(check) < -math.Log(greenOverRed) })
}

// gappyCrop says whether on most of the ground the norm's brown end is soil: a tenth of the pixels or more. It rises no
// further where leaf browns, too.
func (w *work) gappyCrop() bool {
	return w.mostly(func(check int32) bool { return w.below.high.centerAt(check) > 0 })
}

// mostly says whether more than half of the ground lies in checks that are so.
func (w *work) mostly(so func(check int32) bool) bool {
	are, n := 0, 0
	for at, cells := range w.pool.cells {
		if cells > 0 {
			n++
			if so(w.pool.check[at]) {
				are++
			}
		}
	}
	return 2*are > n
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

// inDeviations turns a sum and its values into deviations of the crop above its middle.
func inDeviations(f *Fitted, v []float32) {
	center, deviation := cropOf(v)
	f.rescale(v, center, 0, 1/max(deviation, leastEffect))
}

// discriminant is that of a kind of weeds; opened is the share of what opened ground adds that counts.
func (x *expectations) discriminant(kind *expected, opened float64, cov []float64) *Fitted {
	mean := roundAbout(&kind.mean, roundShare)
	return discriminant(&mean, &kind.deviation, &x.opened, shares{1, opened}, cov)
}

// roundAbout is what is at a place, and a share of it over the ground round about.
func roundAbout(f *figures, share float64) (out spot) {
	for k, x := range f {
		out[k], out[figureCount+k] = x, share*x
	}
	return out
}

// Shares are the parts of the variance of weeds and of what opened ground adds that count.
type shares struct{ weeds, opened float64 }

// discriminant is Fisher's linear discriminant (Annals of Eugenics 7 (1936), 179-188) of weeds with a mean and a
// deviation against a crop with a covariance; weeds of that mean have the value 1. The covariance may hold some
// weeds, too: what they add lies mostly along what is sought, and changes the sum's size, which is taken from
// the crop.
func discriminant(mean *spot, deviation, opened *figures, part shares, cov []float64) *Fitted {
	scatter, open := roundAbout(deviation, roundSpread), roundAbout(opened, roundShare)
	s := append([]float64(nil), cov...)
	for i, a := range open {
		s[i*len(open)+i] += float64(part.weeds * scatter[i] * scatter[i])
		for j, b := range open {
			s[i*len(open)+j] += float64(part.opened * a * b)
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
	return f
}

// rescale makes at of what was from, and by units of each one above it; v, the values, alike.
func (f *Fitted) rescale(v []float32, from, at, by float64) {
	for k := range f.weights {
		f.weights[k] *= by
	}
	f.bias = at + float64((f.bias-from)*by)
	for i, x := range v {
		v[i] = float32(at + float64((float64(x)-from)*by))
	}
}

// sums is what each of some weights makes of every pool cell; e is the evidence that holds for all fields.
func (w *work) sums(e []float32, of ...*Fitted) [][]float32 {
	near, round := make([][]float32, len(of)), make([][]float32, len(of))
	for i := range of {
		near[i], round[i] = make([]float32, len(e)), make([]float32, len(e))
	}
	in, read := knownIn(e), w.departures()
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if !in[at] {
				continue
			}
			figures := w.figuresAt(at, &read, e)
			for i, f := range of {
				a, b := f.bias, 0.0
				for k, x := range figures {
					a += float64(f.weights[k] * x)
					b += float64(f.weights[figureCount+k] * x)
				}
				near[i][at], round[i][at] = float32(a), float32(b)
			}
		}
	})
	raster.Bands(w.p.Workers, len(of), func(from, to int) {
		stat.BoxAll(round[from:to], round[from:to], in, w.pool.size, w.reach(aroundM))
		for i := from; i < to; i++ {
			for at, x := range round[i] {
				near[i][at] += x
			}
		}
		stat.BoxAll(near[from:to], near[from:to], in, w.pool.size, w.reach(nearM))
		for i := from; i < to; i++ {
			for at, is := range in {
				if !is {
					near[i][at] = float32(math.NaN())
				}
			}
		}
	})
	return near
}

// wide is the mean over m metres to each side.
func (w *work) wide(v []float32, m float64) []float32 {
	in := knownIn(v)
	stat.Box(v, v, in, w.pool.size, w.reach(m))
	for at, ok := range in {
		if !ok {
			v[at] = float32(math.NaN())
		}
	}
	return v
}

// cropOf is the middle of the crop's values and their deviation, taken on the lower side, where
// weeds do not reach; what lies far above is left out first, since much of it
// would shift both. A crop of many gaps and clumps has more values far out than a normal of
// its middle half: there the far tail is the deviation.
func cropOf(v []float32) (center, deviation float64) {
	xs := stat.Sample(v, nil, 4*sampleMost)
	sortRising(xs, make([]uint32, len(xs)))
	for range 3 {
		center = sortedQuantile(xs, 0.5)
		most := center + float64(cropMost*(center-sortedQuantile(xs, quietTail)))
		kept := sort.Search(len(xs), func(k int) bool { return float64(xs[k]) >= most })
		if kept < len(xs)/2 {
			break
		}
		xs = xs[:kept]
	}
	center = sortedQuantile(xs, 0.5)
	return center, max(center-sortedQuantile(xs, quietTail), (center-sortedQuantile(xs, farTail))/farTails)
}

// mostlyCrop are the places of spots, without those that stand far out by the evidence that holds for all fields: dense weeds over a quarter
// of a field would be taken for one of the ways in which its crop varies.
func mostlyCrop(of []spot) []int32 {
	v := make([]float32, len(of))
	for i := range of {
		v[i] = float32(of[i][figureEvidence])
	}
	center, deviation := cropOf(v)
	most := center + float64(weedyFrom*deviation)
	return slices.DeleteFunc(everyOf(len(of)), func(i int32) bool { return of[i][figureEvidence] >= most })
}

// everyOf are the places of all of n spots.
func everyOf(n int) []int32 {
	out := make([]int32, n)
	for i := range out {
		out[i] = int32(i)
	}
	return out
}
