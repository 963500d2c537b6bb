package block

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A frame is the ground turned so that passes run along v, cut into steps
// along the passes and into parts of a swath across them. u grows to the right
// of the heading, v along it; both are grid metres from the grid's corner.
type frame struct {
	deg      float64 // from true north
	sin, cos float64 // of the heading from grid north
	u0, v0   float64
	parts    int // rows of the bins
	steps    int
	phase    int // the first pass begins so many parts before u0
}

// work is the memory of one worker, used again from heading to heading.
type work struct {
	table  table
	value  []float64 // part*steps + step
	harm   []float64
	lo, hi []int // per part: the steps with something to win; hi below lo where there is none
	lanes  []lane
	kept   []laneAt
	floats []float64
	bools  []bool
}

// laneAt says which pass a lane is, and at which step it begins.
type laneAt struct{ pass, from int }

// turned gives a position's u and v.
func (f frame) turned(x, y float64) (u, v float64) {
	return float64(x*f.cos) - float64(y*f.sin), float64(x*f.sin) + float64(y*f.cos)
}

// back gives the position of u and v.
func (f frame) back(u, v float64) (x, y float64) {
	return float64(u*f.cos) + float64(v*f.sin), float64(v*f.cos) - float64(u*f.sin)
}

// bin sums the dollars of the cells into parts and steps at a heading.
func (p *Planner) bin(w *work, deg float64) frame {
	f := frame{deg: deg}
	f.sin, f.cos = math.Sincos((deg - p.g.Grid.ConvergenceDeg) * math.Pi / 180)
	uMin, uMax, vMin, vMax := p.extent(f)
	half := p.g.Grid.CellM / 2 * (math.Abs(f.sin) + math.Abs(f.cos))
	part := p.m.swath / float64(p.m.parts)
	// A hair more, so that rounding never puts a cell before the first bin.
	f.u0 = uMin - half - 1e-6
	f.v0 = vMin - half - 1e-6 - float64(p.m.margin)*p.m.step
	f.parts = int((uMax-f.u0)/part) + 1
	f.steps = int((vMax-f.v0)/p.m.step) + 1 + p.m.margin
	p.fill(w, f)
	return f
}

// extent is the least and greatest u and v of the cells that treating changes.
func (p *Planner) extent(f frame) (uMin, uMax, vMin, vMax float64) {
	uMin, uMax, vMin, vMax = math.Inf(1), minus, math.Inf(1), minus
	for _, s := range p.rim {
		u, v := f.turned(s.x, s.y)
		uMin, uMax = min(uMin, u), max(uMax, u)
		vMin, vMax = min(vMin, v), max(vMax, v)
	}
	if uMin > uMax {
		return 0, 0, 0, 0
	}
	return uMin, uMax, vMin, vMax
}

// fill sums every cell into its bin. Ground that treating harms counts where
// it lies within reach of ground to treat.
func (p *Planner) fill(w *work, f frame) {
	n := f.parts * f.steps
	w.value = zeroed(w.value, n)
	if p.harms {
		w.harm = zeroed(w.harm, n)
	}
	w.lo, w.hi = fit(w.lo, f.parts), fit(w.hi, f.parts)
	for i := range f.parts {
		w.lo[i], w.hi[i] = f.steps, -1
	}
	for _, s := range p.spots {
		part, step, ok := p.binOf(f, s)
		if !ok {
			continue
		}
		i := part*f.steps + step
		w.value[i] += s.won
		if s.won < 0 {
			w.harm[i] += s.won
			continue
		}
		w.lo[part], w.hi[part] = min(w.lo[part], step), max(w.hi[part], step)
	}
}

// binOf is the bin of a cell; false for ground beyond every bin.
func (p *Planner) binOf(f frame, s spot) (part, step int, ok bool) {
	u, v := f.turned(s.x, s.y)
	a, b := (u-f.u0)*p.m.perPart, (v-f.v0)*p.m.perStep
	part, step = int(a), int(b)
	return part, step, a >= 0 && b >= 0 && part < f.parts && step < f.steps
}

// zeroed is fit with every element zero.
func zeroed(s []float64, n int) []float64 {
	s = fit(s, n)
	clear(s)
	return s
}

// lanes cuts the bins into passes at the frame's phase, those with something
// to win only. They and w.kept hold until the next call.
func (p *Planner) lanes(w *work, f frame) []lane {
	per := p.m.parts
	passes := (f.parts + f.phase + per - 1) / per
	w.kept, w.lanes = w.kept[:0], w.lanes[:0]
	w.floats, w.bools = w.floats[:0], w.bools[:0]
	total := 0
	for k := range passes {
		if from, to := p.reach(w, f, k); to > from {
			w.kept = append(w.kept, laneAt{k, from})
			total += to - from
		}
	}
	room := total
	if p.harms {
		room *= 2
	}
	w.floats, w.bools = zeroed(w.floats, room), fit(w.bools, total)
	floats, bools := w.floats, w.bools
	for _, at := range w.kept {
		_, to := p.reach(w, f, at.pass)
		n := to - at.from
		l := lane{value: floats[:n:n], open: bools[:n:n]}
		floats, bools = floats[n:], bools[n:]
		if p.harms {
			l.harm, floats = floats[:n:n], floats[n:]
		}
		p.load(w, f, at, l)
		w.lanes = append(w.lanes, l)
	}
	return w.lanes
}

