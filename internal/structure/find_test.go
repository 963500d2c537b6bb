package structure_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/structure"
)

// A toy is a small field drawn cell by cell in red, green and blue.
type toy struct {
	sum *cells.Summary
	rng *rand.Rand
}

const (
	toyX, toyY = 700000.0, 3900000.0
	toyMargin  = 10 // cells of surroundings on each side
)

// newToy is a field of cols x rows cells of noisy crop.
func newToy(cols, rows int) toy {
	w, h := cols+2*toyMargin, rows+2*toyMargin
	g := grid.Grid{EPSG: 32615, OriginX: toyX, OriginY: toyY, CellM: 0.5, Cols: w, Rows: h, AcresPerCell: 0.25 / 4046.8564224}
	s := &cells.Summary{Grid: g, Inside: make([]bool, w*h), Pixels: make([]uint32, w*h), Bands: []string{"blue", "green", "red"}, PixelM: 0.1, Bits: 8}
	t := toy{s, rand.New(rand.NewPCG(1, 2))}
	for range s.Bands {
		s.Mean = append(s.Mean, make([]float32, w*h))
		s.Spread = append(s.Spread, make([]float32, w*h))
	}
	for i := range s.Inside {
		x, y := i%w, i/w
		s.Inside[i] = x >= toyMargin && y >= toyMargin && x < w-toyMargin && y < h-toyMargin
		s.Pixels[i] = 25
		t.paint(i, 0.03, 0.09, 0.05)
	}
	return t
}

func (t toy) paint(i int, blue, green, red float64) {
	for b, v := range []float64{blue, green, red} {
		t.sum.Mean[b][i] = float32(v * math.Exp(0.06*t.rng.NormFloat64()))
		t.sum.Spread[b][i] = 0.2 * t.sum.Mean[b][i]
	}
}

// levee paints dry grass within half cells of where fn is near 0.
func (t toy) levee(half float64, fn func(x, y float64) float64) {
	for i := range t.sum.Inside {
		if math.Abs(fn(float64(i%t.sum.Grid.Cols), float64(i/t.sum.Grid.Cols))) <= half {
			t.paint(i, 0.06, 0.11, 0.13)
		}
	}
}

// boundary is the field's edge in metres.
func (t toy) boundary() structure.Boundary {
	g := t.sum.Grid
	m := toyMargin * g.CellM
	x0, y1 := g.OriginX+m, g.OriginY-m
	x1, y0 := g.OriginX+float64(g.Cols)*g.CellM-m, g.OriginY-float64(g.Rows)*g.CellM+m
	return structure.Boundary{Polygon: geo.MultiPolygon{{Outer: geo.Ring{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}}}}
}

func (t toy) find(tb testing.TB, opt structure.Options) *structure.Layout {
	tb.Helper()
	l, err := structure.Find(tb.Context(), t.sum, t.boundary(), opt)
	if err != nil {
		tb.Fatal(err)
	}
	t.consistent(tb, l)
	return l
}

// consistent holds for every layout: each cell has one reason, Outside just
// where it is outside, and belongs to one check just where it is inside.
func (t toy) consistent(tb testing.TB, l *structure.Layout) {
	tb.Helper()
	inCheck := make([]int, len(l.Checks))
	for i, in := range t.sum.Inside {
		if in == (l.Reason[i] == structure.Outside) {
			tb.Fatalf("cell %d: inside is %v, reason %d", i, in, l.Reason[i])
		}
		if in != (l.Check[i] >= 0) {
			tb.Fatalf("cell %d: inside is %v, check %d", i, in, l.Check[i])
		}
		if in {
			inCheck[l.Check[i]]++
		}
	}
	for k, c := range l.Checks {
		area := c.Outline.Area() / (l.Grid.CellM * l.Grid.CellM)
		if c.Cells != inCheck[k] || math.Abs(area-float64(c.Cells)) > 0.01 {
			tb.Fatalf("check %s: %d cells, %d counted, outline of %.2f", c.ID, c.Cells, inCheck[k], area)
		}
	}
}

