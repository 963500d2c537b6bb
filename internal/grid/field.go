package grid

import (
	"fmt"
	"math"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/unit"
)

// DefaultCellM is the side of a cell in metres.
const DefaultCellM = 0.5

// marginM is the ground in metres that a grid holds around the boundary, so that
// levees and edges see their surroundings.
const marginM = 20

// maxAcres is the largest field that is accepted. Nobody sprays more in one job,
// and a boundary as large is most often a county by mistake.
const maxAcres = 30000

// maxCells bounds the memory of a day, whatever the shape of the boundary: the
// largest field takes half as many when it is square.
const maxCells = 1 << 30

// New returns the working grid for a field whose boundary is given in longitude
// and latitude (WGS84): half-metre cells in the UTM zone of the middle of the
// boundary's bounds, with corners on whole half metres and a margin of 20 m or
// a little more. A boundary that is no field is refused with a *doubt.Problem
// that names no file.
func New(boundary geo.MultiPolygon) (Grid, error) {
	box := boundary.Bounds()
	if err := checkField(boundary, box); err != nil {
		return Grid{}, err
	}
	center := box.Center()
	zone := crs.UTMFor(center.X, center.Y)
	onGrid, err := Project(zone, boundary)
	if err != nil {
		return Grid{}, refuse("the boundary reaches too far from its middle to be one field", "give the boundary of one field", err)
	}
	b := onGrid.Bounds().Grow(marginM)
	g := Grid{EPSG: zone.EPSG(), CellM: DefaultCellM}
	g.OriginX, g.OriginY = math.Floor(b.Min.X/g.CellM)*g.CellM, math.Ceil(b.Max.Y/g.CellM)*g.CellM
	cols, rows := math.Ceil((b.Max.X-g.OriginX)/g.CellM), math.Ceil((g.OriginY-b.Min.Y)/g.CellM)
	if !(cols*rows <= maxCells) {
		return Grid{}, refuse("the boundary is scattered over more ground than one field can hold", "give the boundary of one field", nil)
	}
	g.Cols, g.Rows = int(cols), int(rows)
	scale := zone.ScaleFactor(center.X, center.Y)
	g.AcresPerCell = float64(unit.SquareMeters(g.CellM * g.CellM / (scale * scale)).Acres())
	g.ConvergenceDeg = zone.Convergence(center.X, center.Y)
	return g, nil
}

func refuse(what, remedy string, err error) error {
	return &doubt.Problem{What: what, Remedy: remedy, Err: err}
}

// checkField refuses what cannot be the boundary of a field on the earth.
func checkField(boundary geo.MultiPolygon, box geo.Box) error {
	switch {
	case box.Empty():
		return refuse("the boundary is empty", "draw the field's outline and save it again", nil)
	case Swapped(box):
		return refuse("latitude and longitude are swapped", "write longitude first, then latitude", nil)
	case math.Abs(box.Min.X) > 180 || math.Abs(box.Max.X) > 180 || math.Abs(box.Min.Y) > 80 || math.Abs(box.Max.Y) > 80:
		return refuse(fmt.Sprintf("a corner lies at longitude %.6g, latitude %.6g, which is nowhere on farm land", box.Max.X, box.Max.Y),
			"give the boundary in degrees (WGS84), or say its coordinate system in the file", nil)
	}
	acres := unit.SquareMeters(crs.AreaM2(boundary)).Acres()
	switch {
	case !(acres > 0):
		return refuse("the boundary encloses no ground", "draw the field's outline and save it again", nil)
	case acres > maxAcres:
		return refuse(fmt.Sprintf("the boundary holds %s acres, more than any field", unit.Number(float64(acres), 0)),
			"give the boundary of one field", nil)
	}
	return nil
}

// polar is the latitude in degrees beyond which no crop that is sprayed grows.
const polar = 66.6

// Swapped reports whether positions in the box were most likely written with
// the latitude first: their Y is a latitude of the polar regions or none at all,
// but their X would be a latitude of farm land.
func Swapped(lonLat geo.Box) bool {
	y := math.Max(math.Abs(lonLat.Min.Y), math.Abs(lonLat.Max.Y))
	x := math.Max(math.Abs(lonLat.Min.X), math.Abs(lonLat.Max.X))
	return y > polar && y <= 180 && x <= polar
}

