package job

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/block"
	"bittern/internal/geo"
)

// A Sensitive is ground that must not be drifted onto, entered by a person.
type Sensitive struct {
	Name    string
	Ground  geo.MultiPolygon // m, grid zone
	Lines   []geo.Line
	Points  []geo.Point
	WithinM *float64 // counts for blocks that lie nearer than this; nil: for all
}

// MarginDeg is what an arc is widened by on either side.
//
// Source: docs/references.md W16, a setting.
const MarginDeg = 30

// An Arc is a range of wind directions, in degrees from true north, clockwise
// from the first to the second, as winds are named: where they come from.
type Arc [2]float64

// WindNotFrom lists the winds that are not allowed for a block: those that
// blow from it towards sensitive ground. Of the bearings from the block to the
// ground, first and last are widened by MarginDeg and turned about; arcs that
// touch are joined, ends are whole degrees, outwards. Ground that the block
// touches, or that lies around it, forbids every wind: 0 to 360.
// convergenceDeg is from true north to grid north.
func WindNotFrom(b block.Block, sensitive []Sensitive, convergenceDeg float64) []Arc {
	var arcs []Arc
	for _, s := range sensitive {
		for _, part := range s.parts() {
			if s.WithinM != nil && distance(b.Outline.Outer, part) > *s.WithinM {
				continue
			}
			first, last, ok := bearings(b.Outline.Outer, part)
			if !ok {
				return []Arc{{0, 360}}
			}
			arcs = append(arcs, NotFrom(first+convergenceDeg, last+convergenceDeg))
		}
	}
	return union(arcs)
}

// NotFrom is the arc of winds that blow towards bearings from first clockwise
// to last.
func NotFrom(first, last float64) Arc {
	span := turn(last-first) + 2*MarginDeg
	if span >= 360 {
		return Arc{0, 360}
	}
	from := math.Floor(turn(first-MarginDeg+180) + 1e-6)
	return Arc{from, math.Ceil(turn(first-MarginDeg+180) + span - 1e-6)}
}

// parts are the shapes of s, each as a list of points and whether it closes.
func (s Sensitive) parts() []shape {
	var out []shape
	for _, p := range s.Ground {
		out = append(out, shape{p.Outer, true})
	}
	for _, l := range s.Lines {
		out = append(out, shape{l, false})
	}
	for _, p := range s.Points {
		out = append(out, shape{[]geo.Point{p}, false})
	}
	return out
}

type shape struct {
	points []geo.Point
	closed bool
}

// sides calls visit for every side of s; a single point is a side of no length.
func (s shape) sides(visit func(a, b geo.Point)) {
	n := len(s.points)
	switch {
	case n == 1:
		visit(s.points[0], s.points[0])
	case s.closed:
		for i, p := range s.points {
			visit(p, s.points[(i+1)%n])
		}
	default:
		for i := range n - 1 {
			visit(s.points[i], s.points[i+1])
		}
	}
}

// bearings is the least arc of grid bearings that leads from anywhere in the
// block to anywhere in the part. It is false where they touch, or where the
// part reaches so far around that no arc of less than half a turn holds it.
func bearings(from geo.Ring, to shape) (first, last float64, ok bool) {
	if distance(from, to) == 0 {
		return 0, 0, false
	}
	var all []float64
	for _, p := range from {
		for _, q := range to.points {
			all = append(all, turn(math.Atan2(q.X-p.X, q.Y-p.Y)*180/math.Pi))
		}
	}
	slices.Sort(all)
	// The widest gap between neighbouring bearings is what the arc leaves out.
	gap, at := all[0]+360-all[len(all)-1], 0
	for i := 1; i < len(all); i++ {
		if all[i]-all[i-1] > gap {
			gap, at = all[i]-all[i-1], i
		}
	}
	if gap <= 180 {
		return 0, 0, false
	}
	return all[at], all[(at+len(all)-1)%len(all)], true
}

// distance is the least from a ring's ground to a part; 0 where they touch.
func distance(r geo.Ring, to shape) float64 {
	ring := shape{r, true}
	if holds(r, to.points[0]) || (to.closed && holds(to.points, r[0])) {
		return 0
	}
	least := math.Inf(1)
	ring.sides(func(a, b geo.Point) {
		to.sides(func(c, d geo.Point) {
			if cross(a, b, c, d) {
				least = 0
				return
			}
			least = min(least, toSide(a, c, d), toSide(b, c, d), toSide(c, a, b), toSide(d, a, b))
		})
	})
	return least
}

// cross tells whether two sides cross in their inside.
func cross(a, b, c, d geo.Point) bool {
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}

// side is positive when c lies to the left of the way from a to b.
func side(a, b, c geo.Point) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }

// toSide is the distance of p from the side from a to b.
func toSide(p, a, b geo.Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = min(1, max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l))
	}
	return math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy)
}

// holds tells whether a ring's ground holds p.
func holds(r []geo.Point, p geo.Point) bool {
	in := false
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// union joins arcs that touch, in the order of their beginnings. An end may
// lie below its beginning: the arc then goes through north.
func union(arcs []Arc) []Arc {
	if len(arcs) == 0 {
		return nil
	}
	slices.SortFunc(arcs, func(a, b Arc) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(b[1], a[1])) })
	out := []Arc{arcs[0]}
	for _, a := range arcs[1:] {
		if end := &out[len(out)-1][1]; a[0] <= *end {
			*end = max(*end, a[1])
		} else {
			out = append(out, a)
		}
	}
	// The last may reach through north into the first ones.
	for len(out) > 1 && out[len(out)-1][1]-360 >= out[0][0] {
		last := &out[len(out)-1]
		last[1] = max(last[1], out[0][1]+360)
		out = out[1:]
	}
	for i, a := range out {
		switch {
		case a[1]-a[0] >= 360:
			return []Arc{{0, 360}}
		case a[1] > 360:
			out[i][1] -= 360
		}
	}
	return out
}

// turn brings an angle in degrees to 0 (included) to 360 (not included).
func turn(deg float64) float64 {
	t := math.Mod(deg, 360)
	if t < 0 {
		t += 360
	}
	return t
}
