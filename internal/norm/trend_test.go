package norm_test

import (
	"math"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/norm"
)

// paleFrom makes the crop paler by amount at distance 0, halving every halfM.
func (p *plot) paleFrom(amount, halfM float64, distance func(x, y float64) float64) {
	g := p.summary.Grid
	for i := range g.Len() {
		c := g.Center(i%g.Cols, i/g.Cols)
		p.pale(i, amount*math.Exp2(-distance(c.X-g.OriginX, g.OriginY-c.Y)/halfM))
	}
}

func TestATrendFromAnEdgeIsNamedWithItsHalfDistance(t *testing.T) {
	for _, half := range []float64{12, 24} {
		p := newCoarsePlot(320, 280, 80, 9, 31)
		p.paleFrom(0.7, half, func(x, _ float64) float64 { return x })
		p.disc(100, 140, 12, func(i int) { p.grow(i, 0, 0.3) })
		d := find(t, p)
		if len(d.Trends) != 1 || d.Trends[0].From != "west edge" || d.Trends[0].Look != norm.Yellowed {
			t.Fatalf("half-distance %g: trends %+v", half, d.Trends)
		}
		if got := d.Trends[0].HalfM; math.Abs(got/half-1) > 0.2 {
			t.Errorf("half-distance %.1f m, want %g", got, half)
		}
		if e := d.Evidence[140*320+100]; e < 1 {
			t.Errorf("evidence %g in a patch within the trend", e)
		}
		if e := d.Evidence[60*320+10]; e > -1.5 {
			t.Errorf("evidence %g in the trend itself", e)
		}
		if z := d.Spreads[60*320+6]; z < 1 {
			t.Errorf("the trend has gone from the departure: %g spreads beside the edge", z)
		}
	}
}

func TestAFanIsNamedWhereAnInletIsMarked(t *testing.T) {
	p := newCoarsePlot(240, 240, 120, 9, 32)
	p.paleFrom(0.9, 15, func(x, y float64) float64 { return math.Hypot(x-2, y-2) })
	g := p.summary.Grid
	q := norm.Defaults()
	q.Inlets = []geo.Point{{X: g.OriginX + 2, Y: g.OriginY - 2}}
	d, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Trends) != 1 || !d.Trends[0].Inlet || math.Abs(d.Trends[0].HalfM/15-1) > 0.2 {
		t.Fatalf("trends %+v", d.Trends)
	}
	// A quarter of a disc of the radius at which the trend has come down to a spread.
	if a := d.Trends[0].Acres; a < 0.1 || a > 1 {
		t.Errorf("%.2f acres", a)
	}
	if got := find(t, p).Trends; len(got) != 0 {
		t.Errorf("without a mark a fan is called %+v", got)
	}
}

// A field whose stand varies over tens of metres, and whose checks differ, has no
// trend: sums of waves of random direction, the nearest thing to a smooth field
// that has no edge in it.
func TestASmoothFieldHasNoTrend(t *testing.T) {
	seeds := uint64(100)
	if testing.Short() {
		seeds = 12
	}
	for seed := range seeds {
		p := newCoarsePlot(160, 160, 80, 4, 1000+seed)
		p.summary.Grid.CellM, p.layout.Grid.CellM = 2, 2 // 25 acres
		type wave struct{ x, y, at, tall float64 }
		var waves []wave
		for range 12 {
			long, turn := 40+100*p.random.Float64(), 2*math.Pi*p.random.Float64()
			waves = append(waves, wave{math.Cos(turn) / long, math.Sin(turn) / long, p.random.Float64(), 0.08})
		}
		g := p.summary.Grid
		for i := range g.Len() {
			c, by := g.Center(i%g.Cols, i/g.Cols), 0.0
			for _, w := range waves {
				by += w.tall * math.Sin(2*math.Pi*((c.X-g.OriginX)*w.x+(c.Y-g.OriginY)*w.y+w.at))
			}
			p.pale(i, by)
		}
		if d := find(t, p); len(d.Trends) != 0 {
			t.Errorf("seed %d: %+v", seed, d.Trends)
		}
	}
}
