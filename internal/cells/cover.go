package cells

import (
	"fmt"
	"slices"
	"sync"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// Pictures of a flight may lie on each other: pieces of a mosaic, halves of a
// field. Each later one lies on those before it, and hides their pixels where it
// has data and all of their bands; where it has none, what is below shows.

// A cover is a picture that lies on another one.
type cover struct {
	picture int
	place   placer // the other one's pixels among its own, which are its cells
	size    rect   // all its pixels
}

// A ground is where a picture lies, for finding what lies on it.
type ground struct {
	affine     grid.Affine
	pixelM     float64
	cols, rows int
	// to leads from pixels to the system of another ground; same says that both
	// have one.
	to func(o ground) (at func(col, row float64) (x, y float64), same bool)
	// crs is the system, for files.
	crs crs.CRS
}

func groundOfFile(f *imagery.File) ground {
	return ground{
		affine: *f.Image.Affine, pixelM: f.PixelM, cols: f.Image.Cols, rows: f.Image.Rows, crs: f.CRS,
		to: func(o ground) (func(col, row float64) (x, y float64), bool) { return f.To(o.crs) },
	}
}

func groundOfSource(s Source) ground {
	return ground{
		affine: s.Affine, pixelM: s.Affine.PixelSize(), cols: s.Cols, rows: s.Rows,
		to: func(ground) (func(col, row float64) (x, y float64), bool) { return affineAt(s.Affine), true },
	}
}

// onto places the pixels of g among those of o.
func (g ground) onto(o ground) (placer, bool) {
	back, ok := o.affine.Invert()
	if !ok {
		return nil, false
	}
	at, same := g.to(o)
	a, b := g.affine, o.affine
	if same && a.C == 0 && a.E == 0 && b.C == 0 && b.E == 0 {
		return upright{x0: (a.A - b.A) / b.B, dx: a.B / b.B, y0: (a.D - b.D) / b.F, dy: a.F / b.F}, true
	}
	return mesh{step: meshStep(g.pixelM), at: func(col, row float64) (x, y float64) {
		p := back.Apply(at(col, row))
		return p.X, p.Y
	}}, true
}

// layUpon finds which pictures lie on which, by their places and their bands.
func (p *pass) layUpon(grounds []ground) {
	whole := func(i int) grid.Window { return grid.Window{Cols: grounds[i].cols, Rows: grounds[i].rows} }
	var under []rect // the cells under each picture, on the grid or not
	for i, pic := range p.pictures {
		under = append(under, pic.place.over(whole(i)))
	}
	for i, pic := range p.pictures {
		for k := i + 1; k < len(p.pictures); k++ {
			common := pic.layout.common(p.pictures[k].layout)
			if common == 0 || !under[i].meets(under[k]) {
				continue
			}
			place, ok := grounds[i].onto(grounds[k])
			size := rect{cols: grounds[k].cols, rows: grounds[k].rows}
			if !ok || place.over(whole(i)).within(size).cols == 0 {
				continue
			}
			if common < len(pic.layout.lanes) {
				if p.mixed == "" {
					p.mixed = pic.name
				}
				continue
			}
			pic.covers = append(pic.covers, cover{k, place, size})
		}
	}
	p.shown = &shown{pictures: p.pictures, by: map[shownKey]*shownBlock{}}
}

// common is how many bands l and m both have.
func (l *layout) common(m *layout) (n int) {
	for _, a := range l.lanes {
		if slices.ContainsFunc(m.lanes, func(b lane) bool { return b.band == a.band }) {
			n++
		}
	}
	return n
}

// mixedDoubt is the doubt that pictures lie on each other of which neither hides
// the other.
func (p *pass) mixedDoubt() []doubt.Doubt {
	if p.mixed == "" {
		return nil
	}
	return []doubt.Doubt{{
		About:  "picture",
		Says:   fmt.Sprintf("Pictures with some bands in common lie on each other, such as %s and a later one: where they do, the cells count the pixels of both.", p.mixed),
		Settle: "Name the bands of each file with --bands, with - for those that another file shows better.",
		Weight: 0.1,
	}}
}

// keptShown is how many bytes of what covers show are kept, a bit for a pixel.
const keptShown = 16 << 20

// shown knows where pictures have data. All workers share it, so that a block
// that lies on others is decoded once more, and not for each of them.
type shown struct {
	pictures []*picture
	mu       sync.Mutex
	by       map[shownKey]*shownBlock
	order    []shownKey // as they came
	bytes    int        // of the blocks in by
}

type shownKey struct{ picture, chunk int }

// A shownBlock says which pixels of a block have data: bit i of the block's
// pixels, row after row.
type shownBlock struct {
	win  grid.Window
	once sync.Once
	bits []byte
	err  error
}

func (b *shownBlock) has(col, row int) bool {
	i := (row-b.win.Row)*b.win.Cols + col - b.win.Col
	return b.bits[i>>3]>>(i&7)&1 != 0
}

// block is the block of a picture that holds pixel (col, row).
func (s *shown) block(picture, col, row int, readers *shelf) (*shownBlock, error) {
	pic := s.pictures[picture]
	first := pic.chunks[0].win
	key := shownKey{picture, row/first.Rows*pic.across + col/first.Cols}
	c := pic.chunks[key.chunk]
	s.mu.Lock()
	b := s.by[key]
	if b == nil {
		b = &shownBlock{win: c.win}
		s.by[key], s.order = b, append(s.order, key)
		s.bytes += c.win.Len() / 8
		for ; s.bytes > keptShown && len(s.order) > 1; s.order = s.order[1:] {
			s.bytes -= s.by[s.order[0]].win.Len() / 8
			delete(s.by, s.order[0])
		}
	}
	s.mu.Unlock()
	b.once.Do(func() { b.bits, b.err = pic.dataBits(c, readers.of(s.pictures, picture)) })
	return b, b.err
}

// dataBits is a bit for each pixel of a chunk: whether it has data.
func (pic *picture) dataBits(c chunk, r reader) ([]byte, error) {
	px, err := r.read(c)
	if err != nil {
		return nil, err
	}
	bits := make([]byte, (c.win.Len()+7)/8)
	if px.data == nil {
		return bits, nil
	}
	l := pic.layout
	size := l.samples * l.kind.Bytes()
	i := 0
	for row := range c.win.Rows {
		line := px.line(row)
		if pic.differences {
			undo(l, line[:c.win.Cols*size])
		}
		for col := range c.win.Cols {
			if l.has(line[col*size:]) {
				bits[i>>3] |= 1 << (i & 7)
			}
			i++
		}
	}
	return bits, nil
}

// A veil hides what lies under covers from one window, a row at a time.
type veil struct {
	shown   *shown
	readers *shelf
	over    []veilCover
	hidden  []bool // of a row
	runs    []run
}

// A veilCover is a cover over one window, with the rows to come.
type veilCover struct {
	cover
	over rect // its pixels that lie over the window's
	rows rowPlacer
	last *shownBlock
}

// veil is what hides pixels of w, or nil.
func (p *pass) veil(pic *picture, w grid.Window, readers *shelf) *veil {
	var v *veil
	for _, c := range pic.covers {
		over := c.place.over(w).within(c.size)
		if over.cols == 0 {
			continue
		}
		if v == nil {
			v = &veil{shown: p.shown, readers: readers, hidden: make([]bool, w.Cols)}
		}
		v.over = append(v.over, veilCover{cover: c, over: over, rows: c.place.rows(w, over)})
	}
	return v
}

// next takes the hidden pixels out of the next row's runs. What it returns
// holds until the call after.
func (v *veil) next(runs []run) ([]run, error) {
	clear(v.hidden)
	for i := range v.over {
		if err := v.hide(&v.over[i]); err != nil {
			return nil, err
		}
	}
	v.runs = v.runs[:0]
	from := 0
	for _, r := range runs {
		for ; from < r.End; from++ {
			cell := r.Cell
			if v.hidden[from] {
				cell = -1
			}
			v.runs = appendPixel(v.runs, from, cell)
		}
	}
	return v.runs, nil
}

// hide marks the pixels of the next row over which c shows data.
func (v *veil) hide(c *veilCover) error {
	runs, base := c.rows.next()
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			col, row := c.over.col+(base+r.Cell)%c.over.cols, c.over.row+(base+r.Cell)/c.over.cols
			if c.last == nil || !c.last.win.Contains(col, row) {
				b, err := v.shown.block(c.picture, col, row, v.readers)
				if err != nil {
					return err
				}
				c.last = b
			}
			if c.last.has(col, row) {
				for i := from; i < r.End; i++ {
					v.hidden[i] = true
				}
			}
		}
		from = r.End
	}
	return nil
}
