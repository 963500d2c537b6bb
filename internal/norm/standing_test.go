package norm_test

import (
	"strings"
	"testing"

	"bittern/internal/norm"
	"bittern/internal/structure"
)

// apart lists the checks that stand apart, with their looks.
func apart(d *norm.Departure) string {
	var out []string
	for _, n := range d.Norms {
		if n.Standing != nil && n.Standing.Apart {
			out = append(out, n.Check+" "+string(n.Standing.Look))
		}
	}
	return strings.Join(out, ", ")
}

// growCheck fills whole checks of nine.
func growCheck(p *plot, with func(i int), checks ...int32) {
	for i, c := range p.layout.Check {
		for _, k := range checks {
			if c == k {
				with(i)
			}
		}
	}
}

func TestACheckOfWeedsStandsApartAndIsItsOwnNorm(t *testing.T) {
	p := newCoarsePlot(390, 390, 130, 9, 21)
	growCheck(p, func(i int) { p.grow(i, 0, 0.1) }, 4)
	p.disc(50, 50, 12, func(i int) { p.grow(i, 0, 0.3) })
	p.disc(195, 195, 14, func(i int) { p.grow(i, 0, 0.3) })
	d := find(t, p)
	if got := apart(d); got != "5 browned" {
		t.Errorf("apart: %q", got)
	}
	weedy, cells := 0, 0
	for i, c := range p.layout.Check {
		if c == 4 {
			cells++
			if d.Evidence[i] > -1.5 {
				weedy++
			}
		}
	}
	if weedy*4 > cells {
		t.Errorf("%d of %d cells of the check that stands apart are evident", weedy, cells)
	}
	for where, i := range map[string]int{"a patch of another check": 50*390 + 50, "the densest patch of the check that stands apart": 195*390 + 195} {
		if e := d.Evidence[i]; e < 1 {
			t.Errorf("evidence %g in %s", e, where)
		}
	}
}

func TestTwoChecksOfACoarserLeafAreNotApart(t *testing.T) {
	coarse := kind{0.135, 0.5, cropRatio - 0.15}
	p := newCoarsePlot(390, 390, 130, 9, 27)
	growCheck(p, func(i int) { p.blend(i, 0.18, coarse) }, 4)
	if got := apart(find(t, p)); got != "5 coarse" {
		t.Fatalf("one check of a coarser leaf: apart: %q", got)
	}
	growCheck(p, func(i int) { p.blend(i, 0.5, coarse) }, 6)
	if got := apart(find(t, p)); got != "" {
		t.Errorf("two checks of a coarser leaf: apart: %q", got)
	}
}

func TestAScrapOfACheckIsNotApart(t *testing.T) {
	for _, side := range []int{39, 85} { // cells; 380 m2, and 1800 m2 among checks of 4200
		p := newCoarsePlot(390, 390, 130, 9, 28)
		growCheck(p, func(i int) { p.layout.Check[i] = -1; p.layout.Reason[i] = structure.Road }, 8)
		for i := range side * side {
			at := (260+i/side)*390 + 260 + i%side
			p.layout.Check[at], p.layout.Reason[at] = 8, structure.LookedAt
			p.mix(at, 0, 0, 0.5)
		}
		if got := apart(find(t, p)); got != "" {
			t.Errorf("%d cells square: apart: %q", side, got)
		}
	}
}

func TestAPatchOverMostOfACheckDoesNotSetItApart(t *testing.T) {
	for _, rows := range []int{85, 104} { // of the check's 130
		p := newCoarsePlot(390, 390, 130, 9, 22)
		for r := range rows {
			for c := range 130 {
				p.grow((130+r)*390+130+c, 0, 0.3)
			}
		}
		d := find(t, p)
		if got := apart(d); got != "" {
			t.Errorf("a check that is weeds over %d of 130 rows is called apart: %q", rows, got)
		}
		if e := d.Evidence[170*390+195]; e < 1 {
			t.Errorf("evidence %g in the weeds over %d rows", e, rows)
		}
	}
}

// pale is grow with another green and near infrared, as a paler leaf has: both
// from the table of materials that invented fields are drawn with.
func (p *plot) pale(i int, by float64) {
	p.grow(i, 0.10*by, 0)
	for b, f := range []float64{1 + 0.3*by, 1 + 0.35*by, 1 - 0.08*by} {
		p.summary.Mean[b][i] *= float32(f)
		p.summary.Spread[b][i] *= float32(f)
	}
}

func TestAPalerCheckIsNamedYellowed(t *testing.T) {
	p := newCoarsePlot(300, 300, 100, 16, 23)
	growCheck(p, func(i int) { p.pale(i, 1) }, 2)
	p.disc(250, 50, 12, func(i int) { p.grow(i, 0.1, 0.3) })
	d := find(t, p)
	if got := apart(d); got != "3 yellowed" {
		t.Errorf("apart: %q", got)
	}
	if e := d.Evidence[50*300+250]; e < 1 {
		t.Errorf("evidence %g in a patch of the paler check", e)
	}
}

// A levee that was missed leaves a check of which half is pale, and that joins the pale one to the rest.
func TestACheckThatIsPaleInPartDoesNotHideThePaleOne(t *testing.T) {
	p := newCoarsePlot(300, 300, 100, 16, 29)
	growCheck(p, func(i int) { p.pale(i, 0.6) }, 2)
	growCheck(p, func(i int) { p.pale(i, 0.3) }, 5)
	d := find(t, p)
	if got := apart(d); got != "3 yellowed" {
		t.Errorf("apart: %q", got)
	}
}

func TestTwoKindsOfChecksAreNotApart(t *testing.T) {
	p := newCoarsePlot(300, 300, 100, 16, 24)
	growCheck(p, func(i int) { p.pale(i, 1) }, 0, 1, 3, 6)
	d := find(t, p)
	if got := apart(d); got != "" {
		t.Errorf("four of nine checks of another variety are called apart: %q", got)
	}
	said := false
	for _, x := range d.Doubts {
		said = said || x.About == "checks" && strings.Contains(x.Says, "1, 2, 4, 7; 3, 5, 6, 8, 9")
	}
	if !said {
		t.Errorf("nothing is said of two kinds of checks: %v", d.Doubts)
	}
}

func TestAnOddCheckAmongTwoKindsIsNamed(t *testing.T) {
	p := newCoarsePlot(390, 390, 130, 9, 25)
	growCheck(p, func(i int) { p.pale(i, 1) }, 0, 1, 3, 6)
	growCheck(p, func(i int) { p.grow(i, 0, 0.3) }, 8)
	if got := apart(find(t, p)); got != "9 browned" {
		t.Errorf("apart: %q", got)
	}
}

func TestNoCheckOfACleanFieldIsApart(t *testing.T) {
	for seed := range uint64(10) {
		p := newCoarsePlot(120, 120, 40, 16, 100+seed)
		for c := range int32(9) {
			by := 0.1 * p.random.NormFloat64() // checks differ a little
			growCheck(p, func(i int) { p.pale(i, by) }, c)
		}
		if got := apart(find(t, p)); got != "" {
			t.Errorf("seed %d: a clean field has a check apart: %q", seed, got)
		}
	}
}
