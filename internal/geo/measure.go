package geo

import "math"

// Sub returns p less q.
func (p Point) Sub(q Point) Point { return Point{p.X - q.X, p.Y - q.Y} }

// Distance is the distance between p and q.
func (p Point) Distance(q Point) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }

// cross is the area of the parallelogram that a and b span, positive when b
// lies to the left of a.
func cross(a, b Point) float64 { return float64(a.X*b.Y) - float64(a.Y*b.X) }

// SignedArea is the area of r, positive when it runs counter-clockwise.
func (r Ring) SignedArea() float64 {
	sum := 0.0
	for i := 2; i < len(r); i++ {
		sum += cross(r[i-1].Sub(r[0]), r[i].Sub(r[0]))
	}
	return sum / 2
}

// Length is the length of r, the closing edge included.
func (r Ring) Length() float64 {
	sum := 0.0
	for i, p := range r {
		sum += p.Distance(r[(i+1)%len(r)])
	}
	return sum
}

// Turned returns r, or r the other way round, so that it runs counter-clockwise
// if ccw is true and clockwise if not. The first point stays the first.
func (r Ring) Turned(ccw bool) Ring {
	if len(r) == 0 || (r.SignedArea() > 0) == ccw {
		return r
	}
	out := make(Ring, len(r))
	for i := range r {
		out[i] = r[(len(r)-i)%len(r)]
	}
	return out
}

// Area is the area of p less its holes.
func (p Polygon) Area() float64 {
	a := math.Abs(p.Outer.SignedArea())
	for _, h := range p.Holes {
		a -= math.Abs(h.SignedArea())
	}
	return a
}

// Rings returns the outer ring and then the holes.
func (p Polygon) Rings() []Ring { return append([]Ring{p.Outer}, p.Holes...) }

// Area is the sum of the areas of the polygons.
func (m MultiPolygon) Area() float64 {
	a := 0.0
	for _, p := range m {
		a += p.Area()
	}
	return a
}

// Rings returns every ring of m.
func (m MultiPolygon) Rings() []Ring {
	var out []Ring
	for _, p := range m {
		out = append(out, p.Rings()...)
	}
	return out
}

// Length is the length of l.
func (l Line) Length() float64 {
	sum := 0.0
	for i := 1; i < len(l); i++ {
		sum += l[i].Distance(l[i-1])
	}
	return sum
}

// A Box is an upright rectangle. The zero Box is the point (0, 0); see
// [EmptyBox].
type Box struct{ Min, Max Point }

// EmptyBox is the box that holds nothing, to be extended.
func EmptyBox() Box {
	inf := math.Inf(1)
	return Box{Point{inf, inf}, Point{-inf, -inf}}
}

// Empty reports whether b holds no point.
func (b Box) Empty() bool { return !(b.Min.X <= b.Max.X && b.Min.Y <= b.Max.Y) }

// Extend returns the smallest box that holds b and the points.
func (b Box) Extend(points ...Point) Box {
	for _, p := range points {
		b.Min.X, b.Min.Y = math.Min(b.Min.X, p.X), math.Min(b.Min.Y, p.Y)
		b.Max.X, b.Max.Y = math.Max(b.Max.X, p.X), math.Max(b.Max.Y, p.Y)
	}
	return b
}

// Grow returns b with margin added on every side.
func (b Box) Grow(margin float64) Box {
	return Box{Point{b.Min.X - margin, b.Min.Y - margin}, Point{b.Max.X + margin, b.Max.Y + margin}}
}

// Center is the middle of b.
func (b Box) Center() Point { return Point{(b.Min.X + b.Max.X) / 2, (b.Min.Y + b.Max.Y) / 2} }

// Meets reports whether b and c have a point in common.
func (b Box) Meets(c Box) bool {
	return b.Min.X <= c.Max.X && c.Min.X <= b.Max.X && b.Min.Y <= c.Max.Y && c.Min.Y <= b.Max.Y
}

// Bounds is the smallest box that holds r.
func (r Ring) Bounds() Box { return EmptyBox().Extend(r...) }

// Bounds is the smallest box that holds l.
func (l Line) Bounds() Box { return EmptyBox().Extend(l...) }

