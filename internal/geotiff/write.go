package geotiff

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"

	"github.com/klauspost/compress/zlib"

	"bittern/internal/grid"
	"bittern/internal/raster"
)

// A Format says what a file to be written is like.
type Format struct {
	Cols, Rows int // pixels
	Bands      int // samples of a pixel, alpha included
	Sample     Sample
	Tile       int  // pixels along a tile's side, a multiple of 16; 0 is 512
	Deflate    bool // compress; else stored as they are
	Level      int  // 1 to 9; 0 is 6
	Predictor  bool // store differences along the row: for whole numbers, and as predictor 3 for floats
	Workers    int  // goroutines that compress; 0 is one for each processor. It changes no byte

	Affine    grid.Affine // to the ground, from the outer corner of the first pixel; zero for a picture without a place
	EPSG      int         // code of the coordinate system, 0 for none
	NoData    *float64    // number that stands for no data, nil for none
	Alpha     bool        // the last sample of a pixel is alpha
	BandNames []string    // one for each band, or none
	Colors    []string    // one for each band as in Image.Colors, or none
	DateTime  string      // "2026:07:14 09:05:00", or ""
	Software  string      // name of the writing program, or ""
	Big       bool        // write BigTIFF even if the file would fit the classic form

	Wavelengths []float64 // nm, one for each band, 0 where unknown; or none

	// Palette is the colour of each sample of a picture of one band of Uint8, red,
	// green and blue; nil for none.
	Palette [][3]uint8
	// Scales and Offsets, one for each band or none: a sample stands for itself
	// times the scale, plus the offset.
	Scales, Offsets []float64
	// GeoKeys define the coordinate system where EPSG is 0, as Image.GeoKeys
	// has them.
	GeoKeys []GeoKey
}

// Fill gives the pixels of one window of a picture that is being written: dst
// has win.Rows rows of win.Cols pixels, without gaps, each with its samples
// together, little-endian. dst holds zeros.
type Fill func(win grid.Window, dst []byte) error

// Write writes one picture, from the start of w, in tiles, row by row. fill is called from one
// goroutine at a time, once for each tile in row-major order, with the window
// cut to the picture; tiles are compressed by several goroutines, and come
// out the same for any number of them.
func Write(w io.WriteSeeker, f Format, fill Fill) error {
	if err := f.check(); err != nil {
		return err
	}
	f = f.withDefaults()
	big := f.big()
	start := headerBytes(big)
	if _, err := w.Write(make([]byte, start)); err != nil {
		return fmt.Errorf("writing the header: %w", err)
	}
	at := uint64(start)
	var offsets, counts []uint64
	for data, err := range f.tiles(fill) {
		if err != nil {
			return err
		}
		if _, err := w.Write(data); err != nil {
			return fmt.Errorf("writing tile %d: %w", len(offsets), err)
		}
		offsets, counts = append(offsets, at), append(counts, uint64(len(data)))
		at += uint64(len(data))
	}
	if at%2 == 1 { // directories begin at even places
		if _, err := w.Write([]byte{0}); err != nil {
			return fmt.Errorf("writing the directory: %w", err)
		}
		at++
	}
	dir := f.directory(0)
	dir.tiles(offsets, counts, big)
	if _, err := w.Write(dir.bytes(at, 0, big)); err != nil {
		return fmt.Errorf("writing the directory: %w", err)
	}
	if _, err := w.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("going back to the header: %w", err)
	}
	if _, err := w.Write(header(at, big)); err != nil {
		return fmt.Errorf("writing the header: %w", err)
	}
	_, err := w.Seek(0, io.SeekEnd)
	return err
}

// check finds what no file can be written for; it is a defect of the caller.
func (f Format) check() error {
	switch {
	case f.Cols < 1 || f.Rows < 1 || f.Cols > math.MaxInt32 || f.Rows > math.MaxInt32:
		return fmt.Errorf("a picture of %d x %d pixels cannot be written", f.Cols, f.Rows)
	case f.Bands < 1 || f.Bands > 4096 || int(f.Sample) >= len(sampleNames):
		return fmt.Errorf("a picture of %d bands of %v cannot be written", f.Bands, f.Sample)
	case f.Tile%16 != 0 || f.Tile < 0:
		return fmt.Errorf("the side of a tile must be a multiple of 16, not %d", f.Tile)
	case f.BandNames != nil && len(f.BandNames) != f.Bands || f.Colors != nil && len(f.Colors) != f.Bands,
		f.Wavelengths != nil && len(f.Wavelengths) != f.Bands:
		return errors.New("band names, colours and wavelengths must be as many as bands")
	case f.Palette != nil && (f.Bands != 1 || f.Sample != Uint8 || len(f.Palette) != 256):
		return errors.New("a palette is 256 colours of one band of bytes")
	case f.Scales != nil && (len(f.Scales) != f.Bands || len(f.Offsets) != f.Bands):
		return errors.New("scales and offsets must be as many as bands")
	}
	return nil
}

