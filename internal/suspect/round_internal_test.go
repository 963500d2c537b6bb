package suspect

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/stat"
)

// What a square that is moved along says is what every square says by itself, to the bit.
func TestEachRoundIsInsideRound(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, edgeM := range []float64{0, 1, 4, 10} {
		for _, part := range []float64{0.02, 0.5, 1} {
			s := stat.Size{Cols: 61, Rows: 47}
			v, share, in := make([]float32, s.Len()), make([]float32, s.Len()), make([]bool, s.Len())
			for i := range v {
				v[i], share[i], in[i] = float32(rng.NormFloat64()*4), float32(rng.Float64()), rng.Float64() < part
				switch rng.IntN(60) {
				case 0:
					v[i], share[i] = float32(math.NaN()), float32(math.NaN())
				case 1:
					v[i], share[i] = 1e-7*v[i], 1e-9*share[i]
				case 2:
					v[i] = 100
				}
			}
			w := newWork(&cells.Summary{Grid: grid.Grid{Cols: s.Cols, Rows: s.Rows, CellM: 0.5}}, nil, &norm.Departure{Evidence: v}, Parameters{EdgeM: edgeM, Low: -1.5})
			seen := make([]bool, s.Len())
			w.eachRound(in, [][]float32{v, share}, func(i int, means []float64) {
				seen[i] = true
				for k, values := range [][]float32{v, share} {
					if got, want := means[k], w.insideRound(in, values, i); math.Float64bits(got) != math.Float64bits(want) && (got == got || want == want) {
						t.Fatalf("cell %d: a mean of %v, by itself %v", i, got, want)
					}
				}
			})
			for i := range in {
				if in[i] != seen[i] {
					t.Fatalf("cell %d is marked: %v, called: %v", i, in[i], seen[i])
				}
			}
		}
	}
}
