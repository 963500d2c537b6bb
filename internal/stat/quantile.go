package stat

import (
	"math"
	"slices"
)

// A Float is a value that the statistics take.
type Float interface{ ~float32 | ~float64 }

// NormalMAD turns the median absolute deviation of a normal population into
// its standard deviation: 1 / (the 0.75 quantile of the standard normal).
const NormalMAD = 1.4826022185056018

// normalMeanDeviation does the same for the mean absolute deviation: sqrt(pi/2).
const normalMeanDeviation = 1.2533141373155003

// Known returns a copy of xs without NaN.
func Known[T Float](xs []T) []T {
	out := make([]T, 0, len(xs))
	for _, x := range xs {
		if x == x {
			out = append(out, x)
		}
	}
	return out
}

// Select reorders xs so that its k-th smallest value, counted from 0, stands
// at xs[k] with none larger before it and none smaller behind it, and returns
// it. xs must hold no NaN. It panics when k is not an index of xs.
func Select[T Float](xs []T, k int) T {
	lo, hi := 0, len(xs)-1
	_ = xs[k]
	for hi > lo {
		i, j := partition(xs, lo, hi)
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return xs[k]
		}
	}
	return xs[k]
}

// partition splits xs[lo..hi] about the middle one of three; afterwards
// xs[lo..j] are at most the pivot and xs[i..hi] at least, with j < i.
func partition[T Float](xs []T, lo, hi int) (i, j int) {
	p := middle(xs[lo], xs[lo+(hi-lo)/2], xs[hi])
	i, j = lo, hi
	for i <= j {
		for xs[i] < p {
			i++
		}
		for xs[j] > p {
			j--
		}
		if i <= j {
			xs[i], xs[j] = xs[j], xs[i]
			i++
			j--
		}
	}
	return i, j
}

func middle[T Float](a, b, c T) T { return max(min(a, b), min(max(a, b), c)) }

// Quantile returns the q-th quantile of xs, 0 <= q <= 1, NaN passed over: the
// value at rank q*(n-1), between two values in proportion (definition 7 of
// Hyndman and Fan, The American Statistician 50 (1996), 361-365). It is NaN
// when no value is known. xs is not changed.
func Quantile[T Float](xs []T, q float64) float64 {
	ys := Known(xs)
	if len(ys) == 0 {
		return math.NaN()
	}
	return quantileOf(ys, q)
}

// quantileOf reorders ys, which holds at least one value and no NaN.
func quantileOf[T Float](ys []T, q float64) float64 {
	rank := q * float64(len(ys)-1)
	k := min(max(int(rank), 0), len(ys)-1)
	at := float64(Select(ys, k))
	if k+1 >= len(ys) || rank <= float64(k) {
		return at
	}
	next := float64(slices.Min(ys[k+1:]))
	return at + float64((next-at)*(rank-float64(k)))
}

// Median returns the median of xs, NaN passed over; NaN when none is known.
func Median[T Float](xs []T) float64 { return Quantile(xs, 0.5) }

// MAD returns the median absolute deviation of xs from center, in the unit of
// xs and not scaled; NaN when no value is known.
func MAD[T Float](xs []T, center float64) float64 {
	return Quantile(deviations(xs, center), 0.5)
}

func deviations[T Float](xs []T, center float64) []float64 {
	ds := make([]float64, len(xs))
	for i, x := range xs {
		ds[i] = math.Abs(float64(x) - center)
	}
	return ds
}

// Spread returns a robust standard deviation of xs about center: the scaled
// median absolute deviation. Where more than half of the values are the same,
// so that this is 0, it is the scaled mean absolute deviation instead; so it is
// 0 only when all values are equal, and NaN only when none is known. Callers
// that divide by it still need a floor of their own.
func Spread[T Float](xs []T, center float64) float64 {
	ds := Known(deviations(xs, center))
	if len(ds) == 0 {
		return math.NaN()
	}
	if s := NormalMAD * quantileOf(ds, 0.5); s > 0 {
		return s
	}
	return normalMeanDeviation * Mean(ds)
}

// CenterSpread returns the median of xs and the [Spread] about it.
func CenterSpread[T Float](xs []T) (center, spread float64) {
	center = Median(xs)
	return center, Spread(xs, center)
}

// Mean returns the mean of xs, NaN passed over; NaN when none is known.
func Mean[T Float](xs []T) float64 {
	sum, n := 0.0, 0
	for _, x := range xs {
		if x == x {
			sum += float64(x)
			n++
		}
	}
	return sum / float64(n)
}

// Largest is the place of the largest value, of equal ones the first; 0 of none.
func Largest(v []float64) int {
	best := 0
	for i, x := range v {
		if x > v[best] {
			best = i
		}
	}
	return best
}

// Places returns the indices of which [Sample] takes the known values.
func Places(in []bool, most int) []int32 {
	n := 0
	for _, b := range in {
		if b {
			n++
		}
	}
	step := max(n/max(most, 1), 1)
	out := make([]int32, 0, n/step+1)
	left := 0 // marked ones until the next that is taken
	for i, b := range in {
		if !b {
			continue
		}
		if left == 0 {
			out = append(out, int32(i))
			left = step
		}
		left--
	}
	return out
}

// Sample returns every so-manieth value of xs for which in is true (all when in
// is nil), NaN passed over, so that it holds about most values at most 2*most.
// It takes the same ones each time.
func Sample[T Float](xs []T, in []bool, most int) []T {
	n := len(xs)
	if in != nil {
		n = 0
		for _, b := range in {
			if b {
				n++
			}
		}
	}
	step := max(n/max(most, 1), 1)
	out := make([]T, 0, n/step+1)
	if in == nil {
		for i := 0; i < n; i += step {
			if x := xs[i]; x == x {
				out = append(out, x)
			}
		}
		return out
	}
	left := 0 // marked ones until the next that is taken
	for i, b := range in {
		if !b {
			continue
		}
		if left == 0 {
			if x := xs[i]; x == x {
				out = append(out, x)
			}
			left = step
		}
		left--
	}
	return out
}
