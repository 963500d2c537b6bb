// Package picture draws what a flight looks like to the eye, tile by tile: from
// its files at full size where a person looks closely, from a rough copy (one
// pixel a cell) where they look from afar, and in the flight's own projection
// with north up. It also draws what lies over the picture on the cell grid.
//
// A block of a file is decoded once and kept while there is room, for plain colour
// and indices alike; nothing else of the picture is ever held in memory.
package picture

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/imagery"
)

// TileSize is the pixels along a tile's side.
const TileSize = 256

// roughFromM is the ground size of a tile's pixel, in metres, from which tiles
// are drawn from the rough copy: below it the rough copy's cells would be seen.
const roughFromM = 0.34

// A View says how tiles lie on the ground: in a coordinate system whose north is
// up, with the north-west corner at (MinX, MaxY), tile (0, 0) there, and columns
// and rows that grow eastwards and southwards. A level's pixel is half as large
// as that of the level before; the last level shows every pixel of the flight.
type View struct {
	CRS                    crs.CRS
	MinX, MinY, MaxX, MaxY float64   // units of CRS
	Pixels                 []float64 // side of a pixel of each level, units of CRS
	MetersPerUnit          float64   // on the ground, at the middle of the view
}

// LonLat is the longitude and latitude of a place in v.
func (v View) LonLat(p geo.Point) geo.Point {
	lon, lat := v.CRS.Inverse(p.X, p.Y)
	return geo.Point{X: lon, Y: lat}
}

// A Picture is a flight that can be drawn. It may be used from several
// goroutines.
type Picture struct {
	View  View
	files []*source // none when only the rough copy is here
	rough *Rough
	off   geo.Point // how far the files' ground lies off the view's, m in the zone of the rough copy
	cache *Store
}

// Open lays the view over the ground that rough covers and opens the flight's
// files for it. flight may be nil: then the rough copy is all that is shown. gain
// is what linear light is multiplied with before it is shown; decoded blocks are kept
// in cache.
func Open(flight *imagery.Flight, rough *Rough, gain float64, cache *Store) (*Picture, error) {
	p := &Picture{rough: rough, cache: cache}
	zone := rough.grid.CRS()
	view, pixelM := zone, rough.grid.CellM
	if flight != nil {
		pixelM = flight.PixelM
		if own, ok := ownView(flight.Files[0]); ok {
			view = own
		}
	}
	if err := p.lay(view, pixelM); err != nil {
		return nil, err
	}
	return p, p.take(flight, gain)
}

// take prepares the files of a flight; none when it is nil.
func (p *Picture) take(flight *imagery.Flight, gain float64) error {
	if flight == nil {
		return nil
	}
	shared := tones{}
	for _, f := range flight.Files {
		s, err := newSource(f, gain, shared)
		if err != nil {
			return err
		}
		p.files = append(p.files, s)
	}
	return nil
}

// Beside lays another flight of the same ground in p's view, so that tiles of the
// two show one place; decoded blocks of both share one room. What stands at (x, y)
// on p stands at (x+off.X, y+off.Y), metres in the zone of rough's grid, in the
// files of the other flight. rough was laid back already. flight may be nil.
func (p *Picture) Beside(flight *imagery.Flight, rough *Rough, gain float64, off geo.Point) (*Picture, error) {
	other := &Picture{View: p.View, rough: rough, off: off, cache: p.cache}
	return other, other.take(flight, gain)
}

// ownView is a file's own coordinate system where its rows run eastwards and its
// columns southwards in it, so that it can be shown as it is.
func ownView(f *imagery.File) (crs.CRS, bool) {
	a := f.Image.Affine
	if a == nil || !f.CRS.Valid() || f.CRS.UnitM() == 0 {
		return crs.CRS{}, false
	}
	upright := a.B > 0 && a.F < 0 && math.Abs(a.C) < 1e-6*a.B && math.Abs(a.E) < 1e-6*a.B
	return f.CRS, upright
}