func share(l *structure.Layout, r structure.Reason) float64 {
	n, of := 0.0, 0.0
	for _, v := range l.Reason {
		if v != structure.Outside {
			of++
		}
		if v == r {
			n++
		}
	}
	return n / of
}

func TestContourLeveesPartTheFieldIntoChecks(t *testing.T) {
	f := newToy(400, 500)
	for _, mid := range []float64{130, 260, 390} {
		f.levee(2, func(x, y float64) float64 { return y - mid - 25*math.Sin(x/60) })
	}
	l := f.find(t, structure.Options{})
	if l.Found != structure.FromPicture || len(l.Levees) != 3 || len(l.Checks) != 4 {
		t.Fatalf("%s: %d levees, %d checks", l.Found, len(l.Levees), len(l.Checks))
	}
	for _, v := range l.Levees {
		if v.WidthM < 1.5 || v.WidthM > 4 {
			t.Errorf("a levee 2.5 m wide came out as %.1f m", v.WidthM)
		}
		if ft := v.Line.Length() / 0.3048; ft < 640 || ft > 800 {
			t.Errorf("a levee of about 720 ft came out as %.0f ft", ft)
		}
	}
	g := l.Grid
	top := l.Check[g.Index(toyMargin+5, toyMargin+5)]
	bottom := l.Check[g.Index(toyMargin+5, g.Rows-toyMargin-5)]
	if l.Checks[top].ID != "1" || l.Checks[bottom].ID != "4" {
		t.Errorf("from north to south the checks are %s to %s", l.Checks[top].ID, l.Checks[bottom].ID)
	}
	missed, wrong := 0, 0
	for y := toyMargin + 10; y < g.Rows-toyMargin-10; y++ {
		for x := toyMargin + 10; x < g.Cols-toyMargin-10; x++ {
			d := math.Inf(1)
			for _, mid := range []float64{130, 260, 390} {
				d = min(d, math.Abs(float64(y)-mid-25*math.Sin(float64(x)/60)))
			}
			left := l.Reason[g.Index(x, y)] == structure.Levee
			if d <= 1 && !left {
				missed++
			} else if d > 7 && left {
				wrong++
			}
		}
	}
	if missed > 40 || wrong > 40 {
		t.Errorf("%d levee cells missed, %d cells of crop taken for levee", missed, wrong)
	}
}

func TestFieldWithoutLeveesGetsNone(t *testing.T) {
	f := newToy(300, 300)
	l := f.find(t, structure.Options{})
	if l.Found != structure.NoneFound || len(l.Levees) != 0 || len(l.Checks) != 1 {
		t.Errorf("%s: %d levees, %d checks", l.Found, len(l.Levees), len(l.Checks))
	}
	if s := share(l, structure.LookedAt); s < 0.96 {
		t.Errorf("only %.3f of plain crop is looked at", s)
	}
}

func TestGrowersLinesWin(t *testing.T) {
	f := newToy(300, 300)
	f.levee(2, func(_, y float64) float64 { return y - 100 })
	line := geo.Line{{X: toyX, Y: toyY - 100}, {X: toyX + 200, Y: toyY - 100}}
	l := f.find(t, structure.Options{Levees: []geo.Line{line}})
	if l.Found != structure.FromGrower || len(l.Levees) != 1 || len(l.Checks) != 2 {
		t.Fatalf("%s: %d levees, %d checks", l.Found, len(l.Levees), len(l.Checks))
	}
	g := l.Grid
	if r := l.Reason[g.Index(150, 200)]; r != structure.Levee {
		t.Errorf("on the grower's line the reason is %d", r)
	}
	if r := l.Reason[g.Index(150, 100)]; r == structure.Levee {
		t.Error("a levee of the picture was drawn although the grower gave lines")
	}
	if len(l.Doubts) != 1 || !strings.Contains(l.Doubts[0].Says, "a bank that the given levees do not have") {
		t.Errorf("doubts %+v", l.Doubts)
	}
	on := geo.Line{{X: toyX, Y: toyY - 51}, {X: toyX + 200, Y: toyY - 51}} // a metre beside the bank
	if l := f.find(t, structure.Options{Levees: []geo.Line{on}}); len(l.Doubts) != 0 {
		t.Errorf("the bank was drawn, and still: %+v", l.Doubts)
	}
}