// Bounds is the smallest box that holds m.
func (m MultiPolygon) Bounds() Box {
	b := EmptyBox()
	for _, p := range m {
		b = b.Extend(p.Outer...)
	}
	return b
}

// Centroid is the centre of gravity of m. It may lie outside m; see
// [MultiPolygon.Inside]. For polygons without area it is the middle of the
// bounds.
func (m MultiPolygon) Centroid() Point {
	var sx, sy, sa float64
	origin := m.Bounds().Center()
	for _, p := range m {
		for i, r := range p.Rings() {
			x, y, a := moments(r.Turned(i == 0), origin)
			sx, sy, sa = sx+x, sy+y, sa+a
		}
	}
	if sa == 0 {
		return origin
	}
	return Point{origin.X + sx/(3*sa), origin.Y + sy/(3*sa)}
}

// moments returns three times the first moments of r about origin and twice
// its area, all halved alike.
func moments(r Ring, origin Point) (x, y, a float64) {
	for i := range r {
		p, q := r[i].Sub(origin), r[(i+1)%len(r)].Sub(origin)
		c := cross(p, q)
		x += float64((p.X + q.X) * c)
		y += float64((p.Y + q.Y) * c)
		a += c
	}
	return x, y, a
}

// Map returns m with f applied to every point.
func (m MultiPolygon) Map(f func(Point) Point) MultiPolygon {
	out := make(MultiPolygon, len(m))
	for i, p := range m {
		out[i] = p.Map(f)
	}
	return out
}

// Map returns p with f applied to every point.
func (p Polygon) Map(f func(Point) Point) Polygon {
	out := Polygon{Outer: p.Outer.Map(f)}
	for _, h := range p.Holes {
		out.Holes = append(out.Holes, h.Map(f))
	}
	return out
}

// Map returns r with f applied to every point.
func (r Ring) Map(f func(Point) Point) Ring { return Ring(Line(r).Map(f)) }

// Map returns l with f applied to every point.
func (l Line) Map(f func(Point) Point) Line {
	out := make(Line, len(l))
	for i, p := range l {
		out[i] = f(p)
	}
	return out
}

// NearestOnSegment is the point of the straight line from a to b that lies
// nearest to p.
func (p Point) NearestOnSegment(a, b Point) Point {
	d := b.Sub(a)
	length2 := float64(d.X*d.X) + float64(d.Y*d.Y)
	if length2 == 0 {
		return a
	}
	v := p.Sub(a)
	t := (float64(v.X*d.X) + float64(v.Y*d.Y)) / length2
	t = math.Min(math.Max(t, 0), 1)
	return Point{a.X + float64(t*d.X), a.Y + float64(t*d.Y)}
}

// DistanceToSegment is the distance from p to the straight line from a to b.
func (p Point) DistanceToSegment(a, b Point) float64 { return p.Distance(p.NearestOnSegment(a, b)) }

// Nearest is the point of the ring, a line that closes on itself, that lies
// nearest to p. An empty ring has none: it gives p.
func (r Ring) Nearest(p Point) Point {
	best, at := math.Inf(1), p
	for i, a := range r {
		q := p.NearestOnSegment(a, r[(i+1)%len(r)])
		if d := p.Distance(q); d < best {
			best, at = d, q
		}
	}
	return at
}

// Distance is the distance from p to the nearest point of l. It is infinite
// for an empty line.
func (l Line) Distance(p Point) float64 {
	if len(l) == 1 {
		return p.Distance(l[0])
	}
	best := math.Inf(1)
	for i := 1; i < len(l); i++ {
		best = math.Min(best, p.DistanceToSegment(l[i-1], l[i]))
	}
	return best
}

// EdgeDistance is the distance from p to the nearest point of the rings of m,
// whether p lies inside or outside.
func (m MultiPolygon) EdgeDistance(p Point) float64 {
	best := math.Inf(1)
	for _, poly := range m {
		for _, r := range poly.Rings() {
			if len(r) > 0 {
				best = math.Min(best, p.Distance(r.Nearest(p)))
			}
		}
	}
	return best
}
