package geo

import "math"

// Reduce returns r with at most most points (four at the least) and the same
// area, and how far the outline moved: the largest distance of a point of one
// outline from the other. Points go one by one, each time where the outline
// moves least: two neighbours become one point that keeps the area. No ring that
// does not cross itself comes to do so; where every step left would make it
// cross, more points than most remain.
//
// Source: B. J. Kronenfeld and others, Simplification of polylines by segment
// collapse: minimizing areal displacement while preserving area, International
// Journal of Cartography 6 (2020) 22-46.
func (r Ring) Reduce(most int) (Ring, float64) {
	out := append(Ring(nil), r...)
	for len(out) > max(most, 4) {
		at, p, ok := out.cheapest()
		if !ok {
			break
		}
		out = out.collapse(at, p)
	}
	if len(out) == len(r) {
		return out, 0
	}
	return out, math.Max(r.farthestFrom(out), out.farthestFrom(r))
}

func (r Ring) at(i int) Point { return r[(i+len(r))%len(r)] }

// collapse replaces the points at place i and after it by p.
func (r Ring) collapse(i int, p Point) Ring {
	out := make(Ring, 0, len(r)-1)
	for k, q := range r {
		switch k {
		case i:
			out = append(out, p)
		case (i + 1) % len(r):
		default:
			out = append(out, q)
		}
	}
	return out
}

// cheapest returns the edge whose collapse moves the outline least, and the
// point that it becomes.
func (r Ring) cheapest() (at int, p Point, ok bool) {
	type step struct {
		at   int
		p    Point
		cost float64
	}
	var steps []step
	for i := range r {
		for _, q := range collapsed(r.at(i-1), r.at(i), r.at(i+1), r.at(i+2)) {
			moved := math.Max(q.Distance(r.at(i)), q.Distance(r.at(i+1)))
			area := math.Abs(cross(r.at(i).Sub(r.at(i-1)), q.Sub(r.at(i-1)))) + math.Abs(cross(r.at(i+1).Sub(r.at(i+2)), q.Sub(r.at(i+2))))
			steps = append(steps, step{i, q, area + 1e-9*moved})
		}
	}
	// The cheapest that does not make the ring cross itself.
	for len(steps) > 0 {
		best := 0
		for k, s := range steps {
			if s.cost < steps[best].cost {
				best = k
			}
		}
		s := steps[best]
		if !r.wouldCross(s.at, s.p) {
			return s.at, s.p, true
		}
		steps[best] = steps[len(steps)-1]
		steps = steps[:len(steps)-1]
	}
	return 0, Point{}, false
}

// collapsed returns the points that may stand for b and c between a and d so
// that the area stays: where the line of constant area meets the edges a-b and
// c-d, drawn out.
func collapsed(a, b, c, d Point) []Point {
	base := d.Sub(a)
	length := math.Hypot(base.X, base.Y)
	if length == 0 {
		return nil
	}
	// p keeps the area where cross(base, p-a) is this: twice the area of a-b-c-d.
	twice := -cross(b.Sub(a), c.Sub(a)) - cross(c.Sub(a), base)
	var out []Point
	for _, e := range [2][2]Point{{a, b}, {d, c}} {
		dir := e[1].Sub(e[0])
		slope := cross(base, dir)
		if math.Abs(slope) < 1e-12*length*math.Hypot(dir.X, dir.Y) {
			continue
		}
		t := (twice - cross(base, e[0].Sub(a))) / slope
		p := Point{e[0].X + float64(t*dir.X), e[0].Y + float64(t*dir.Y)}
		if p.Distance(b)+p.Distance(c) <= 4*(a.Distance(b)+b.Distance(c)+c.Distance(d)) {
			out = append(out, p)
		}
	}
	return out
}

// wouldCross reports whether the ring crosses or touches itself once p stands
// for the points at place i and after it.
func (r Ring) wouldCross(i int, p Point) bool {
	a, d := r.at(i-1), r.at(i+2)
	last := len(r) - 2
	for k := 2; k <= last; k++ { // every edge but the three that go
		s, e := r.at(i+k), r.at(i+k+1)
		if k == last { // ends in a
			if on(p, s, e) || on(s, a, p) {
				return true
			}
		} else if meet(a, p, s, e) {
			return true
		}
		if k == 2 { // begins in d
			if on(p, s, e) || on(e, p, d) {
				return true
			}
		} else if meet(p, d, s, e) {
			return true
		}
	}
	return false
}

// on reports whether p lies on the segment from a to b.
func on(p, a, b Point) bool {
	return turn(a, b, p) == 0 && EmptyBox().Extend(a, b).Meets(Box{p, p})
}

// meet reports whether the segments a-b and c-d have a point in common.
func meet(a, b, c, d Point) bool {
	if turn(a, b, c)*turn(a, b, d) < 0 && turn(c, d, a)*turn(c, d, b) < 0 {
		return true
	}
	return on(c, a, b) || on(d, a, b) || on(a, c, d) || on(b, c, d)
}

// farthestFrom is the largest distance of a point of r from the outline of s.
func (r Ring) farthestFrom(s Ring) float64 {
	outline := MultiPolygon{{Outer: s}}
	far := 0.0
	for _, p := range r {
		far = math.Max(far, outline.EdgeDistance(p))
	}
	return far
}
