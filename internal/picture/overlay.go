package picture

import (
	"encoding/binary"
	"image"
	"image/color"
	"io"
	"math"

	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
)

// An Overlay is one colour over the picture, more or less clear, cell by cell.
type Overlay struct {
	grid     grid.Grid
	color    color.NRGBA
	from, to float64
	files    []*source // the cells, and their reductions by two
}

// NewOverlay opens a picture of one band of 32-bit floats on g. It is clear up to
// from and where there is no number, and full at to. r must stay open.
func NewOverlay(r io.ReaderAt, size int64, g grid.Grid, c color.NRGBA, from, to float64) (*Overlay, error) {
	files, err := onGrid(r, size, g, geotiff.Float32, []string{"departure"})
	return &Overlay{grid: g, color: c, from: from, to: to, files: files}, err
}

func (o *Overlay) draw(img *image.NRGBA, l *lattice, pixelM float64, cache *Store) error {
	level, _ := reduction(len(o.files), o.grid.CellM, pixelM)
	return o.files[level].each(l, cache, func(i int, raw []byte) {
		share := (float64(math.Float32frombits(binary.LittleEndian.Uint32(raw))) - o.from) / (o.to - o.from)
		if !(share > 0) {
			return
		}
		px := img.Pix[4*i : 4*i+4]
		px[0], px[1], px[2], px[3] = o.color.R, o.color.G, o.color.B, uint8(math.Round(min(1, share)*255))
	})
}

// A Ground says of each cell which of several kinds it is of, 0 for none.
type Ground struct {
	grid grid.Grid
	kind []uint8
}

// NewGround reads a picture of one band of 8 bits on g.
func NewGround(r io.ReaderAt, size int64, g grid.Grid) (*Ground, error) {
	kind, err := readAll(r, size, g, geotiff.Uint8, 1)
	if err != nil {
		return nil, err
	}
	return &Ground{grid: g, kind: kind}, nil
}

// Kind is the kind of a cell.
func (gr *Ground) Kind(i int) uint8 { return gr.kind[i] }

// KindAt is the kind of the ground at a place of the view; 0 for none.
func (p *Picture) KindAt(gr *Ground, at geo.Point) uint8 {
	here := moved(at, p.View.CRS, gr.grid.CRS(), gr.grid.CRS(), geo.Point{})
	return gr.at(here.X, here.Y)
}

// at is the kind of the cell at a place of the grid's zone.
func (gr *Ground) at(x, y float64) uint8 {
	g := gr.grid
	col, row := math.Floor((x-g.OriginX)/g.CellM), math.Floor((g.OriginY-y)/g.CellM)
	if !(col >= 0 && row >= 0 && col < float64(g.Cols) && row < float64(g.Rows)) {
		return 0
	}
	return gr.kind[int(row)*g.Cols+int(col)]
}

// Slanted draws slanting lines over the ground of a tile that is of kind, or of
// any kind when it is 0.
func (p *Picture) Slanted(gr *Ground, t Tile, kind uint8, ink color.NRGBA) (*image.NRGBA, error) {
	if !p.View.Has(t) {
		return nil, noSuchTile()
	}
	const spacing, width = 8, 3 // pixels; TileSize is a multiple of the spacing, so that lines go on from tile to tile
	img := image.NewNRGBA(image.Rect(0, 0, TileSize, TileSize))
	p.lattice(t, gr.grid.CRS(), geo.Point{}).each(func(i int, x, y float64) {
		if (i%TileSize+i/TileSize)%spacing >= width {
			return
		}
		if k := gr.at(x, y); k == 0 || kind != 0 && k != kind {
			return
		}
		px := img.Pix[4*i : 4*i+4]
		px[0], px[1], px[2], px[3] = ink.R, ink.G, ink.B, ink.A
	})
	return img, nil
}
