package cells

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// Pass makes the summary of a flight on g. inside says for each cell whether
// its centre is in the field.
//
// The error is a *doubt.Problem when a file is damaged, when no picture lies
// over the field or none has data there, and when a pixel is larger than a
// cell.
func Pass(ctx context.Context, f *imagery.Flight, g grid.Grid, inside []bool, opt Options) (*Summary, error) {
	s, _, err := PassReduced(ctx, f, g, inside, opt, nil)
	return s, err
}

// PassReduced is Pass which makes smaller copies of the pictures on the way, of
// the windows that it reads: no pixel is decoded twice for them. They are in the
// order of the flight's files. With red nil there are none.
func PassReduced(ctx context.Context, f *imagery.Flight, g grid.Grid, inside []bool, opt Options, red *Reduction) (*Summary, []*Reduced, error) {
	var reduced []*Reduced
	p := &pass{Options: opt, sum: &Summary{Grid: g, Inside: inside}}
	zone, err := crs.FromEPSG(g.EPSG)
	if err != nil {
		return nil, nil, fmt.Errorf("the grid's zone: %w", err)
	}
	for _, file := range f.Files {
		if file.PixelM > g.CellM {
			return nil, nil, &doubt.Problem{
				Kind: doubt.Unfit, File: file.Name,
				What:   fmt.Sprintf("a pixel is %.2g m on the ground, and patches are looked for in cells of %g m", file.PixelM, g.CellM),
				Remedy: "fly lower, or give the picture at its full size",
			}
		}
	}
	p.floats = asFloats(f.Files)
	stacks := stacksOf(f.Files)
	var bands []placedBands
	for _, s := range stacks {
		bands = append(bands, placedBands{s.bands, sampleOf(s.files[0], p.floats), s.files[0].SRGB})
	}
	if err := p.setBands(bands); err != nil {
		return nil, nil, err
	}
	var grounds []ground
	for _, s := range stacks {
		p.addStack(s, zone)
		grounds = append(grounds, groundOfFile(s.files[0]))
		if red == nil {
			continue
		}
		pic := p.pictures[len(p.pictures)-1]
		r, err := newReduced(red, s.files[0], pic.layout, p.sum.Bands, opt.Workers)
		if err != nil {
			return nil, nil, err
		}
		pic.reduced, reduced = r, append(reduced, r)
	}
	p.layUpon(grounds)
	if err := p.run(ctx); err != nil {
		return nil, nil, err
	}
	for _, r := range reduced {
		if err := r.finishEdges(); err != nil {
			return nil, nil, err
		}
	}
	return p.sum, reduced, nil
}

// sampleOf is the type that a file's samples are summed as. Those that are
// neither bytes nor unsigned 16-bit numbers become 32-bit floats, and with
// floats all do but display colour.
func sampleOf(f *imagery.File, floats bool) Sample {
	if floats && !f.SRGB {
		return Float32
	}
	switch f.Image.Sample {
	case geotiff.Uint8:
		return Uint8
	case geotiff.Uint16:
		return Uint16
	default:
		return Float32
	}
}

