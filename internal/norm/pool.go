package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/raster"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A pool is the summary on coarser cells of about 1 m, looked-at cells only:
// the norm is a smooth thing, and a quarter of the cells is a quarter of the
// work.
type pool struct {
	fold  int // cells of the grid along one side of a pool cell
	size  stat.Size
	fine  stat.Size
	check []int32  // index of the check that owns most of it, -1 where nothing is looked at
	cells []uint16 // looked-at cells with pixels in it
	hist  []histogram
}

// A histogram holds the counts of two bins in a word, the lower one in its lower half,
// so that two are added at once; no sum of a few metres of pixels comes near to 2^32.
type histogram [cells.Bins / 2]uint64

func (h *histogram) add(o *histogram) {
	for k := range h {
		h[k] += o[k]
	}
}

func (h *histogram) takeOff(o *histogram) {
	for k := range h {
		h[k] -= o[k]
	}
}

// bin is the count of bin b.
func (h *histogram) bin(b int) uint32 { return uint32(h[b/2] >> (b % 2 * 32)) }

// total is how many there are.
func (h *histogram) total() uint64 {
	var both uint64
	for _, two := range h {
		both += two
	}
	return both>>32 + both&math.MaxUint32
}

// newPool folds the summary's histograms of the cells where look is true.
func newPool(s *cells.Summary, l *structure.Layout, look []bool, workers int) *pool {
	g := s.Grid
	fold := max(1, int(math.Round(1/g.CellM)))
	p := &pool{fold: fold, fine: stat.Size{Cols: g.Cols, Rows: g.Rows}}
	p.size = stat.Size{Cols: (g.Cols + fold - 1) / fold, Rows: (g.Rows + fold - 1) / fold}
	p.check = make([]int32, p.size.Len())
	p.cells = make([]uint16, p.size.Len())
	p.hist = make([]histogram, p.size.Len())
	raster.Bands(workers, p.size.Rows, func(from, to int) {
		for i := from * p.size.Cols; i < to*p.size.Cols; i++ {
			p.check[i] = -1
		}
		for row := from * fold; row < min(to*fold, g.Rows); row++ {
			p.foldRow(s, l, look, row)
		}
	})
	return p
}

// foldRow adds one row of the grid's cells to the pool.
func (p *pool) foldRow(s *cells.Summary, l *structure.Layout, look []bool, row int) {
	at := row / p.fold * p.size.Cols
	for i, to := row*p.fine.Cols, (row+1)*p.fine.Cols; i < to; at++ {
		for end := min(i+p.fold, to); i < end; i++ {
			if !look[i] {
				continue
			}
			p.cells[at]++
			if p.check[at] < 0 {
				p.check[at] = l.Check[i]
			}
			if s.Ratio == "" {
				continue
			}
			from, into := (*[cells.Bins]uint16)(s.Hist[i*cells.Bins:]), &p.hist[at]
			for k := range into {
				into[k] += uint64(from[2*k]) | uint64(from[2*k+1])<<32
			}
		}
	}
}

// around calls fn for each pool cell with the histogram of the square of 2*radius+1
// pool cells about it. Rows come in any order, from several goroutines.
func (p *pool) around(radius, workers int, fn func(at int, h *histogram)) {
	raster.Bands(workers, p.size.Rows, func(from, to int) {
		cols := p.size.Cols
		column := make([]histogram, cols)
		for row := max(from-radius, 0); row < min(from+radius, p.size.Rows); row++ {
			for col := range column {
				column[col].add(&p.hist[row*cols+col])
			}
		}
		for row := from; row < to; row++ {
			if enter := row + radius; enter < p.size.Rows {
				for col := range column {
					column[col].add(&p.hist[enter*cols+col])
				}
			}
			if leave := row - radius - 1; leave >= max(from-radius, 0) {
				for col := range column {
					column[col].takeOff(&p.hist[leave*cols+col])
				}
			}
			slide(column, radius, func(col int, h *histogram) { fn(row*cols+col, h) })
		}
	})
}

// slide sums histograms over 2*radius+1 columns about each.
func slide(column []histogram, radius int, fn func(col int, h *histogram)) {
	var sum histogram
	for col := range min(radius, len(column)) {
		sum.add(&column[col])
	}
	for col := range column {
		if enter := col + radius; enter < len(column) {
			sum.add(&column[enter])
		}
		if leave := col - radius - 1; leave >= 0 {
			sum.takeOff(&column[leave])
		}
		fn(col, &sum)
	}
}

// each calls fn with every cell that look marks and its pool cell. Cells of one
// pool cell come in order, from one goroutine.
func (p *pool) each(look []bool, workers int, fn func(at, i int)) {
	p.eachRow(workers, func(at, from, to int) {
		for i := from; i < to; at++ {
			for end := min(i+p.fold, to); i < end; i++ {
				if look[i] {
					fn(at, i)
				}
			}
		}
	})
}

// eachRow calls fn with every row of cells, from to to-1, and the pool cell of the first.
// Rows of one pool cell come in order, from one goroutine.
func (p *pool) eachRow(workers int, fn func(at, from, to int)) {
	raster.Bands(workers, p.size.Rows, func(first, last int) {
		for row := first * p.fold; row < min(last*p.fold, p.fine.Rows); row++ {
			fn(row/p.fold*p.size.Cols, row*p.fine.Cols, (row+1)*p.fine.Cols)
		}
	})
}

// of returns the pool cell of cell i of the grid.
func (p *pool) of(i int) int {
	return i/p.fine.Cols/p.fold*p.size.Cols + i%p.fine.Cols/p.fold
}