// CRS is the zone of g. It panics for a grid that New did not make and that
// names no EPSG code that is known.
func (g Grid) CRS() crs.CRS {
	c, err := crs.FromEPSG(g.EPSG)
	if err != nil {
		panic("grid: " + err.Error())
	}
	return c
}

// Project returns m, given in longitude and latitude, in the units of c.
func Project(c crs.CRS, m geo.MultiPolygon) (geo.MultiPolygon, error) {
	var failed error
	out := m.Map(func(p geo.Point) geo.Point {
		x, y, err := c.Forward(p.X, p.Y)
		if err != nil {
			failed = err
		}
		return geo.Point{X: x, Y: y}
	})
	return out, failed
}

// LonLat returns p (metres of the zone) in longitude and latitude. To convert
// many points take the CRS once.
func (g Grid) LonLat(p geo.Point) geo.Point {
	lon, lat := g.CRS().Inverse(p.X, p.Y)
	return geo.Point{X: lon, Y: lat}
}

// ToLonLat returns m (metres of the zone) in longitude and latitude.
func (g Grid) ToLonLat(m geo.MultiPolygon) geo.MultiPolygon {
	c := g.CRS()
	return m.Map(func(p geo.Point) geo.Point {
		lon, lat := c.Inverse(p.X, p.Y)
		return geo.Point{X: lon, Y: lat}
	})
}

// FromLonLat returns m, given in longitude and latitude, in metres of the zone.
// It returns crs.ErrOutside for a point far from the zone.
func (g Grid) FromLonLat(m geo.MultiPolygon) (geo.MultiPolygon, error) { return Project(g.CRS(), m) }

// Inside says for every cell, row-major, whether its centre lies in m (metres
// of the zone).
func (g Grid) Inside(m geo.MultiPolygon) []bool {
	cells := m.Map(func(p geo.Point) geo.Point {
		return geo.Point{X: (p.X - g.OriginX) / g.CellM, Y: (g.OriginY - p.Y) / g.CellM}
	})
	return cells.Rasterize(g.Cols, g.Rows)
}

// TraceMask returns the outlines, in metres of the zone and along cell edges, of
// the cells for which in is true; see [geo.Trace].
func (g Grid) TraceMask(in func(cell int) bool) geo.MultiPolygon {
	return g.TraceWindow(g.Window(), in)
}

// TraceWindow is TraceMask for the cells of a window of g only; in is asked
// with indices of the whole grid.
func (g Grid) TraceWindow(w Window, in func(cell int) bool) geo.MultiPolygon {
	w = w.Intersect(g.Window())
	m := geo.Trace(w.Cols, w.Rows, func(col, row int) bool { return in(g.Index(w.Col+col, w.Row+row)) })
	return m.Map(func(p geo.Point) geo.Point {
		return geo.Point{
			X: g.OriginX + float64((float64(w.Col)+p.X)*g.CellM),
			Y: g.OriginY - float64((float64(w.Row)+p.Y)*g.CellM),
		}
	})
}

// TraceCells returns the outlines of the cells with the given indices.
func (g Grid) TraceCells(cells []int32) geo.MultiPolygon {
	if len(cells) == 0 {
		return nil
	}
	w := g.around(cells)
	mask := make([]bool, w.Len())
	for _, i := range cells {
		mask[(int(i)/g.Cols-w.Row)*w.Cols+int(i)%g.Cols-w.Col] = true
	}
	return g.TraceWindow(w, func(i int) bool {
		return mask[(i/g.Cols-w.Row)*w.Cols+i%g.Cols-w.Col]
	})
}

// around is the smallest window that holds the cells.
func (g Grid) around(cells []int32) Window {
	c0, r0, c1, r1 := g.Cols, g.Rows, 0, 0
	for _, i := range cells {
		col, row := int(i)%g.Cols, int(i)/g.Cols
		c0, r0, c1, r1 = min(c0, col), min(r0, row), max(c1, col), max(r1, row)
	}
	return Window{c0, r0, c1 - c0 + 1, r1 - r0 + 1}
}
