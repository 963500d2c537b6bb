package geo

import (
	"math"
	"slices"
)

// crossing is the X at which the edge from a to b meets the horizontal line at
// y. It does not depend on the edge's direction, so that polygons which share an
// edge agree about it to the bit.
func crossing(a, b Point, y float64) float64 {
	if a.Y > b.Y {
		a, b = b, a
	}
	t := (y - a.Y) / (b.Y - a.Y)
	return a.X + float64(t*(b.X-a.X))
}

// crosses reports whether the edge from a to b meets the horizontal line at y.
// The lower end belongs to the edge, the upper does not.
func crosses(a, b Point, y float64) bool { return (a.Y <= y) != (b.Y <= y) }

// Contains reports whether p lies in r. A point on a left or lower edge is in,
// one on a right or upper edge is out: of two polygons that share an edge, a
// point on it lies in exactly one.
func (r Ring) Contains(p Point) bool {
	in := false
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if crosses(a, b, p.Y) && crossing(a, b, p.Y) <= p.X {
			in = !in
		}
	}
	return in
}

// Contains reports whether q lies in p and in none of its holes.
func (p Polygon) Contains(q Point) bool {
	in := p.Outer.Contains(q)
	for _, h := range p.Holes {
		if h.Contains(q) {
			in = !in
		}
	}
	return in
}

// Contains reports whether p lies in one of the polygons.
func (m MultiPolygon) Contains(p Point) bool {
	for _, poly := range m {
		if poly.Contains(p) {
			return true
		}
	}
	return false
}

// Rasterize says for every square of a cols by rows raster whether its middle
// lies in m: element row*cols + col is about the point (col + 0.5, row + 0.5).
// It agrees with [MultiPolygon.Contains] for polygons that do not overlap.
func (m MultiPolygon) Rasterize(cols, rows int) []bool {
	out := make([]bool, cols*rows)
	edges := edgesByRow(m, rows)
	var active []edge
	var xs []float64
	next := 0
	for row := range rows {
		y := float64(row) + 0.5
		for next < len(edges) && edges[next].first <= row {
			active = append(active, edges[next])
			next++
		}
		active = slices.DeleteFunc(active, func(e edge) bool { return e.b.Y <= y })
		xs = xs[:0]
		for _, e := range active {
			xs = append(xs, crossing(e.a, e.b, y))
		}
		slices.Sort(xs)
		fillRow(out[row*cols:(row+1)*cols], xs)
	}
	return out
}

// An edge runs upwards from a to b; first is the first row whose middle it
// meets.
type edge struct {
	a, b  Point
	first int
}

// edgesByRow returns the edges of m that meet the middle of a row, by that row.
func edgesByRow(m MultiPolygon, rows int) []edge {
	var edges []edge
	for _, r := range m.Rings() {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if a.Y > b.Y {
				a, b = b, a
			}
			first := math.Max(0, math.Ceil(a.Y-0.5))
			if a.Y == b.Y || !(first < float64(rows)) || first+0.5 >= b.Y {
				continue
			}
			edges = append(edges, edge{a, b, int(first)})
		}
	}
	slices.SortStableFunc(edges, func(e, f edge) int { return e.first - f.first })
	return edges
}

// fillRow sets the squares whose middles lie between the crossings.
func fillRow(row []bool, xs []float64) {
	n := float64(len(row))
	for i := 0; i+1 < len(xs); i += 2 {
		from := int(math.Min(n, math.Max(0, math.Ceil(xs[i]-0.5))))
		to := int(math.Min(n, math.Max(0, math.Ceil(xs[i+1]-0.5))))
		for c := from; c < to; c++ {
			row[c] = true
		}
	}
}

// Clip returns the stretches of the straight line from a to b that lie in m, in
// order from a, each with two points.
func (m MultiPolygon) Clip(a, b Point) []Line {
	length := a.Distance(b)
	if length == 0 {
		return nil
	}
	dir := Point{(b.X - a.X) / length, (b.Y - a.Y) / length}
	// In a frame along the line, the line is the horizontal at 0.
	along := m.Map(func(p Point) Point {
		v := p.Sub(a)
		return Point{float64(v.X*dir.X) + float64(v.Y*dir.Y), cross(dir, v)}
	})
	var ts []float64
	for _, r := range along.Rings() {
		for i, p := range r {
			if q := r[(i+1)%len(r)]; crosses(p, q, 0) {
				ts = append(ts, crossing(p, q, 0))
			}
		}
	}
	slices.Sort(ts)
	at := func(t float64) Point { return Point{a.X + float64(t*dir.X), a.Y + float64(t*dir.Y)} }
	var out []Line
	for i := 0; i+1 < len(ts); i += 2 {
		from, to := math.Max(ts[i], 0), math.Min(ts[i+1], length)
		if from < to {
			out = append(out, Line{at(from), at(to)})
		}
	}
	return out
}

// Inside returns a point well inside the largest polygon of m, for a label: of
// the points that were tried, the one farthest from the rings. It returns the
// middle of the bounds when m has no area.
func (m MultiPolygon) Inside() Point {
	if len(m) == 0 {
		return Point{}
	}
	largest := slices.MaxFunc(m, func(p, q Polygon) int {
		switch a, b := p.Area(), q.Area(); {
		case a < b:
			return -1
		case a > b:
			return 1
		}
		return 0
	})
	return largest.inside()
}

const insideScans = 16

func (p Polygon) inside() Point {
	one := MultiPolygon{p}
	box := p.Outer.Bounds()
	best, room := box.Center(), -1.0
	try := func(q Point) bool {
		if !p.Contains(q) {
			return false
		}
		d := one.EdgeDistance(q)
		if d <= room {
			return false
		}
		best, room = q, d
		return true
	}
	height := box.Max.Y - box.Min.Y
	for k := range insideScans {
		y := box.Min.Y + float64(height*(float64(k)+0.5)/insideScans)
		for _, l := range one.Clip(Point{box.Min.X - 1, y}, Point{box.Max.X + 1, y}) {
			try(Point{(l[0].X + l[1].X) / 2, y})
		}
	}
	climb(best, math.Max(height, box.Max.X-box.Min.X)/insideScans, try)
	return best
}

// climb tries the eight neighbours of a point at a step that halves, and moves
// on whenever try says that the neighbour is better.
func climb(from Point, step float64, try func(Point) bool) {
	for range 40 {
		moved := false
		for _, d := range [8]Point{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, 1}, {1, -1}, {-1, -1}} {
			q := Point{from.X + float64(step*d.X), from.Y + float64(step*d.Y)}
			if try(q) {
				from, moved = q, true
				break
			}
		}
		if !moved {
			step /= 2
		}
	}
}
