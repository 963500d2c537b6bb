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
	Skip    float64 // acres at or above ActDensity on the strip that an airplane missed
	Levees  []geo.Line
	LeveeM  []float64 // m, width of each levee's bank
}

// SkipPatch is the index in [Truth.Patch] of the strip that an airplane missed.
const SkipPatch = -2

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
	t := &Truth{Grid: g, Density: make([]float32, n), Patch: make([]int16, n), Killed: make([]float32, n), Class: make([]Class, n)}
	for i := range f.weeds {
		b := &f.weeds[i]
		t.Patches = append(t.Patches, Patch{Peak: b.peak, Burn: b.burn, At: f.place.ground(geo.Point{X: b.x, Y: b.y})})
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
	if c := t.Class[k]; c != Crop && c != Track && c != Shade || ins < 1 {
		return
	}
	c, which := strongest(f.weeds, p)
	if s := f.skipCover(p); s > c {
		c, which = s, SkipPatch
	}
	if c > 0 {
		t.Density[k], t.Patch[k] = float32(c), int16(which)
	}
	dead, _ := strongest(f.killed, p)
	t.Killed[k] = float32(dead)
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
