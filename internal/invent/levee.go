package invent

import (
	"math"

	"bittern/internal/geo"
)

// A bank is one levee of the plan, in the field's own frame.
type bank struct {
	line   geo.Line
	halfM  float64 // m, half the width of the base
	ditchL float64 // m, borrow ditch on the left of the line; 0 for none
	ditchR float64 // m, on the right
}

// A wave is one swell of the ground.
type wave struct{ kx, ky, phase, amp float64 }

// A relief is the lie of the land in metres: a graded plane and smooth swells.
type relief struct {
	gx, gy float64
	waves  []wave
}

// newRelief grades the field so that levees lie spacing metres apart on
// average: 0.061 m (0.2 ft) of fall between them, practice in rice, from
// memory.
func newRelief(s Scene) relief {
	d := dice{seed: sub(s.Seed, 3)}
	slope := leveeFallM / s.SpacingM
	dir := (90 + d.u(-35, 35)) * math.Pi / 180
	if d.chance(0.3) {
		dir += math.Pi / 2
	}
	r := relief{gx: -slope * math.Cos(dir), gy: -slope * math.Sin(dir)}
	const waves = 9
	for range waves {
		length := d.u(110, 420)
		k := 2 * math.Pi / length
		a := d.u(0, 2*math.Pi)
		// Each swell's own steepest slope is a part of the grade's, so that
		// contours wander and rarely close.
		r.waves = append(r.waves, wave{k * math.Cos(a), k * math.Sin(a), d.u(0, 2*math.Pi), 0.21 * slope / k})
	}
	return r
}

// leveeFallM is the fall between levees, 0.2 ft.
const leveeFallM = 0.2 * 0.3048

// at is the height in metres.
func (r relief) at(p geo.Point) float64 {
	z := float64(r.gx*p.X) + float64(r.gy*p.Y)
	for _, w := range r.waves {
		z += float64(w.amp * math.Sin(float64(w.kx*p.X)+float64(w.ky*p.Y)+w.phase))
	}
	return z
}

// planLevees lays the inner levees of a field.
func planLevees(s Scene, ring geo.Ring, land relief) []bank {
	var lines []geo.Line
	switch s.Levees {
	case Contour:
		lines = contours(ring, land)
	case Straight:
		lines = parallels(s, ring)
	case NoLevees:
		return nil
	}
	d := dice{seed: sub(s.Seed, 4)}
	banks := make([]bank, 0, len(lines))
	for _, l := range lines {
		b := bank{line: l, halfM: d.u(0.9, 1.7)}
		// The plough takes earth from one side or from both.
		side := d.u(0, 3)
		if side < 2 {
			b.ditchL = d.u(0.9, 1.9)
		}
		if side >= 1 {
			b.ditchR = d.u(0.9, 1.9)
		}
		banks = append(banks, b)
	}
	return banks
}

// parallels lays straight levees across the field.
func parallels(s Scene, ring geo.Ring) []geo.Line {
	d := dice{seed: sub(s.Seed, 5)}
	lo, hi := extent(ring, func(p geo.Point) geo.Point { return p })
	across := d.chance(0.5)
	if across {
		lo.X, lo.Y, hi.X, hi.Y = lo.Y, lo.X, hi.Y, hi.X
	}
	var lines []geo.Line
	for y := lo.Y + s.SpacingM*d.u(0.8, 1.1); y < hi.Y-0.5*s.SpacingM; y += s.SpacingM * d.u(0.85, 1.15) {
		tilt := d.u(-0.012, 0.012)
		var l geo.Line
		for x := lo.X - 20; x <= hi.X+20; x += 3 {
			p := geo.Point{X: x, Y: y + float64(tilt*x)}
			if across {
				p.X, p.Y = p.Y, p.X
			}
			l = append(l, p)
		}
		lines = append(lines, clip(l, ring)...)
	}
	return lines
}

// insideM is how far inside the edge an inner levee meets the perimeter's.
const insideM = 1.5

// clip keeps the parts of l that run inside the ring, longest parts only.
func clip(l geo.Line, ring geo.Ring) []geo.Line {
	var out []geo.Line
	var part geo.Line
	flush := func() {
		if lineLength(part) >= 35 {
			out = append(out, part)
		}
		part = nil
	}
	for _, p := range l {
		if inset(ring, p) < insideM {
			flush()
			continue
		}
		part = append(part, p)
	}
	flush()
	return out
}

