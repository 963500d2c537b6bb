package structure

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/stat"
)

// leastCheckM2 is the smallest ground that counts as a check of its own; less
// is a sliver between a levee and the perimeter, and goes to its neighbour.
const leastCheckM2 = 400.0

// splitChecks divides the cells inside into the grounds that the barrier
// separates. Every cell inside belongs to one: what lies on the barrier or in a
// sliver goes to the nearest check.
func splitChecks(g grid.Grid, inside, barrier []bool) (index []int32, checks []Check) {
	s := stat.Size{Cols: g.Cols, Rows: g.Rows}
	open := make([]bool, len(inside))
	for i := range open {
		open[i] = inside[i] && !barrier[i]
	}
	runs, sizes := stat.Runs(open, s, false)
	big := bigParts(sizes, leastCheckM2/(g.CellM*g.CellM))
	index = make([]int32, len(inside))
	for i := range index {
		index[i] = -1
	}
	for _, r := range runs {
		if big[r.Part] {
			part := index[r.From:r.To]
			for k := range part {
				part[k] = r.Part
			}
		}
	}
	spread(index, inside, s)
	order := northWest(index, s, len(sizes))
	rename := make([]int32, len(sizes))
	for k, l := range order {
		rename[l] = int32(k)
	}
	for i, l := range index {
		if l >= 0 {
			index[i] = rename[l]
		}
	}
	return index, outlines(g, index, len(order))
}

// bigParts are the parts of at least least cells, or the largest when none is.
func bigParts(sizes []int, least float64) []bool {
	big := make([]bool, len(sizes))
	largest := 0
	some := false
	for l, n := range sizes {
		big[l] = l > 0 && float64(n) >= least
		some = some || big[l]
		if n > sizes[largest] {
			largest = l
		}
	}
	if !some {
		big[largest] = largest > 0
	}
	return big
}

// spread gives each cell inside that has no check the check nearest to it, by
// steps over cells inside; cells that cannot be reached that way take the
// nearest in reading order.
func spread(index []int32, inside []bool, s stat.Size) {
	var queue []int32 // at first all cells that have a check beside one that has none
	left := 0
	for i, l := range index {
		if l >= 0 || !inside[i] {
			continue
		}
		left++
		eachNeighbour(i, s, func(j int) {
			if index[j] >= 0 {
				queue = append(queue, int32(j))
			}
		})
	}
	slices.Sort(queue)
	queue = slices.Compact(queue)
	for len(queue) > 0 && left > 0 {
		at := int(queue[0])
		queue = queue[1:]
		eachNeighbour(at, s, func(j int) {
			if inside[j] && index[j] < 0 {
				index[j] = index[at]
				queue = append(queue, int32(j))
				left--
			}
		})
	}
	if left > 0 {
		fillIslands(index, inside)
	}
}

func eachNeighbour(i int, s stat.Size, fn func(j int)) {
	x, y := i%s.Cols, i/s.Cols
	if y > 0 {
		fn(i - s.Cols)
	}
	if x > 0 {
		fn(i - 1)
	}
	if x+1 < s.Cols {
		fn(i + 1)
	}
	if y+1 < s.Rows {
		fn(i + s.Cols)
	}
}

// fillIslands serves fields of several parts: a part that is all sliver takes
// the check named last before it, or the first there is.
func fillIslands(index []int32, inside []bool) {
	last := int32(-1)
	for _, l := range index {
		if l >= 0 {
			last = l
			break
		}
	}
	for i, l := range index {
		if l >= 0 {
			last = l
		} else if inside[i] {
			index[i] = max(last, 0)
		}
	}
}

// northWest orders the labels in use by their most north-westerly cells.
func northWest(index []int32, s stat.Size, n int) []int32 {
	key := make([]int, n)
	for l := range key {
		key[l] = math.MaxInt
	}
	for y := range s.Rows {
		before := int32(-1)
		for x, l := range index[y*s.Cols : (y+1)*s.Cols] {
			if l >= 0 && l != before {
				key[l] = min(key[l], x+y)
			}
			before = l
		}
	}
	var order []int32
	for l, k := range key {
		if k != math.MaxInt {
			order = append(order, int32(l))
		}
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(key[a], key[b]), cmp.Compare(a, b))
	})
	return order
}

// outlines draws the checks along cell edges.
func outlines(g grid.Grid, index []int32, n int) []Check {
	windows := make([]grid.Window, n)
	checks := make([]Check, n)
	for y := range g.Rows {
		row := index[y*g.Cols : (y+1)*g.Cols]
		for x := 0; x < len(row); {
			from, l := x, row[x]
			for x < len(row) && row[x] == l {
				x++
			}
			if l >= 0 {
				windows[l] = include(windows[l], from, x, y, checks[l].Cells == 0)
				checks[l].Cells += x - from
			}
		}
	}
	for k := range checks {
		w := windows[k]
		checks[k].ID = strconv.Itoa(k + 1)
		shape := geo.TraceRows(w.Cols, w.Rows, func(row int, in []bool) {
			from := (w.Row+row)*g.Cols + w.Col
			for col, l := range index[from : from+w.Cols] {
				in[col] = l == int32(k)
			}
		})
		checks[k].Outline = place(shape, g, w)
	}
	return checks
}

// include widens a window to the cells from x to to-1 of row y.
func include(w grid.Window, x, to, y int, first bool) grid.Window {
	if first {
		return grid.Window{Col: x, Row: y, Cols: to - x, Rows: 1}
	}
	x1, y1 := max(w.Col+w.Cols, to), max(w.Row+w.Rows, y+1)
	w.Col, w.Row = min(w.Col, x), min(w.Row, y)
	w.Cols, w.Rows = x1-w.Col, y1-w.Row
	return w
}

// place turns corners of cells of the window into metres.
func place(shape geo.MultiPolygon, g grid.Grid, w grid.Window) geo.MultiPolygon {
	ring := func(r geo.Ring) {
		for i, p := range r {
			r[i] = geo.Point{
				X: g.OriginX + float64((p.X+float64(w.Col))*g.CellM),
				Y: g.OriginY - float64((p.Y+float64(w.Row))*g.CellM),
			}
		}
	}
	for _, p := range shape {
		ring(p.Outer)
		for _, h := range p.Holes {
			ring(h)
		}
	}
	return shape
}
