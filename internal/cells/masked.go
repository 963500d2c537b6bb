package cells

import (
	"encoding/binary"
	"math"
	"slices"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// asFloats reports whether the samples of files must be turned into numbers
// of their bands' units before they are summed: whole numbers can be summed as
// they are only where one scale holds for all.
func asFloats(files []*imagery.File) bool {
	first := math.NaN()
	for _, f := range files {
		scale, plain := f.Scale()
		switch {
		case f.SRGB:
		case !plain, !math.IsNaN(first) && scale != first, f.Image.Sample.Float() && scale != 1:
			return true
		default:
			first = scale
		}
	}
	return false
}

// A scaler turns the samples of a file into 32-bit floats in their bands'
// units. Pixels without data become not a number.
type scaler struct {
	im   *geotiff.Image
	used []int    // samples that are summed
	void *float64 // nil when nothing says where there is no data
	zero bool     // then pixels that are 0 in every used sample have none
}

func newScaler(f *imagery.File) *scaler {
	s := &scaler{im: f.Image, void: f.Image.NoData}
	for i, name := range f.Bands {
		if name != "" {
			s.used = append(s.used, i)
		}
	}
	if s.zero = guessesGaps(f); s.zero {
		s.void = new(float64)
	}
	return s
}

// guessesGaps reports whether a file says nothing of where it has no data.
func guessesGaps(f *imagery.File) bool {
	return f.Image.NoData == nil && f.Image.Alpha < 0 && f.Mask == nil
}

// convert changes the floats of raw samples, in place.
func (s *scaler) convert(floats []byte) {
	bands := s.im.Bands
	for ; len(floats) >= 4*bands; floats = floats[4*bands:] {
		px := floats[:4*bands]
		gap := s.gap(px)
		for b := range bands {
			v := float64(math.Float32frombits(binary.LittleEndian.Uint32(px[4*b:])))
			v = float64(v*s.im.Scales[b]) + s.im.Offsets[b]
			if gap && b != s.im.Alpha {
				v = math.NaN()
			}
			binary.LittleEndian.PutUint32(px[4*b:], math.Float32bits(float32(v)))
		}
	}
}

// gap reports whether a pixel of raw samples has no data: where all used
// samples are void, and where one is for floats that the file declares.
func (s *scaler) gap(px []byte) bool {
	voids := 0
	for _, b := range s.used {
		w := binary.LittleEndian.Uint32(px[4*b:])
		if beyond(w) {
			return true
		}
		if s.void != nil && math.Float32frombits(w) == float32(*s.void) {
			voids++
		}
	}
	return voids == len(s.used) || voids > 0 && s.im.Sample.Float() && !s.zero
}

// A masker reads the windows of a mask, whose blocks need not be those of its
// picture. It keeps the blocks it read last.
type masker struct {
	im   *geotiff.Image
	dec  *geotiff.Decoder
	kept []maskBlock
	next int // of kept to give up
	out  []byte
}

type maskBlock struct {
	block int
	data  []byte
}

// keptMask is how many bytes of decoded masks one worker keeps.
const keptMask = 16 << 20

func newMasker(im *geotiff.Image) *masker { return &masker{im: im, dec: im.NewDecoder()} }

// window is a byte for each pixel of w, 0 where there is no data, row after
// row. It holds until the next call.
func (m *masker) window(w grid.Window) ([]byte, error) {
	m.out = slices.Grow(m.out[:0], w.Cols*w.Rows)[:w.Cols*w.Rows]
	across := (m.im.Cols + m.im.BlockCols - 1) / m.im.BlockCols
	for down := w.Row / m.im.BlockRows; down*m.im.BlockRows < w.Row+w.Rows; down++ {
		for right := w.Col / m.im.BlockCols; right*m.im.BlockCols < w.Col+w.Cols; right++ {
			data, err := m.block(down*across + right)
			if err != nil {
				return nil, err
			}
			col, row := right*m.im.BlockCols, down*m.im.BlockRows
			part := w.Intersect(grid.Window{Col: col, Row: row, Cols: m.im.BlockCols, Rows: m.im.BlockRows})
			for r := part.Row; r < part.Row+part.Rows; r++ {
				copy(m.out[(r-w.Row)*w.Cols+part.Col-w.Col:][:part.Cols], data[(r-row)*m.im.BlockCols+part.Col-col:])
			}
		}
	}
	return m.out, nil
}

// block is a decoded block of the mask.
func (m *masker) block(i int) ([]byte, error) {
	if k := slices.IndexFunc(m.kept, func(b maskBlock) bool { return b.block == i }); k >= 0 {
		return m.kept[k].data, nil
	}
	if len(m.kept) < max(keptMask/m.im.BlockBytes(), 1) {
		m.next = len(m.kept)
		m.kept = append(m.kept, maskBlock{data: make([]byte, m.im.BlockBytes())})
	} else {
		m.next = (m.next + 1) % len(m.kept)
	}
	b := &m.kept[m.next]
	b.block = -1
	if err := m.dec.Decode(i, b.data); err != nil {
		return nil, err
	}
	b.block = i
	return b.data, nil
}

// A maskedReader gives the pixels of a file one more sample, which is 0 where
// the file's mask, or its transparency, says that there is no data.
type maskedReader struct {
	pixels *fileReader
	mask   *masker
	size   int // bytes of a sample
	buf    []byte
}

func newMaskedReader(f *imagery.File, floats bool) *maskedReader {
	return &maskedReader{pixels: newFileReader(f, false, floats), mask: newMasker(f.Mask), size: sampleOf(f, floats).Bytes()}
}

func (r *maskedReader) read(c chunk) (pixels, error) {
	px, err := r.pixels.read(c)
	if err != nil || px.data == nil {
		return px, err
	}
	mask, err := r.mask.window(c.win)
	if err != nil {
		return pixels{}, r.pixels.named(err)
	}
	im := r.pixels.file.Image
	from, to := im.Bands*r.size, (im.Bands+1)*r.size
	stride := c.win.Cols * to
	r.buf = slices.Grow(r.buf[:0], c.win.Rows*stride)[:c.win.Rows*stride]
	for row := range c.win.Rows {
		line := px.data[row*px.stride:]
		for col := range c.win.Cols {
			p := r.buf[row*stride+col*to:][:to]
			copy(p, line[col*from:][:from])
			r.set(p[from:], mask[row*c.win.Cols+col] != 0 && !r.clear(p))
		}
	}
	return pixels{r.buf, stride}, nil
}

// clear reports whether the file calls the pixel transparent.
func (r *maskedReader) clear(p []byte) bool {
	alpha := r.pixels.file.Image.Alpha
	if alpha < 0 {
		return false
	}
	for _, v := range p[alpha*r.size:][:r.size] {
		if v != 0 {
			return false
		}
	}
	return true
}

// set writes the sample that tells whether there is data: 0, or 1 in any type.
func (r *maskedReader) set(p []byte, has bool) {
	clear(p)
	switch {
	case !has:
	case r.size == Float32.Bytes():
		binary.LittleEndian.PutUint32(p, math.Float32bits(1))
	default:
		p[0] = 1
	}
}
