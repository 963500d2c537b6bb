package skip_test

import (
	"math"
	"strings"
	"testing"

	"bittern/internal/norm"
	"bittern/internal/skip"
	"bittern/internal/structure"
)

var notGiven = math.NaN()

func find(tb testing.TB, f drawn, swathFt, heading float64) *skip.Finding {
	tb.Helper()
	out, err := skip.Find(tb.Context(), f.s, f.l, f.d, skip.Parameters{SwathM: swathFt * foot, HeadingDeg: heading, Workers: 1})
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// near fails unless the strips lie as p drew them: the heading within a degree,
// and the spacing within half a foot beyond what the passes' own sway explains
// (the spacing of n strips with a sway of sd has a standard error of
// sd / sqrt(n (n^2-1) / 12), ordinary least squares).
func near(t *testing.T, p plot, out *skip.Finding) {
	t.Helper()
	if out.Verdict != skip.Named {
		t.Errorf("seed %d: %s: %s", p.seed, out.Verdict, out.Why)
		return
	}
	n := float64(len(p.strips))
	sway := 3 * p.jitter / math.Sqrt(n*(n*n-1)/12)
	if d := math.Abs(out.HeadingDeg - p.heading); d > 1 && d < 179 {
		t.Errorf("seed %d: heading %.2f, want %g", p.seed, out.HeadingDeg, p.heading)
	}
	if d := math.Abs(out.SpacingM/foot - p.spacing); d > 0.5+sway {
		t.Errorf("seed %d: spacing %.2f ft, want %g", p.seed, out.SpacingM/foot, p.spacing)
	}
	for _, s := range out.Strips {
		if w := s.WidthM / foot; w < 0.6*p.width || w > 1.7*p.width {
			t.Errorf("seed %d: a strip is %.1f ft wide, want %g", p.seed, w, p.width)
		}
	}
}

func TestStripsOfHardFieldsAreNamed(t *testing.T) {
	blind, given, all := 0, 0, 0
	for seed := uint64(2); seed <= 12; seed += 2 {
		p := hard(seed)
		p.strips = []int{-2, -1, 0, 1}
		f := p.draw()
		for _, c := range [...]struct {
			swath, heading float64
			found          *int
		}{{0, notGiven, &blind}, {65, 13, &given}} {
			out := find(t, f, c.swath, c.heading)
			if out.Verdict == skip.Named {
				near(t, p, out)
				*c.found += min(len(out.Strips), len(p.strips))
			}
		}
		all += len(p.strips)
	}
	t.Logf("of %d strips %d are found blind and %d with swath and heading", all, blind, given)
	if 4*blind < 3*all || 10*given < 9*all { // tram lines along the strips hide some of them
		t.Errorf("of %d strips %d are found blind and %d with swath and heading", all, blind, given)
	}
}

// Summed along their whole length, strips are told that no place of them would be.
func TestThinStripsAreNamedWhereThePassesAreGiven(t *testing.T) {
	found, all := 0, 0
	for seed := uint64(2); seed <= 12; seed += 2 {
		p := hard(seed)
		p.strips, p.thin = []int{-2, -1, 0, 1}, 0.5
		if out := find(t, p.draw(), 65, 13); out.Verdict == skip.Named {
			near(t, p, out)
			found += min(len(out.Strips), len(p.strips))
		}
		all += len(p.strips)
	}
	t.Logf("of %d strips of thin weeds %d are found", all, found)
	if 3*found < 2*all {
		t.Errorf("of %d strips of thin weeds %d are found", all, found)
	}
}

func TestStripsAlongLeveesAndTramLinesAreNamed(t *testing.T) {
	p := hard(4)
	p.levees, p.strips = p.heading, []int{-3, -1, 0, 1, 2}
	p.jitter = 0
	near(t, p, find(t, p.draw(), 65, 12))
}

func TestAlternatePassesAreToldAsTwiceTheSwath(t *testing.T) {
	p := hard(6)
	p.strips, p.jitter = []int{-4, -2, 0, 2}, 0
	p.side = 700
	out := find(t, p.draw(), 65, 12)
	if out.Verdict != skip.Named || math.Abs(out.SpacingM/foot-130) > 1 || !strings.Contains(out.Why, "twice the swath") {
		t.Errorf("%s, %.1f ft: %s", out.Verdict, out.SpacingM/foot, out.Why)
	}
}

// Straight levees lie a couple of hundred feet apart, and some spacing of passes
// goes into any such distance: no passes are named for that alone.
func TestLinesThreePassesApartAreNotNamedBlind(t *testing.T) {
	p := hard(6)
	p.strips, p.jitter = []int{-5, -2, 1, 4}, 0
	p.side = 800
	f := p.draw()
	if out := find(t, f, 0, notGiven); out.Verdict == skip.Named {
		t.Errorf("named: %s", out.Why)
	}
	near(t, p, find(t, f, 65, 12)) // who gives the passes has them told
}

func TestStripsThatAreBrokenUpKeepTheirPlaces(t *testing.T) {
	p := hard(8)
	p.strips, p.part, p.jitter = []int{-2, -1, 0, 1, 2}, 0.7, 0
	near(t, p, find(t, p.draw(), 65, 12))
}

// A field without strips has none named: tram lines 60 ft apart and thin strips
// of the drill every 20 ft lie along the heading that is asked about.
func TestCleanFieldsHaveNoSkips(t *testing.T) {
	seeds := uint64(100)
	if testing.Short() {
		seeds = 4
	}
	named, cannot := 0, 0
	for seed := range seeds {
		p := hard(1000 + 2*seed)
		p.side, p.patches = 420, 12
		f := p.draw()
		for _, c := range [...][2]float64{{0, notGiven}, {65, 12}} {
			switch out := find(t, f, c[0], c[1]); out.Verdict {
			case skip.Named:
				named++
				t.Logf("seed %d, swath %g: %s", p.seed, c[0], out.Why)
			case skip.CannotTell:
				cannot++
			case skip.None:
			}
		}
	}
	t.Logf("of %d answers %d name skips, %d cannot tell", 2*seeds, named, cannot)
	if named > 1 {
		t.Errorf("%d of %d answers name skips where there are none", named, 2*seeds)
	}
}

// Mapping lines along the passes at the swath, half and twice of it: the
// variant of the acceptance story, with and without strips.
func TestMappingLinesAtTheSwathAreNeverSkips(t *testing.T) {
	for k, lines := range [...]float64{32.5, 65, 130} {
		for _, strips := range [...][]int{nil, {-2, -1, 0, 1}} {
			p := hard(uint64(20 + 2*k))
			p.lines, p.linesAlong, p.gain, p.strips = lines, 12, 0.05, strips
			if lines == 130 {
				p.side = 900 // enough lines for their spacing to be seen
			}
			if out := find(t, p.draw(), 65, 12); out.Verdict != skip.CannotTell || len(out.Strips) > 0 || out.Ground != nil {
				t.Errorf("lines %g ft apart, strips %v: %s: %s", lines, strips, out.Verdict, out.Why)
			}
		}
	}
}

func TestMappingLinesAcrossTheStripsDoNotHideThem(t *testing.T) {
	p := hard(30)
	p.lines, p.linesAlong, p.gain = 65, 102, 0.05
	p.strips = []int{-2, -1, 0, 1}
	f := p.draw()
	out := find(t, f, 65, 12)
	near(t, p, out)
	if out.Camera == nil || math.Abs(out.Camera.HeadingDeg-102) > 1 || math.Abs(out.Camera.SpacingM/foot-65) > 2 {
		t.Errorf("the mapping lines are read as %+v", out.Camera)
	}
}

func TestAStripsFiguresFitItsGround(t *testing.T) {
	p := hard(2)
	p.strips, p.jitter = []int{-2, -1, 0, 1}, 0
	f := p.draw()
	out := find(t, f, 65, 12)
	near(t, p, out)
	in := 0
	for _, s := range out.Strips {
		if math.Abs(s.Acres-float64(len(s.Cells))*f.s.Grid.AcresPerCell) > 1e-12 {
			t.Errorf("strip %s: %v acres of %d cells", s.ID, s.Acres, len(s.Cells))
		}
		length := 0.0
		for _, l := range s.Lines {
			length += l.Length()
			for _, end := range l {
				col, row := f.s.Grid.Cell(end)
				if i := f.s.Grid.Index(col, row); !f.s.Grid.Has(col, row) || !f.s.Inside[i] {
					t.Errorf("strip %s ends outside the field at %v", s.ID, end)
				}
			}
		}
		if math.Abs(length-s.LengthM) > 0.01 {
			t.Errorf("strip %s: %v m, its lines have %v", s.ID, s.LengthM, length)
		}
		if all := s.LengthM * s.WidthM / 4046.8564224; s.Acres > 1.1*all || s.Acres < 0.6*all {
			t.Errorf("strip %s: %.3f acres, %.3f by length and width", s.ID, s.Acres, all)
		}
		for _, i := range s.Cells {
			if !out.Ground[i] || f.l.Reason[i] != structure.LookedAt {
				t.Fatalf("cell %d of strip %s is not looked-at ground of it", i, s.ID)
			}
			in++
		}
	}
	for _, g := range out.Ground {
		if g {
			in--
		}
	}
	if in != 0 {
		t.Errorf("%d cells belong to two strips or to none", in)
	}
}

func TestTheSameFieldGivesTheSameAnswer(t *testing.T) {
	p := hard(2)
	p.side, p.strips = 420, []int{-2, -1, 0, 1}
	f := p.draw()
	a, b := find(t, f, 65, 12), find(t, f, 65, 192)
	if a.Why != b.Why || a.SpacingM != b.SpacingM || math.Abs(a.HeadingDeg-b.HeadingDeg) > 1e-9 {
		t.Errorf("12 and 192 degrees are one heading:\n%+v\n%+v", a.Why, b.Why)
	}
}

func TestHardInputsAreAnswered(t *testing.T) {
	p := hard(2)
	p.side, p.strips = 300, []int{-2, -1, 0, 1}
	whole := p.draw()
	all := func(v []float32, x float64) {
		for i := range v {
			v[i] = float32(x)
		}
	}
	for name, spoil := range map[string]func(f *drawn){
		"nothing looked at": func(f *drawn) {
			for i := range f.l.Reason {
				f.l.Reason[i] = structure.Water
			}
		},
		"no evidence":    func(f *drawn) { all(f.d.Evidence, math.NaN()) },
		"even evidence":  func(f *drawn) { all(f.d.Evidence, -5) },
		"no light":       func(f *drawn) { all(f.s.Mean[0], 0); all(f.s.Mean[1], 0) },
		"endless light":  func(f *drawn) { all(f.s.Mean[0], math.Inf(1)) },
		"unknown spread": func(f *drawn) { all(f.s.Spread[0], math.NaN()); all(f.s.Spread[1], math.NaN()) },
		"a cell without light": func(f *drawn) {
			f.s.Mean[1][f.s.Grid.Index(150, 150)] = 0
			f.s.Spread[1][f.s.Grid.Index(151, 150)] = float32(math.Inf(1))
		},
		"one band":                       func(f *drawn) { f.s.Bands, f.s.Mean, f.s.Spread = f.s.Bands[:1], f.s.Mean[:1], f.s.Spread[:1] },
		"near infrared and nothing else": func(f *drawn) { f.s.Bands, f.s.Mean, f.s.Spread = f.s.Bands[2:], f.s.Mean[2:], f.s.Spread[2:] },
	} {
		t.Run(name, func(t *testing.T) {
			f := p.draw()
			spoil(&f)
			for _, c := range [...][2]float64{{0, notGiven}, {65, 12}, {65, notGiven}, {0, 12}, {1, 0}, {5000, 360}} {
				if out := find(t, f, c[0], c[1]); out.Why == "" || out.Verdict == "" {
					t.Errorf("swath %g, heading %g: %+v", c[0], c[1], out)
				}
			}
		})
	}
	if _, err := skip.Find(t.Context(), whole.s, whole.l, &norm.Departure{}, skip.Parameters{HeadingDeg: notGiven}); err == nil {
		t.Error("a departure of another field is taken")
	}
}

func BenchmarkFind(b *testing.B) {
	p := hard(1)
	p.side, p.strips = 1620, []int{-12, -4, -3, -2, -1, 0, 1, 5}
	f := p.draw()
	b.ResetTimer()
	for b.Loop() {
		find(b, f, 0, notGiven)
	}
}