func (f Format) withDefaults() Format {
	if f.Tile == 0 {
		f.Tile = 512
	}
	if f.Level == 0 {
		f.Level = 6
	}
	if f.Workers == 0 {
		f.Workers = runtime.GOMAXPROCS(0)
	}
	return f
}

// big decides between the classic form, whose offsets have 32 bits, and
// BigTIFF, before anything is compressed.
func (f Format) big() bool {
	across, down := (f.Cols+f.Tile-1)/f.Tile, (f.Rows+f.Tile-1)/f.Tile
	bytes := float64(across*f.Tile) * float64(down*f.Tile) * float64(f.Bands*f.Sample.Bytes())
	return f.Big || bytes*1.001+float64(across*down)*32 > 4e9
}

// pixelBytes is the length of one pixel.
func (f Format) pixelBytes() int { return f.Bands * f.Sample.Bytes() }

// filled is a tile with its pixels, before compression.
type filled struct {
	win    grid.Window
	data   []byte
	stride int // bytes from one row to the next
}

// tiles yields the stored form of every tile, in row-major order.
func (f Format) tiles(fill Fill) func(func([]byte, error) bool) {
	src := func(yield func(filled, error) bool) {
		for win := range raster.Tiles(f.Cols, f.Rows, f.Tile) {
			data := make([]byte, win.Cols*win.Rows*f.pixelBytes())
			err := fill(win, data)
			if !yield(filled{win, data, win.Cols * f.pixelBytes()}, err) || err != nil {
				return
			}
		}
	}
	return raster.MapOrderedWith(context.Background(), f.Workers, src, func() func(context.Context, filled) ([]byte, error) {
		p := packer{f: f}
		return p.pack
	})
}

// A packer turns tiles into their stored form and keeps the buffers for it.
type packer struct {
	f    Format
	tile []byte
	row  []byte
	out  bytes.Buffer
	zlib *zlib.Writer
}

// pack pads, predicts and compresses one tile.
func (p *packer) pack(_ context.Context, t filled) ([]byte, error) {
	p.pad(t)
	if !p.f.Deflate {
		return slices.Clone(p.tile), nil
	}
	if p.f.Predictor {
		p.predict()
	}
	p.out.Reset()
	if p.zlib == nil {
		z, err := zlib.NewWriterLevel(&p.out, p.f.Level)
		if err != nil {
			return nil, fmt.Errorf("compressing with level %d: %w", p.f.Level, err)
		}
		p.zlib = z
	} else {
		p.zlib.Reset(&p.out)
	}
	if _, err := p.zlib.Write(p.tile); err != nil {
		return nil, fmt.Errorf("compressing a tile: %w", err)
	}
	if err := p.zlib.Close(); err != nil {
		return nil, fmt.Errorf("compressing a tile: %w", err)
	}
	return bytes.Clone(p.out.Bytes()), nil
}

// pad copies a tile into the full size. Rows and columns outside the picture
// repeat its last ones, which compresses to nearly nothing.
func (p *packer) pad(t filled) {
	side, px := p.f.Tile, p.f.pixelBytes()
	rowBytes := side * px
	if p.tile == nil {
		p.tile = make([]byte, side*rowBytes)
	}
	for r := range side {
		row := p.tile[r*rowBytes:][:rowBytes]
		if r >= t.win.Rows {
			copy(row, p.tile[(r-1)*rowBytes:])
			continue
		}
		n := copy(row, t.data[r*t.stride:][:t.win.Cols*px])
		for ; n < rowBytes; n += px {
			copy(row[n:], row[n-px:n])
		}
	}
}

// predict stores differences instead of samples.
func (p *packer) predict() {
	f := p.f
	if !f.Sample.Float() {
		applyDifferences(p.tile, f.Tile, f.Bands, f.Sample.Bytes())
		return
	}
	n, rowBytes := f.Sample.Bytes(), f.Tile*f.pixelBytes()
	samples := rowBytes / n
	if p.row == nil {
		p.row = make([]byte, rowBytes)
	}
	for tile := p.tile; len(tile) > 0; tile = tile[rowBytes:] {
		for i := range samples {
			for k := range n {
				p.row[k*samples+i] = tile[i*n+n-1-k]
			}
		}
		for i := rowBytes - 1; i >= f.Bands; i-- {
			p.row[i] -= p.row[i-f.Bands]
		}
		copy(tile, p.row)
	}
}

func headerBytes(big bool) int {
	if big {
		return 16
	}
	return 8
}

// header is the start of a little-endian file whose first directory is at
// first.
func header(first uint64, big bool) []byte {
	le := binary.LittleEndian
	if big {
		b := le.AppendUint16([]byte("II"), 43)
		return le.AppendUint64(le.AppendUint16(le.AppendUint16(b, 8), 0), first)
	}
	return le.AppendUint32(le.AppendUint16([]byte("II"), 42), uint32(first))
}