func TestGrowersAreasPartTheFieldAndHaveALength(t *testing.T) {
	f := newToy(300, 300)
	var ring geo.Ring
	for _, p := range [][2]float64{{-5, -99}, {80, -89}, {200, -99}, {200, -102}, {80, -92}, {-5, -102}} {
		ring = append(ring, geo.Point{X: toyX + p[0], Y: toyY + p[1]})
	}
	area := geo.Polygon{Outer: ring}
	l := f.find(t, structure.Options{LeveeAreas: geo.MultiPolygon{area}})
	if l.Found != structure.FromGrower || len(l.Levees) != 1 || len(l.Checks) != 2 {
		t.Fatalf("%s: %d levees, %d checks", l.Found, len(l.Levees), len(l.Checks))
	}
	if m := l.Levees[0].Line.Length(); math.Abs(m-151) > 2 || math.Abs(l.Levees[0].WidthM-3) > 0.2 {
		t.Errorf("the area's line is %.1f m long and %.1f m wide", m, l.Levees[0].WidthM)
	}
}

func TestGroundLeftOutByHandStaysOut(t *testing.T) {
	f := newToy(100, 100)
	box := geo.MultiPolygon{{Outer: geo.Ring{{X: toyX + 20, Y: toyY - 40}, {X: toyX + 40, Y: toyY - 40}, {X: toyX + 40, Y: toyY - 20}, {X: toyX + 20, Y: toyY - 20}}}}
	l := f.find(t, structure.Options{ByHand: append(box, box...), Keep: []structure.Reason{structure.ByHand}})
	n := 0
	for _, r := range l.Reason {
		if r == structure.ByHand {
			n++
		}
	}
	if n != 1600 {
		t.Errorf("%d cells are left out by hand, not 1600", n)
	}
}

func TestGrowersLinesOfAnotherFieldAreRefused(t *testing.T) {
	f := newToy(60, 60)
	line := geo.Line{{X: 0, Y: 0}, {X: 100, Y: 0}}
	_, err := structure.Find(t.Context(), f.sum, f.boundary(), structure.Options{Levees: []geo.Line{line}})
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Input {
		t.Errorf("got %v", err)
	}
}

func TestPictureOfHalfTheFieldLeavesTheRestOut(t *testing.T) {
	f := newToy(200, 200)
	nan := float32(math.NaN())
	g := f.sum.Grid
	for i := range f.sum.Inside {
		if i%g.Cols >= g.Cols/2 {
			f.sum.Pixels[i] = 0
			for b := range f.sum.Mean {
				f.sum.Mean[b][i], f.sum.Spread[b][i] = nan, nan
			}
		}
	}
	l := f.find(t, structure.Options{})
	if s := share(l, structure.NoData); math.Abs(s-0.5) > 0.01 {
		t.Errorf("%.3f of the field has no data", s)
	}
	if len(l.Levees) != 0 {
		t.Error("the picture's edge was taken for a levee")
	}
}

