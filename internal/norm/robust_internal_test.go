package norm

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"bittern/internal/stat"
)

func TestSortRisingSorts(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, n := range []int{0, 1, 511, 512, 9000} {
		xs := make([]float32, n)
		for i := range xs {
			xs[i] = float32(math.Exp(20*rng.NormFloat64()) * (rng.Float64() - 0.5))
		}
		want := slices.Clone(xs)
		slices.Sort(want)
		sortRising(xs, make([]uint32, n))
		if !slices.Equal(xs, want) {
			t.Errorf("%d values are not in rising order", n)
		}
	}
}

func TestMedianOfIsTheMedian(t *testing.T) {
	for _, xs := range [][]float64{nil, {3}, {1, 2}, {1, 5, 7}, {-4, -1, 2, 9}} {
		got, want := medianOf(len(xs), func(k int) float64 { return xs[k] }), stat.Median(xs)
		if got != want && (got == got || want == want) {
			t.Errorf("the median of %v is %v, want %v", xs, got, want)
		}
	}
}
