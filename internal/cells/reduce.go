package cells

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
)

// A Reduction asks the pass for smaller copies of the pictures that it reads, so
// that no one has to read them again to show them.
type Reduction struct {
	Factor int // pixels along the side of the square that becomes one: 2, 4, 8 or 16

	// Spool is asked once for each picture for a place where compressed tiles are
	// kept until it is written.
	Spool func() (geotiff.Spool, error)
}

// A Reduced is a smaller copy of one picture, or of several whose pixels
// coincide: the means of the pixels with data, in the numbers of the file, of the
// bands that are used. Where no pixel was read, or none has data, a last band,
// alpha, is 0; floats are not a number there.
type Reduced struct {
	Name  string   // of the first file
	Bands []string // in the order of its samples; alpha not counted

	factor  int
	layout  *layout
	builder *geotiff.Builder
	format  geotiff.Format
	cols    int // of the picture
	rows    int
	edges   map[[2]int]*edgeRow // by row and column of their first reduced pixel
}

// Write writes the copy as a cloud-optimised picture, once.
func (r *Reduced) Write(w io.Writer) error { return r.builder.Finish(w) }

// An edgeRow is the sums of a row of reduced pixels to which several windows
// add: strips need not be as many rows as are averaged.
type edgeRow struct {
	row, col int // reduced
	rows     int // of the picture, summed so far
	sums     sums
}

// sums are those of one row of reduced pixels.
type sums struct {
	n     []uint32
	whole []uint32  // [pixel*lanes + lane], of integers
	float []float64 // the same, of floats
}

func newSums(pixels int, l *layout) sums {
	s := sums{n: make([]uint32, pixels)}
	if l.kind == Float32 {
		s.float = make([]float64, pixels*len(l.lanes))
	} else {
		s.whole = make([]uint32, pixels*len(l.lanes))
	}
	return s
}

func (s *sums) reset() {
	clear(s.n)
	clear(s.whole)
	clear(s.float)
}

func (s *sums) add(o sums) {
	for i, v := range o.n {
		s.n[i] += v
	}
	for i, v := range o.whole {
		s.whole[i] += v
	}
	for i, v := range o.float {
		s.float[i] += v
	}
}

// A piece is what one window adds to a reduced picture.
type piece struct {
	win   grid.Window // reduced pixels that it holds alone
	px    []byte      // nil where there is nothing
	edges []*edgeRow
}

// newReduced begins the copy of a picture.
func newReduced(red *Reduction, file *imagery.File, l *layout, bands []string, workers int) (*Reduced, error) {
	im, k := file.Image, red.Factor
	if k != 2 && k != 4 && k != 8 && k != 16 {
		return nil, fmt.Errorf("a picture cannot be reduced by %d", k)
	}
	r := &Reduced{Name: file.Name, factor: k, layout: l, cols: im.Cols, rows: im.Rows, edges: map[[2]int]*edgeRow{}}
	for _, n := range l.lanes {
		r.Bands = append(r.Bands, bands[n.band])
	}
	f := geotiff.Format{
		Cols: (im.Cols + k - 1) / k, Rows: (im.Rows + k - 1) / k, Bands: len(l.lanes), Tile: 256,
		Deflate: true, Level: 1, Predictor: true, Workers: workers, BandNames: slices.Clone(r.Bands),
	}
	if a := im.Affine; a != nil {
		f.Affine = grid.Affine{A: a.A, B: a.B * float64(k), C: a.C * float64(k), D: a.D, E: a.E * float64(k), F: a.F * float64(k)}
	}
	if f.EPSG = file.CRS.EPSG(); f.EPSG == 0 {
		f.GeoKeys = im.GeoKeys
	}
	switch l.kind {
	case Uint8:
		f.Sample = geotiff.Uint8
	case Uint16:
		f.Sample = geotiff.Uint16
	case Float32:
		void := math.NaN()
		f.Sample, f.NoData = geotiff.Float32, &void
	}
	if l.kind != Float32 {
		f.Alpha, f.Bands, f.BandNames = true, f.Bands+1, append(f.BandNames, "alpha")
	}
	f.Colors = f.BandNames
	spool, err := red.Spool()
	if err != nil {
		return nil, err
	}
	r.format = f
	r.builder, err = geotiff.NewBuilder(f, spool)
	return r, err
}

