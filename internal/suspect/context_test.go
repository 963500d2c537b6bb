package suspect_test

import (
	"math"
	"testing"

	"bittern/internal/norm"
)

// Thin ground that no question of weeds counts is told by its acres, but for
// pieces below a patch; what is browned or killed is told elsewhere.
func TestGroundThatDoesNotCountIsContext(t *testing.T) {
	p := newPlot(200, 200, 200)
	p.d.Looks = append(p.d.Looks, norm.Thinned)
	p.disc(50, 50, 12, 0.8)
	thin := func(col, row, cells int, spreads float32) {
		for k := range cells {
			i := p.s.Grid.Index(col+k%20, row+k/20)
			p.d.Toward[i], p.d.Spreads[i] = 3, spreads
		}
	}
	thin(120, 120, 400, 8)
	thin(20, 150, 100, 8)  // 25 m2: no patch
	thin(150, 30, 400, 3)  // near the crop
	thin(100, 20, 400, 20) // killed
	for k := range 400 {
		p.d.Killed[p.s.Grid.Index(100+k%20, 20+k/20)] = true
	}
	f := p.find(t, nil)
	if len(f.Suspects) != 1 {
		t.Fatalf("%d suspects, want the browned one", len(f.Suspects))
	}
	if len(f.Context) != 1 || f.Context[0].Look != norm.Thinned || math.Abs(f.Context[0].Acres-400*acresPerCell) > 1e-12 {
		t.Errorf("context %+v, want 400 cells thinned", f.Context)
	}
}
