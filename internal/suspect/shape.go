package suspect

import (
	"math"

	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A shape is what hints go by: lengths in metres, parts from 0 to 1.
type shape struct {
	length, width float64 // of the stretched ellipse of the same moments; width is area over length
	bent          float64 // how far the long axis strays from a straight line, over the width
	ragged        float64 // perimeter over that of the circle of the same area
	levee         float64 // part within 3 m of a levee
	border        float64 // part within 6 m of the field's edge
	track         float64 // part within 2 m of a wheel track
	killed        float64 // part within 3 m of killed ground
	bare          float64 // part of the ground within 4 m round about that is thinned, yellowed or drowned
}

const nearM = 6.0 // m, the margin in which a shape's neighbourhood is read

// shape measures a patch.
func (w *work) shape(patch []int32) shape {
	cell := w.s.Grid.CellM
	b := w.box(patch, int(nearM/cell)+1)
	local := stat.Size{Cols: b.cols, Rows: b.rows}
	in := make([]bool, local.Len())
	for _, i := range patch {
		in[b.local(int(i), w.size.Cols)] = true
	}
	out := shape{}
	out.length, out.width, out.bent = stretch(patch, w.size.Cols, cell)
	area := float64(len(patch)) * cell * cell
	out.ragged = float64(edges(in, local)) * cell * math.Pi / 4 / (2 * math.Sqrt(math.Pi*area))
	near := func(m float64, is func(i int) bool) float64 {
		return nearPart(in, w.distance(b, is), m/cell)
	}
	reason := func(r ...structure.Reason) func(int) bool {
		return func(i int) bool {
			for _, x := range r {
				if w.l.Reason[i] == x {
					return true
				}
			}
			return false
		}
	}
	out.levee = near(3, reason(structure.Levee, structure.BorrowDitch))
	out.border = near(6, reason(structure.Outside))
	out.track = near(2, reason(structure.Track))
	out.killed = near(3, func(i int) bool { return w.dead[i] })
	out.bare = w.bareRound(b, in, local)
	return out
}

// distance is the distance in cells to the nearest marked cell, over a box.
func (w *work) distance(b box, is func(i int) bool) []float32 {
	marked := make([]bool, b.cols*b.rows)
	w.overBox(b, func(k, i int) { marked[k] = is(i) })
	return stat.Distance(marked, stat.Size{Cols: b.cols, Rows: b.rows})
}

// overBox calls fn with every place of the box that is on the grid and its
// cell.
func (w *work) overBox(b box, fn func(k, i int)) {
	for row := max(b.row, 0); row < min(b.row+b.rows, w.size.Rows); row++ {
		for col := max(b.col, 0); col < min(b.col+b.cols, w.size.Cols); col++ {
			fn((row-b.row)*b.cols+col-b.col, row*w.size.Cols+col)
		}
	}
}

// nearPart is the part of the marked places that lie within most.
func nearPart(in []bool, far []float32, most float64) float64 {
	n, near := 0, 0
	for k, ok := range in {
		if ok {
			n++
			if float64(far[k]) <= most {
				near++
			}
		}
	}
	return float64(near) / float64(max(n, 1))
}

// bareRound is the part of the looked-at ground round a patch that stands thin,
// pale or under water.
func (w *work) bareRound(b box, in []bool, local stat.Size) float64 {
	far := stat.Distance(in, local)
	n, bare := 0, 0
	w.overBox(b, func(k, i int) {
		if in[k] || float64(far[k])*w.s.Grid.CellM > 4 || w.l.Reason[i] != structure.LookedAt {
			return
		}
		n++
		if l := w.d.Looks[w.d.Toward[i]]; l == norm.Thinned || l == norm.Yellowed || l == norm.Drowned {
			bare++
		}
	})
	return float64(bare) / float64(max(n, 1))
}

// stretch returns length and width of a patch along its main axis, in metres,
// and how far its middle line bends.
func stretch(patch []int32, cols int, cell float64) (length, width, bent float64) {
	n := float64(len(patch))
	var mx, my float64
	for _, i := range patch {
		mx += float64(int(i) % cols)
		my += float64(int(i) / cols)
	}
	mx /= n
	my /= n
	var xx, xy, yy float64
	for _, i := range patch {
		x, y := float64(int(i)%cols)-mx, float64(int(i)/cols)-my
		xx += float64(x * x)
		xy += float64(x * y)
		yy += float64(y * y)
	}
	angle := math.Atan2(2*xy, xx-yy) / 2
	s, c := math.Sincos(angle)
	lo, hi := math.Inf(1), math.Inf(-1)
	var sum, count [9]float64
	along := func(i int32) (u, v float64) {
		x, y := float64(int(i)%cols)-mx, float64(int(i)/cols)-my
		return float64(x*c) + float64(y*s), float64(y*c) - float64(x*s)
	}
	for _, i := range patch {
		u, _ := along(i)
		lo, hi = min(lo, u), max(hi, u)
	}
	for _, i := range patch {
		u, v := along(i)
		k := min(int((u-lo)/(hi-lo+1)*9), 8)
		sum[k] += v
		count[k]++
	}
	length = (hi - lo + 1) * cell
	width = n * cell * cell / length
	for k := range sum {
		if count[k] > 0 {
			bent = max(bent, math.Abs(sum[k]/count[k])*cell/width)
		}
	}
	return length, width, bent
}

// edges counts the cell edges along a patch's outline, holes included.
func edges(in []bool, s stat.Size) int {
	n := 0
	for k, ok := range in {
		if !ok {
			continue
		}
		for _, d := range [...]int{-1, 1, -s.Cols, s.Cols} {
			if !in[k+d] { // a box has a margin
				n++
			}
		}
	}
	return n
}