// alone is the reduced pixels that a window of the picture holds alone, and
// edge the reduced rows above and below that it shares.
func (r *Reduced) alone(win grid.Window) (alone grid.Window, edge []int) {
	k := r.factor
	first, end := win.Row/k, (win.Row+win.Rows+k-1)/k
	if win.Row%k != 0 {
		edge = append(edge, first)
		first++
	}
	if last := win.Row + win.Rows; last%k != 0 && last < r.rows && end > first {
		edge = append(edge, end-1)
		end--
	}
	return grid.Window{Col: win.Col / k, Row: first, Cols: (win.Cols + k - 1) / k, Rows: max(end-first, 0)}, edge
}

// expect says that a window will be read.
func (r *Reduced) expect(win grid.Window) {
	alone, edge := r.alone(win)
	r.builder.Expect(alone)
	for _, row := range edge {
		key := [2]int{row, alone.Col}
		if r.edges[key] == nil {
			r.edges[key] = &edgeRow{row: row, col: alone.Col, sums: newSums(alone.Cols, r.layout)}
			r.builder.Expect(grid.Window{Col: alone.Col, Row: row, Cols: alone.Cols, Rows: 1})
		}
	}
}

// shrink makes the piece of a window. Workers call it at the same time.
func (r *Reduced) shrink(win grid.Window, px pixels, differences bool) *piece {
	alone, edge := r.alone(win)
	p := &piece{win: alone}
	k, l := r.factor, r.layout
	for _, row := range edge {
		from, to := max(row*k, win.Row), min((row+1)*k, win.Row+win.Rows)
		e := &edgeRow{row: row, col: alone.Col, rows: to - from, sums: newSums(alone.Cols, l)}
		r.sumRows(win, px, differences, from, to, &e.sums)
		p.edges = append(p.edges, e)
	}
	if px.data == nil || alone.Rows == 0 {
		return p
	}
	line := alone.Cols * r.format.Bands * r.format.Sample.Bytes()
	p.px = make([]byte, alone.Rows*line)
	s := newSums(alone.Cols, l)
	for row := range alone.Rows {
		s.reset()
		from := (alone.Row + row) * k
		r.sumRows(win, px, differences, from, min(from+k, win.Row+win.Rows), &s)
		r.means(s, p.px[row*line:][:line])
	}
	return p
}

// sumRows adds rows from to to of the picture, which lie in win.
func (r *Reduced) sumRows(win grid.Window, px pixels, differences bool, from, to int, s *sums) {
	if px.data == nil {
		return
	}
	size := r.layout.samples * r.layout.kind.Bytes()
	var whole []byte
	for row := from; row < to; row++ {
		line := px.data[(row-win.Row)*px.stride:][:win.Cols*size]
		if r.four(line, differences, s) {
			continue
		}
		if differences {
			whole = append(whole[:0], line...)
			undo(r.layout, whole)
			line = whole
		}
		r.sumRow(line, s)
	}
}

// four is sumRow for pixels of four 16-bit samples that are all summed, which
// come as differences or whole; it reports whether these are such. The samples
// are added as lanes of a word.
func (r *Reduced) four(line []byte, differences bool, s *sums) bool {
	l := r.layout
	if l.kind != Uint16 || l.samples != 4 || len(l.lanes) != 4 || l.alpha >= 0 {
		return false
	}
	const (
		tops = 0x8000_8000_8000_8000
		even = 0x0000_ffff_0000_ffff
	)
	void := uint64(l.void) * 0x0001_0001_0001_0001
	last, step := uint64(0), 8*r.factor
	for i := 0; len(line) > 0; i++ {
		group := line[:min(step, len(line))]
		line = line[len(group):]
		var lows, highs uint64 // of at most 16 pixels: 20 bits of 32
		n := uint32(0)
		for ; len(group) >= 8; group = group[8:] {
			v := binary.LittleEndian.Uint64(group)
			if differences {
				v = ((v &^ tops) + (last &^ tops)) ^ ((v ^ last) & tops)
				last = v
			}
			if l.hasVoid && v == void {
				continue
			}
			lows, highs, n = lows+v&even, highs+v>>16&even, n+1
		}
		s.n[i] += n
		to := s.whole[4*i:][:4]
		to[0] += uint32(lows)
		to[1] += uint32(highs)
		to[2] += uint32(lows >> 32)
		to[3] += uint32(highs >> 32)
	}
	return true
}

