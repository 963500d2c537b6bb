package norm_test

import (
	"math"
	"testing"

	"bittern/internal/norm"
)

// evened is paler with the crop's own variation taken off.
func evened() *norm.Search {
	s := paler()
	s.Field = true
	s.Even = &norm.Even{StreakM: 40, SlowM: 40, Departs: 0.08}
	return s
}

// partAbove is the part of the ground beyond 50 cells of the middle of a square plot
// that has an effect of 0.15 and more.
func partAbove(p *plot, d *norm.Departure) float64 {
	n, above := 0.0, 0.0
	cols := p.summary.Grid.Cols
	for i, e := range d.Evidence {
		if math.Hypot(float64(i%cols-cols/2), float64(i/cols-cols/2)) > 50 {
			n++
			if e >= 0.15 {
				above++
			}
		}
	}
	return above / n
}

func TestStreaksAlongThePassesAreNoPatches(t *testing.T) {
	p := newPlot(400, 400, 400, 51)
	for i := range 400 * 400 { // a streak of 4 m every 20 m, a fifth of a turn off the rows
		x, y := float64(i%400)*0.5, float64(i/400)*0.5
		if across := math.Mod(1000+x*math.Sin(0.3)-y*math.Cos(0.3), 20); across < 4 {
			p.fade(i, 0.3)
		}
	}
	p.disc(200, 200, 30, func(i int) { p.fade(i, 0.5) })
	plain, even := paler(), evened()
	plain.SmoothM, even.SmoothM, plain.Least, even.Least = 1.5, 1.5, 0.5, 0.5
	before, after := seek(t, p, plain), seek(t, p, even)
	if was, is := partAbove(p, before), partAbove(p, after); was < 0.1 || is > 0.01 {
		t.Errorf("streaks of 0.3 show on %.3f of the ground, and on %.3f where streaks are taken off", was, is)
	}
	if e := after.Evidence[200*400+200]; e < 0.35 {
		t.Errorf("a patch of 0.5 has an effect of %.2f where streaks are taken off", e)
	}
}

func TestASlowRiseIsNoPatch(t *testing.T) {
	p := newPlot(400, 400, 400, 52)
	for i := range 400 * 400 {
		p.fade(i, 0.4*float64(i%400)/400)
	}
	p.disc(200, 200, 30, func(i int) { p.fade(i, 0.5) })
	plain, even := paler(), evened()
	plain.Least, even.Least = 0.5, 0.5
	before, after := seek(t, p, plain), seek(t, p, even)
	if was, is := partAbove(p, before), partAbove(p, after); was < 0.1 || is > 0.01 {
		t.Errorf("a slow rise to 0.4 shows on %.3f of the ground, and on %.3f where slow waves are taken off", was, is)
	}
	if e := after.Evidence[200*400+200]; e < 0.4 {
		t.Errorf("a patch of 0.5 has an effect of %.2f where slow waves are taken off", e)
	}
}

func TestAPartOfAnEvenedFieldIsHeldAgainstTheWhole(t *testing.T) {
	p := newPlot(200, 200, 200, 53)
	p.disc(100, 100, 20, func(i int) { p.fade(i, 0.5) })
	s := evened()
	s.Even.ByItself = 1.3
	whole := seek(t, p, s)
	q := norm.Defaults()
	s.Given, q.Search, q.Given = whole.Matched, s, whole.Norms
	part, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range whole.Evidence {
		if math.Abs(float64(e-part.Evidence[i])) > 1e-5 {
			t.Fatalf("cell %d: %g, and %g against what is given", i, e, part.Evidence[i])
		}
	}
}

func TestWhatACropVariesByIsNotBelieved(t *testing.T) {
	p := newPlot(160, 160, 160, 54)
	p.disc(80, 80, 25, func(i int) { p.fade(i, 0.5) })
	s := paler()
	s.Varies = []norm.Variation{{Adds: map[string]float64{"nir": -0.5}, Part: 1}}
	sure, unsure := seek(t, p, paler()), seek(t, p, s)
	at := 80*160 + 80
	if unsure.Spreads[at] > sure.Spreads[at]/4 {
		t.Errorf("%g spreads where the crop itself varies so, %g where not", unsure.Spreads[at], sure.Spreads[at])
	}
}

func TestGroundLikeTheRestOfTheFieldIsNoPatchInADarkWave(t *testing.T) {
	p := newPlot(400, 400, 400, 54)
	p.disc(100, 200, 80, func(i int) { p.fade(i, -0.4) })
	p.disc(100, 200, 22, func(i int) { p.fade(i, 0.4) }) // as the rest again
	p.disc(300, 200, 30, func(i int) { p.fade(i, 0.5) })
	free, held := evened(), evened()
	free.Least, held.Least, held.Even.ByItself = 0.5, 0.5, 1.3
	before, after := seek(t, p, free), seek(t, p, held)
	middle := 200*400 + 100
	if was, is := before.Evidence[middle], after.Evidence[middle]; was < 0.15 || is > 0.1 {
		t.Errorf("ground like the rest within darker crop has an effect of %.2f, and %.2f where it is held to what it shows by itself", was, is)
	}
	if was, is := before.Evidence[200*400+300], after.Evidence[200*400+300]; is < was-0.02 {
		t.Errorf("a patch of 0.5 has an effect of %.2f, and %.2f where it is held to what it shows by itself", was, is)
	}
}

func TestAPatchInADarkerVarietyIsHeldAgainstItsOwnKind(t *testing.T) {
	p := newPlot(400, 400, 100, 55)
	for i := range 400 * 400 {
		if i%400 < 200 {
			p.fade(i, -0.6)
		}
	}
	p.disc(100, 150, 25, func(i int) { p.fade(i, 0.5) })
	s := evened()
	s.Least, s.Even.ByItself = 0.5, 1.3
	if e := seek(t, p, s).Evidence[150*400+100]; e < 0.3 {
		t.Errorf("a patch of 0.5 in the darker variety has an effect of %.2f", e)
	}
}
