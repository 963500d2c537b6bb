package geotiff

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"

	"bittern/internal/grid"
	"bittern/internal/raster"
)

// A Spool keeps compressed tiles until their places in the file are known: a
// file of its own that is thrown away afterwards.
type Spool interface {
	io.Writer
	io.ReaderAt
}

// A Builder writes a cloud-optimised picture, as [WriteCOG] does, of pieces
// that come one after another, and makes the overviews as they come. A row of
// tiles, and the row of each overview that it belongs to, is compressed as soon
// as no piece that is still to come touches it and the rows above it are: memory
// is a row of tiles or two for pieces that come from the top downwards, and
// everything below the first gap for others.
//
// It is used from one goroutine; tiles are compressed by several.
type Builder struct {
	spool  Spool
	at     int64 // bytes in the spool
	levels []*level
	free   [][]byte // rows of tiles to be used again
	fail   error
}

// A level is the picture or one of its overviews.
type level struct {
	f     Format
	left  []int64  // pixels to come, by row of tiles
	rows  [][]byte // pixels that came, by row of tiles; nil before the first
	next  int      // row of tiles that is compressed next
	tiles []spooled
}

// A spooled is a compressed tile in the spool.
type spooled struct{ at, bytes int64 }

// NewBuilder begins a picture. Say with Expect what will come before the first
// piece is Put.
func NewBuilder(f Format, spool Spool) (*Builder, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	b := &Builder{spool: spool}
	for f = f.withDefaults(); ; f.Cols, f.Rows = (f.Cols+1)/2, (f.Rows+1)/2 {
		down := (f.Rows + f.Tile - 1) / f.Tile
		b.levels = append(b.levels, &level{f: f, left: make([]int64, down), rows: make([][]byte, down)})
		if f.Cols <= f.Tile && f.Rows <= f.Tile {
			break
		}
	}
	for i := 1; i < len(b.levels); i++ { // an overview gets every pixel of the one before
		l := b.levels[i]
		for r := range l.left {
			l.left[r] = int64(min(l.f.Tile, l.f.Rows-r*l.f.Tile)) * int64(l.f.Cols)
		}
	}
	return b, nil
}

// Expect says that a piece will come.
func (b *Builder) Expect(win grid.Window) {
	l := b.levels[0]
	l.f.tileRows(win, func(r int, part grid.Window) {
		l.left[r] += int64(part.Rows) * int64(part.Cols)
	})
}

// Put takes a piece of the picture, whose rows lie stride bytes apart in px. Where
// px is nil there is no data. Later pieces hide earlier ones, but where a
// single band of 32-bit floats is not a number and that is no data.
func (b *Builder) Put(win grid.Window, px []byte, stride int) error {
	l := b.levels[0]
	size := l.f.pixelBytes()
	l.f.tileRows(win, func(r int, part grid.Window) {
		if px != nil {
			row := b.row(l, r)
			for y := range part.Rows {
				from := px[(part.Row-win.Row+y)*stride:][:part.Cols*size]
				l.f.cover(row[((part.Row-r*l.f.Tile+y)*l.f.Cols+part.Col)*size:], from)
			}
		}
		l.left[r] -= int64(part.Rows) * int64(part.Cols)
	})
	return b.advance(0)
}

// cover puts pixels over others.
func (f Format) cover(dst, src []byte) {
	if f.Sample != Float32 || f.Bands != 1 || f.NoData == nil || !math.IsNaN(*f.NoData) {
		copy(dst, src)
		return
	}
	for ; len(src) >= 4; dst, src = dst[4:], src[4:] {
		w := binary.LittleEndian.Uint32(src)
		if v := math.Float32frombits(w); v == v {
			binary.LittleEndian.PutUint32(dst, w)
		}
	}
}

// tileRows calls do for each row of tiles that win lies in, with the part of
// win in it.
func (f Format) tileRows(win grid.Window, do func(r int, part grid.Window)) {
	for r := win.Row / f.Tile; r*f.Tile < win.Row+win.Rows; r++ {
		do(r, win.Intersect(grid.Window{Col: win.Col, Row: r * f.Tile, Cols: win.Cols, Rows: f.Tile}))
	}
}

// row is the pixels of a row of tiles, without data at first.
func (b *Builder) row(l *level, r int) []byte {
	if l.rows[r] != nil {
		return l.rows[r]
	}
	rows := min(l.f.Tile, l.f.Rows-r*l.f.Tile)
	n := rows * l.f.Cols * l.f.pixelBytes()
	for i, buf := range b.free {
		if cap(buf) >= n && cap(buf) < 2*n {
			b.free[i] = b.free[len(b.free)-1]
			b.free = b.free[:len(b.free)-1]
			l.rows[r] = buf[:n]
			break
		}
	}
	if l.rows[r] == nil {
		l.rows[r] = make([]byte, n)
	}
	l.f.empty(l.rows[r])
	return l.rows[r]
}

