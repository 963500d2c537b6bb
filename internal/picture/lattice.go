package picture

import (
	"math"

	"bittern/internal/crs"
	"bittern/internal/geo"
)

// A lattice brings the pixels of one tile into another coordinate system: exact
// at nodes every step pixels, and in between by two straight lines. Over the
// 16 pixels between nodes a projection bends by far less than a pixel.
type lattice struct {
	at [nodes * nodes]geo.Point
}

const (
	step  = 16
	nodes = TileSize/step + 1
)

// lattice places the pixel corners of t in system to.
func (p *Picture) lattice(t Tile, to crs.CRS) *lattice {
	l := new(lattice)
	corner, pixel := p.View.corner(t), p.View.Pixels[t.Level]
	same := p.View.CRS.SameGrid(to)
	for row := range nodes {
		for col := range nodes {
			at := geo.Point{X: corner.X + pixel*step*float64(col), Y: corner.Y - pixel*step*float64(row)}
			if !same {
				lon, lat := p.View.CRS.Inverse(at.X, at.Y)
				x, y, err := to.Forward(lon, lat)
				if err != nil {
					x, y = math.NaN(), math.NaN()
				}
				at = geo.Point{X: x, Y: y}
			}
			l.at[row*nodes+col] = at
		}
	}
	return l
}

// each calls do with the place of the middle of each pixel, row by row.
func (l *lattice) each(do func(i int, x, y float64)) {
	for row := range TileSize {
		r, fy := row/step, (float64(row%step)+0.5)/step
		for c := range nodes - 1 {
			a, b := l.at[r*nodes+c], l.at[r*nodes+c+1]
			d, e := l.at[(r+1)*nodes+c], l.at[(r+1)*nodes+c+1]
			x0, x1 := a.X+(d.X-a.X)*fy, b.X+(e.X-b.X)*fy
			y0, y1 := a.Y+(d.Y-a.Y)*fy, b.Y+(e.Y-b.Y)*fy
			for k := range step {
				f := (float64(k) + 0.5) / step
				do(row*TileSize+c*step+k, x0+(x1-x0)*f, y0+(y1-y0)*f)
			}
		}
	}
}