// lineLength is the length of l in metres.
func lineLength(l geo.Line) float64 {
	sum := 0.0
	for i := 1; i < len(l); i++ {
		sum += math.Hypot(l[i].X-l[i-1].X, l[i].Y-l[i-1].Y)
	}
	return sum
}

// contours draws the levees of a contour field: lines of equal height, by
// marching squares on a 3 m lattice. Rings too small to be worth a levee are
// left out.
func contours(ring geo.Ring, land relief) []geo.Line {
	lo, hi := extent(ring, func(p geo.Point) geo.Point { return p })
	const cell = 3.0
	m := marcher{x0: lo.X - 9, y0: lo.Y - 9, cell: cell, cols: int((hi.X-lo.X+18)/cell) + 2, rows: int((hi.Y-lo.Y+18)/cell) + 2}
	m.z = make([]float64, m.cols*m.rows)
	bottom, top := math.Inf(1), math.Inf(-1)
	for j := range m.rows {
		for i := range m.cols {
			p := geo.Point{X: m.x0 + float64(i)*cell, Y: m.y0 + float64(j)*cell}
			z := land.at(p)
			m.z[j*m.cols+i] = z
			if inset(ring, p) > 0 {
				bottom, top = min(bottom, z), max(top, z)
			}
		}
	}
	var lines []geo.Line
	for level := bottom + 0.6*leveeFallM; level < top-0.25*leveeFallM; level += leveeFallM {
		for _, l := range m.trace(level) {
			closed := l[0] == l[len(l)-1]
			if closed && lineLength(l) < 220 {
				continue
			}
			lines = append(lines, clip(l, ring)...)
		}
	}
	return lines
}

// A marcher traces lines of equal height over a lattice.
type marcher struct {
	x0, y0, cell float64
	cols, rows   int
	z            []float64
}

// An edge of the lattice: from node k to the right (dir 0) or up (dir 1).
type edge struct{ k, dir int }

// trace returns the lines at one height, each once, in a fixed order.
func (m marcher) trace(level float64) []geo.Line {
	next := map[edge][]edge{}
	var order []edge
	link := func(a, b edge) {
		for _, e := range [2][2]edge{{a, b}, {b, a}} {
			if next[e[0]] == nil {
				order = append(order, e[0])
			}
			next[e[0]] = append(next[e[0]], e[1])
		}
	}
	for j := range m.rows - 1 {
		for i := range m.cols - 1 {
			cut := m.crossed(j*m.cols+i, level)
			for n := 0; n+1 < len(cut); n += 2 {
				link(cut[n], cut[n+1])
			}
		}
	}
	var lines []geo.Line
	done := map[edge]bool{}
	walk := func(e edge) {
		l := geo.Line{m.point(e, level)}
		done[e] = true
		for start := e; ; {
			step, ok := edge{}, false
			for _, c := range next[e] {
				if !done[c] {
					step, ok = c, true
					break
				}
			}
			if !ok {
				if len(l) > 2 && len(next[start]) == 2 {
					l = append(l, l[0])
				}
				break
			}
			e = step
			done[e] = true
			l = append(l, m.point(e, level))
		}
		lines = append(lines, l)
	}
	for _, ends := range []bool{true, false} {
		for _, e := range order {
			if !done[e] && (len(next[e]) == 1 || !ends) {
				walk(e)
			}
		}
	}
	return lines
}

// crossed returns the crossed edges of the square whose lower left node is k,
// in turn round it.
func (m marcher) crossed(k int, level float64) []edge {
	over := func(n int) bool { return m.z[n] >= level }
	var cut []edge
	for _, e := range [4]struct {
		e    edge
		a, b int
	}{
		{edge{k, 0}, k, k + 1},
		{edge{k + 1, 1}, k + 1, k + 1 + m.cols},
		{edge{k + m.cols, 0}, k + m.cols, k + m.cols + 1},
		{edge{k, 1}, k, k + m.cols},
	} {
		if over(e.a) != over(e.b) {
			cut = append(cut, e.e)
		}
	}
	return cut
}

// point is where the height is met on an edge.
func (m marcher) point(e edge, level float64) geo.Point {
	i, j := e.k%m.cols, e.k/m.cols
	b := e.k + 1
	if e.dir == 1 {
		b = e.k + m.cols
	}
	t := (level - m.z[e.k]) / (m.z[b] - m.z[e.k])
	p := geo.Point{X: m.x0 + float64(float64(i)*m.cell), Y: m.y0 + float64(float64(j)*m.cell)}
	if e.dir == 0 {
		p.X += float64(t * m.cell)
	} else {
		p.Y += float64(t * m.cell)
	}
	return p
}
