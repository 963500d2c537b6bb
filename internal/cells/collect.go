package cells

import (
	"math"
	"math/bits"
)

// A collector adds blocks up and finishes each row of cells as soon as no
// window that is still to come touches it, so that only the rows under a row
// or two of tiles are wide.
//
// Where there is one picture and its rows run along the grid's, a cell that
// is not at the edge of a block gets pixels from no other one: it is settled
// at once, by the worker that made the block.
type collector struct {
	sum     *Summary
	layouts []*layout // by picture
	scale   []float64 // by band
	float   []bool    // by band
	alone   bool      // blocks settle what they hold alone
	pending []int     // by row of cells: blocks to come
	live    []*rowSums
	free    []*rowSums
	tally   tally
}

// A tally counts pixels in cells inside the field.
type tally struct{ full, empty uint64 }

func (t *tally) add(u tally) { t.full, t.empty = t.full+u.full, t.empty+u.empty }

// rowSums are the sums of one row of cells.
type rowSums struct {
	settled   []bool    // [col]
	n         []uint64  // [col*bands + band]
	sum, sq   []uint64  // the same, integer samples
	fsum, fsq []float64 // the same, float samples
	hist      []uint32  // [col*Bins + bin]
	empty     []uint32  // [col]
}

func newCollector(s *Summary, pictures []*picture) *collector {
	c := &collector{
		sum:     s,
		scale:   make([]float64, len(s.Bands)),
		float:   make([]bool, len(s.Bands)),
		pending: make([]int, s.Grid.Rows),
		live:    make([]*rowSums, s.Grid.Rows),
	}
	for _, p := range pictures {
		_, straight := p.place.(upright)
		c.alone = straight && len(pictures) == 1
		c.layouts = append(c.layouts, p.layout)
		for _, n := range p.layout.lanes {
			c.scale[n.band] = p.layout.scale()
			c.float[n.band] = p.layout.kind == Float32
		}
	}
	n := s.Grid.Len()
	s.Pixels, s.Hist = make([]uint32, n), make([]uint16, n*Bins)
	for range s.Bands {
		s.Mean, s.Spread = append(s.Mean, make([]float32, n)), append(s.Spread, make([]float32, n))
	}
	return c
}

// expect says that a block over r will come.
func (c *collector) expect(r rect) {
	for row := range r.rows {
		c.pending[r.row+row]++
	}
}

// finishUntouched finishes the rows that no block will touch.
func (c *collector) finishUntouched() {
	for row, n := range c.pending {
		if n == 0 {
			c.finish(row)
		}
	}
}

// settle writes the cells that b alone holds into the summary. Blocks may be
// settled at the same time: their own cells are never the same.
func (c *collector) settle(b *block) {
	if !c.alone {
		return
	}
	for row := 1; row < b.rows-1 && b.cols > 2; row++ {
		from, cell := row*b.cols+1, c.sum.Grid.Index(b.col+1, b.row+row)
		c.settleMoments(b, from, cell)
		c.settleCounts(b, from, cell)
	}
}

// settleMoments settles the means and spreads of the inner cells of a row,
// from cell from of the block on.
func (c *collector) settleMoments(b *block, from, cell int) {
	l := c.layouts[b.picture]
	counts := b.n[from:][:b.cols-2]
	for k, lane := range l.lanes {
		mean, spread := c.sum.Mean[lane.band][cell:][:len(counts)], c.sum.Spread[lane.band][cell:][:len(counts)]
		scale := c.scale[lane.band]
		at := from*len(l.lanes) + k
		for i, n := range counts {
			var m moments
			if l.kind == Float32 {
				m = floatMoments(uint64(n), b.fsum[at], b.fsq[at])
			} else {
				m = integerMoments(uint64(n), b.sum[at], b.sq[at], scale)
			}
			mean[i], spread[i] = m.mean, m.spread
			at += len(l.lanes)
		}
	}
}

// settleCounts settles what is counted in the inner cells of a row.
func (c *collector) settleCounts(b *block, from, cell int) {
	n := b.cols - 2
	copy(c.sum.Pixels[cell:][:n], b.n[from:])
	hist := c.sum.Hist[cell*Bins:][:n*Bins]
	for i, v := range b.hist[from*Bins:][:n*Bins] {
		hist[i] = uint16(min(v, math.MaxUint16))
	}
	for i, in := range c.sum.Inside[cell:][:n] {
		if in {
			b.tally.add(tally{uint64(b.n[from+i]), uint64(b.empty[from+i])})
		}
	}
}

// putHist stores the histogram of a cell.
func (s *Summary) putHist(cell int, hist []uint32) {
	for bin, n := range hist {
		s.Hist[cell*Bins+bin] = uint16(min(n, math.MaxUint16))
	}
}

// add takes a block in, after it was settled.
func (c *collector) add(b *block) {
	c.tally.add(b.tally)
	for row := range b.rows {
		c.addRow(b, row)
		if c.pending[b.row+row]--; c.pending[b.row+row] == 0 {
			c.finish(b.row + row)
		}
	}
}

