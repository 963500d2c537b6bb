package cells

import (
	"math"
	"math/bits"
)

// A collector adds blocks up and finishes each row of cells as soon as no
// window that is still to come touches it, so that only the rows under a row
// or two of tiles are wide.
type collector struct {
	sum     *Summary
	layouts []*layout // by picture
	scale   []float64 // by band
	float   []bool    // by band
	pending []int     // by row of cells: blocks to come
	live    []*rowSums
	free    []*rowSums
	empty   uint64 // pixels without data in cells inside
	full    uint64 // pixels with data in cells inside
}

// rowSums are the sums of one row of cells.
type rowSums struct {
	n         []uint64  // [band*cols + col]
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

// add takes a block in.
func (c *collector) add(b *block) {
	for row := range b.rows {
		c.addRow(b, row)
		if c.pending[b.row+row]--; c.pending[b.row+row] == 0 {
			c.finish(b.row + row)
		}
	}
}

func (c *collector) addRow(b *block, row int) {
	to := c.row(b.row + row)
	l := c.layouts[b.picture]
	cols := c.sum.Grid.Cols
	for col := range b.cols {
		from := row*b.cols + col
		to.empty[b.col+col] += b.empty[from]
		if b.n[from] == 0 {
			continue
		}
		for i, n := range l.lanes {
			at, lane := n.band*cols+b.col+col, from*len(l.lanes)+i
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
			addAll(to.hist[(b.col+col)*Bins:][:Bins], b.hist[from*Bins:][:Bins])
		}
	}
}

func addAll(to, from []uint32) {
	for i, v := range from {
		to[i] += v
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
		n:   make([]uint64, n),
		sum: make([]uint64, n), sq: make([]uint64, n),
		fsum: make([]float64, n), fsq: make([]float64, n),
		hist: make([]uint32, cols*Bins), empty: make([]uint32, cols),
	}
}

func (r *rowSums) reset() {
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
	s, g := c.sum, c.sum.Grid
	sums := c.row(row)
	for band := range s.Bands {
		for col := range g.Cols {
			mean, spread := c.moments(sums, band, band*g.Cols+col)
			s.Mean[band][g.Index(col, row)], s.Spread[band][g.Index(col, row)] = mean, spread
		}
	}
	for col := range g.Cols {
		cell := g.Index(col, row)
		least := uint64(math.MaxUint32)
		for band := range s.Bands {
			least = min(least, sums.n[band*g.Cols+col])
		}
		s.Pixels[cell] = uint32(least)
		if s.Inside[cell] {
			c.full += least
			c.empty += uint64(sums.empty[col])
		}
		for bin, n := range sums.hist[col*Bins:][:Bins] {
			s.Hist[cell*Bins+bin] = uint16(min(n, math.MaxUint16))
		}
	}
	sums.reset()
	c.free, c.live[row] = append(c.free, sums), nil
}

// moments is the mean and the standard deviation (divisor n) of one band of
// one cell, NaN without pixels.
func (c *collector) moments(r *rowSums, band, at int) (mean, spread float32) {
	n := r.n[at]
	if n == 0 {
		nan := float32(math.NaN())
		return nan, nan
	}
	if c.float[band] {
		m := r.fsum[at] / float64(n)
		return float32(m), float32(math.Sqrt(max(r.fsq[at]/float64(n)-float64(m*m), 0)))
	}
	k := float64(n) * c.scale[band]
	return float32(float64(r.sum[at]) / k), float32(math.Sqrt(excess(n, r.sum[at], r.sq[at])) / k)
}

// excess is n*sq - sum*sum, exact until it is rounded once.
func excess(n, sum, sq uint64) float64 {
	hi1, lo1 := bits.Mul64(n, sq)
	hi2, lo2 := bits.Mul64(sum, sum)
	lo, borrow := bits.Sub64(lo1, lo2, 0)
	hi, _ := bits.Sub64(hi1, hi2, borrow)
	return float64(float64(hi)*(1<<64)) + float64(lo)
}
