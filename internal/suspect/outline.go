package suspect

import "bittern/internal/geo"

// outline traces a patch along cell edges, in metres of the grid's zone.
func (w *work) outline(patch []int32) geo.MultiPolygon {
	if len(patch) == 0 {
		return nil
	}
	return w.s.Grid.TraceCells(patch)
}
