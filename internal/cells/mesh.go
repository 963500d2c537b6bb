package cells

import "bittern/internal/grid"

// meshM is the side of a mesh on the ground, in metres. Over 64 m the
// second-order terms of any map projection within a few zones of its origin
// are under a millimetre (the square of the side over eight Earth radii).
const meshM = 64

// A mesh places a picture that is turned against the grid, or in another
// reference system: the exact transform at every step-th pixel corner, and
// bilinear between.
type mesh struct {
	at   func(col, row float64) (x, y float64) // picture to grid, in cells from the north-west corner
	step int                                   // pixels
}

// newMesh takes the exact way from picture coordinates to metres of the
// grid's zone.
func newMesh(toGrid func(col, row float64) (x, y float64), g grid.Grid, pixelM float64) mesh {
	return mesh{step: meshStep(pixelM), at: func(col, row float64) (x, y float64) {
		x, y = toGrid(col, row)
		return (x - g.OriginX) / g.CellM, (g.OriginY - y) / g.CellM
	}}
}

// meshStep is how many pixels of pixelM metres a mesh's side is long.
func meshStep(pixelM float64) int {
	step := 1
	for step < 512 && float64(2*step)*pixelM <= meshM {
		step *= 2
	}
	return step
}

// affineAt is a as a function.
func affineAt(a grid.Affine) func(col, row float64) (x, y float64) {
	return func(col, row float64) (x, y float64) {
		return a.A + float64(a.B*col) + float64(a.C*row), a.D + float64(a.E*col) + float64(a.F*row)
	}
}

// spot is a place on the grid, in cells.
type spot struct{ x, y float64 }

// corners is the picture columns or rows of the mesh lines round n pixels
// from the first.
func (m mesh) corners(first, n int) (from, count int) {
	from = first / m.step
	return from, (first+n-1)/m.step + 2 - from
}

func (m mesh) spots(w grid.Window) (at []spot, cols int) {
	c0, cols := m.corners(w.Col, w.Cols)
	r0, rows := m.corners(w.Row, w.Rows)
	at = make([]spot, 0, cols*rows)
	for r := range rows {
		for c := range cols {
			x, y := m.at(float64((c0+c)*m.step), float64((r0+r)*m.step))
			at = append(at, spot{x, y})
		}
	}
	return at, cols
}

func (m mesh) over(w grid.Window) rect {
	at, _ := m.spots(w)
	lo, hi := at[0], at[0]
	for _, s := range at {
		lo = spot{min(lo.x, s.x), min(lo.y, s.y)}
		hi = spot{max(hi.x, s.x), max(hi.y, s.y)}
	}
	c0, r0 := cellAt(lo.x), cellAt(lo.y)
	return rect{c0, r0, cellAt(hi.x) - c0 + 1, cellAt(hi.y) - r0 + 1}
}

func (m mesh) rows(w grid.Window, r rect) rowPlacer {
	at, cols := m.spots(w)
	return &meshRows{mesh: m, at: at, atCols: cols, win: w, rect: r, row: w.Row}
}

type meshRows struct {
	mesh
	at     []spot
	atCols int
	win    grid.Window
	rect   rect
	row    int // of the picture
	runs   []run
}

func (p *meshRows) next() ([]run, int) {
	p.runs = p.runs[:0]
	down := p.row/p.step - p.win.Row/p.step
	t := (float64(p.row%p.step) + 0.5) / float64(p.step)
	upper, lower := p.at[down*p.atCols:], p.at[(down+1)*p.atCols:]
	for c := 0; c < p.win.Cols; {
		col := p.win.Col + c
		k := col/p.step - p.win.Col/p.step
		left, right := between(upper[k], lower[k], t), between(upper[k+1], lower[k+1], t)
		n := min(p.win.Cols-c, p.step-col%p.step)
		p.segment(c, n, col%p.step, left, right)
		c += n
	}
	p.row++
	return p.runs, 0
}

func between(a, b spot, t float64) spot {
	return spot{a.x + float64(t*(b.x-a.x)), a.y + float64(t*(b.y-a.y))}
}

// segment adds n pixels from c on, the first of them number k of its mesh,
// between the mesh's left and right line.
func (p *meshRows) segment(c, n, k int, left, right spot) {
	dx, dy := (right.x-left.x)/float64(p.step), (right.y-left.y)/float64(p.step)
	for i := range n {
		s := float64(k+i) + 0.5
		x := cellAt(left.x + float64(dx*s) + edgeSlack)
		y := cellAt(left.y + float64(dy*s) + edgeSlack)
		x, y = inside(x-p.rect.col, p.rect.cols), inside(y-p.rect.row, p.rect.rows)
		cell := -1
		if x >= 0 && y >= 0 {
			cell = y*p.rect.cols + x
		}
		p.runs = appendPixel(p.runs, c+i, cell)
	}
}
