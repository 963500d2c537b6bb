package structure_test

import (
	"math"
	"testing"

	"bittern/internal/structure"
)

// disc paints a round place of the toy with fn.
func (t toy) disc(x0, y0, r int, fn func(i int)) []int {
	var cells []int
	for i := range t.sum.Inside {
		dx, dy := i%t.sum.Grid.Cols-x0, i/t.sum.Grid.Cols-y0
		if dx*dx+dy*dy <= r*r {
			fn(i)
			cells = append(cells, i)
		}
	}
	return cells
}

// reasonsOf is the share of the cells that have the reason.
func reasonsOf(l *structure.Layout, cells []int, r structure.Reason) float64 {
	n := 0
	for _, i := range cells {
		if l.Reason[i] == r {
			n++
		}
	}
	return float64(n) / float64(len(cells))
}

func TestPondIsWaterAndRoughWeedsAreNot(t *testing.T) {
	f := newToy(300, 300)
	smooth := func(i int) {
		for b, v := range []float64{0.05, 0.07, 0.066} {
			f.sum.Mean[b][i], f.sum.Spread[b][i] = float32(v), float32(0.02*v)
		}
	}
	pond := f.disc(80, 80, 20, smooth)
	weeds := f.disc(200, 200, 25, func(i int) {
		f.paint(i, 0.05, 0.075, 0.075)
		for b := range f.sum.Spread {
			f.sum.Spread[b][i] = 0.35 * f.sum.Mean[b][i]
		}
	})
	l := f.find(t, structure.Options{})
	if s := reasonsOf(l, pond, structure.Water); s < 0.95 {
		t.Errorf("%.2f of the pond is water", s)
	}
	if s := reasonsOf(l, weeds, structure.LookedAt); s < 0.98 {
		t.Errorf("only %.2f of the weeds are looked at", s)
	}
}

// Ruffled water mirrors the sun in specks: it is bright and rough there, and has its colour still. Weeds beside it have theirs.
func TestAPondIsWaterWhereItMirrorsTheSunToo(t *testing.T) {
	f := newToy(300, 300)
	paint := func(x0, y0, r int, times, rough float64, color ...float64) []int {
		return f.disc(x0, y0, r, func(i int) {
			for b, v := range color {
				f.sum.Mean[b][i], f.sum.Spread[b][i] = float32(times*v), float32(rough*times*v)
			}
		})
	}
	weeds := paint(105, 80, 12, 1, 0.35, 0.03, 0.07, 0.10)
	paint(80, 80, 20, 1, 0.02, 0.05, 0.07, 0.066)
	glint := paint(80, 90, 9, 2.2, 0.7, 0.052, 0.07, 0.067)
	l := f.find(t, structure.Options{})
	if s := reasonsOf(l, glint, structure.Water); s < 0.95 {
		t.Errorf("%.2f of the water that mirrors the sun is water", s)
	}
	beside := 0.0
	for _, i := range weeds {
		if l.Reason[i] == structure.LookedAt {
			beside += 1 / float64(len(weeds))
		}
	}
	if beside < 0.5 { // the rest lies under the pond and its rim
		t.Errorf("only %.2f of the weeds beside the pond are looked at", beside)
	}
}

// dim leaves a cell a part of its light.
func (t toy) dim(light float64) func(i int) {
	return func(i int) {
		for b := range t.sum.Mean {
			t.sum.Mean[b][i] *= float32(light)
			t.sum.Spread[b][i] *= float32(light)
		}
	}
}

func TestDeepShadeIsLeftOutAndLightShadeIsNot(t *testing.T) {
	f := newToy(300, 300)
	deep := f.disc(80, 80, 30, f.dim(0.4))
	light := f.disc(210, 210, 40, f.dim(0.75))
	l := f.find(t, structure.Options{})
	if s := reasonsOf(l, deep, structure.Shade); s < 0.85 {
		t.Errorf("%.2f of the deep shade is left out", s)
	}
	if s := reasonsOf(l, light, structure.LookedAt); s < 0.98 {
		t.Errorf("only %.2f of the light shade is looked at", s)
	}
	if len(l.Doubts) == 0 || l.Doubts[0].About != "shade" {
		t.Errorf("doubts %v", l.Doubts)
	}
}

func TestAQuestionThatKeepsShadeLooksAtAllButTheDeepest(t *testing.T) {
	f := newToy(300, 300)
	shade, deep := f.disc(80, 80, 30, f.dim(0.4)), f.disc(210, 210, 30, f.dim(0.06))
	l := f.find(t, structure.Options{Keep: []structure.Reason{structure.Shade}})
	if s := reasonsOf(l, shade, structure.LookedAt); s < 0.98 {
		t.Errorf("only %.2f of the shade is looked at", s)
	}
	kept := 0
	for _, i := range shade {
		if l.Kept[i] == structure.Shade {
			kept++
		}
	}
	if float64(kept) < 0.85*float64(len(shade)) {
		t.Errorf("%d of %d cells in shade are named so", kept, len(shade))
	}
	if s := reasonsOf(l, deep, structure.Shade); s < 0.85 {
		t.Errorf("%.2f of the deepest shade is left out", s)
	}
	if len(l.Doubts) != 2 || l.Doubts[0].About != "shade" || l.Doubts[1].About != "shade" {
		t.Errorf("doubts %v", l.Doubts)
	}
}

func TestFieldRoadIsRoad(t *testing.T) {
	f := newToy(300, 300)
	var road []int
	for i := range f.sum.Inside {
		if x := i % f.sum.Grid.Cols; x >= 150 && x < 162 {
			f.paint(i, 0.16, 0.2, 0.22)
			for b := range f.sum.Spread {
				f.sum.Spread[b][i] = 0.06 * f.sum.Mean[b][i]
			}
			if f.sum.Inside[i] {
				road = append(road, i)
			}
		}
	}
	l := f.find(t, structure.Options{})
	if s := reasonsOf(l, road, structure.Road); s < 0.9 {
		t.Errorf("%.2f of the road is road", s)
	}
}

func TestWheelTracksAreTracksAndPairsOfThemNoLevees(t *testing.T) {
	f := newToy(360, 360)
	var ruts []int
	for i := range f.sum.Inside {
		x, y := i%f.sum.Grid.Cols, i/f.sum.Grid.Cols
		off := math.Mod(float64(x)+0.2*float64(y), 36)
		if (off < 1 || off >= 4 && off < 5) && f.sum.Inside[i] {
			f.paint(i, 0.045, 0.085, 0.08)
			ruts = append(ruts, i)
		}
	}
	l := f.find(t, structure.Options{})
	if len(l.Levees) != 0 {
		t.Errorf("%d levees among wheel tracks", len(l.Levees))
	}
	if s := reasonsOf(l, ruts, structure.Track); s < 0.8 {
		t.Errorf("%.2f of the ruts are tracks", s)
	}
	if s := share(l, structure.LookedAt); s < 0.86 {
		t.Errorf("only %.2f of the field is looked at", s)
	}
}

func TestFieldWithoutTracksHasNone(t *testing.T) {
	f := newToy(300, 300)
	if s := share(f.find(t, structure.Options{}), structure.Track); s > 0 {
		t.Errorf("%.4f of plain crop is wheel track", s)
	}
}
