package suspect_test

import (
	"fmt"
	"math"
	"regexp"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

const acresPerCell = 0.25 / 4046.8564224

var nan32 = float32(math.NaN())

// A plot is a day as the stages before hand it on, with nothing departing.
type plot struct {
	s cells.Summary
	l structure.Layout
	d norm.Departure
}

// newPlot makes cols x rows cells in checks of side cells, numbered from
// north-west.
func newPlot(cols, rows, side int) *plot {
	g := grid.Grid{EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: cols, Rows: rows, AcresPerCell: acresPerCell}
	n := g.Len()
	p := &plot{s: cells.Summary{Grid: g}}
	p.l = structure.Layout{Grid: g, Reason: make([]structure.Reason, n), Check: make([]int32, n)}
	across := (cols + side - 1) / side
	for k := range across * ((rows + side - 1) / side) {
		p.l.Checks = append(p.l.Checks, structure.Check{ID: fmt.Sprint(k + 1)})
	}
	p.d = norm.Departure{
		Spreads: make([]float32, n), Share: make([]float32, n), Toward: make([]uint8, n),
		Looks: []norm.Look{norm.NoLook, norm.Browned, norm.Lush}, Killed: make([]bool, n), Evidence: make([]float32, n),
	}
	for i := range n {
		p.d.Evidence[i] = -12
		p.l.Check[i] = int32(i/cols/side*across + i%cols/side)
	}
	return p
}

// disc browns the cells within radius cells of (col, row).
func (p *plot) disc(col, row, radius int, share float32) (cells int) {
	g := p.s.Grid
	for r := max(row-radius, 0); r < min(row+radius+1, g.Rows); r++ {
		for c := max(col-radius, 0); c < min(col+radius+1, g.Cols); c++ {
			if (c-col)*(c-col)+(r-row)*(r-row) <= radius*radius {
				i := g.Index(c, r)
				p.d.Share[i], p.d.Spreads[i], p.d.Toward[i] = share, 20*share, 1
				p.d.Evidence[i] = 15 * share
				cells++
			}
		}
	}
	return cells
}

func (p *plot) find(t *testing.T, earlier []suspect.Earlier) *suspect.Finding {
	t.Helper()
	f, err := suspect.Find(t.Context(), &p.s, &p.l, &p.d, suspect.Defaults(), earlier)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func earlierOf(f *suspect.Finding) []suspect.Earlier {
	var out []suspect.Earlier
	for _, s := range f.Suspects {
		out = append(out, suspect.Earlier{ID: s.ID, Letter: s.Letter, Outline: s.Outline})
	}
	return out
}

func TestACleanFieldHasNoSuspect(t *testing.T) {
	if f := newPlot(100, 100, 100).find(t, nil); len(f.Suspects) != 0 || f.KilledAcres != 0 {
		t.Errorf("found %d suspects and %g killed acres", len(f.Suspects), f.KilledAcres)
	}
}

func TestAPatchIsOneSuspectWithItsAcresAndItsMiddle(t *testing.T) {
	p := newPlot(200, 200, 200)
	n := p.disc(80, 120, 15, 0.3)
	f := p.find(t, nil)
	if len(f.Suspects) != 1 {
		t.Fatalf("%d suspects", len(f.Suspects))
	}
	s := f.Suspects[0]
	if want := float64(n) * acresPerCell; math.Abs(s.Acres-want) > 0.03*want {
		t.Errorf("acres %g, planted %g", s.Acres, want)
	}
	if got := s.Outline.Area(); math.Abs(got-float64(len(s.Cells))*0.25) > 1e-6 {
		t.Errorf("the outline holds %g m2, the cells %g", got, float64(len(s.Cells))*0.25)
	}
	if want := p.s.Grid.Center(80, 120); s.Center.Distance(want) > 1 {
		t.Errorf("centre %v, planted at %v", s.Center, want)
	}
	if s.Letter != "A" || s.Check != "1" || s.Look != norm.Browned || s.Severity != suspect.Heavy {
		t.Errorf("got %+v", s)
	}
	if !regexp.MustCompile(`^s-[0-9a-f]{4}$`).MatchString(s.ID) {
		t.Errorf("id %q", s.ID)
	}
}

func TestAFaintPatchIsCalledFaint(t *testing.T) {
	p := newPlot(100, 100, 100)
	p.disc(50, 50, 15, 0.02)
	p.disc(50, 50, 4, 0.2)
	if f := p.find(t, nil); len(f.Suspects) != 1 || f.Suspects[0].Severity != suspect.Faint || len(f.Doubts) == 0 {
		t.Errorf("got %+v", f)
	}
}

func TestSmallAndNarrowDeparturesAreNoSuspects(t *testing.T) {
	p := newPlot(200, 200, 200)
	p.disc(30, 30, 3, 0.8) // 7 m2
	for c := 20; c < 180; c++ {
		p.disc(c, 100, 0, 0.5) // half a metre wide
	}
	if f := p.find(t, nil); len(f.Suspects) != 0 {
		t.Errorf("got %d suspects", len(f.Suspects))
	}
}

func TestTheCenterLiesInABentSuspect(t *testing.T) {
	p := newPlot(200, 200, 200)
	for a := 0.0; a < 1.5*math.Pi; a += 0.02 {
		p.disc(100+int(50*math.Cos(a)), 100+int(50*math.Sin(a)), 5, 0.3)
	}
	s := p.find(t, nil).Suspects[0]
	if !s.Outline.Contains(s.Center) {
		t.Errorf("centre %v lies outside", s.Center)
	}
}

func TestNineAreLetteredByCheckAndFromNorthWest(t *testing.T) {
	p := newPlot(400, 400, 200)
	for k := range 16 { // four in each of four checks; the first four are the smallest
		p.disc(45+k%4*100, 45+k/4*100, 8+k/4, 0.3)
	}
	f := p.find(t, nil)
	if len(f.Suspects) != 16 {
		t.Fatalf("%d suspects", len(f.Suspects))
	}
	for i, s := range f.Suspects {
		if want := "ABCDEFGHI"; i < 9 && s.Letter != want[i:i+1] || i >= 9 && s.Letter != "" {
			t.Errorf("suspect %d has letter %q", i, s.Letter)
		}
		if i > 0 && i < 9 && s.Check < f.Suspects[i-1].Check {
			t.Errorf("suspect %s of check %s follows check %s", s.Letter, s.Check, f.Suspects[i-1].Check)
		}
		if i > 9 && s.Acres > f.Suspects[i-1].Acres {
			t.Errorf("unlettered suspect %d is larger than the one before", i)
		}
	}
}

func TestLettersAndIDsStayWithTheirGround(t *testing.T) {
	p := newPlot(400, 400, 200)
	for k := range 5 {
		p.disc(50+70*k, 60+60*k, 10, 0.3)
	}
	first := p.find(t, nil)
	q := newPlot(400, 400, 200)
	for k := 1; k < 5; k++ { // one has gone, the others grew and moved, a new one came
		q.disc(52+70*k, 61+60*k, 13, 0.3)
	}
	q.disc(350, 40, 12, 0.3)
	second := q.find(t, earlierOf(first))
	before := map[string]geo.Point{}
	ids := map[string]string{}
	for _, s := range first.Suspects {
		before[s.Letter], ids[s.Letter] = s.Center, s.ID
	}
	kept := 0
	for _, s := range second.Suspects {
		at, ok := before[s.Letter]
		if !ok {
			continue
		}
		kept++
		if at.Distance(s.Center) > 3 || ids[s.Letter] != s.ID {
			t.Errorf("%s was %s at %v and is now %s at %v", s.Letter, ids[s.Letter], at, s.ID, s.Center)
		}
	}
	if kept != 4 || len(second.Suspects) != 5 {
		t.Errorf("%d letters kept of 4, %d suspects", kept, len(second.Suspects))
	}
}

func TestKilledGroundIsInNoSuspect(t *testing.T) {
	p := newPlot(200, 200, 200)
	p.disc(100, 100, 30, 0.3)
	n := 0
	for i := range p.d.Killed {
		if i%200 > 100 && p.d.Share[i] > 0 {
			p.d.Killed[i] = true
			n++
		}
	}
	f := p.find(t, nil)
	if want := float64(n) * acresPerCell; math.Abs(f.KilledAcres-want) > 1e-9 {
		t.Errorf("killed %g acres, want %g", f.KilledAcres, want)
	}
	for _, s := range f.Suspects {
		for _, i := range s.Cells {
			if p.d.Killed[i] {
				t.Fatalf("killed cell %d is in suspect %s", i, s.Letter)
			}
		}
	}
}

func TestALongStraightStripIsHintedAsMissed(t *testing.T) {
	p := newPlot(300, 100, 300)
	for c := 30; c < 270; c++ {
		p.disc(c, 50, 4, 0.3)
	}
	s := p.find(t, nil).Suspects[0]
	if len(s.Hints) == 0 || s.Hints[0].Cause != "a strip missed between passes" {
		t.Errorf("hints %+v", s.Hints)
	}
	for _, h := range s.Hints {
		if len(h.For) == 0 || h.LookFor == "" {
			t.Errorf("hint %+v says nothing for itself", h)
		}
	}
	if len(s.Hints) > 3 {
		t.Errorf("%d hints", len(s.Hints))
	}
}

func TestAFaintPatchMustBeLargerThanAHeavyOne(t *testing.T) {
	for _, tc := range []struct {
		radius int
		share  float32
		found  int
	}{{8, 0.02, 0}, {8, 0.3, 1}, {15, 0.02, 1}} {
		p := newPlot(100, 100, 100)
		p.disc(50, 50, tc.radius, tc.share)
		p.disc(50, 50, 2, max(tc.share, 0.2)) // a spark that starts the patch
		if f := p.find(t, nil); len(f.Suspects) != tc.found {
			t.Errorf("radius %d, share %g: %d suspects, want %d", tc.radius, tc.share, len(f.Suspects), tc.found)
		}
	}
}

func TestAFaintPatchTakesInItsHemAndNoMore(t *testing.T) {
	count := func(hem, share float32) int {
		p := newPlot(100, 100, 100)
		for i := range p.d.Evidence {
			if math.Hypot(float64(i%100)-50, float64(i/100)-50) < 18 {
				p.d.Evidence[i] = hem
			}
		}
		p.disc(50, 50, 12, share)
		return len(p.find(t, nil).Suspects[0].Cells)
	}
	bare, hemmed := count(-12, 0.17), count(-2, 0.17)
	if hemmed <= bare || float64(hemmed) > 3.1416*14*14 {
		t.Errorf("%d cells without a hem, %d with one", bare, hemmed)
	}
	if strong := count(-2, 0.9); strong != bare {
		t.Errorf("a strong patch has %d cells with a hem, want %d", strong, bare)
	}
}

// TestAStrongPatchDoesNotSpillOverItsEdge has evidence come down from a patch to
// the crop over a few metres, as averaging makes it, half way at 16 cells.
func TestAStrongPatchDoesNotSpillOverItsEdge(t *testing.T) {
	ends := func(top, edgeAt float64) float64 {
		p := newPlot(120, 120, 120)
		for i := range p.d.Evidence {
			away := math.Hypot(float64(i%120)-60, float64(i/120)-60)
			down := min(max((away-16)/8+0.5, 0), 1)
			p.d.Evidence[i] = float32(top + down*(-12-top))
			if p.d.Evidence[i] > -1.5 {
				p.d.Share[i], p.d.Spreads[i], p.d.Toward[i] = 1, 20, 1
			}
		}
		with := suspect.Defaults()
		with.EdgeAt = edgeAt
		f, err := suspect.Find(t.Context(), &p.s, &p.l, &p.d, with, nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Suspects) != 1 {
			t.Fatalf("top %g: %d suspects", top, len(f.Suspects))
		}
		return math.Sqrt(float64(len(f.Suspects[0].Cells)) / math.Pi)
	}
	at := suspect.Defaults().EdgeAt
	if with, without := ends(12, at), ends(12, 0); with > without-0.5 || math.Abs(with-16) > 0.7 {
		t.Errorf("a strong patch ends at %.1f cells, %.1f where nothing is taken off", with, without)
	}
	if with, without := ends(2.6, at), ends(2.6, 0); with < without-0.2 {
		t.Errorf("a faint patch ends at %.1f cells, %.1f where nothing is taken off", with, without)
	}
}

func TestASmallHoleBelongsToItsPatchAndALargeOneDoesNot(t *testing.T) {
	cells := func(hole int, reason structure.Reason) (patch, without int) {
		p := newPlot(120, 120, 120)
		n := p.disc(60, 60, 25, 0.3)
		for i := range p.d.Evidence {
			if math.Hypot(float64(i%120)-60, float64(i/120)-60) <= float64(hole) {
				p.d.Evidence[i], p.d.Share[i], p.d.Spreads[i], p.d.Toward[i] = -12, 0, 0, 0
				p.l.Reason[i] = reason
				without++
			}
		}
		f := p.find(t, nil)
		if len(f.Suspects) != 1 {
			t.Fatalf("a hole of %d cells across: %d suspects", 2*hole, len(f.Suspects))
		}
		return n - len(f.Suspects[0].Cells), without
	}
	if gone, _ := cells(4, structure.LookedAt); gone != 0 {
		t.Errorf("%d cells of a small hole are missing", gone)
	}
	for hole, reason := range map[int]structure.Reason{4: structure.Water, 10: structure.LookedAt} {
		if gone, of := cells(hole, reason); gone < of {
			t.Errorf("a hole of %d cells across, %v: only %d of %d cells are left out", 2*hole, reason, gone, of)
		}
	}
}

// Evidence is averaged over metres, so a bank between weeds, which bears none, has some.
func TestANarrowGapWithoutRutsStaysOut(t *testing.T) {
	p := newPlot(200, 200, 200)
	p.disc(100, 100, 20, 0.3)
	gap := func(i int) bool { return i/200 >= 95 && i/200 <= 97 }
	for i := range p.l.Reason {
		if gap(i) && p.d.Share[i] > 0.1 {
			p.d.Evidence[i], p.d.Share[i] = 0, 0.01
		}
	}
	for _, s := range p.find(t, nil).Suspects {
		for _, i := range s.Cells {
			if gap(int(i)) {
				t.Fatalf("the gap at %d, %d belongs to the patch", i%200, i/200)
			}
		}
	}
}

func TestWheelTracksInAPatchBelongToItAndThoseBesideItDoNot(t *testing.T) {
	p := newPlot(200, 200, 200)
	n := p.disc(100, 100, 20, 0.3)
	in := map[int]bool{}
	for i := range p.l.Reason {
		col, row := i%200, i/200
		if row == 95 || row == 98 { // a pair of ruts through the patch and on
			p.l.Reason[i] = structure.Track
			in[i] = math.Hypot(float64(col-100), float64(row-100)) <= 17
			p.d.Evidence[i], p.d.Share[i], p.d.Spreads[i], p.d.Toward[i] = nan32, nan32, nan32, 0
		}
	}
	f := p.find(t, nil)
	if len(f.Suspects) != 1 {
		t.Fatalf("%d suspects", len(f.Suspects))
	}
	s := f.Suspects[0]
	if got := len(s.Cells); math.Abs(float64(got-n)) > 0.05*float64(n) {
		t.Errorf("%d cells, the patch with its ruts has %d", got, n)
	}
	for _, i := range s.Cells {
		delete(in, int(i))
		if d := math.Hypot(float64(i%200-100), float64(i/200-100)); p.l.Reason[i] == structure.Track && d > 22 {
			t.Errorf("a rut %.0f cells from the middle of a patch of 20 belongs to it", d)
		}
	}
	for i, inside := range in {
		if inside {
			t.Errorf("the rut at %d, %d is missing from the patch", i%200, i/200)
		}
	}
	if !(s.Share > 0.25) || !(s.Evidence > 3) || !(s.Spreads > 3) {
		t.Errorf("share %g, evidence %g, spreads %g are not those of the ground beside the ruts", s.Share, s.Evidence, s.Spreads)
	}
}
