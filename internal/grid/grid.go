// Package grid places rasters on the ground: the working grid of cells,
// windows of it, and the affine transforms of pictures. It does no I/O.
package grid

import "bittern/internal/geo"

// A Grid is the working grid: square cells in the field's UTM zone (WGS84),
// with corners on whole multiples of the cell size. Cell (0, 0) is the
// north-west one; rows run southwards. Every raster of a day is on its grid,
// row-major: cell (col, row) is element row*Cols + col.
type Grid struct {
	EPSG             int     // 326xx or 327xx
	OriginX, OriginY float64 // m, the outer (north-west) corner of cell (0, 0)
	CellM            float64 // m, the side of a cell
	Cols, Rows       int
	AcresPerCell     float64 // acres on the ellipsoid of one cell, at the field's centre
	ConvergenceDeg   float64 // degrees clockwise from true north to grid north, at the field's centre
}

// Len is the number of cells.
func (g Grid) Len() int { return g.Cols * g.Rows }

// Index is the place of cell (col, row) in a row-major slice.
func (g Grid) Index(col, row int) int { return row*g.Cols + col }

// Center returns the middle of cell (col, row), in metres of the grid's zone.
func (g Grid) Center(col, row int) geo.Point {
	return geo.Point{
		X: g.OriginX + (float64(col)+0.5)*g.CellM,
		Y: g.OriginY - (float64(row)+0.5)*g.CellM,
	}
}

// A Window is a rectangle of cells or pixels.
type Window struct{ Col, Row, Cols, Rows int }

// An Affine maps picture coordinates to the ground: X = A + B*col + C*row and
// Y = D + E*col + F*row, with (0, 0) the outer corner of the first pixel.
// A picture with north up has C = E = 0 and F < 0.
type Affine struct{ A, B, C, D, E, F float64 }