// empty fills pixels with no data.
func (f Format) empty(px []byte) {
	clear(px)
	if f.NoData == nil || *f.NoData == 0 || len(px) == 0 {
		return
	}
	n := f.Sample.Bytes()
	for at := 0; at < f.pixelBytes(); at += n {
		putSample(px[at:], f.Sample, *f.NoData)
	}
	if f.Alpha {
		clear(px[f.pixelBytes()-n : f.pixelBytes()])
	}
	for at := f.pixelBytes(); at < len(px); at *= 2 {
		copy(px[at:], px[:at])
	}
}

// advance compresses the rows of tiles of level i that are complete.
func (b *Builder) advance(i int) error {
	l := b.levels[i]
	for b.fail == nil && l.next < len(l.left) && l.left[l.next] <= 0 {
		b.fail = b.pack(i)
	}
	return b.fail
}

// pack compresses the next row of tiles of level i, and hands it on to the next
// level at half its size.
func (b *Builder) pack(i int) error {
	l, r := b.levels[i], b.levels[i].next
	px := b.row(l, r)
	win := grid.Window{Row: r * l.f.Tile, Cols: l.f.Cols, Rows: min(l.f.Tile, l.f.Rows-r*l.f.Tile)}
	if err := b.compress(l, win, px); err != nil {
		return err
	}
	if i+1 < len(b.levels) {
		next := b.levels[i+1]
		at := grid.Window{Row: win.Row / 2, Cols: next.f.Cols, Rows: (win.Rows + 1) / 2}
		to := at.Row / l.f.Tile
		half := b.row(next, to)[(at.Row-to*l.f.Tile)*next.f.Cols*l.f.pixelBytes():]
		l.f.halve(win, px, half[:at.Rows*at.Cols*l.f.pixelBytes()])
		next.left[to] -= int64(at.Rows) * int64(at.Cols)
	}
	b.free, l.rows[r], l.next = append(b.free, px), nil, r+1
	if i+1 < len(b.levels) {
		return b.advance(i + 1)
	}
	return nil
}

// compress puts the tiles of one row into the spool.
func (b *Builder) compress(l *level, win grid.Window, px []byte) error {
	size := l.f.pixelBytes()
	src := func(yield func(filled, error) bool) {
		for col := 0; col < l.f.Cols; col += l.f.Tile {
			part := grid.Window{Col: col, Row: win.Row, Cols: min(l.f.Tile, l.f.Cols-col), Rows: win.Rows}
			if !yield(filled{part, px[col*size:], l.f.Cols * size}, nil) {
				return
			}
		}
	}
	start := func() func(context.Context, filled) ([]byte, error) {
		p := packer{f: l.f}
		return p.pack
	}
	for data, err := range raster.MapOrderedWith(context.Background(), l.f.Workers, src, start) {
		if err != nil {
			return err
		}
		if _, err := b.spool.Write(data); err != nil {
			return fmt.Errorf("writing tile %d: %w", len(l.tiles)+1, err)
		}
		l.tiles = append(l.tiles, spooled{b.at, int64(len(data))})
		b.at += int64(len(data))
	}
	return nil
}

// Finish writes the file. What was expected and did not come has no data.
func (b *Builder) Finish(w io.Writer) error {
	for i, l := range b.levels {
		clear(l.left)
		if err := b.advance(i); err != nil {
			return err
		}
	}
	if _, err := w.Write(cogHead(b.levels, b.levels[0].f.big())); err != nil {
		return fmt.Errorf("writing the directories: %w", err)
	}
	for i := len(b.levels) - 1; i >= 0; i-- {
		for k, t := range b.levels[i].tiles {
			if _, err := io.Copy(w, io.NewSectionReader(b.spool, t.at, t.bytes)); err != nil {
				return fmt.Errorf("writing tile %d of level %d: %w", k+1, i, err)
			}
		}
	}
	b.fail = errors.New("the picture is finished")
	return nil
}

