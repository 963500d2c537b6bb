package structure

import (
	"container/heap"
	"math"
	"slices"

	"bittern/internal/geo"
)

// Settings of leading open ends on. A levee holds water, so it ends at the
// perimeter or at another levee; where it is worn down, what little there is to
// see leads the way. Lengths in metres.
const (
	leadOnM     = 70.0
	leadCone    = 0.6  // cosine of how far to the side of its heading an end may be led
	leadEase    = 0.3  // spreads added to the strength, so that nothing to see is dear, not endless
	leadMost    = 1.2  // spreads, beyond which more strength makes a way no cheaper
	leadDear    = 2.2  // mean cost of a metre, above which
	leadBlindM  = 22.0 // only so short a way is taken on trust
	leadMeetsM  = 6.0  // an end that is met so near is joined, end to end
	leadSmooths = 6
)

// lead carries the open ends of the kept traces on to the perimeter or to
// another trace, along the way that shows most, and joins ends that meet.
func (w *follower) lead(ts []trace, depth []float32, rim float32) []trace {
	w.owner = w.owners(ts)
	for i := range ts {
		for k := range 2 {
			if ts[i].ends[k] == openEnd {
				w.leadEnd(ts, end{i, k}, depth, rim)
			}
		}
	}
	return chain(ts, w.partners)
}

// owners says which trace a cell belongs to, counted from 1.
func (w *follower) owners(ts []trace) []int32 {
	out := make([]int32, w.size.Len())
	for i, t := range ts {
		drawLine(t.pts, 1.5, w.size, func(at int) { out[at] = int32(i + 1) })
	}
	return out
}

func (w *follower) leadEnd(ts []trace, e end, depth []float32, rim float32) {
	p, h := e.at(ts)
	s := search{w: w, self: int32(e.trace + 1), from: p, heading: h, depth: depth, rim: rim}
	s.reach = min(leadOnM/w.cell, pathLength(ts[e.trace].pts)) // never farther than was seen
	way, hit := s.run()
	if way == nil {
		return
	}
	if w.mostlyBroad(way) {
		ts[e.trace].ends[e.which] = hiddenEnd
		return
	}
	t := &ts[e.trace]
	drawLine(way, 1.5, w.size, func(at int) {
		if w.owner[at] == 0 {
			w.owner[at] = int32(e.trace + 1)
		}
	})
	if e.which == 0 {
		slices.Reverse(way)
		t.pts = append(way, t.pts...)
	} else {
		t.pts = append(t.pts, way...)
	}
	t.ends[e.which] = atEdge
	if hit == 0 {
		return
	}
	t.ends[e.which] = joinsLine
	tip := way[len(way)-1]
	if e.which == 0 {
		tip = way[0]
	}
	for k := range 2 {
		o := end{int(hit - 1), k}
		if q, _ := o.at(ts); ts[o.trace].ends[k] == openEnd && q.Distance(tip)*w.cell < leadMeetsM {
			w.partners[e], w.partners[o] = o, e
			ts[o.trace].ends[k] = joinsLine
		}
	}
}

// mostlyBroad says that most of a way leads through ground that stands out all over, where no line can be seen.
func (w *follower) mostlyBroad(way []geo.Point) bool {
	n := 0
	for _, p := range way {
		x, y := int(p.X+0.5), int(p.Y+0.5)
		if w.on(x, y) && w.broad(x, y) {
			n++
		}
	}
	return 2*n > len(way)
}

// A search is for the cheapest way from an end.
type search struct {
	w       *follower
	self    int32
	from    geo.Point
	heading float64
	depth   []float32
	rim     float32
	reach   float64 // cells

	cost map[int32]float64
	back map[int32]int32
	open queue
}

// run returns the way on, and which trace it comes to (0 for the perimeter); nil
// when there is none worth taking.
func (s *search) run() ([]geo.Point, int32) {
	start := s.cellAt(s.from)
	s.cost, s.back = map[int32]float64{start: 0}, map[int32]int32{start: start}
	s.open = queue{{0, start}}
	for len(s.open) > 0 {
		at := heap.Pop(&s.open).(reached)
		if at.cost > s.cost[at.cell] {
			continue
		}
		if hit, ok := s.arrived(at.cell); ok && at.cell != start {
			return s.way(at.cell), hit
		}
		s.step(at)
	}
	return nil, 0
}

// arrived says whether a cell is another trace's or beyond the strip along the
// perimeter, and the way there is not too dear.
func (s *search) arrived(cell int32) (hit int32, ok bool) {
	o := s.w.owner[cell]
	if s.depth[cell] > s.rim && (o == 0 || o == s.self) {
		return 0, false
	}
	if o == s.self {
		o = 0
	}
	length := s.length(cell) * s.w.cell
	return o, length <= leadBlindM || s.cost[cell]*s.w.cell/length <= leadDear
}

func (s *search) length(cell int32) float64 {
	n := 0.0
	for at := cell; s.back[at] != at; at = s.back[at] {
		n += s.point(at).Distance(s.point(s.back[at]))
	}
	return n
}

func (s *search) way(cell int32) []geo.Point {
	out := []geo.Point{s.point(cell)}
	for at := cell; s.back[at] != at; at = s.back[at] {
		out = append(out, s.point(s.back[at]))
	}
	slices.Reverse(out)
	return smooth(out, leadSmooths)[1:]
}

func (s *search) step(at reached) {
	x, y := int(at.cell)%s.w.size.Cols, int(at.cell)/s.w.size.Cols
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if dx == 0 && dy == 0 || !s.w.on(x+dx, y+dy) || !s.ahead(x+dx, y+dy) {
				continue
			}
			to := int32((y+dy)*s.w.size.Cols + x + dx)
			see := min(max(float64(s.w.f.Strength[to]), 0), leadMost)
			c := at.cost + math.Hypot(float64(dx), float64(dy))/(leadEase+see)
			if old, seen := s.cost[to]; !seen || c < old {
				s.cost[to], s.back[to] = c, at.cell
				heap.Push(&s.open, reached{c, to})
			}
		}
	}
}

// ahead says whether a cell lies before the end, not beside or behind it.
func (s *search) ahead(x, y int) bool {
	dx, dy := float64(x)-s.from.X, float64(y)-s.from.Y
	d := math.Hypot(dx, dy)
	if d > s.reach {
		return false
	}
	return d < 2 || float64(dx*math.Cos(s.heading))+float64(dy*math.Sin(s.heading)) >= leadCone*d
}

func (s *search) cellAt(p geo.Point) int32 {
	return int32(int(p.Y+0.5)*s.w.size.Cols + int(p.X+0.5))
}

func (s *search) point(cell int32) geo.Point {
	return geo.Point{X: float64(int(cell) % s.w.size.Cols), Y: float64(int(cell) / s.w.size.Cols)}
}

// A reached cell, with the cost of the way there.
type reached struct {
	cost float64
	cell int32
}

// A queue gives the cheapest cell first; of equal ones, the first in reading
// order.
type queue []reached

// Len is part of heap.Interface.
func (q queue) Len() int { return len(q) }

// Less is part of heap.Interface.
func (q queue) Less(i, j int) bool {
	return q[i].cost < q[j].cost || q[i].cost == q[j].cost && q[i].cell < q[j].cell
}

// Swap is part of heap.Interface.
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }

// Push is part of heap.Interface.
func (q *queue) Push(x any) { *q = append(*q, x.(reached)) }

// Pop is part of heap.Interface.
func (q *queue) Pop() any {
	old := *q
	last := old[len(old)-1]
	*q = old[:len(old)-1]
	return last
}
