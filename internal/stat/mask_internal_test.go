package stat

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// Stamped discs mark what the distance transform does, which is held to SciPy.
func TestStampAgreesWithDistance(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for _, s := range []Size{{Cols: 1, Rows: 1}, {Cols: 1, Rows: 9}, {Cols: 37, Rows: 1}, {Cols: 41, Rows: 29}} {
		for _, part := range []float64{0, 0.01, 0.3, 0.9, 1} {
			in := make([]bool, s.Len())
			for i := range in {
				in[i] = rng.Float64() < part
			}
			for _, radius := range []float64{0, 0.5, 1, 1.4142135623730951, 1.5, 2, 2.3, 3, 4.9} {
				want := within(DistanceWithin(in, s, radius), func(d float32) bool { return float64(d) <= radius })
				if got := stamp(in, s, radius); !slices.Equal(got, want) {
					t.Errorf("%v, %g of the cells, radius %g: stamped discs and distances differ", s, part, radius)
				}
				out := make([]bool, len(in))
				for i := range out {
					out[i] = !in[i]
				}
				want = within(DistanceWithin(out, s, radius), func(d float32) bool { return float64(d) > radius })
				if got := stampOut(in, s, radius); !slices.Equal(got, want) {
					t.Errorf("%v, %g of the cells, radius %g: discs stamped out and distances differ", s, part, radius)
				}
			}
		}
	}
}
