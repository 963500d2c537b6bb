package structure

import (
	"math"
	"slices"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// Settings of the rounds that machines drive along the field's sides before or after they go up and down. Lengths in
// metres.
const (
	roundDeepM  = 25.0 // how far within the perimeter strip they are sought
	roundSideM  = 60.0 // the least straight side
	roundBendM  = 2.0  // how far a side may stray from straight
	roundFan    = 2    // headings to either side of the side's own, trackFine apart: a boundary is drawn by hand
	roundLeastM = 50.0 // the least track
	roundClearM = 1.5  // what lies nearer to the perimeter strip is of the perimeter's own bank and ditch
	roundLow    = 0.7  // spreads, such a track goes on: higher than one at the tracks' own heading, which is told by many
	roundHigh   = 1.4  // and begins
)

// addRounds adds the wheel tracks along the field's straight sides, where machines have left tracks at all. Most of
// what runs along a side otherwise, a bank or its ditch, is the perimeter's own.
func (f *finder) addRounds() {
	f.eachSide(roundBendM, roundSideM, f.addRound)
}

// eachSide calls fn with the straight pieces of the field's sides, in cells: those that are so long at least, and stray so
// little from straight.
func (f *finder) eachSide(bendM, leastM float64, fn func(a, b geo.Point)) {
	for _, polygon := range f.boundary.Polygon {
		for _, ring := range append([]geo.Ring{polygon.Outer}, polygon.Holes...) {
			closed := append(slices.Clone(geo.Line(ring)), ring[:min(1, len(ring))]...)
			side := geo.Line(f.raster(closed)).Simplify(bendM / f.cell())
			for k := 1; k < len(side); k++ {
				if side[k-1].Distance(side[k])*f.cell() >= leastM {
					fn(side[k-1], side[k])
				}
			}
		}
	}
}

// addRound adds those along the side from a to b, in cells.
func (f *finder) addRound(a, b geo.Point) {
	s := f.strip(a, b, 0)
	lines := findLines(s.v, s.size, trackShape(trackHalfM, f.cell()), turnsAbout(0, roundFan, trackFine), f.opt.Workers)
	for i := range lines.Strength {
		lines.Strength[i] /= stepsPer
	}
	in := stat.Hysteresis(lines.Strength, s.size, roundLow, roundHigh)
	least := int(roundLeastM / f.cell())
	stat.Keep(in, s.size, true, func(_ int32, n int) bool { return n >= least })
	for i, is := range in {
		if k := s.at[i]; is && k >= 0 && f.ok[k] {
			f.tracks[k] = true
		}
	}
}

// A strip is the ground along a side, laid out straight: rows are so many cells from the side.
type strip struct {
	size stat.Size
	at   []int32 // the cell there, -1 off the raster
	v    []uint8 // its distance from the ground round about, in steps
}

// strip lays out the ground along the side from a to b, in cells, and as far beyond its ends.
func (f *finder) strip(a, b geo.Point, beyondM float64) strip {
	length, beyond := a.Distance(b), beyondM/f.cell()
	ux, uy := (b.X-a.X)/length, (b.Y-a.Y)/length
	first, deep := (f.out.PerimeterM+roundClearM)/f.cell(), roundDeepM/f.cell()
	nx, ny := -uy, ux
	if mid := (geo.Point{X: (a.X+b.X)/2 + float64(nx*first), Y: (a.Y+b.Y)/2 + float64(ny*first)}); f.cellAt(mid) < 0 || !f.ok[f.cellAt(mid)] {
		nx, ny = -nx, -ny
	}
	s := strip{size: stat.Size{Cols: int(length + 2*beyond), Rows: int(deep)}}
	s.at, s.v = make([]int32, s.size.Len()), make([]uint8, s.size.Len())
	for i := range s.at {
		along, off := float64(i%s.size.Cols)+0.5-beyond, first+float64(i/s.size.Cols)
		k := f.cellAt(geo.Point{X: a.X + float64(along*ux) + float64(off*nx), Y: a.Y + float64(along*uy) + float64(off*ny)})
		if s.at[i] = int32(k); k >= 0 {
			s.v[i] = f.fineStep[k]
		}
	}
	return s
}

// cellAt is the cell at a place of the raster; -1 off it.
func (f *finder) cellAt(p geo.Point) int {
	x, y := int(math.Floor(p.X+0.5)), int(math.Floor(p.Y+0.5))
	if x < 0 || y < 0 || x >= f.fine.size.Cols || y >= f.fine.size.Rows {
		return -1
	}
	return y*f.fine.size.Cols + x
}