// addStack adds a file, or files whose pixels coincide, as one picture.
func (p *pass) addStack(s stack, zone crs.CRS) {
	file := s.files[0]
	im := file.Image
	l := p.newLayout(s.bands, sampleOf(file, p.floats), file.SRGB)
	l.alpha = im.Alpha
	if file.Mask != nil { // one more sample
		l.samples, l.alpha = l.samples+1, l.samples
	}
	l.setNoData(im.NoData)
	switch scale, _ := file.Scale(); {
	case p.floats && !file.SRGB: // a scaler has marked the gaps
		l.hasVoid, l.guessed = false, guessesGaps(file)
	case l.kind != Float32:
		l.unit = scale
	}
	pic := &picture{name: file.Name, layout: l}
	pic.kernel, pic.differences = chooseKernel(l, len(s.files) == 1 && file.Mask == nil && l.kind != Float32 && im.RawPredictor() == 2)
	pic.open = func() reader { return s.reader(pic.differences, p.floats) }
	at, same := file.To(zone)
	u, straight := newUpright(*im.Affine, p.sum.Grid)
	if pic.place = u; !same || !straight {
		pic.place = newMesh(at, p.sum.Grid, file.PixelM)
	}
	if scale := 1 / p.sum.Grid.CellM; l.quad() && l.ratio != nil && narrowFits(func(col, row float64) (x, y float64) {
		x, y = at(col, row)
		return x * scale, y * scale
	}, im.Cols, im.Rows) {
		pic.narrow, pic.kernel = true, narrow
		if pic.differences {
			pic.kernel = narrowDifferences
		}
	}
	pic.across = (im.Cols + im.BlockCols - 1) / im.BlockCols
	for i := range im.Blocks() {
		pic.chunks = append(pic.chunks, chunk{win: im.Block(i), block: i})
	}
	p.pictures = append(p.pictures, pic)
	for _, f := range s.files {
		p.describe(f.PixelM, f.Image.StoredBits, f.SRGB || f.Image.Lossy)
	}
}

// A fileReader reads the blocks of a file.
type fileReader struct {
	file *imagery.File
	dec  *geotiff.Decoder
	raw  bool // leave differences along the row to the kernel
	kind Sample
	unit *scaler // nil when samples count as they are
	buf  []byte
	conv []byte // samples of other types as 32-bit floats
}

func newFileReader(f *imagery.File, raw, floats bool) *fileReader {
	r := &fileReader{file: f, dec: f.Image.NewDecoder(), raw: raw, kind: sampleOf(f, floats)}
	if floats && !f.SRGB {
		r.unit = newScaler(f)
	}
	return r
}

func (r *fileReader) read(c chunk) (pixels, error) {
	if r.file.Image.BlockEmpty(c.block) {
		return pixels{}, nil
	}
	return r.decode(c)
}

// decode reads a block, also one that the file has no bytes for.
func (r *fileReader) decode(c chunk) (pixels, error) {
	im := r.file.Image
	r.buf = slices.Grow(r.buf[:0], im.BlockBytes())[:im.BlockBytes()]
	decode := r.dec.Decode
	if r.raw {
		decode = r.dec.DecodeRaw
	}
	if err := decode(c.block, r.buf); err != nil {
		return pixels{}, r.named(err)
	}
	size := im.Bands * im.Sample.Bytes()
	px := r.buf
	if r.kind == Float32 && im.Sample != geotiff.Float32 {
		r.conv = toFloat32(r.conv, r.buf, im.Sample)
		px, size = r.conv, im.Bands*Float32.Bytes()
	}
	if r.unit != nil {
		r.unit.convert(px)
	}
	return pixels{data: px, stride: im.BlockCols * size}, nil
}

// named puts the file's name into a problem with its pixels.
func (r *fileReader) named(err error) error {
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return fmt.Errorf("reading %s: %w", r.file.Name, err)
	}
	named := *p
	named.File = r.file.Name
	return &named
}

// toFloat32 converts samples of type s, in the buffer dst if it is large
// enough. 16-bit numbers are exact, larger ones are rounded.
func toFloat32(dst, src []byte, s geotiff.Sample) []byte {
	n := len(src) / s.Bytes()
	dst = slices.Grow(dst[:0], 4*n)[:4*n]
	for i := range n {
		from := src[i*s.Bytes():]
		var v float32
		switch s {
		case geotiff.Uint8:
			v = float32(from[0])
		case geotiff.Uint16:
			v = float32(binary.LittleEndian.Uint16(from))
		case geotiff.Int16:
			v = float32(int16(binary.LittleEndian.Uint16(from)))
		case geotiff.Uint32:
			v = float32(binary.LittleEndian.Uint32(from))
		case geotiff.Int32:
			v = float32(int32(binary.LittleEndian.Uint32(from)))
		default:
			v = float32(math.Float64frombits(binary.LittleEndian.Uint64(from)))
		}
		binary.LittleEndian.PutUint32(dst[4*i:], math.Float32bits(v))
	}
	return dst
}
