package norm_test

import (
	"math"
	"testing"

	"bittern/internal/norm"
)

// Four checks of 80 m a side, with so much of their ground turned: straw-coloured
// pixels lie above 0 in ln(red/green), those of the crop below.
func TestChecksAreOrderedByHowFarTheyHaveTurned(t *testing.T) {
	turned := []float64{0.1, 0.5, 0.35, 0.7}
	p := newPlot(320, 320, 160, 61)
	for i := range p.summary.Pixels {
		p.mix(i, 0, 0, turned[p.layout.Check[i]]*(0.5+float64(p.random.Uint64N(1001))/1000))
	}
	d, err := norm.Find(t.Context(), &p.summary, &p.layout, norm.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	for c, r := range norm.Ripen(&p.summary, &p.layout, d) {
		if math.Abs(r.Straw-turned[c]) > 0.05 {
			t.Errorf("check %s: %.3f of it is straw, %.2f was turned", r.Check, r.Straw, turned[c])
		}
		if !(r.Low < r.Straw && r.Straw < r.High) || r.High-r.Low > 0.1 {
			t.Errorf("check %s: %.3f lies between %.3f and %.3f", r.Check, r.Straw, r.Low, r.High)
		}
	}
}