func TestOddFieldsAreBorne(t *testing.T) {
	for name, f := range map[string]toy{
		"one cell": newToy(1, 1), "four cells": newToy(2, 2), "a strip": newToy(300, 2), "small": newToy(12, 9),
	} {
		t.Run(name, func(t *testing.T) {
			if l := f.find(t, structure.Options{}); len(l.Checks) != 1 {
				t.Errorf("%d checks", len(l.Checks))
			}
		})
	}
	t.Run("constant bands", func(t *testing.T) {
		f := newToy(100, 100)
		for b := range f.sum.Mean {
			for i := range f.sum.Mean[b] {
				f.sum.Mean[b][i] = 0
			}
		}
		if l := f.find(t, structure.Options{}); len(l.Levees) != 0 {
			t.Error("levees in a picture of nothing")
		}
	})
	t.Run("NaN in one band", func(t *testing.T) {
		f := newToy(100, 100)
		for i := 0; i < len(f.sum.Inside); i += 7 {
			f.sum.Mean[1][i] = float32(math.NaN())
		}
		f.find(t, structure.Options{})
	})
}

func TestPicturesThatCannotAnswerAreRefused(t *testing.T) {
	one := newToy(20, 20)
	one.sum.Bands, one.sum.Mean, one.sum.Spread = one.sum.Bands[:1], one.sum.Mean[:1], one.sum.Spread[:1]
	dark := newToy(20, 20)
	clear(dark.sum.Pixels)
	for name, f := range map[string]toy{"one band": one, "no picture": dark} {
		_, err := structure.Find(t.Context(), f.sum, f.boundary(), structure.Options{})
		var p *doubt.Problem
		if !errors.As(err, &p) || p.Kind != doubt.Unfit {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestFindRepeatsItself(t *testing.T) {
	f := newToy(300, 300)
	f.levee(2, func(x, y float64) float64 { return y - 150 - 20*math.Sin(x/40) })
	if a, b := f.find(t, structure.Options{}), f.find(t, structure.Options{}); !reflect.DeepEqual(a, b) {
		t.Error("two runs differ")
	}
}

func TestFindStopsWhenCancelled(t *testing.T) {
	f := newToy(50, 50)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := structure.Find(ctx, f.sum, f.boundary(), structure.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func TestQuestionMayKeepTheEdge(t *testing.T) {
	f := newToy(100, 100)
	if s := share(f.find(t, structure.Options{Keep: []structure.Reason{structure.Edge}}), structure.Edge); s != 0 {
		t.Errorf("%.3f of the field is left out as edge", s)
	}
}

// A levee without a ditch takes nothing from weeds that stand against it; one
// with a ditch takes the ditch's width, as wide as it shows where there is crop.
func TestWeedsAgainstALeveeLoseTheWidthOfItsDitchOnly(t *testing.T) {
	for _, tc := range []struct {
		ditch       float64 // cells
		least, most int     // cells of the weeds that may go with the levee
	}{{0, 0, 2}, {3, 3, 8}} {
		f := newToy(400, 300)
		middle := func(y float64) float64 { return y - 150 }
		f.levee(4, func(_, y float64) float64 { return middle(y) })
		for i := range f.sum.Inside {
			x, y := i%f.sum.Grid.Cols, float64(i/f.sum.Grid.Cols)
			if d := middle(y); d > 4 && (d <= 4+tc.ditch || d <= 16 && x > 150 && x < 170) {
				f.paint(i, 0.05, 0.10, 0.12)
			}
		}
		l := f.find(t, structure.Options{})
		lost := 0
		for y := 155; y < 175; y++ {
			if r := l.Reason[y*f.sum.Grid.Cols+160]; r == structure.BorrowDitch || r == structure.Levee {
				lost++
			}
		}
		if lost < tc.least || lost > tc.most {
			t.Errorf("with a ditch of %g cells, %d cells of the weeds go with the levee, want %d to %d", tc.ditch, lost, tc.least, tc.most)
		}
	}
}

// A bank of the crop's own colour shows by its ground alone: earth and short grass vary less from pixel to
// pixel than a crop. What varies more, as weeds and gaps do, is no bank.
func TestSmoothGroundIsABankAndRoughGroundIsNone(t *testing.T) {
	for _, tc := range []struct {
		contrast float64 // within-cell deviation over mean of what winds through a crop of 0.2
		levees   int
	}{{0.1, 1}, {0.2, 0}, {0.4, 0}} {
		f := newToy(400, 300)
		for i := range f.sum.Inside {
			x, y := float64(i%f.sum.Grid.Cols), float64(i/f.sum.Grid.Cols)
			contrast := 0.2
			if math.Abs(y-150-20*math.Sin(x/40)) <= 3 {
				contrast = tc.contrast
			}
			for b := range f.sum.Spread {
				f.sum.Spread[b][i] = f.sum.Mean[b][i] * float32(contrast*math.Exp(0.15*f.rng.NormFloat64()))
			}
		}
		if n := len(f.find(t, structure.Options{}).Levees); n != tc.levees {
			t.Errorf("%d levees where the ground varies by %g, want %d", n, tc.contrast, tc.levees)
		}
	}
}

// Any eye follows a bank into the shade of a cloud, and out of it again.
func TestABankGoesOnInShade(t *testing.T) {
	f := newToy(400, 300)
	mid := func(x float64) float64 { return 150 + 25*math.Sin(x/60) }
	f.levee(2, func(x, y float64) float64 { return y - mid(x) })
	dim := f.dim(0.4)
	for i := range f.sum.Inside {
		if x := i % f.sum.Grid.Cols; x >= 160 && x < 330 {
			dim(i)
		}
	}
	l := f.find(t, structure.Options{Keep: []structure.Reason{structure.Shade}})
	found, of := 0, 0
	for x := 170; x < 320; x++ {
		of++
		if l.Reason[f.sum.Grid.Index(x, int(mid(float64(x))+0.5))] == structure.Levee {
			found++
		}
	}
	if found < of*9/10 || len(l.Levees) != 1 {
		t.Errorf("%d of %d m of a bank in shade, and %d levees", found/2, of/2, len(l.Levees))
	}
}

// Dry grass on a bank is paler than the crop (common practice, no source), which tells a bank that hardly stands out
// otherwise. What machines leave runs with their tracks, and a strip of the stand is no paler.
func TestAPaleBankAcrossTheDrillIsALevee(t *testing.T) {
	for _, tc := range []struct {
		says   string
		light  float64 // of the line against the crop
		slope  float64 // rows a column: the drill runs along the rows
		levees int
	}{{"pale, across the drill", 1.5, 0.4, 1}, {"dark, across the drill", 0.67, 0.4, 0}, {"pale, along the drill", 1.5, 0, 0}} {
		f := newToy(400, 300)
		f.ruts()
		for i := range f.sum.Inside {
			x, y := float64(i%f.sum.Grid.Cols), float64(i/f.sum.Grid.Cols)
			if x > 120 && x < 300 && math.Abs(y-160-tc.slope*(x-210)) <= 3 {
				f.dim(tc.light)(i)
				f.sum.Mean[2][i] *= 1.1 // redder, too
			}
		}
		if n := len(f.find(t, structure.Options{}).Levees); n != tc.levees {
			t.Errorf("%s: %d levees, want %d", tc.says, n, tc.levees)
		}
	}
}

// Hogs leave trails of trodden, wet ground that wander off from a bank (common practice, no source). They are darker than the crop, the
// banks of the field brighter.
func TestADarkTrailBesideABankIsNone(t *testing.T) {
	f := newToy(400, 400)
	f.ruts()
	f.levee(2, func(x, y float64) float64 { return y - 160 - 0.3*(x-200) })
	for i := range f.sum.Inside {
		x, y := float64(i%f.sum.Grid.Cols), float64(i/f.sum.Grid.Cols)
		if x > 150 && x < 260 && math.Abs(y-205-0.5*(x-200)-12*math.Sin(x/25)) <= 2 {
			f.paint(i, 0.035, 0.075, 0.075)
		}
	}
	if n := len(f.find(t, structure.Options{}).Levees); n != 1 {
		t.Errorf("%d levees, want 1", n)
	}
}
