package norm_test

import (
	"math"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

func TestPartCountsOnlyWhatBothFlightsShow(t *testing.T) {
	then := norm.Then{Known: []bool{true, true, false, true}, Stood: []bool{true, false, true, true}}
	if stood, known := then.Part([]int32{0, 1, 2, 3}); stood != 2.0/3 || known != 0.75 {
		t.Errorf("stood %g of what is known, known %g; want two thirds and three quarters", stood, known)
	}
	if stood, known := then.Part(nil); stood != 0 || known != 0 {
		t.Errorf("no cells: %g, %g", stood, known)
	}
}

// A square of crop with a greener, coarser square in it on the earlier flight, and
// browned ground of three kinds: new, as browned before, and not shown before.
func TestGroundThatLookedSoBeforeOwesNothingToTheTreatment(t *testing.T) {
	g := grid.Grid{EPSG: 32615, CellM: 0.5, Cols: 80, Rows: 80, AcresPerCell: 0.25 / 4046.8564224}
	n := g.Len()
	flight := func() *cells.Summary {
		s := &cells.Summary{Grid: g, Bands: []string{"green", "red"}, Pixels: make([]uint32, n)}
		for range s.Bands {
			s.Mean, s.Spread = append(s.Mean, make([]float32, n)), append(s.Spread, make([]float32, n))
		}
		for i := range n {
			ripple := float32(1 + 0.03*math.Sin(float64(i%g.Cols)/5)*math.Cos(float64(i/g.Cols)/7))
			s.Pixels[i] = 25
			s.Mean[0][i], s.Mean[1][i] = 0.1, 0.06*ripple
			s.Spread[0][i], s.Spread[1][i] = 0.01*ripple, 0.01/ripple
		}
		return s
	}
	now, then := flight(), flight()
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, n), Check: make([]int32, n), Checks: []structure.Check{{ID: "1"}}}
	departure := func() *norm.Departure {
		d := &norm.Departure{Evidence: make([]float32, n), Toward: make([]uint8, n), Killed: make([]bool, n), Looks: []norm.Look{norm.NoLook, norm.Browned}}
		for i := range n {
			d.Evidence[i] = -6
		}
		return d
	}
	a, b := departure(), departure()
	for i := range n {
		switch col, row := i%g.Cols, i/g.Cols; {
		case row >= 60 && col < 20: // new
			a.Evidence[i], a.Toward[i] = 3, 1
		case row >= 60 && col < 40: // as browned before
			a.Evidence[i], a.Toward[i], b.Evidence[i] = 3, 1, 2.5
		case row >= 60 && col < 60: // not shown before
			a.Evidence[i], a.Toward[i], then.Pixels[i], b.Evidence[i] = 3, 1, 0, 2.5
		case row < 20 && col < 20: // green weeds before
			then.Mean[1][i] *= 0.7
			then.Spread[0][i] *= 1.6
			then.Spread[1][i] *= 1.6
		}
	}
	at := func(col, row int) int { return g.Index(col, row) }
	out := norm.Between(now, then, l, a, b)
	for _, c := range []struct {
		what     string
		i        int
		evidence float32
		toward   uint8
		known    bool
		stood    bool
	}{
		{"crop", at(40, 30), -6, 0, true, false},
		{"newly browned", at(10, 70), 3, 1, true, false},
		{"as browned before", at(30, 70), -1.5, 1, true, false},
		{"not shown before", at(50, 70), 3, 1, false, false},
		{"green weeds before", at(10, 10), -6, 0, true, true},
	} {
		if got := a.Evidence[c.i]; got != c.evidence || out.Known[c.i] != c.known || out.Stood[c.i] != c.stood {
			t.Errorf("%s: evidence %g, known %v, stood %v; want %g, %v, %v", c.what, got, out.Known[c.i], out.Stood[c.i], c.evidence, c.known, c.stood)
		}
		if a.Toward[c.i] != c.toward {
			t.Errorf("%s: toward %d, want %d", c.what, a.Toward[c.i], c.toward)
		}
	}
}
