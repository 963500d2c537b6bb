package cells

import (
	"math"

	"bittern/internal/grid"
)

// edgeSlack is how near a cell's edge, in cells, a pixel's centre counts as
// lying on it: far above rounding errors, far below a pixel.
const edgeSlack = 2e-6

// A rect is a rectangle of cells of the grid.
type rect struct{ col, row, cols, rows int }

// clip is the part of r that lies on the grid; cols is 0 when there is none.
func (r rect) clip(g grid.Grid) rect { return r.within(rect{cols: g.Cols, rows: g.Rows}) }

// within is the part of r that lies in s; cols is 0 when there is none.
func (r rect) within(s rect) rect {
	c0, c1 := max(r.col, s.col), min(r.col+r.cols, s.col+s.cols)
	r0, r1 := max(r.row, s.row), min(r.row+r.rows, s.row+s.rows)
	if c1 <= c0 || r1 <= r0 {
		return rect{}
	}
	return rect{c0, r0, c1 - c0, r1 - r0}
}

// meets tells whether r and s share a cell.
func (r rect) meets(s rect) bool {
	return r.col < s.col+s.cols && s.col < r.col+r.cols && r.row < s.row+s.rows && s.row < r.row+r.rows
}

// A placer says which cells the pixels of a picture lie in.
type placer interface {
	// over is the rectangle of cells, on the grid or not, that the pixels of
	// w lie in.
	over(w grid.Window) rect
	// rows starts on the rows of w, for cells within r.
	rows(w grid.Window, r rect) rowPlacer
}

// A rowPlacer gives the runs of one row after another, from the top.
type rowPlacer interface {
	// next returns the next row's runs and what their cells count from. The
	// runs hold until the call after.
	next() (runs []run, base int)
}

// upright places a picture whose rows and columns run along the grid's.
type upright struct {
	x0, dx, y0, dy float64 // in cells: pixel column c has its centre at x0 + dx*(c+1/2)
}

// newUpright returns false when the picture is turned or sheared.
func newUpright(a grid.Affine, g grid.Grid) (upright, bool) {
	u := upright{
		x0: (a.A - g.OriginX) / g.CellM, dx: a.B / g.CellM,
		y0: (g.OriginY - a.D) / g.CellM, dy: -a.F / g.CellM,
	}
	return u, a.C == 0 && a.E == 0
}

func axisCell(from, step float64, pixel int) int {
	return cellAt(from + float64(step*(float64(pixel)+0.5)) + edgeSlack)
}

// cellAt is the cell that position v, in cells, lies in. What is absurdly far
// off, or not a number, is off the grid.
func cellAt(v float64) int {
	const far = 1 << 30
	if !(v > -far) {
		return -far
	}
	return int(math.Floor(min(v, far)))
}

func (u upright) over(w grid.Window) rect {
	c0, c1 := axisCell(u.x0, u.dx, w.Col), axisCell(u.x0, u.dx, w.Col+w.Cols-1)
	r0, r1 := axisCell(u.y0, u.dy, w.Row), axisCell(u.y0, u.dy, w.Row+w.Rows-1)
	c0, c1, r0, r1 = min(c0, c1), max(c0, c1), min(r0, r1), max(r0, r1)
	return rect{c0, r0, c1 - c0 + 1, r1 - r0 + 1}
}

func (u upright) rows(w grid.Window, r rect) rowPlacer {
	p := &uprightRows{upright: u, rect: r, row: w.Row}
	for c := range w.Cols {
		p.runs = appendPixel(p.runs, c, inside(axisCell(u.x0, u.dx, w.Col+c)-r.col, r.cols))
	}
	p.none = []run{{End: w.Cols, Cell: -1}}
	return p
}

type uprightRows struct {
	upright
	rect       rect
	row        int // of the picture
	runs, none []run
}

func (p *uprightRows) next() ([]run, int) {
	row := inside(axisCell(p.y0, p.dy, p.row)-p.rect.row, p.rect.rows)
	p.row++
	if row < 0 {
		return p.none, 0
	}
	return p.runs, row * p.rect.cols
}

// inside is i when it is one of n, else -1.
func inside(i, n int) int {
	if i < 0 || i >= n {
		return -1
	}
	return i
}

// appendPixel lengthens the last run by pixel c, or starts another.
func appendPixel(runs []run, c, cell int) []run {
	if k := len(runs) - 1; k >= 0 && runs[k].Cell == cell {
		runs[k].End = c + 1
		return runs
	}
	return append(runs, run{End: c + 1, Cell: cell})
}