func (c *collector) addRow(b *block, row int) {
	to := c.row(b.row + row)
	if !c.alone || row == 0 || row == b.rows-1 || b.cols < 3 {
		for col := range b.cols {
			c.addCell(b, row*b.cols+col, to, b.col+col)
		}
		return
	}
	c.addCell(b, row*b.cols, to, b.col)
	c.addCell(b, row*b.cols+b.cols-1, to, b.col+b.cols-1)
	for i := range to.settled[b.col+1 : b.col+b.cols-1] {
		to.settled[b.col+1+i] = true
	}
}

// addCell adds cell from of a block to column col of a row.
func (c *collector) addCell(b *block, from int, to *rowSums, col int) {
	to.empty[col] += b.empty[from]
	if b.n[from] == 0 {
		return
	}
	l, bands := c.layouts[b.picture], len(c.sum.Bands)
	for k, n := range l.lanes {
		at, lane := col*bands+n.band, from*len(l.lanes)+k
		to.n[at] += uint64(b.n[from])
		if l.kind == Float32 {
			to.fsum[at] += b.fsum[lane]
			to.fsq[at] += b.fsq[lane]
		} else {
			to.sum[at] += b.sum[lane]
			to.sq[at] += b.sq[lane]
		}
	}
	if l.ratio != nil {
		for bin, n := range b.hist[from*Bins:][:Bins] {
			to.hist[col*Bins+bin] += n
		}
	}
}

// row is the sums of a row of cells, begun when they are first asked for.
func (c *collector) row(row int) *rowSums {
	if c.live[row] == nil {
		if k := len(c.free) - 1; k >= 0 {
			c.live[row], c.free = c.free[k], c.free[:k]
		} else {
			c.live[row] = newRowSums(c.sum.Grid.Cols, len(c.sum.Bands))
		}
	}
	return c.live[row]
}

func newRowSums(cols, bands int) *rowSums {
	n := cols * bands
	return &rowSums{
		settled: make([]bool, cols),
		n:       make([]uint64, n),
		sum:     make([]uint64, n), sq: make([]uint64, n),
		fsum: make([]float64, n), fsq: make([]float64, n),
		hist: make([]uint32, cols*Bins), empty: make([]uint32, cols),
	}
}

func (r *rowSums) reset() {
	clear(r.settled)
	clear(r.n)
	clear(r.sum)
	clear(r.sq)
	clear(r.fsum)
	clear(r.fsq)
	clear(r.hist)
	clear(r.empty)
}

// finish turns the sums of a row into its part of the summary.
func (c *collector) finish(row int) {
	sums := c.row(row)
	for col, settled := range sums.settled {
		if !settled {
			c.finishCell(sums, col, c.sum.Grid.Index(col, row))
		}
	}
	sums.reset()
	c.free, c.live[row] = append(c.free, sums), nil
}

func (c *collector) finishCell(sums *rowSums, col, cell int) {
	s := c.sum
	least := uint64(math.MaxUint32)
	for band := range s.Bands {
		at := col*len(s.Bands) + band
		var m moments
		if c.float[band] {
			m = floatMoments(sums.n[at], sums.fsum[at], sums.fsq[at])
		} else {
			m = integerMoments(sums.n[at], sums.sum[at], sums.sq[at], c.scale[band])
		}
		s.Mean[band][cell], s.Spread[band][cell] = m.mean, m.spread
		least = min(least, sums.n[at])
	}
	s.Pixels[cell] = uint32(least)
	s.putHist(cell, sums.hist[col*Bins:][:Bins])
	if s.Inside[cell] {
		c.tally.add(tally{least, uint64(sums.empty[col])})
	}
}

// moments are a mean and a standard deviation (divisor n), not numbers
// without pixels.
type moments struct{ mean, spread float32 }

func noMoments() moments { return moments{float32(math.NaN()), float32(math.NaN())} }

func floatMoments(n uint64, sum, sq float64) moments {
	if n == 0 {
		return noMoments()
	}
	m := sum / float64(n)
	return moments{float32(m), float32(math.Sqrt(max(sq/float64(n)-float64(m*m), 0)))}
}

// integerMoments are in units of 1/scale.
func integerMoments(n, sum, sq uint64, scale float64) moments {
	if n == 0 {
		return noMoments()
	}
	k := 1 / (float64(n) * scale)
	return moments{float32(float64(sum) * k), float32(math.Sqrt(excess(n, sum, sq)) * k)}
}

// excess is n*sq - sum*sum, exact until it is rounded once.
func excess(n, sum, sq uint64) float64 {
	hi1, lo1 := bits.Mul64(n, sq)
	hi2, lo2 := bits.Mul64(sum, sum)
	lo, borrow := bits.Sub64(lo1, lo2, 0)
	hi, _ := bits.Sub64(hi1, hi2, borrow)
	if hi == 0 {
		return float64(lo)
	}
	return float64(float64(hi)*(1<<64)) + float64(lo)
}
