package suspect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/suspect"
)

// Evidence is averaged over metres, and spreads a patch by that much; the bands show within a metre where it ends.
func TestAnEdgeLiesWhereTheFieldsOwnPatchesEnd(t *testing.T) {
	const side, radius = 300, 20
	acres := func(own float64, unburnt bool) float64 {
		p := newPlot(side, side, side)
		random := rand.New(rand.NewPCG(3, 5))
		n := p.s.Grid.Len()
		p.s.Bands, p.s.Pixels = []string{"green", "red", "nir"}, make([]uint32, n)
		for range p.s.Bands {
			p.s.Mean, p.s.Spread = append(p.s.Mean, make([]float32, n)), append(p.s.Spread, make([]float32, n))
		}
		for i := range n {
			away := math.Inf(1)
			for _, at := range [][2]int{{90, 90}, {210, 200}} {
				away = min(away, math.Hypot(float64(i%side-at[0]), float64(i/side-at[1])))
			}
			p.d.Evidence[i] = float32(max(-12, min(4, (radius+5-away)*1.5)))
			p.s.Pixels[i] = 100
			red, rough := 0.04, 0.15
			if away <= radius {
				red, rough = 0.055, 0.4
			}
			for b, m := range []float64{0.08, red, 0.4} {
				m *= 1 + 0.1*random.NormFloat64()
				p.s.Mean[b][i] = float32(m)
				p.s.Spread[b][i] = float32(m * rough * (1 + 0.2*random.NormFloat64()))
			}
			if p.d.Evidence[i] > -1.5 {
				p.d.Spreads[i], p.d.Toward[i] = 20, 1
				if unburnt {
					p.d.Toward[i] = 2
				}
			}
			if away <= radius {
				p.d.Share[i] = 0.3
			}
		}
		with := suspect.Defaults()
		with.EdgeOwn, with.EdgeShare = own, 0
		f, err := suspect.Find(t.Context(), &p.s, &p.l, &p.d, with, nil)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, s := range f.Suspects {
			sum += s.Acres
		}
		return sum
	}
	truth := 2 * math.Pi * radius * radius * acresPerCell
	own := suspect.Defaults().EdgeOwn
	if with, without := acres(own, false), acres(0, false); math.Abs(with/truth-1) > 0.08 || without < 1.15*truth {
		t.Errorf("%.3f acre by likeness, %.3f by evidence, of %.3f", with, without, truth)
	}
	if with, without := acres(own, true), acres(0, true); with != without {
		t.Errorf("weeds that have not burnt teach: %.4f and %.4f acre", with, without)
	}
}