// halve writes the means of groups of four pixels of a row of tiles.
func (f Format) halve(win grid.Window, px, half []byte) {
	const rows = 32 // of px, for one goroutine at a time
	var wg sync.WaitGroup
	limit := make(chan struct{}, max(f.Workers, 1))
	for row := 0; row < win.Rows; row += rows {
		limit <- struct{}{}
		wg.Go(func() {
			defer func() { <-limit }()
			for r := row; r < min(row+rows, win.Rows); r += 2 {
				f.halveRow(px, half, r, win)
			}
		})
	}
	wg.Wait()
}

// halveRow makes one row of means of rows r and r+1.
func (f Format) halveRow(px, half []byte, r int, win grid.Window) {
	size := f.pixelBytes()
	line := win.Cols * size
	upper := px[r*line:][:line]
	lower := upper
	if r+1 < win.Rows {
		lower = px[(r+1)*line:][:line]
	}
	cols := (win.Cols + 1) / 2
	out := half[r/2*cols*size:][:cols*size]
	whole := win.Cols / 2
	if r+1 == win.Rows || !f.fastHalf(upper, lower, out, whole) {
		whole = 0
	}
	lines := [][]byte{upper, lower}
	if r+1 == win.Rows {
		lines = lines[:1]
	}
	var group [4][]byte
	for c := 2 * whole; c < win.Cols; c += 2 {
		n := 0
		for _, line := range lines {
			for x := c; x < min(c+2, win.Cols); x++ {
				group[n] = line[x*size:][:size]
				n++
			}
		}
		f.mean(out[c/2*size:][:size], group[:n])
	}
}

// fastHalf makes n means of whole groups of four as mean does, for the kinds of
// pixels that large pictures are written in; it reports whether these are such.
func (f Format) fastHalf(upper, lower, out []byte, n int) bool {
	void := math.NaN()
	if f.NoData != nil {
		void = *f.NoData
	}
	switch {
	case f.Sample == Float32 && f.Bands == 1 && math.IsNaN(void):
		halfFloats(upper, lower, out, n)
	case f.Sample == Uint8 && f.Bands == 1 && !f.Alpha && void == 0:
		halfBytes(upper, lower, out, n)
	case f.Sample == Uint16 && f.Alpha && f.NoData == nil:
		halfColors(upper, lower, out, n, f.Bands)
	default:
		return false
	}
	return true
}

// halfFloats is the mean of the numbers among four; not a number without any.
func halfFloats(upper, lower, out []byte, n int) {
	for i := range n {
		a, b := binary.LittleEndian.Uint64(upper[8*i:]), binary.LittleEndian.Uint64(lower[8*i:])
		sum, count := 0.0, 0
		for _, w := range [4]uint32{uint32(a), uint32(a >> 32), uint32(b), uint32(b >> 32)} {
			if v := math.Float32frombits(w); v == v {
				sum += float64(v)
				count++
			}
		}
		mean := math.Float32frombits(uint32(a)) // not a number
		if count > 0 {
			mean = float32(sum / float64(count))
		}
		binary.LittleEndian.PutUint32(out[4*i:], math.Float32bits(mean))
	}
}

// halfBytes is the mean of those among four that are not 0.
func halfBytes(upper, lower, out []byte, n int) {
	for i := range n {
		sum, count := 0, 0
		for _, v := range [4]byte{upper[2*i], upper[2*i+1], lower[2*i], lower[2*i+1]} {
			sum += int(v)
			if v != 0 {
				count++
			}
		}
		out[i] = 0
		if count > 0 {
			out[i] = byte((2*sum + count) / (2 * count))
		}
	}
}

// halfColors is the mean of those among four pixels whose last sample, alpha,
// is not 0, and the strongest alpha.
func halfColors(upper, lower, out []byte, n, bands int) {
	size := 2 * bands
	for i := range n {
		group := [4][]byte{upper[2*i*size:][:size], upper[(2*i+1)*size:][:size], lower[2*i*size:][:size], lower[(2*i+1)*size:][:size]}
		var opaque [4]bool
		count, best := uint64(0), uint16(0)
		for k, px := range group {
			alpha := binary.LittleEndian.Uint16(px[size-2:])
			if opaque[k], best = alpha != 0, max(best, alpha); alpha != 0 {
				count++
			}
		}
		to := out[i*size:][:size]
		if count == 0 {
			copy(to, group[0])
			continue
		}
		for b := 0; b < size-2; b += 2 {
			sum := uint64(0)
			for k, px := range group {
				if opaque[k] {
					sum += uint64(binary.LittleEndian.Uint16(px[b:]))
				}
			}
			binary.LittleEndian.PutUint16(to[b:], uint16((2*sum+count)/(2*count)))
		}
		binary.LittleEndian.PutUint16(to[size-2:], best)
	}
}
