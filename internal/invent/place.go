package invent

import (
	"fmt"
	"math"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A placement ties the field's own frame (metres, sides along the axes, middle
// at the origin) to the ground and to the picture.
type placement struct {
	zone       crs.CRS
	cx, cy     float64 // m, the field's middle in its UTM zone
	cosA, sinA float64 // field axes against the grid
	aff        grid.Affine
	pixelM     float64
	cosR, sinR float64 // picture axes against the grid
	cols, rows int
	northDeg   float64 // degrees clockwise from true north to grid north
}

// angle turns a heading (degrees clockwise from true north) into an angle of
// the own frame (radians counterclockwise from its X axis).
func (p *placement) angle(headingDeg float64) float64 {
	return (90-(headingDeg-p.northDeg))*math.Pi/180 - math.Atan2(p.sinA, p.cosA)
}

// heading is the opposite of angle, 0 to 360.
func (p *placement) heading(angle float64) float64 {
	h := 90 - (angle+math.Atan2(p.sinA, p.cosA))*180/math.Pi + p.northDeg
	return math.Mod(math.Mod(h, 360)+360, 360)
}

// ground turns a point of the field's frame into the UTM zone.
func (p *placement) ground(q geo.Point) geo.Point {
	return geo.Point{
		X: p.cx + float64(q.X*p.cosA) - float64(q.Y*p.sinA),
		Y: p.cy + float64(q.X*p.sinA) + float64(q.Y*p.cosA),
	}
}

// local turns a point of the UTM zone into the field's frame.
func (p *placement) local(g geo.Point) geo.Point {
	x, y := g.X-p.cx, g.Y-p.cy
	return geo.Point{
		X: float64(x*p.cosA) + float64(y*p.sinA),
		Y: float64(y*p.cosA) - float64(x*p.sinA),
	}
}

// fromPixel turns picture coordinates into the field's frame.
func (p *placement) fromPixel(col, row float64) geo.Point {
	a := p.aff
	return p.local(geo.Point{
		X: a.A + float64(a.B*col) + float64(a.C*row),
		Y: a.D + float64(a.E*col) + float64(a.F*row),
	})
}

// toPixel turns a point of the UTM zone into picture coordinates.
func (p *placement) toPixel(g geo.Point) (col, row float64) {
	x, y := g.X-p.aff.A, g.Y-p.aff.D
	col = (float64(x*p.cosR) + float64(y*p.sinR)) / p.pixelM
	row = (float64(x*p.sinR) - float64(y*p.cosR)) / p.pixelM
	return col, row
}

// newPlacement lays a field of the given outline (own frame) on the ground,
// and a picture round it whose pixels keep off whole half metres.
func newPlacement(s Scene, day uint64, ring geo.Ring) (*placement, error) {
	p := &placement{zone: crs.UTMFor(s.Lon, s.Lat), pixelM: s.PixelM}
	p.northDeg = p.zone.Convergence(s.Lon, s.Lat)
	p.sinA, p.cosA = math.Sincos(s.AskewDeg * math.Pi / 180)
	p.sinR, p.cosR = math.Sincos(s.RotateDeg * math.Pi / 180)
	lo, _ := extent(ring, p.ground)
	east, north, err := p.zone.Forward(s.Lon, s.Lat)
	if err != nil {
		return nil, fmt.Errorf("corner at %g, %g: %w", s.Lon, s.Lat, err)
	}
	p.cx, p.cy = east-lo.X, north-lo.Y

	// Extent in the picture's axes: east along its rows, south down its columns.
	low, high := extent(ring, func(q geo.Point) geo.Point {
		g := p.ground(q)
		return geo.Point{X: float64(g.X*p.cosR) + float64(g.Y*p.sinR), Y: float64(g.X*p.sinR) - float64(g.Y*p.cosR)}
	})
	d := dice{seed: sub(day, 901)}
	west, top := low.X-d.u(14, 19), low.Y-d.u(14, 19)
	p.cols = int(math.Ceil((high.X + d.u(14, 19) - west) / s.PixelM))
	p.rows = int(math.Ceil((high.Y + d.u(14, 19) - top) / s.PixelM))
	p.aff = grid.Affine{
		A: float64(west*p.cosR) + float64(top*p.sinR), B: s.PixelM * p.cosR, C: s.PixelM * p.sinR,
		D: float64(west*p.sinR) - float64(top*p.cosR), E: s.PixelM * p.sinR, F: -s.PixelM * p.cosR,
	}
	if s.RotateDeg == 0 {
		p.aff.C, p.aff.E = 0, 0
	}
	return p, nil
}

// extent returns the smallest and largest coordinates of ring after turn.
func extent(ring geo.Ring, turn func(geo.Point) geo.Point) (lo, hi geo.Point) {
	lo = geo.Point{X: math.Inf(1), Y: math.Inf(1)}
	hi = geo.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, q := range ring {
		t := turn(q)
		lo.X, lo.Y = min(lo.X, t.X), min(lo.Y, t.Y)
		hi.X, hi.Y = max(hi.X, t.X), max(hi.Y, t.Y)
	}
	return lo, hi
}
