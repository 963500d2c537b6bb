package geo

import (
	"cmp"
	"math"
	"slices"
)

// A Fault is what is wrong with a polygon. The zero Fault is Sound.
type Fault int

// The faults.
const (
	Sound        Fault = iota
	NotFinite          // a coordinate is not a number
	TooFewPoints       // a ring has fewer than three different points
	NoArea             // a ring encloses nothing
	Crosses            // a ring crosses itself or another
	HoleOutside        // a hole lies outside its outer ring
	Overlaps           // a polygon, or a hole, lies inside another
)

// Clean returns r without points that repeat the one before them, and without
// a closing point.
func (r Ring) Clean() Ring {
	out := Ring(Line(r).Clean())
	for len(out) > 1 && out[0] == out[len(out)-1] {
		out = out[:len(out)-1]
	}
	return out
}

// Clean returns l without points that repeat the one before them.
func (l Line) Clean() Line { return slices.Compact(slices.Clone(l)) }

// Fault returns what is wrong with m and about where. Rings may touch at points
// and along edges, but not cross. Rings are expected [Ring.Clean].
func (m MultiPolygon) Fault() (Fault, Point) {
	rings := m.Rings()
	for _, r := range rings {
		if f, at := r.simpleFault(); f != Sound {
			return f, at
		}
	}
	if at, crossed := crossingOf(rings); crossed {
		return Crosses, at
	}
	for _, r := range rings {
		if r.SignedArea() == 0 {
			return NoArea, r[0]
		}
	}
	boxes := make([]Box, len(m))
	for i, p := range m {
		if f, at := p.nesting(); f != Sound {
			return f, at
		}
		boxes[i] = p.Outer.Bounds()
		for k, q := range m[:i] {
			if !boxes[i].Meets(boxes[k]) {
				continue
			}
			if at := p.Outer.off(q); q.Contains(at) {
				return Overlaps, at
			}
			if at := q.Outer.off(p); p.Contains(at) {
				return Overlaps, at
			}
		}
	}
	return Sound, Point{}
}

func (r Ring) simpleFault() (Fault, Point) {
	for _, p := range r {
		if math.IsNaN(p.X-p.X) || math.IsNaN(p.Y-p.Y) {
			return NotFinite, p
		}
	}
	switch {
	case len(r) == 0:
		return TooFewPoints, Point{}
	case len(r) < 3:
		return TooFewPoints, r[0]
	}
	return Sound, Point{}
}

// nesting checks that the holes lie in the outer ring and not in each other.
// Rings are known not to cross.
func (p Polygon) nesting() (Fault, Point) {
	for i, h := range p.Holes {
		outer := Polygon{Outer: p.Outer}
		if at := h.off(outer); !p.Outer.Contains(at) {
			return HoleOutside, at
		}
		for j, g := range p.Holes {
			other := Polygon{Outer: g}
			if at := h.off(other); i != j && g.Contains(at) {
				return Overlaps, at
			}
		}
	}
	return Sound, Point{}
}

// off returns a point just inside r near the middle of an edge that does not
// lie on the rings of p, or a point inside r where every edge does.
func (r Ring) off(p Polygon) Point {
	on := MultiPolygon{p}
	scale := math.Sqrt(math.Abs(r.SignedArea()))
	for i, a := range r {
		b := r[(i+1)%len(r)]
		mid := Point{(a.X + b.X) / 2, (a.Y + b.Y) / 2}
		if on.EdgeDistance(mid) > 1e-9*scale {
			return mid
		}
	}
	return Polygon{Outer: r}.inside()
}

// A side is one edge of a ring, with the points before and after it.
type side struct {
	ring, at   int
	a, b, next Point
	before     Point
}

func (s side) minX() float64 { return math.Min(s.a.X, s.b.X) }
func (s side) maxX() float64 { return math.Max(s.a.X, s.b.X) }

// crossingOf returns a point at which rings cross themselves or each other. It
// sweeps along the longer axis.
func crossingOf(rings []Ring) (Point, bool) {
	box := EmptyBox()
	for _, r := range rings {
		box = box.Extend(r...)
	}
	flip := box.Max.Y-box.Min.Y > box.Max.X-box.Min.X
	sides := sidesOf(rings, flip)
	slices.SortStableFunc(sides, func(s, t side) int { return cmp.Compare(s.minX(), t.minX()) })
	var active []side
	for _, s := range sides {
		active = slices.DeleteFunc(active, func(t side) bool { return t.maxX() < s.minX() })
		for _, t := range active {
			if at, crossed := s.crosses(t); crossed {
				if flip {
					at.X, at.Y = at.Y, at.X
				}
				return at, true
			}
		}
		active = append(active, s)
	}
	return Point{}, false
}

func sidesOf(rings []Ring, flip bool) []side {
	var sides []side
	for k, r := range rings {
		if flip {
			r = r.Map(func(p Point) Point { return Point{p.Y, p.X} })
		}
		n := len(r)
		for i, a := range r {
			sides = append(sides, side{ring: k, at: i, a: a, b: r[(i+1)%n], before: r[(i+n-1)%n], next: r[(i+2)%n]})
		}
	}
	return sides
}

// crosses reports whether s and t cross: in their middles, or where the end of
// one lies on the other and the ring goes on to the far side.
func (s side) crosses(t side) (Point, bool) {
	if math.Max(s.a.Y, s.b.Y) < math.Min(t.a.Y, t.b.Y) || math.Max(t.a.Y, t.b.Y) < math.Min(s.a.Y, s.b.Y) {
		return Point{}, false
	}
	o1, o2 := turn(s.a, s.b, t.a), turn(s.a, s.b, t.b)
	o3, o4 := turn(t.a, t.b, s.a), turn(t.a, t.b, s.b)
	switch {
	case o1*o2 < 0 && o3*o4 < 0:
		return s.meeting(t), true
	case s.b == t.b && (s.ring != t.ring || s.at != t.at):
		return s.b, interleaved(s.b, s.a, s.next, t.a, t.next)
	case o4 == 0 && o1*o2 < 0:
		return s.b, o3*turn(t.a, t.b, s.next) < 0
	case o2 == 0 && o3*o4 < 0:
		return t.b, o1*turn(s.a, s.b, t.next) < 0
	}
	return Point{}, false
}

// turn is the sign of the turn from a over b to c: 1 to the left, -1 to the
// right, 0 straight.
func turn(a, b, c Point) int {
	v := cross(b.Sub(a), c.Sub(a))
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// meeting is where the lines of s and t meet.
func (s side) meeting(t side) Point {
	d, e := s.b.Sub(s.a), t.b.Sub(t.a)
	u := cross(t.a.Sub(s.a), e) / cross(d, e)
	return Point{s.a.X + float64(u*d.X), s.a.Y + float64(u*d.Y)}
}

// interleaved reports whether the path from a over p to b crosses the path from
// c over p to d.
func interleaved(p, a, b, c, d Point) bool {
	angle := func(q Point) float64 { return math.Atan2(q.Y-p.Y, q.X-p.X) }
	base := angle(a)
	rel := func(q Point) float64 {
		v := angle(q) - base
		if v < 0 {
			v += 2 * math.Pi
		}
		return v
	}
	rb, rc, rd := rel(b), rel(c), rel(d)
	if rc == 0 || rd == 0 || rc == rb || rd == rb {
		return false // they share an edge
	}
	return (rc < rb) != (rd < rb)
}
