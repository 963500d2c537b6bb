package geo

import (
	"cmp"
	"slices"
)

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
	return TraceRows(cols, rows, func(row int, line []bool) {
		for col := range line {
			line[col] = in(col, row)
		}
	})
}

// TraceRows is [Trace] of a raster that mark marks row by row, in their order: it
// sets every square of line.
func TraceRows(cols, rows int, mark func(row int, line []bool)) MultiPolygon {
	t := newTracer(cols, rows, mark)
	var out MultiPolygon
	owner := make(map[int32]int) // set of squares to its polygon
	for row := range rows {
		for i := t.index(0, row); i < t.index(cols, row); i++ {
			// An upper side that was not walked: in, not seen, and out above.
			if t.state[i] != squareIn || t.state[i-t.stride]&squareIn != 0 {
				continue
			}
			col := i - t.index(0, row)
			set := t.setOf(col, row)
			for _, r := range t.follow(col, row) {
				if r.SignedArea() > 0 {
					owner[set] = len(out)
					out = append(out, Polygon{Outer: r})
				} else {
					p := &out[owner[set]]
					p.Holes = append(p.Holes, r)
				}
			}
		}
	}
	return out
}

// States of a square.
const (
	squareIn   = 1
	squareSeen = 2 // its upper side was walked
)

// A tracer holds the raster with a margin of one empty square all round.
type tracer struct {
	stride int
	state  []uint8
	runs   []span  // squares in a row that are in, by row and column
	first  []int   // place in runs of every row's first
	parent []int32 // of runs: union-find of the sets that share sides
}

// A span is the squares from col to end, end left out, of one row.
type span struct{ col, end int }

func newTracer(cols, rows int, mark func(row int, line []bool)) *tracer {
	t := &tracer{stride: cols + 2, state: make([]uint8, (cols+2)*(rows+2)), first: make([]int, 1, rows+1)}
	line := make([]bool, cols)
	for row := range rows {
		mark(row, line)
		t.addRuns(row, line)
		t.joinRuns(row)
	}
	return t
}

// addRuns lists the runs of one row and enters its squares.
func (t *tracer) addRuns(row int, line []bool) {
	state := t.state[t.index(0, row):][:len(line)]
	for col := 0; col < len(line); col++ {
		if !line[col] {
			continue
		}
		run := span{col: col}
		for col < len(line) && line[col] {
			state[col] = squareIn
			col++
		}
		run.end = col
		t.runs = append(t.runs, run)
		t.parent = append(t.parent, int32(len(t.parent)))
	}
	t.first = append(t.first, len(t.runs))
}

// joinRuns joins the runs of a row with those above that share a side.
func (t *tracer) joinRuns(row int) {
	if row == 0 {
		return
	}
	i, j := t.first[row-1], t.first[row]
	for i < t.first[row] && j < t.first[row+1] {
		above, below := t.runs[i], t.runs[j]
		if above.col < below.end && below.col < above.end {
			a, b := t.root(int32(i)), t.root(int32(j))
			t.parent[max(a, b)] = min(a, b)
		}
		if above.end <= below.end {
			i++
		} else {
			j++
		}
	}
}

func (t *tracer) root(i int32) int32 {
	for t.parent[i] != i {
		t.parent[i] = t.parent[t.parent[i]]
		i = t.parent[i]
	}
	return i
}

// setOf is the set that square (col, row), which is in, belongs to.
func (t *tracer) setOf(col, row int) int32 {
	runs := t.runs[t.first[row]:t.first[row+1]]
	k, _ := slices.BinarySearchFunc(runs, col, func(s span, col int) int { return cmp.Compare(s.end, col+1) })
	return t.root(int32(t.first[row] + k))
}

func (t *tracer) index(col, row int) int { return (row+1)*t.stride + col + 1 }

func (t *tracer) in(col, row int) bool { return t.state[t.index(col, row)] != 0 }

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
			t.state[t.index(x, y)] |= squareSeen
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