// partsOf is the range of parts of a pass.
func (p *Planner) partsOf(f frame, pass int) (from, to int) {
	first := pass*p.m.parts - f.phase
	return max(0, first), min(f.parts, first+p.m.parts)
}

// reach is the range of steps that a run of the pass could need.
func (p *Planner) reach(w *work, f frame, pass int) (from, to int) {
	lo, hi := f.steps, -1
	first, last := p.partsOf(f, pass)
	for i := first; i < last; i++ {
		lo, hi = min(lo, w.lo[i]), max(hi, w.hi[i])
	}
	if hi < lo {
		return 0, 0
	}
	return max(0, lo-p.m.margin), min(f.steps, hi+1+p.m.margin)
}

// load fills one lane from the bins and the ground.
func (p *Planner) load(w *work, f frame, at laneAt, l lane) {
	first, last := p.partsOf(f, at.pass)
	for i := first; i < last; i++ {
		row := i*f.steps + at.from
		lo, hi := w.lo[i]-at.from, w.hi[i]-at.from
		if p.harms {
			lo, hi = 0, len(l.value)-1 // harm lies beyond what is to win
		}
		for j := lo; j <= hi; j++ {
			l.value[j] += w.value[row+j]
		}
		if l.harm != nil {
			for j := range l.harm {
				l.harm[j] += w.harm[row+j]
			}
		}
	}
	u := p.middle(f, at.pass)
	for j := range l.open {
		x, y := f.back(u, f.v0+(float64(at.from+j)+0.5)*p.m.step)
		i, ok := cellAt(p.g.Grid, x, y)
		l.open[j] = ok && p.may[i]
	}
}

// middle is the u of the middle of a pass.
func (p *Planner) middle(f frame, pass int) float64 {
	return f.u0 + (float64(pass)+0.5-float64(f.phase)/float64(p.m.parts))*p.m.swath
}

// cellAt is the cell at x, y metres east and north of the grid's corner.
func cellAt(g grid.Grid, x, y float64) (int, bool) {
	col, row := int(math.Floor(x/g.CellM)), int(math.Floor(-y/g.CellM))
	if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows {
		return 0, false
	}
	return g.Index(col, row), true
}

// point places u and v on the ground.
func (p *Planner) point(f frame, u, v float64) geo.Point {
	x, y := f.back(u, v)
	return geo.Point{X: p.g.Grid.OriginX + x, Y: p.g.Grid.OriginY + y}
}

// clearOf tells of each cell whether the valve may be open while the middle of
// the swath is there: inside, and further than reach metres from barred ground.
func clearOf(g Ground, reach float64) []bool {
	if g.Barred == nil {
		return g.Inside
	}
	near := within(g.Grid, g.Barred, reach)
	may := make([]bool, len(g.Inside))
	for i, in := range g.Inside {
		may[i] = in && !near[i]
	}
	return may
}

// within tells of each cell whether the ground of some marked cell lies closer
// than reach metres to its middle. It looks down each column for the nearest
// marked cell, then along each row.
func within(g grid.Grid, marked []bool, reach float64) []bool {
	r := reach/g.CellM + 0.5 // to the middle of a marked cell, in cells
	whole := int(math.Floor(r))
	down := make([]int32, g.Len()) // cells to the nearest marked one of the column
	const far = math.MaxInt32 / 2
	for col := range g.Cols {
		d := int32(far)
		for row := range g.Rows {
			i := g.Index(col, row)
			d = min(d+1, far)
			if marked[i] {
				d = 0
			}
			down[i] = d
		}
		d = far
		for row := g.Rows - 1; row >= 0; row-- {
			i := g.Index(col, row)
			d = min(d+1, far)
			if marked[i] {
				d = 0
			}
			down[i] = min(down[i], d)
		}
	}
	out := make([]bool, g.Len())
	edges := make([]int32, g.Cols+1) // +1 where a stretch of near cells begins, -1 behind its end
	for row := range g.Rows {
		clear(edges)
		for col := range g.Cols {
			d := float64(down[g.Index(col, row)])
			if d > r {
				continue
			}
			// The marked cell of this column reaches so far to either side.
			side := min(whole, int(math.Sqrt(r*r-float64(d*d))))
			edges[max(0, col-side)]++
			edges[min(g.Cols, col+side+1)]--
		}
		depth := int32(0)
		for col := range g.Cols {
			depth += edges[col]
			out[g.Index(col, row)] = depth > 0
		}
	}
	return out
}
