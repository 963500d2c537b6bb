package stat

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// Stretched runs mark what the distance transform does, where they are few.
func TestStretchAgreesWithDistance(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 11))
	s := Size{Cols: 141, Rows: 129}
	in := make([]bool, s.Len())
	for range 20 { // spots of some width, at the rim, too
		x, y := rng.IntN(s.Cols), rng.IntN(s.Rows)
		newDisc(4*rng.Float64()).stamp(in, s, x, y, true)
	}
	for _, radius := range []float64{5, 5.5, 8, 16.1, 40} {
		got := stretch(in, s, radius)
		if got == nil && radius < 8 {
			t.Fatalf("radius %g: nothing is stretched", radius)
		}
		want := within(DistanceWithin(in, s, radius), func(d float32) bool { return float64(d) <= radius })
		if got != nil && !slices.Equal(got, want) {
			t.Errorf("radius %g: stretched runs and distances differ", radius)
		}
	}
	for i := range in {
		in[i] = i%2 == 0
	}
	if stretch(in, s, 5) != nil {
		t.Error("a raster that is full of runs is stretched")
	}
}

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
