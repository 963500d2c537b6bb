package grid

import (
	"math"

	"bittern/internal/geo"
)

// Apply returns the ground position of picture position (col, row).
func (a Affine) Apply(col, row float64) geo.Point {
	return geo.Point{
		X: a.A + float64(a.B*col) + float64(a.C*row),
		Y: a.D + float64(a.E*col) + float64(a.F*row),
	}
}

// Det is the determinant of a: the ground area of one pixel, negative for a
// picture with north up.
func (a Affine) Det() float64 { return float64(a.B*a.F) - float64(a.C*a.E) }

// Invert returns the affine that takes ground positions to picture positions.
// It reports false when a has no inverse.
func (a Affine) Invert() (Affine, bool) {
	det := a.Det()
	if det == 0 || math.IsNaN(det) || math.IsInf(det, 0) {
		return Affine{}, false
	}
	inv := Affine{B: a.F / det, C: -a.C / det, E: -a.E / det, F: a.B / det}
	inv.A = -(float64(inv.B*a.A) + float64(inv.C*a.D))
	inv.D = -(float64(inv.E*a.A) + float64(inv.F*a.D))
	return inv, true
}

// PixelSize is the side of the square whose area is that of one pixel.
func (a Affine) PixelSize() float64 { return math.Sqrt(math.Abs(a.Det())) }

// Affine is the transform of g: cells to metres of its zone.
func (g Grid) Affine() Affine {
	return Affine{A: g.OriginX, B: g.CellM, D: g.OriginY, F: -g.CellM}
}

// Cell returns the cell that holds p (metres of the zone); it may lie off the
// grid.
func (g Grid) Cell(p geo.Point) (col, row int) {
	return int(math.Floor((p.X - g.OriginX) / g.CellM)), int(math.Floor((g.OriginY - p.Y) / g.CellM))
}

// Has reports whether (col, row) is a cell of g.
func (g Grid) Has(col, row int) bool { return col >= 0 && row >= 0 && col < g.Cols && row < g.Rows }

// Window is the whole of g.
func (g Grid) Window() Window { return Window{0, 0, g.Cols, g.Rows} }

// Empty reports whether w has no cell.
func (w Window) Empty() bool { return w.Cols <= 0 || w.Rows <= 0 }

// Len is the number of cells in w.
func (w Window) Len() int {
	if w.Empty() {
		return 0
	}
	return w.Cols * w.Rows
}

// Intersect returns the cells that w and v share; the zero Window when there are
// none.
func (w Window) Intersect(v Window) Window {
	col, row := max(w.Col, v.Col), max(w.Row, v.Row)
	out := Window{col, row, min(w.Col+w.Cols, v.Col+v.Cols) - col, min(w.Row+w.Rows, v.Row+v.Rows) - row}
	if out.Empty() {
		return Window{}
	}
	return out
}

// Contains reports whether (col, row) lies in w.
func (w Window) Contains(col, row int) bool {
	return col >= w.Col && row >= w.Row && col < w.Col+w.Cols && row < w.Row+w.Rows
}
