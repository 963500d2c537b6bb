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

// lattice places the pixel corners of t in system to, off metres away in the zone
// of the rough copy's grid.
func (p *Picture) lattice(t Tile, to crs.CRS, off geo.Point) *lattice {
	l := new(lattice)
	corner, pixel := p.View.corner(t), p.View.Pixels[t.Level]
	zone := p.rough.grid.CRS()
	same := p.View.CRS.SameGrid(to)
	if off != (geo.Point{}) {
		same = same && zone.SameGrid(to)
	}
	for row := range nodes {
		for col := range nodes {
			at := geo.Point{X: corner.X + pixel*step*float64(col), Y: corner.Y - pixel*step*float64(row)}
			if same {
				at = geo.Point{X: at.X + off.X, Y: at.Y + off.Y}
			} else {
				at = moved(at, p.View.CRS, zone, to, off)
			}
			l.at[row*nodes+col] = at
		}
	}
	return l
}

// moved brings a place into system to, off metres away in zone; NaN where it
// cannot be.
func moved(at geo.Point, from, zone, to crs.CRS, off geo.Point) geo.Point {
	nowhere := geo.Point{X: math.NaN(), Y: math.NaN()}
	lon, lat := from.Inverse(at.X, at.Y)
	if off != (geo.Point{}) {
		x, y, err := zone.Forward(lon, lat)
		if err != nil {
			return nowhere
		}
		lon, lat = zone.Inverse(x+off.X, y+off.Y)
	}
	x, y, err := to.Forward(lon, lat)
	if err != nil {
		return nowhere
	}
	return geo.Point{X: x, Y: y}
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
