package norm_test

import (
	"math"
	"reflect"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

// paler is a search for ground whose ln(nir/green) has fallen.
func paler() *norm.Search {
	return &norm.Search{
		Targets: []norm.Target{{Look: norm.Yellowed, Adds: map[string]float64{"nir": -0.5}}},
		SmoothM: 1, Floor: 0.02, Share: 0.6, Least: 2, From: 0.1,
	}
}

// fade lowers the near infrared of a cell by a part of the target.
func (p *plot) fade(i int, part float64) {
	by := float32(math.Exp(-0.5 * part))
	p.summary.Mean[2][i] *= by
	p.summary.Spread[2][i] *= by
}

func seek(t *testing.T, p *plot, s *norm.Search) *norm.Departure {
	t.Helper()
	q := norm.Defaults()
	q.Search = s
	d, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestTheEffectIsThePartOfTheTarget(t *testing.T) {
	for _, part := range []float64{0.2, 0.5, 1} {
		p := newPlot(160, 160, 160, 41)
		p.disc(80, 80, 25, func(i int) { p.fade(i, part) })
		d := seek(t, p, paler())
		sum, n := 0.0, 0.0
		p.disc(80, 80, 12, func(i int) {
			sum += float64(d.Evidence[i])
			n++
			if look := d.Looks[d.Toward[i]]; look != norm.Yellowed {
				t.Fatalf("cell %d in a patch of %g looks %q", i, part, look)
			}
		})
		if got := sum / n; math.Abs(got-part) > 0.06 {
			t.Errorf("a patch of %g shows an effect of %.3f", part, got)
		}
	}
}

func TestAnEvenCropHasNoEffect(t *testing.T) {
	d := seek(t, newPlot(160, 160, 80, 42), paler())
	for i, e := range d.Evidence {
		if e > 0.15 {
			t.Fatalf("cell %d of an even crop has an effect of %g", i, e)
		}
	}
}

func TestOppositeGroundHasNoEffect(t *testing.T) {
	p := newPlot(160, 160, 160, 43)
	p.disc(80, 80, 25, func(i int) { p.fade(i, -0.6) })
	d := seek(t, p, paler())
	p.disc(80, 80, 12, func(i int) {
		if d.Evidence[i] > 0 || d.Toward[i] != 0 {
			t.Fatalf("darker ground has an effect of %g", d.Evidence[i])
		}
	})
}

func TestKeptGroundIsHeldAgainstItsOwnKind(t *testing.T) {
	p := newPlot(160, 160, 160, 44)
	p.layout.Kept = make([]structure.Reason, len(p.layout.Reason))
	for row := range 160 {
		for col := range 14 { // a grassy edge, all of it paler than the crop
			i := row*160 + col
			p.layout.Kept[i] = structure.Edge
			p.fade(i, 0.8)
			if row > 60 && row < 90 {
				p.fade(i, 0.8)
			}
		}
	}
	d := seek(t, p, paler())
	for _, row := range []int{20, 130} {
		if e := d.Evidence[row*160+6]; e > 0.15 {
			t.Errorf("an ordinary edge has an effect of %g", e)
		}
	}
	if e := d.Evidence[75*160+6]; e < 0.6 {
		t.Errorf("an edge that differs from the others has an effect of %g only", e)
	}
}

func TestAWidePatchIsNotItsOwnNorm(t *testing.T) {
	p := newPlot(300, 300, 300, 45)
	p.disc(150, 150, 90, func(i int) { p.fade(i, 0.5) }) // 90 m across, a quarter of the check
	if e := seek(t, p, paler()).Evidence[150*300+150]; e < 0.4 {
		t.Errorf("the middle of a wide patch of 0.5 has an effect of %g", e)
	}
}

func TestWorkersChangeNoBitOfASearch(t *testing.T) {
	p := newPlot(160, 160, 80, 46)
	p.disc(80, 80, 25, func(i int) { p.fade(i, 0.5) })
	s := paler()
	s.Targets[0].Adds[norm.Brightness] = 0.1
	q := norm.Defaults()
	q.Search = s
	one, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	q.Workers = 5
	five, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range [][2][]float32{{one.Evidence, five.Evidence}, {one.Spreads, five.Spreads}} {
		for i := range v[0] {
			if math.Float32bits(v[0][i]) != math.Float32bits(v[1][i]) {
				t.Fatalf("cell %d: %g with one worker, %g with five", i, v[0][i], v[1][i])
			}
		}
	}
	if !reflect.DeepEqual(one.Toward, five.Toward) {
		t.Error("looks differ")
	}
}

func TestAPartOfAFieldIsHeldAgainstTheWhole(t *testing.T) {
	p := newPlot(160, 160, 160, 47)
	p.disc(80, 80, 20, func(i int) { p.fade(i, 0.5) })
	s := paler()
	s.Targets[0].Adds[norm.Brightness] = 0.1
	whole := seek(t, p, s)
	q := norm.Defaults()
	again := *s
	again.Given, q.Search, q.Given = whole.Matched, &again, whole.Norms
	part, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range whole.Evidence {
		if math.Abs(float64(e-part.Evidence[i])) > 1e-6 {
			t.Fatalf("cell %d: %g, and %g against given norms", i, e, part.Evidence[i])
		}
	}
}

// twoFlights is a field with two pale patches: one that was there before, at
// (40, 40), and one that came since, at (120, 120).
func twoFlights(seed uint64) (now, then *plot) {
	now, then = newPlot(160, 160, 160, seed), newPlot(160, 160, 160, seed)
	now.disc(40, 40, 15, func(i int) { now.fade(i, 0.4); then.fade(i, 0.4) })
	now.disc(120, 120, 15, func(i int) { now.fade(i, 0.4) })
	return now, then
}

func TestGroundThatWasPaleBeforeHasNoEffectBesideAnEarlierFlight(t *testing.T) {
	now, then := twoFlights(48)
	s := paler()
	s.Then = &then.summary
	d := seek(t, now, s)
	if e := d.Evidence[40*160+40]; e > 0.1 {
		t.Errorf("ground as pale before has an effect of %g", e)
	}
	if e := d.Evidence[120*160+120]; e < 0.3 {
		t.Errorf("ground that turned pale since has an effect of %g only", e)
	}
}

func TestGroundThatTheEarlierFlightDoesNotShowIsHeldAgainstTheCrop(t *testing.T) {
	now, then := twoFlights(49)
	for i := range 80 * 160 {
		then.summary.Pixels[i] = 0
	}
	s, alone := paler(), paler()
	alone.From = 0.2
	s.Then, s.Alone = &then.summary, alone
	d, want := seek(t, now, s), seek(t, now, paler())
	const pale = 40*160 + 40
	if got := d.Evidence[pale]; math.Abs(float64(got-0.5*want.Evidence[pale])) > 1e-6 || d.Looks[d.Toward[pale]] != norm.Yellowed {
		t.Errorf("ground that only the day's flight shows has an effect of %g; want half of %g", got, want.Evidence[pale])
	}
}

func TestAPartOfTwoFlightsIsHeldAgainstTheWhole(t *testing.T) {
	now, then := twoFlights(50)
	s := paler()
	s.Then = &then.summary
	whole := seek(t, now, s)
	s.Given = whole.Matched
	const from, rows, cols = 80, 60, 160
	part := *now
	part.summary.Grid.OriginY -= from * part.summary.Grid.CellM
	part.summary.Grid.Rows = rows
	part.summary.Pixels = now.summary.Pixels[from*cols : (from+rows)*cols]
	part.summary.Hist = now.summary.Hist[from*cols*cells.Bins : (from+rows)*cols*cells.Bins]
	part.summary.Mean, part.summary.Spread = nil, nil
	for b := range now.summary.Mean {
		part.summary.Mean = append(part.summary.Mean, now.summary.Mean[b][from*cols:(from+rows)*cols])
		part.summary.Spread = append(part.summary.Spread, now.summary.Spread[b][from*cols:(from+rows)*cols])
	}
	part.layout.Grid = part.summary.Grid
	part.layout.Reason, part.layout.Check = now.layout.Reason[from*cols:(from+rows)*cols], now.layout.Check[from*cols:(from+rows)*cols]
	q := norm.Defaults()
	q.Search, q.Given = s, whole.Norms
	d, err := norm.Find(t.Context(), &part.summary, &part.layout, q)
	if err != nil {
		t.Fatal(err)
	}
	at := 40*cols + 120
	if got, want := d.Evidence[at], whole.Evidence[from*cols+at]; math.Abs(float64(got-want)) > 0.01 {
		t.Errorf("the patch has an effect of %g in a part of the field, %g in the whole", got, want)
	}
}
