package invent

import (
	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A Class says what stands on a cell.
type Class uint8

// The classes, the strongest claim last: a cell under a tree is a tree's
// whatever grows below.
const (
	Outside Class = iota // beyond the field's true edge
	Crop
	Track // wheel tracks cover half of the cell
	Shade // in the shade of trees, otherwise crop
	Ditch // borrow ditch
	Levee
	Road
	Water
	Tree
)

// A Patch is one planted patch of live escapes.
type Patch struct {
	Acres float64   // crop ground at or above ActDensity, on the grid asked for
	Peak  float64   // largest expected cover, 0 to 1
	Burn  float64   // mean share of its plants' cover that is burnt leaf
	At    geo.Point // m, its middle, in the grid's zone
	New   bool      // came up after the treatment
}

// A Strip is one strip that a pass missed.
type Strip struct {
	Line   geo.Line // m, centre line in the grid's zone
	WidthM float64
	Pass   int     // which joint between passes, counted across the field
	Acres  float64 // crop ground at or above ActDensity
}

// A Trend is poor ground that fades with distance.
type Trend struct {
	Inlet   bool      // from an inlet, else from an edge
	At      geo.Point // m, the inlet, or the middle of the edge, in the grid's zone
	FromDeg float64   // degrees clockwise from true north, from the field's middle towards where it comes from
	HalfM   float64   // m over which the effect halves
	Acres   float64   // crop ground with a quarter of the full effect and more
}

// Truth is what really stands on a grid. Slices are row-major and as long as
// the grid.
type Truth struct {
	Grid    grid.Grid
	Density []float32 // expected cover of live escapes of the crop, 0 to 1; 0 on structures
	Patch   []int16   // index into Patches where Density is above zero, else -1; SkipPatch on the skip
	Killed  []float32 // expected cover of dead weeds, 0 to 1
	Class   []Class
	Patches []Patch
	Skip    float64 // acres at or above ActDensity on strips that a pass missed

	Strips         []Strip // strips of Scene.Skips
	SkipHeadingDeg float64 // clockwise from true north, 0 to 180; of the passes
	SkipSpacingFt  float64 // feet between passes; 0 without strips
	LineHeadingDeg float64 // the same of the mapping lines
	LineSpacingFt  float64

	Defoliated []float32 // share of the leaf eaten, 0 to 1
	Short      []float32 // lack of nitrogen, 1 is a crop given none; a whole check without is not in it
	Trend      []float32 // effect of trends, 1 where they come from
	Trends     []Trend

	Check  []int16 // true check of each cell, -1 on banks and outside
	Checks int     // how many checks of a tenth of an acre and more
	Odd    int16   // the check that is wholly untreated or without nitrogen, -1 for none

	LeveeWeedsM float64 // m of inner levee under tall live weeds
	CloudAcres  float64 // crop that clouds take a fifth of the light from, and more
	ShadeAcres  float64 // crop in the shade of trees
	Levees      []geo.Line
	LeveeM      []float64 // m, width of each levee's bank
}

// SkipPatch is the index in [Truth.Patch] of strips that a pass missed,
// UntreatedPatch that of a whole check that none reached.
const (
	SkipPatch      = -2
	UntreatedPatch = -3
)

// Chewed reports whether so much leaf is eaten on cell k that it counts.
func (t *Truth) Chewed(k int) bool { return t.Defoliated[k] >= ChewedShare }

// Lacking reports whether cell k is so short of nitrogen that it counts.
func (t *Truth) Lacking(k int) bool { return t.Short[k] >= ShortShare }

// Acting reports whether cell k is worth acting on: crop with live escapes at
// or above [ActDensity].
func (t *Truth) Acting(k int) bool { return t.Density[k] >= ActDensity }

// Light reports whether cell k holds live escapes below [ActDensity]: neither
// right nor wrong to report.
func (t *Truth) Light(k int) bool { return t.Density[k] > 0.004 && t.Density[k] < ActDensity }

// Acres is the crop ground worth acting on, the skip included.
func (t *Truth) Acres() float64 {
	n := 0
	for k := range t.Density {
		if t.Acting(k) {
			n++
		}
	}
	return float64(n) * t.Grid.AcresPerCell
}

// Truth says what stands on a grid in the field's UTM zone.
func (f *Field) Truth(g grid.Grid) *Truth {
	n := g.Len()
	t := &Truth{
		Grid: g, Density: make([]float32, n), Patch: make([]int16, n), Killed: make([]float32, n), Class: make([]Class, n),
		Defoliated: make([]float32, n), Short: make([]float32, n), Trend: make([]float32, n), Check: make([]int16, n), Odd: f.odd,
	}
	for i := range f.weeds {
		b := &f.weeds[i]
		t.Patches = append(t.Patches, Patch{Peak: b.peak, Burn: b.burn, At: f.place.ground(geo.Point{X: b.x, Y: b.y}), New: b.fresh})
	}
	eachRow(g.Rows, func(row int) {
		for col := range g.Cols {
			f.truthAt(t, g.Index(col, row), g.Center(col, row))
		}
	})
	for k, which := range t.Patch {
		switch {
		case !t.Acting(k):
		case which >= 0:
			t.Patches[which].Acres += g.AcresPerCell
		case which == SkipPatch:
			t.Skip += g.AcresPerCell
		}
	}
	f.truthOfTroubles(t)
	for _, b := range f.banks {
		t.Levees = append(t.Levees, f.groundLine(b.line))
		t.LeveeM = append(t.LeveeM, 2*b.halfM)
	}
	return t
}

// groundLine turns a line of the own frame into the zone.
func (f *Field) groundLine(l geo.Line) geo.Line {
	out := make(geo.Line, len(l))
	for i, p := range l {
		out[i] = f.place.ground(p)
	}
	return out
}

// truthAt fills one cell.
func (f *Field) truthAt(t *Truth, k int, at geo.Point) {
	t.Patch[k] = -1
	p := f.place.local(at)
	ins := inset(f.ring, p)
	t.Class[k] = f.classAt(p, at, ins)
	t.Check[k] = f.checks.at(p)
	if c := t.Class[k]; c != Crop && c != Track && c != Shade || ins < 1 {
		return
	}
	c, which, _ := f.alive(p)
	if c > 0 {
		t.Density[k], t.Patch[k] = float32(c), int16(which)
	}
	dead, _ := strongest(f.killed, p)
	t.Killed[k] = float32(dead)
	if !f.scene.Before {
		eaten, _ := strongest(f.chewed, p)
		t.Defoliated[k] = float32(eaten)
	}
	lack, _ := strongest(f.short, p)
	t.Short[k] = float32(lack)
	for _, tr := range f.trends {
		t.Trend[k] = max(t.Trend[k], float32(f.effect(tr, p)))
	}
}

// classAt says what stands at p.
func (f *Field) classAt(p, at geo.Point, ins float64) Class {
	col, row := f.place.toPixel(at)
	switch {
	case f.tree.at(col, row) >= 0.5:
		return Tree
	case f.pond.at(col, row) >= 0.5:
		return Water
	case f.road.at(col, row) >= 0.5:
		return Road
	case ins < 0:
		return Outside
	case f.bank.at(col, row) >= 0.5:
		return Levee
	case f.ditch.at(col, row) >= 0.4:
		return Ditch
	case f.shade.at(col, row) >= 0.4:
		return Shade
	case f.scene.Tracks > 0 && f.rut(float32(f.acrossDrill(p)))*f.track.at(col, row) >= 0.3:
		return Track
	}
	return Crop
}

// Stand is the cover of the crop on each cell of g, 0 to 1: what stands, less what is
// missing. It is that of bare crop ground, whatever is built on the cell.
func (f *Field) Stand(g grid.Grid) []float32 {
	out := make([]float32, g.Len())
	eachRow(g.Rows, func(row int) {
		for col := range g.Cols {
			c, r := f.place.toPixel(g.Center(col, row))
			out[g.Index(col, row)] = f.stand.at(c, r) * (1 - f.gaps.at(c, r))
		}
	})
	return out
}