// lay sets the view so that it covers the rough copy's ground.
func (p *Picture) lay(view crs.CRS, pixelM float64) error {
	g := p.rough.grid
	v := View{CRS: view, MinX: math.Inf(1), MinY: math.Inf(1), MaxX: math.Inf(-1), MaxY: math.Inf(-1)}
	const steps = 16
	for i := range steps + 1 {
		for j := range steps + 1 {
			at := geo.Point{
				X: g.OriginX + g.CellM*float64(g.Cols)*float64(i)/steps,
				Y: g.OriginY - g.CellM*float64(g.Rows)*float64(j)/steps,
			}
			ll := g.LonLat(at)
			x, y, err := view.Forward(ll.X, ll.Y)
			if err != nil || math.IsNaN(x+y) {
				return fmt.Errorf("laying the view over the field: %w", errors.Join(err, errOutside))
			}
			v.MinX, v.MaxX = min(v.MinX, x), max(v.MaxX, x)
			v.MinY, v.MaxY = min(v.MinY, y), max(v.MaxY, y)
		}
	}
	middle := v.LonLat(geo.Point{X: (v.MinX + v.MaxX) / 2, Y: (v.MinY + v.MaxY) / 2})
	v.MetersPerUnit = view.UnitM() / view.ScaleFactor(middle.X, middle.Y)
	pixel := pixelM / v.MetersPerUnit
	side := max(v.MaxX-v.MinX, v.MaxY-v.MinY)
	levels := 1
	for pixel*math.Pow(2, float64(levels-1))*TileSize < side {
		levels++
	}
	for k := levels - 1; k >= 0; k-- {
		v.Pixels = append(v.Pixels, pixel*math.Pow(2, float64(k)))
	}
	p.View = v
	return nil
}

var errOutside = errors.New("the field lies outside the coordinate system of the picture")

// A Tile names one tile of the view.
type Tile struct{ Level, Col, Row int }

// Has reports whether t is a tile of v.
func (v View) Has(t Tile) bool {
	if t.Level < 0 || t.Level >= len(v.Pixels) || t.Col < 0 || t.Row < 0 {
		return false
	}
	side := v.Pixels[t.Level] * TileSize
	return float64(t.Col)*side < v.MaxX-v.MinX && float64(t.Row)*side < v.MaxY-v.MinY
}

// corner is the north-west corner of t.
func (v View) corner(t Tile) geo.Point {
	side := v.Pixels[t.Level] * TileSize
	return geo.Point{X: v.MinX + side*float64(t.Col), Y: v.MaxY - side*float64(t.Row)}
}

func noSuchTile() error {
	return &doubt.Problem{What: "there is no such part of the picture", Remedy: "open the day again"}
}

// Plain draws a tile as the eye would see the ground; clear where there is no
// data. A damaged block is a *doubt.Problem.
func (p *Picture) Plain(ctx context.Context, t Tile) (*image.NRGBA, error) {
	if !p.View.Has(t) {
		return nil, noSuchTile()
	}
	img := image.NewNRGBA(image.Rect(0, 0, TileSize, TileSize))
	if len(p.files) == 0 || p.View.Pixels[t.Level]*p.View.MetersPerUnit >= roughFromM {
		return img, p.rough.draw(img, p.lattice(t, p.rough.grid.CRS(), geo.Point{}), p.View.Pixels[t.Level]*p.View.MetersPerUnit, p.cache)
	}
	var c channels
	for _, s := range p.files {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := s.sample(&c, p.lattice(t, s.file.CRS, p.off), p.cache); err != nil {
			return nil, err
		}
	}
	c.paint(img)
	return img, nil
}

// Over draws what o says of the ground of a tile.
func (p *Picture) Over(o *Overlay, t Tile) (*image.NRGBA, error) {
	if !p.View.Has(t) {
		return nil, noSuchTile()
	}
	img := image.NewNRGBA(image.Rect(0, 0, TileSize, TileSize))
	return img, o.draw(img, p.lattice(t, o.grid.CRS(), geo.Point{}), p.View.Pixels[t.Level]*p.View.MetersPerUnit, p.cache)
}