// sumRow adds one row of whole samples.
func (r *Reduced) sumRow(line []byte, s *sums) {
	l, k := r.layout, r.factor
	size, lanes := l.samples*l.kind.Bytes(), len(l.lanes)
	for i := 0; len(line) > 0; i++ {
		group := line[:min(k*size, len(line))]
		line = line[len(group):]
		if l.kind == Float32 {
			for ; len(group) > 0; group = group[size:] {
				if l.has(group) {
					s.n[i]++
					for b, n := range l.lanes {
						s.float[i*lanes+b] += float64(l.float(group, n.sample))
					}
				}
			}
			continue
		}
		to := s.whole[i*lanes:][:lanes]
		for ; len(group) > 0; group = group[size:] {
			if l.hasVoid || l.alpha >= 0 {
				if !l.has(group) {
					continue
				}
			}
			s.n[i]++
			for b, n := range l.lanes {
				to[b] += l.integer(group, n.sample)
			}
		}
	}
}

// means writes a row of reduced pixels, rounded half upwards.
func (r *Reduced) means(s sums, out []byte) {
	lanes := len(r.layout.lanes)
	for i, n := range s.n {
		for b := range lanes {
			switch at := i*lanes + b; r.layout.kind {
			case Float32:
				binary.LittleEndian.PutUint32(out[4*at:], math.Float32bits(float32(s.float[at]/float64(n))))
			case Uint8:
				if n > 0 {
					out[i*(lanes+1)+b] = uint8((2*s.whole[at] + n) / (2 * n))
				}
			case Uint16:
				if n > 0 {
					binary.LittleEndian.PutUint16(out[2*(i*(lanes+1)+b):], uint16((2*s.whole[at]+n)/(2*n)))
				}
			}
		}
		switch at := i*(lanes+1) + lanes; {
		case n == 0 || r.layout.kind == Float32:
		case r.layout.kind == Uint8:
			out[at] = math.MaxUint8
		default:
			binary.LittleEndian.PutUint16(out[2*at:], math.MaxUint16)
		}
	}
}

// take adds a piece, in the order of the pass.
func (r *Reduced) take(p *piece) error {
	size := r.format.Bands * r.format.Sample.Bytes()
	if p.win.Rows > 0 {
		if err := r.builder.Put(p.win, p.px, p.win.Cols*size); err != nil {
			return err
		}
	}
	for _, e := range p.edges {
		to := r.edges[[2]int{e.row, e.col}]
		to.sums.add(e.sums)
		if to.rows += e.rows; to.rows == min(r.factor, r.rows-e.row*r.factor) {
			if err := r.finish(to); err != nil {
				return err
			}
		}
	}
	return nil
}

// finish writes a row that several windows shared.
func (r *Reduced) finish(e *edgeRow) error {
	n := len(e.sums.n)
	out := make([]byte, n*r.format.Bands*r.format.Sample.Bytes())
	r.means(e.sums, out)
	delete(r.edges, [2]int{e.row, e.col})
	return r.builder.Put(grid.Window{Col: e.col, Row: e.row, Cols: n, Rows: 1}, out, len(out))
}

// finishEdges writes the shared rows of which a part was not read.
func (r *Reduced) finishEdges() error {
	var left []*edgeRow
	for _, e := range r.edges {
		left = append(left, e)
	}
	slices.SortFunc(left, func(a, b *edgeRow) int { return a.row - b.row })
	for _, e := range left {
		if err := r.finish(e); err != nil {
			return err
		}
	}
	return nil
}
