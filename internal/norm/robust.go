package norm

import (
	"math"
	"slices"

	"bittern/internal/stat"
)

// sampleMost bounds the values that a check's centre is taken from.
const sampleMost = 8000

// mode returns the middle of where xs lie densest: the mean of the shortest
// stretch that holds half of them, and of that again half (two steps of the
// half-sample mode; Robertson and Cryer, Journal of the American Statistical
// Association 69 (1974), 1012-1016). A third of a check gone wrong to one side
// does not move it. It sorts xs; NaN when xs is empty. xs must hold no NaN.
func mode(xs []float64) float64 {
	slices.Sort(xs)
	for range 2 {
		if len(xs) < 8 {
			break
		}
		xs = shortestHalf(xs)
	}
	return stat.Mean(xs)
}

// sortedQuantile returns the q-th quantile of sorted xs, between its neighbours
// as stat.Quantile does; NaN when xs is empty.
func sortedQuantile(xs []float64, q float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	at := q * float64(len(xs)-1)
	k := min(int(at), len(xs)-1)
	next := min(k+1, len(xs)-1)
	return xs[k] + float64((at-float64(k))*(xs[next]-xs[k]))
}

// shortestHalf returns the stretch of sorted xs of half their number that
// spans least; of equal ones the mean place, so that a flat top is not pulled
// to one side.
func shortestHalf(xs []float64) []float64 {
	k := (len(xs) + 1) / 2
	best, first, last := math.Inf(1), 0, 0
	for i := 0; i+k <= len(xs); i++ {
		switch span := xs[i+k-1] - xs[i]; {
		case span < best:
			best, first, last = span, i, i
		case span == best:
			last = i
		}
	}
	at := (first + last) / 2
	return xs[at : at+k]
}

// quietSide returns the robust spread of xs about center judged from the
// quieter of the two sides, since what is sick lies on one: the scaled median
// distance of the values on that side. NaN when xs is empty.
func quietSide(xs []float64, center float64) float64 {
	var below, above []float64
	for _, x := range xs {
		if x <= center {
			below = append(below, center-x)
		}
		if x >= center {
			above = append(above, x-center)
		}
	}
	a, b := stat.Median(below), stat.Median(above)
	switch {
	case len(below) < len(xs)/5:
		return stat.NormalMAD * b
	case len(above) < len(xs)/5:
		return stat.NormalMAD * a
	}
	return stat.NormalMAD * min(a, b)
}

// Distances of the lower quarter and twentieth of the standard normal from its
// middle.
const (
	normalQuarter   = 0.674
	normalTwentieth = 1.645
)

// widestCrop is the largest spread that a healthy stand's contrasts are believed
// to have, in ln units: a wider tail is killed ground or water.
const widestCrop = 0.25

// quietCenter returns the centre of a quantity that weeds only raise: the mode,
// unless it lies more than a spread above what the lower tail of xs foretells
// for its middle, were it normal. Then dense weeds are the mode, though they
// are not the most. xs must be sorted.
func quietCenter(xs []float64, mode float64) float64 {
	if len(xs) < 8 {
		return mode
	}
	low, lower := xs[len(xs)/20], xs[len(xs)/4]
	spread := min((lower-low)/(normalTwentieth-normalQuarter), widestCrop)
	foretold := lower + float64(normalQuarter*spread)
	if mode > foretold+spread {
		return foretold
	}
	return mode
}
