package cells

import (
	"context"
	"fmt"
	"math"
	"slices"

	"bittern/internal/grid"
	"bittern/internal/raster"
)

// A Source is pixels that anything can fill in: an invented field, a picture
// held in memory.
type Source struct {
	Name       string // for messages; may be empty
	Cols, Rows int
	Affine     grid.Affine // picture to metres of the grid's zone
	Bands      []string    // of each interleaved sample: "green", ...; "" is not used
	Sample     Sample
	SRGB       bool     // 8-bit samples are sRGB display colour and become linear light in 0..1
	NoData     *float64 // nil when the source declares none
	Alpha      int      // which sample, from 1, is 0 where there is no data; 0 for none
	// Fill writes the pixels of win into dst: interleaved, little-endian, row
	// after row. It may be called from several goroutines.
	Fill func(win grid.Window, dst []byte) error
}

// side is the side of the windows that a Source is read in, in pixels.
const side = 512

// FromSource makes the summary of srcs on g, reading every window that
// touches it. inside says for each cell whether its centre is in the field.
//
// It is the plain way, one sample at a time; Pass does the same for files.
func FromSource(ctx context.Context, srcs []Source, g grid.Grid, inside []bool, workers int) (*Summary, error) {
	p := &pass{Options: Options{Workers: workers, MarginM: -1}, sum: &Summary{Grid: g, Inside: inside}}
	var placed []placedBands
	for i, s := range srcs {
		if err := s.validate(); err != nil {
			return nil, fmt.Errorf("source %d: %w", i, err)
		}
		placed = append(placed, placedBands{s.Bands, s.Sample, s.SRGB})
	}
	if err := p.setBands(placed); err != nil {
		return nil, err
	}
	var grounds []ground
	for _, s := range srcs {
		p.addSource(s)
		grounds = append(grounds, groundOfSource(s))
	}
	p.layUpon(grounds)
	if err := p.run(ctx); err != nil {
		return nil, err
	}
	return p.sum, nil
}

func (s *Source) validate() error {
	switch {
	case s.Cols <= 0 || s.Rows <= 0:
		return fmt.Errorf("%d x %d pixels", s.Cols, s.Rows)
	case s.Fill == nil:
		return fmt.Errorf("nothing fills it")
	case s.Alpha < 0 || s.Alpha > len(s.Bands):
		return fmt.Errorf("alpha is sample %d of %d", s.Alpha, len(s.Bands))
	case s.SRGB && s.Sample != Uint8:
		return fmt.Errorf("sRGB samples of more than 8 bits")
	}
	return nil
}

func (p *pass) addSource(s Source) {
	l := p.newLayout(s.Bands, s.Sample, s.SRGB)
	l.alpha = s.Alpha - 1
	l.setNoData(s.NoData)
	pixelM := math.Sqrt(math.Abs(float64(s.Affine.B*s.Affine.F) - float64(s.Affine.C*s.Affine.E)))
	pic := &picture{name: s.Name, layout: l, kernel: generic, open: func() reader { return &fillReader{src: s, size: len(s.Bands) * s.Sample.Bytes()} }}
	if u, ok := newUpright(s.Affine, p.sum.Grid); ok {
		pic.place = u
	} else {
		pic.place = newMesh(affineAt(s.Affine), p.sum.Grid, pixelM)
	}
	pic.across = (s.Cols + side - 1) / side
	for w := range raster.Tiles(s.Cols, s.Rows, side) {
		pic.chunks = append(pic.chunks, chunk{win: w})
	}
	p.pictures = append(p.pictures, pic)
	p.describe(pixelM, 8*s.Sample.Bytes(), s.SRGB)
}

// describe notes what a picture adds to the summary's head.
func (p *pass) describe(pixelM float64, bits int, lossy bool) {
	s := p.sum
	if s.PixelM == 0 || pixelM < s.PixelM {
		s.PixelM, s.Bits = pixelM, bits
	}
	s.Lossy = s.Lossy || lossy
}

// A fillReader reads a Source.
type fillReader struct {
	src  Source
	size int // bytes of a pixel
	buf  []byte
}

func (r *fillReader) read(c chunk) (pixels, error) {
	r.buf = slices.Grow(r.buf[:0], c.win.Cols*c.win.Rows*r.size)[:c.win.Cols*c.win.Rows*r.size]
	if err := r.src.Fill(c.win, r.buf); err != nil {
		return pixels{}, fmt.Errorf("reading %s, pixels %v: %w", r.src.Name, c.win, err)
	}
	return pixels{r.buf, c.win.Cols * r.size}, nil
}
