package norm_test

import (
	"testing"

	"bittern/internal/norm"
)

func TestPartCountsOnlyWhatTheFlightShows(t *testing.T) {
	then := norm.Then{Known: []bool{true, true, false, true}, Stood: []bool{true, false, true, true}}
	if stood, known := then.Part([]int32{0, 1, 2, 3}); stood != 2.0/3 || known != 0.75 {
		t.Errorf("stood %g of what is known, known %g; want two thirds and three quarters", stood, known)
	}
	if stood, known := then.Part(nil); stood != 0 || known != 0 {
		t.Errorf("no cells: %g, %g", stood, known)
	}
}

// Four discs: weeds that lived, weeds that died, ground that was thin and littered on both
// days, and weeds that lived where the earlier flight shows nothing.
func TestTwoFlightsTellWhatLivedAndWhatDied(t *testing.T) {
	now, then := newPlot(240, 240, 240, 31), newPlot(240, 240, 240, 32)
	const radius = 14
	lived := func(i int) { now.mix(i, 0, 0.3, 0) }
	now.disc(60, 60, radius, lived)
	then.disc(60, 60, radius, func(i int) { then.blend(i, 0.5, paleGrass) })
	now.disc(180, 60, radius, func(i int) { now.mix(i, 0.25, 0.25, 0.35) })
	then.disc(180, 60, radius, func(i int) { then.blend(i, 0.5, paleGrass) })
	thin := func(p *plot) func(i int) { return func(i int) { p.mix(i, 0.1, 0.12, 0.3) } }
	now.disc(60, 180, radius, thin(now))
	then.disc(60, 180, radius, thin(then))
	now.disc(180, 180, radius, lived)
	then.disc(180, 180, radius, func(i int) { then.summary.Pixels[i] = 0 })

	p := norm.Defaults()
	var err error
	if p.Then, err = norm.Before(t.Context(), &then.summary, &now.layout, p); err != nil {
		t.Fatal(err)
	}
	d, err := norm.Find(t.Context(), &now.summary, &now.layout, p)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what                string
		col, row            int
		evident, dead, knew bool
	}{
		{"weeds that lived", 60, 60, true, false, true},
		{"weeds that died", 180, 60, false, true, true},
		{"ground thin on both days", 60, 180, false, false, true},
		{"weeds where nothing was shown", 180, 180, true, false, false},
		{"crop", 120, 120, false, false, true},
	} {
		i := now.summary.Grid.Index(c.col, c.row)
		if got := d.Evidence[i] > 2.5; got != c.evident || d.Killed[i] != c.dead || p.Then.Known[i] != c.knew {
			t.Errorf("%s: evidence %.1f, killed %v, known %v", c.what, d.Evidence[i], d.Killed[i], p.Then.Known[i])
		}
	}
	if stood, _ := p.Then.Part([]int32{int32(now.summary.Grid.Index(60, 60))}); stood != 1 {
		t.Error("the weeds that lived did not stand on the earlier flight")
	}
}

func TestAnEarlierFlightOfAnotherGridIsADefect(t *testing.T) {
	p := norm.Defaults()
	p.Then = &norm.Then{Known: make([]bool, 3)}
	plot := newPlot(40, 40, 40, 33)
	if _, err := norm.Find(t.Context(), &plot.summary, &plot.layout, p); err == nil {
		t.Error("three cells of an earlier flight were taken for those of 1,600")
	}
}
