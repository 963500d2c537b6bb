package cells

import "bittern/internal/tight/lanes"

// A run is a stretch of pixels of one row that lie in one cell. Pixels count
// from the left of the window, cells from the row's base in the block.
type run = lanes.Run

// A block is what one window of a picture adds to the cells under it.
type block struct {
	rect
	picture   int
	pixels    int64        // of the window, with data or without
	tally     tally        // of the cells that were settled
	piece     *piece       // of the picture's smaller copy; nil when none is made
	n, empty  []uint32     // [cell] pixels with data, and without
	sum, sq   []uint64     // [cell*lanes + lane], integer samples
	fsum, fsq []float64    // [cell*lanes + lane], float samples
	hist      []uint32     // [cell*Bins + bin]
	narrow    []lanes.Sums // [cell], before widen; empty where the kernel is another
	packed    []packedBins // [cell], to be added to hist by unpack; empty where the kernel is another
	joined    []byte       // a row whose samples were moved together
}

// reset empties the block for the window of a picture over r.
func (b *block) reset(picture int, l *layout, r rect, narrow bool) {
	b.picture, b.rect, b.tally, b.piece = picture, r, tally{}, nil
	cells, sums := r.cols*r.rows, r.cols*r.rows*len(l.lanes)
	b.empty = zeroed(b.empty, cells)
	if narrow { // widen writes all the rest
		b.narrow = zeroed(b.narrow, cells)
		b.n, b.hist = resized(b.n, cells), resized(b.hist, cells*Bins)
		b.sum, b.sq = resized(b.sum, sums), resized(b.sq, sums)
		return
	}
	b.narrow, b.packed = b.narrow[:0], b.packed[:0]
	if l.packs() {
		b.packed = zeroed(b.packed, cells)
	}
	b.n, b.hist = zeroed(b.n, cells), zeroed(b.hist, cells*Bins)
	if l.kind == Float32 {
		b.fsum, b.fsq = zeroed(b.fsum, sums), zeroed(b.fsq, sums)
	} else {
		b.sum, b.sq = zeroed(b.sum, sums), zeroed(b.sq, sums)
	}
}

func zeroed[T any](s []T, n int) []T {
	s = resized(s, n)
	clear(s)
	return s
}

// resized is n elements that hold anything.
func resized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// A kernel adds one row of pixels to a block. Runs follow one another from
// the row's first pixel; their cells count from base.
type kernel func(l *layout, px []byte, runs []run, base int, b *block)

// generic is the kernel for every layout, and what the others are held to.
func generic(l *layout, px []byte, runs []run, base int, b *block) {
	size := l.samples * l.kind.Bytes()
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			l.addRun(px[from*size:r.End*size], base+r.Cell, b)
		}
		from = r.End
	}
}

// addRun adds pixels of one cell. Floats are summed over the run first and
// then added to the cell: the order is part of the result.
func (l *layout) addRun(px []byte, cell int, b *block) {
	size := l.samples * l.kind.Bytes()
	if l.kind == Float32 {
		for i, n := range l.lanes {
			s, q := l.floatSums(px, n.sample)
			b.fsum[cell*len(l.lanes)+i] += s
			b.fsq[cell*len(l.lanes)+i] += q
		}
	}
	for ; len(px) >= size; px = px[size:] {
		if !l.has(px) {
			b.empty[cell]++
			continue
		}
		b.n[cell]++
		if l.ratio != nil {
			b.hist[cell*Bins+l.ratio.bin(l, px)]++
		}
		if l.kind != Float32 {
			l.addIntegers(px, b.sum[cell*len(l.lanes):], b.sq[cell*len(l.lanes):])
		}
	}
}

func (l *layout) addIntegers(px []byte, sum, sq []uint64) {
	for i, n := range l.lanes {
		v := uint64(l.integer(px, n.sample))
		if l.kind == Uint8 {
			v = l.values.value[v]
		}
		sum[i] += v
		sq[i] += v * v
	}
}

func (l *layout) floatSums(px []byte, sample int) (sum, sq float64) {
	for size := 4 * l.samples; len(px) >= size; px = px[size:] {
		if l.has(px) {
			v := float64(l.float(px, sample))
			sum += v
			sq += float64(v * v)
		}
	}
	return sum, sq
}
