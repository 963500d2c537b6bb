package suspect

import "bittern/internal/geo"

// outline traces a patch along cell edges, in metres of the grid's zone.
func (w *work) outline(patch []int32) geo.MultiPolygon {
	if len(patch) == 0 {
		return nil
	}
	g := w.s.Grid
	b := w.box(patch, 0)
	in := make([]bool, b.cols*b.rows)
	for _, i := range patch {
		in[b.local(int(i), g.Cols)] = true
	}
	shape := geo.Trace(b.cols, b.rows, func(col, row int) bool { return in[row*b.cols+col] })
	return shape.Map(func(p geo.Point) geo.Point {
		return geo.Point{
			X: g.OriginX + float64((p.X+float64(b.col))*g.CellM),
			Y: g.OriginY - float64((p.Y+float64(b.row))*g.CellM),
		}
	})
}
