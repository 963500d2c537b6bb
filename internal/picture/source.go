package picture

import (
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"math"
	"slices"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// The channels that are shown.
const (
	red = iota
	green
	blue
	shown
)

// channels gathers what the files hold for one tile: display bytes, and which
// of them are known.
type channels struct {
	value [shown][TileSize * TileSize]uint8
	known [shown][TileSize * TileSize]bool
}

// paint puts the channels together. Where a flight has no blue or no red, it
// gets one from the others, as foliage and soil have it.
func (c *channels) paint(img *image.NRGBA) {
	linear := linearOf()
	for i := range TileSize * TileSize {
		r, g, b := c.value[red][i], c.value[green][i], c.value[blue][i]
		switch {
		case !c.known[green][i] && !c.known[red][i]:
			continue
		case !c.known[green][i]:
			g = r
		case !c.known[red][i]:
			r = g
		}
		if !c.known[blue][i] {
			b = Display(BlueOf(linear[r], linear[g]))
		}
		px := img.Pix[4*i : 4*i+4]
		px[0], px[1], px[2], px[3] = r, g, b, 0xFF
	}
}

// A source is one file of the flight as it is drawn.
type source struct {
	file   *imagery.File
	invert grid.Affine
	shows  []shows
	across int // blocks along a row of blocks
}

// shows says which sample of a pixel shows as which channel, and how.
type shows struct {
	channel int
	at      int // bytes from the pixel's first
	tone    *tone
}

// A tone turns the stored values of one band into display bytes.
type tone struct {
	toneKey
	table []uint8 // of each value of samples of 8 and 16 bits; nil for others
}

// A toneKey is what a tone depends on.
type toneKey struct {
	sample        geotiff.Sample
	scale, offset float64
	gain          float64
	srgb          bool
}

// tones are made once for all files of a flight that store their bands alike.
type tones map[toneKey]*tone

func (ts tones) of(k toneKey) *tone {
	if t := ts[k]; t != nil {
		return t
	}
	t := &tone{toneKey: k}
	if bits := 8 * k.sample.Bytes(); bits <= 16 {
		t.table = make([]uint8, 1<<bits)
	}
	for i := range t.table {
		v := float64(i)
		if k.sample == geotiff.Int16 {
			v = float64(int16(uint16(i)))
		}
		t.table[i] = t.show(v)
	}
	ts[k] = t
	return t
}

// newSource prepares a file. gain multiplies linear light.
func newSource(f *imagery.File, gain float64, ts tones) (*source, error) {
	inv, ok := f.Image.Affine.Invert()
	if !ok {
		return nil, &doubt.Problem{File: f.Name, What: "its pixels have no size on the ground", Remedy: "export it again"}
	}
	s := &source{file: f, invert: inv, across: (f.Image.Cols + f.Image.BlockCols - 1) / f.Image.BlockCols}
	wanted := []string{"red", "green", "blue"}
	show := func(band, channel int) {
		t := ts.of(toneKey{sample: f.Image.Sample, scale: f.Image.Scales[band], offset: f.Image.Offsets[band], gain: gain, srgb: f.SRGB})
		s.shows = append(s.shows, shows{channel: channel, at: band * f.Image.Sample.Bytes(), tone: t})
	}
	for i, name := range f.Bands {
		if channel := slices.Index(wanted, name); channel >= 0 {
			show(i, channel)
		}
	}
	if !slices.ContainsFunc(s.shows, func(s shows) bool { return s.channel == red || s.channel == green }) {
		// No colour at all: the first band that is used stands for the rest, in grey.
		if i := slices.IndexFunc(f.Bands, func(n string) bool { return n != "" }); i >= 0 {
			show(i, green)
		}
	}
	return s, nil
}

// show is the display byte of a stored value.
func (t *tone) show(v float64) uint8 {
	if t.srgb {
		return Display(linearLight(v/255) * t.gain)
	}
	return Display((v*t.scale + t.offset) * t.gain)
}

// of is the display byte of a stored sample.
func (t *tone) of(px []byte) uint8 {
	switch len(t.table) {
	case 1 << 8:
		return t.table[px[0]]
	case 1 << 16:
		return t.table[binary.LittleEndian.Uint16(px)]
	}
	return t.show(number(px, t.sample))
}

// sample fills in the pixels of a tile that the file knows and no file before
// it did.
func (s *source) sample(c *channels, l *lattice, cache *Store) error {
	return s.each(l, cache, func(i int, px []byte) {
		for k := range s.shows {
			sh := &s.shows[k]
			if !c.known[sh.channel][i] {
				c.value[sh.channel][i], c.known[sh.channel][i] = sh.tone.of(px[sh.at:]), true
			}
		}
	})
}

// each calls do with the stored samples of each pixel of a tile that has data.
func (s *source) each(l *lattice, cache *Store, do func(i int, px []byte)) error {
	im := s.file.Image
	size := im.Bands * im.Sample.Bytes()
	var failed error
	var last *keptBlock
	lastBlock := -1
	l.each(func(i int, x, y float64) {
		p := s.invert.Apply(x, y)
		if failed != nil || !(p.X >= 0 && p.Y >= 0 && p.X < float64(im.Cols) && p.Y < float64(im.Rows)) {
			return
		}
		col, row := int(p.X), int(p.Y)
		block := row/im.BlockRows*s.across + col/im.BlockCols
		if block != lastBlock {
			last, failed = cache.get(s, block)
			lastBlock = block
			if failed != nil {
				return
			}
		}
		if last == nil {
			return
		}
		if at := row%im.BlockRows*im.BlockCols + col%im.BlockCols; last.has == nil || last.has[at] {
			do(i, last.samples[at*size:][:size])
		}
	})
	return failed
}

// A keptBlock is a decoded block: the samples as they are stored, and which
// pixels have data, nil where all have.
type keptBlock struct {
	samples []byte
	has     []bool
}

// decode decodes a block; nil when the file holds nothing for it.
func (s *source) decode(block int) (*keptBlock, error) {
	im := s.file.Image
	if im.BlockEmpty(block) {
		return nil, nil
	}
	out := &keptBlock{samples: make([]byte, im.BlockBytes())}
	if err := im.NewDecoder().Decode(block, out.samples); err != nil {
		return nil, s.named(err)
	}
	mask, err := s.mask(block)
	if err != nil {
		return nil, err
	}
	size := im.Sample.Bytes() * im.Bands
	has, all := make([]bool, len(out.samples)/size), true
	for i := range has {
		has[i] = (mask == nil || mask[i] != 0) && s.has(out.samples[i*size:][:size])
		all = all && has[i]
	}
	if !all {
		out.has = has
	}
	return out, nil
}

// has reports whether a pixel has data: it is not clear, and not every used
// sample is the number that stands for none (0, where the file names no number
// and has no other way to say so).
func (s *source) has(px []byte) bool {
	im := s.file.Image
	size := im.Sample.Bytes()
	if im.Alpha >= 0 {
		if number(px[im.Alpha*size:], im.Sample) == 0 {
			return false
		}
	}
	void := im.NoData
	if void == nil {
		if im.Alpha >= 0 || s.file.Mask != nil {
			return true
		}
		void = new(float64)
	}
	for b, name := range s.file.Bands {
		if name == "" {
			continue
		}
		v := number(px[b*size:], im.Sample)
		if !math.IsNaN(v) && v != *void {
			return true
		}
	}
	return false
}

// mask is the file's mask over a block, pixel by pixel; nil without one.
func (s *source) mask(block int) ([]uint8, error) {
	m := s.file.Mask
	if m == nil {
		return nil, nil
	}
	im := s.file.Image
	win := im.Block(block)
	out := make([]uint8, im.BlockRows*im.BlockCols)
	across := (m.Cols + m.BlockCols - 1) / m.BlockCols
	dec, buf := m.NewDecoder(), make([]byte, m.BlockBytes())
	for br := win.Row / m.BlockRows; br*m.BlockRows < win.Row+win.Rows; br++ {
		for bc := win.Col / m.BlockCols; bc*m.BlockCols < win.Col+win.Cols; bc++ {
			if err := dec.Decode(br*across+bc, buf); err != nil {
				return nil, s.named(err)
			}
			part := m.Block(br*across + bc)
			for row := max(win.Row, part.Row); row < min(win.Row+win.Rows, part.Row+part.Rows); row++ {
				from, to := max(win.Col, part.Col), min(win.Col+win.Cols, part.Col+part.Cols)
				copy(out[(row-win.Row)*im.BlockCols+from-win.Col:][:to-from], buf[(row-part.Row)*m.BlockCols+from-part.Col:])
			}
		}
	}
	return out, nil
}

// named puts the file's name into a problem with its pixels.
func (s *source) named(err error) error {
	var p *doubt.Problem
	if errors.As(err, &p) {
		with := *p
		with.File = s.file.Name
		return &with
	}
	return fmt.Errorf("reading %s: %w", s.file.Name, err)
}

// number is one stored sample.
func number(px []byte, s geotiff.Sample) float64 {
	switch s {
	case geotiff.Uint8:
		return float64(px[0])
	case geotiff.Uint16:
		return float64(binary.LittleEndian.Uint16(px))
	case geotiff.Int16:
		return float64(int16(binary.LittleEndian.Uint16(px)))
	case geotiff.Uint32:
		return float64(binary.LittleEndian.Uint32(px))
	case geotiff.Int32:
		return float64(int32(binary.LittleEndian.Uint32(px)))
	case geotiff.Float32:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(px)))
	default:
		return math.Float64frombits(binary.LittleEndian.Uint64(px))
	}
}
