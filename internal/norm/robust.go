package norm

import (
	"math"
	"slices"
	"sort"

	"bittern/internal/stat"
)

// sampleMost bounds the values that a check's centre is taken from.
const sampleMost = 8000

// modeParts are the parts of the values whose shortest stretches, within the shortest half, mode takes the mean of: a stretch of
// one size may jump from one dense place to another for a few values more or less, and the norm of a whole check with it.
var modeParts = [...]float64{0.35, 0.3, 0.25, 0.2}

// mode returns the middle of where xs lie densest: the mean of the shortest
// stretches that hold some parts of them (the shortest half of the half-sample mode;
// Robertson and Cryer, Journal of the American Statistical
// Association 69 (1974), 1012-1016). A third of a check gone wrong to one side
// does not move it. NaN when xs is empty. xs must be sorted and hold no NaN.
func mode(xs []float32) float64 {
	if len(xs) < 8 {
		return stat.Mean(xs)
	}
	half, sum := shortest(xs, (len(xs)+1)/2), 0.0
	for _, part := range modeParts {
		sum += stat.Mean(shortest(half, int(part*float64(len(xs)))+1))
	}
	return sum / float64(len(modeParts))
}

// sortedQuantile returns the q-th quantile of sorted xs, between its neighbours
// as stat.Quantile does; NaN when xs is empty.
func sortedQuantile(xs []float32, q float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	at := q * float64(len(xs)-1)
	k := min(int(at), len(xs)-1)
	next := min(k+1, len(xs)-1)
	low, high := float64(xs[k]), float64(xs[next])
	return low + float64((at-float64(k))*(high-low))
}

// shortest returns the stretch of k of sorted xs that spans least; of equal ones the mean place, so that a flat top is not pulled
// to one side.
func shortest(xs []float32, k int) []float32 {
	best, first, last := math.Inf(1), 0, 0
	for i, high := range xs[k-1:] {
		switch span := float64(high) - float64(xs[i]); {
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
// distance of the values on that side. NaN when xs is empty. xs must be sorted.
func quietSide(xs []float32, center float64) float64 {
	below := sort.Search(len(xs), func(k int) bool { return float64(xs[k]) > center })
	from := sort.Search(len(xs), func(k int) bool { return float64(xs[k]) >= center })
	above := len(xs) - from
	a := medianOf(below, func(k int) float64 { return center - float64(xs[below-1-k]) })
	b := medianOf(above, func(k int) float64 { return float64(xs[from+k]) - center })
	switch {
	case below < len(xs)/5:
		return stat.NormalMAD * b
	case above < len(xs)/5:
		return stat.NormalMAD * a
	}
	return stat.NormalMAD * min(a, b)
}

// medianOf is the median of n values in rising order, as stat.Median takes it.
func medianOf(n int, at func(k int) float64) float64 {
	if n == 0 {
		return math.NaN()
	}
	k, low := (n-1)/2, at((n-1)/2)
	if n%2 == 1 {
		return low
	}
	return low + float64((at(k+1)-low)*0.5)
}

// radixBits of a value are sorted by at a time.
const radixBits = 11

// sortRising sorts xs, which must hold no NaN, by their bits, the lowest first: those of
// a float rise with it but for the sign. buf is at least as long, for the passes.
func sortRising(xs []float32, buf []uint32) {
	const size = 1 << radixBits
	if len(xs) < size/4 {
		slices.Sort(xs)
		return
	}
	from, to := make([]uint32, len(xs)), buf[:len(xs)]
	var count [3][size]int32
	for i, x := range xs {
		key := math.Float32bits(x)
		key ^= uint32(int32(key)>>31) | 1<<31
		from[i] = key
		count[0][key%size]++
		count[1][key>>radixBits%size]++
		count[2][key>>(2*radixBits)]++
	}
	for pass := range count {
		at, n := &count[pass], int32(0)
		for k, c := range at {
			at[k], n = n, n+c
		}
		for _, key := range from {
			k := key >> (pass * radixBits) % size
			to[at[k]] = key
			at[k]++
		}
		from, to = to, from
	}
	for i, key := range from {
		xs[i] = math.Float32frombits(key ^ (uint32(int32(^key)>>31) | 1<<31))
	}
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
func quietCenter(xs []float32, mode float64) float64 {
	if len(xs) < 8 {
		return mode
	}
	low, lower := float64(xs[len(xs)/20]), float64(xs[len(xs)/4])
	spread := min((lower-low)/(normalTwentieth-normalQuarter), widestCrop)
	foretold := lower + float64(normalQuarter*spread)
	if mode > foretold+spread {
		return foretold
	}
	return mode
}
