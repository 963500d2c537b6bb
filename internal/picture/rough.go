package picture

import (
	"fmt"
	"image"
	"io"
	"math"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// A Rough is the flight at one pixel a cell, on the day's grid, with its
// reductions by two: in a file, or in memory.
type Rough struct {
	grid   grid.Grid
	files  []*source
	levels []roughLevel // without files
}

// A roughLevel is red, green, blue and 255 where there is data, for each pixel.
type roughLevel struct {
	cols, rows int
	pix        []uint8
}

// NewRough opens the rough copy that was written with the day, a picture on g of
// four bands of 8 bits. r must stay open.
func NewRough(r io.ReaderAt, size int64, g grid.Grid) (*Rough, error) {
	files, err := onGrid(r, size, g, geotiff.Uint8, []string{"red", "green", "blue", ""})
	return &Rough{grid: g, files: files}, err
}

// onGrid opens a picture of the day that must be on g and have these bands, and its
// reductions by two: their blocks are read when they are looked at.
func onGrid(r io.ReaderAt, size int64, g grid.Grid, sample geotiff.Sample, bands []string) ([]*source, error) {
	im, err := geotiff.Open(r, size)
	if err != nil {
		return nil, err
	}
	if im.Cols != g.Cols || im.Rows != g.Rows || im.Sample != sample || im.Affine == nil || bands != nil && im.Bands != len(bands) {
		return nil, &doubt.Problem{What: "is not on the day's grid", Remedy: "run the day again"}
	}
	if bands == nil {
		bands = im.BandNames
	}
	var out []*source
	for step, next := 1.0, im; next != nil; step *= 2 {
		s, err := newSource(&imagery.File{Name: "a picture of the day", Image: next, CRS: g.CRS(), Bands: bands}, 1, tones{})
		if err != nil {
			return nil, err
		}
		out = append(out, s)
		smaller := im.Smaller(2 * step)
		if smaller == nil || smaller.Cols >= next.Cols {
			break
		}
		next = smaller
	}
	return out, nil
}

// readAll is every sample of a picture that must be on g.
func readAll(r io.ReaderAt, size int64, g grid.Grid, sample geotiff.Sample, bands int) ([]byte, error) {
	im, err := geotiff.Open(r, size)
	if err != nil {
		return nil, err
	}
	if im.Cols != g.Cols || im.Rows != g.Rows || im.Bands != bands || im.Sample != sample {
		return nil, &doubt.Problem{What: "is not on the day's grid", Remedy: "run the day again"}
	}
	px := bands * sample.Bytes()
	out := make([]byte, g.Len()*px)
	dec, buf := im.NewDecoder(), make([]byte, im.BlockBytes())
	for b := range im.Blocks() {
		if err := dec.Decode(b, buf); err != nil {
			return nil, fmt.Errorf("reading a picture of the day: %w", err)
		}
		win := im.Block(b)
		for row := range win.Rows {
			copy(out[g.Index(win.Col, win.Row+row)*px:][:win.Cols*px], buf[row*im.BlockCols*px:])
		}
	}
	return out, nil
}

// half is the level reduced by two: means of the pixels that have data.
func (l roughLevel) half() roughLevel {
	h := roughLevel{cols: (l.cols + 1) / 2, rows: (l.rows + 1) / 2}
	h.pix = make([]uint8, 4*h.cols*h.rows)
	for row := range h.rows {
		for col := range h.cols {
			var sum [3]int
			n := 0
			for k := range 4 {
				c, r := 2*col+k%2, 2*row+k/2
				if c >= l.cols || r >= l.rows {
					continue
				}
				px := l.pix[4*(r*l.cols+c):][:4]
				if px[3] == 0 {
					continue
				}
				n++
				for j := range sum {
					sum[j] += int(px[j])
				}
			}
			if n == 0 {
				continue
			}
			to := h.pix[4*(row*h.cols+col):][:4]
			for j, s := range sum {
				to[j] = uint8((s + n/2) / n)
			}
			to[3] = 255
		}
	}
	return h
}

// level is the reduction whose pixels are next below pixelM, and how many of
// them stand side by side in that of a cell.
func reduction(levels int, cellM, pixelM float64) (level int, cells float64) {
	cells = 1
	for level+1 < levels && cellM*cells*2 <= pixelM*1.01 {
		level, cells = level+1, cells*2
	}
	return level, cells
}

func (r *Rough) draw(img *image.NRGBA, l *lattice, pixelM float64, cache *Store) error {
	if len(r.files) > 0 {
		level, _ := reduction(len(r.files), r.grid.CellM, pixelM)
		return r.files[level].each(l, cache, func(i int, px []byte) { copy(img.Pix[4*i:4*i+4], px) })
	}
	level, cells := reduction(len(r.levels), r.grid.CellM, pixelM)
	from := r.levels[level]
	side := r.grid.CellM * cells
	l.each(func(i int, x, y float64) {
		col, row := math.Floor((x-r.grid.OriginX)/side), math.Floor((r.grid.OriginY-y)/side)
		if !(col >= 0 && row >= 0 && col < float64(from.cols) && row < float64(from.rows)) {
			return
		}
		copy(img.Pix[4*i:4*i+4], from.pix[4*(int(row)*from.cols+int(col)):][:4])
	})
	return nil
}

// RoughOf is a rough copy of pixels on g that are in memory already; it keeps
// img's pixels.
func RoughOf(img *image.NRGBA, g grid.Grid) *Rough {
	r := &Rough{grid: g, levels: []roughLevel{{g.Cols, g.Rows, img.Pix}}}
	r.reduce()
	return r
}

func (r *Rough) reduce() {
	for l := r.levels[0]; l.cols > TileSize || l.rows > TileSize; {
		l = l.half()
		r.levels = append(r.levels, l)
	}
}
