package cells

import (
	"math"

	"bittern/internal/tight/lanes"
)

// Where few pixels lie in a cell, four 16-bit samples are summed by package
// lanes: the same sums, narrower and faster.

// narrowFits tells whether no cell can hold more than lanes.Most pixels of a
// picture of cols x rows pixels. at takes picture coordinates to cells.
//
// The pixels whose centres lie in a cell all lie in the cell widened by half a
// diagonal of a pixel, and do not overlap there.
func narrowFits(at func(col, row float64) (x, y float64), cols, rows int) bool {
	w, h := float64(cols), float64(rows)
	for _, p := range [...]spot{{0, 0}, {w, 0}, {0, h}, {w, h}, {w / 2, h / 2}} {
		x0, y0 := at(p.x, p.y)
		x1, y1 := at(p.x+1, p.y)
		x2, y2 := at(p.x, p.y+1)
		ax, ay, bx, by := x1-x0, y1-y0, x2-x0, y2-y0
		area := math.Abs(float64(ax*by) - float64(ay*bx))
		diagonal := max(math.Hypot(ax+bx, ay+by), math.Hypot(ax-bx, ay-by))
		if most := (1 + diagonal) * (1 + diagonal) / area; !(most < 0.95*lanes.Most) { // 0.95: the scale varies over a picture
			return false
		}
	}
	return true
}

// narrow is the kernel for four used 16-bit samples with a histogram, where
// narrowFits.
func narrow(l *layout, px []byte, runs []run, base int, b *block) {
	l.scheme().Add(px, runs, b.narrow[base:], b.empty[base:])
}

// narrowDifferences is narrow for rows of differences.
func narrowDifferences(l *layout, px []byte, runs []run, base int, b *block) {
	l.scheme().AddDifferences(px, runs, b.narrow[base:], b.empty[base:])
}

// scheme says how pixels of the layout are summed narrowly.
func (l *layout) scheme() *lanes.Scheme {
	return &lanes.Scheme{
		Logs: (*[1 << 16]int32)(l.ratio.logs), Over: l.ratio.over, Under: l.ratio.under, Low: l.ratio.low,
		HasVoid: l.hasVoid, Void: uint16(l.void),
	}
}

// widen turns narrow sums of pixels of layout l into the usual ones.
func (b *block) widen(l *layout) {
	s := l.scheme()
	for cell := range b.n {
		t := s.Unpack(&b.narrow[cell], b.empty[cell])
		b.n[cell] = t.Pixels
		*(*quads)(b.sum[cell*4:]), *(*quads)(b.sq[cell*4:]) = t.Sum, t.Squares
		*(*[Bins]uint32)(b.hist[cell*Bins:]) = t.Hist
	}
}
