package geo

// Trace returns the outlines of the squares of a cols by rows raster for which
// in is true, in the raster's own coordinates: square (col, row) reaches from
// (col, row) to (col+1, row+1).
//
// Squares belong together when they share a side; ones that touch at a corner
// only are apart. Each set of squares is one polygon, its rings along the sides
// with points only where they turn. No ring crosses or touches itself; a hole
// may touch another ring at single points. Polygons come in the order of their
// first squares, by row and then by column. The areas add up to the number of
// squares.
func Trace(cols, rows int, in func(col, row int) bool) MultiPolygon {
	t := newTracer(cols, rows, in)
	var out MultiPolygon
	owner := make(map[int32]int) // label of a set of squares to its polygon
	for row := range rows {
		for col := range cols {
			if !t.in(col, row) || t.in(col, row-1) || t.seen[t.index(col, row)] {
				continue
			}
			label := t.label[t.index(col, row)]
			for _, r := range t.follow(col, row) {
				if r.SignedArea() > 0 {
					owner[label] = len(out)
					out = append(out, Polygon{Outer: r})
				} else {
					p := &out[owner[label]]
					p.Holes = append(p.Holes, r)
				}
			}
		}
	}
	return out
}

// A tracer holds the raster with a margin of one empty square all round.
type tracer struct {
	stride int
	label  []int32 // 0 where the square is out, else the number of its set
	seen   []bool  // the square's upper side was walked
}

func newTracer(cols, rows int, in func(col, row int) bool) *tracer {
	t := &tracer{stride: cols + 2}
	t.label = make([]int32, (cols+2)*(rows+2))
	t.seen = make([]bool, len(t.label))
	for row := range rows {
		for col := range cols {
			if in(col, row) {
				t.label[t.index(col, row)] = -1
			}
		}
	}
	t.number()
	return t
}

func (t *tracer) index(col, row int) int { return (row+1)*t.stride + col + 1 }

func (t *tracer) in(col, row int) bool { return t.label[t.index(col, row)] != 0 }

// number gives each set of squares that share sides a number, from 1 up.
func (t *tracer) number() {
	var stack []int
	n := int32(0)
	for start, l := range t.label {
		if l != -1 {
			continue
		}
		n++
		t.label[start] = n
		stack = append(stack[:0], start)
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, j := range [4]int{i - 1, i + 1, i - t.stride, i + t.stride} {
				if t.label[j] == -1 {
					t.label[j] = n
					stack = append(stack, j)
				}
			}
		}
	}
}

// Directions in order clockwise on a raster whose rows run down.
const (
	east = iota
	south
	west
	north
)

// ahead returns whether the squares ahead on the right and on the left of
// corner (x, y) are in, for somebody who comes there in direction dir.
func (t *tracer) ahead(x, y, dir int) (right, left bool) {
	switch dir {
	case east:
		return t.in(x, y), t.in(x, y-1)
	case south:
		return t.in(x-1, y), t.in(x, y)
	case west:
		return t.in(x-1, y-1), t.in(x-1, y)
	default:
		return t.in(x, y-1), t.in(x-1, y-1)
	}
}

// follow walks along the upper side of square (col, row) and on round, keeping
// the squares to the right, and returns the rings of that walk. The walk may
// come twice through a corner where two squares touch; there it is cut, so that
// every ring passes a corner once.
func (t *tracer) follow(col, row int) []Ring {
	var rings []Ring
	var ring Ring
	pinches := make(map[Point]int) // corners of ring where squares touch, to their place in it
	x, y, dir := col, row, east
	for {
		if dir == east {
			t.seen[t.index(x, y)] = true
		}
		x, y = step(x, y, dir)
		right, left := t.ahead(x, y, dir)
		switch {
		case !right:
			corner := Point{float64(x), float64(y)}
			if left {
				if at, twice := pinches[corner]; twice {
					rings = append(rings, cut(&ring, at, pinches))
				}
				pinches[corner] = len(ring)
			}
			ring = append(ring, corner)
			dir = (dir + 1) % 4
		case left:
			ring = append(ring, Point{float64(x), float64(y)})
			dir = (dir + 3) % 4
		}
		if x == col && y == row && dir == east {
			break
		}
	}
	return append([]Ring{ring}, rings...)
}

func step(x, y, dir int) (int, int) {
	switch dir {
	case east:
		return x + 1, y
	case south:
		return x, y + 1
	case west:
		return x - 1, y
	default:
		return x, y - 1
	}
}

// cut takes the part of ring from place at on off it and returns it as a ring of
// its own.
func cut(ring *Ring, at int, pinches map[Point]int) Ring {
	loop := append(Ring(nil), (*ring)[at:]...)
	for _, p := range loop {
		delete(pinches, p)
	}
	*ring = (*ring)[:at]
	return loop
}
