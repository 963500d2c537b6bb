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

// newPool folds the cells where look is true.
func newPool(s *cells.Summary, l *structure.Layout, look []bool, workers int) *pool {
	g := s.Grid
	fold := max(1, int(math.Round(1/g.CellM)))
	p := &pool{fold: fold, fine: stat.Size{Cols: g.Cols, Rows: g.Rows}}
	p.size = stat.Size{Cols: (g.Cols + fold - 1) / fold, Rows: (g.Rows + fold - 1) / fold}
	p.check, p.cells = make([]int32, p.size.Len()), make([]uint16, p.size.Len())
	for at := range p.check {
		p.check[at] = -1
	}
	p.eachRow(workers, func(at, from, to int) {
		for i := from; i < to; at++ {
			for end := min(i+fold, to); i < end; i++ {
				if !look[i] {
					continue
				}
				p.cells[at]++
				if p.check[at] < 0 {
					p.check[at] = l.Check[i]
				}
			}
		}
	})
	return p
}

// histograms puts those of one row of pool cells into out, of the cells where look is
// true. They are not kept for the whole field, since folding them again costs little.
func (p *pool) histograms(out []histogram, s *cells.Summary, look []bool, row int) {
	clear(out)
	cols := p.fine.Cols
	whole := 0 // pool cells of two by two cells
	if p.fold == 2 && (row+1)*2 <= p.fine.Rows {
		whole = cols / 2
	}
	for at := range out {
		if i := row*2*cols + 2*at; at < whole && look[i] && look[i+1] && look[i+cols] && look[i+cols+1] {
			out[at].setTo((*[2 * cells.Bins]uint16)(s.Hist[i*cells.Bins:]), (*[2 * cells.Bins]uint16)(s.Hist[(i+cols)*cells.Bins:]))
		} else {
			p.foldSome(&out[at], s, look, row, at)
		}
	}
}

// foldSome adds the counts of those cells of one pool cell where look is true.
func (p *pool) foldSome(to *histogram, s *cells.Summary, look []bool, row, col int) {
	for fine := row * p.fold; fine < min((row+1)*p.fold, p.fine.Rows); fine++ {
		for i := fine*p.fine.Cols + col*p.fold; i < fine*p.fine.Cols+min((col+1)*p.fold, p.fine.Cols); i++ {
			if look[i] {
				to.fold((*[cells.Bins]uint16)(s.Hist[i*cells.Bins:]))
			}
		}
	}
}

// setTo makes h the counts of four cells, two side by side and the two below them.
func (h *histogram) setTo(upper, lower *[2 * cells.Bins]uint16) {
	for k := range h {
		even := uint32(upper[2*k]) + uint32(upper[cells.Bins+2*k]) + uint32(lower[2*k]) + uint32(lower[cells.Bins+2*k])
		odd := uint32(upper[2*k+1]) + uint32(upper[cells.Bins+2*k+1]) + uint32(lower[2*k+1]) + uint32(lower[cells.Bins+2*k+1])
		h[k] = uint64(even) | uint64(odd)<<32
	}
}

// fold adds the counts of a cell.
func (h *histogram) fold(counts *[cells.Bins]uint16) {
	for k := range h {
		h[k] += uint64(counts[2*k]) | uint64(counts[2*k+1])<<32
	}
}

// around calls fn for each pool cell with the histograms of the squares of 2*radius+1
// pool cells about it, for two radii. Rows come in any order, from several goroutines.
func (p *pool) around(s *cells.Summary, look []bool, radii [2]int, workers int, fn func(at int, of *[2]histogram)) {
	raster.Bands(workers, p.size.Rows, func(from, to int) {
		cols, most := p.size.Cols, max(radii[0], radii[1])
		column := [2][]histogram{make([]histogram, cols), make([]histogram, cols)}
		ring := make([]histogram, (2*most+1)*cols) // the rows of the wider square
		line := func(row int) []histogram {
			k := row % (2*most + 1)
			return ring[k*cols : (k+1)*cols]
		}
		first := max(from-most, 0)
		for row := first - most; row < to; row++ { // before from, rows only enter
			for k, r := range radii {
				if leave := row - r - 1; leave >= first {
					for col, h := range line(leave) {
						column[k][col].takeOff(&h)
					}
				}
			}
			if enter := row + most; enter < p.size.Rows {
				p.histograms(line(enter), s, look, enter)
			}
			for k, r := range radii {
				if enter := row + r; enter >= first && enter < p.size.Rows {
					for col, h := range line(enter) {
						column[k][col].add(&h)
					}
				}
			}
			if row >= from {
				slide(column, radii, func(col int, of *[2]histogram) { fn(row*cols+col, of) })
			}
		}
	})
}

// slide sums histograms over 2*radius+1 columns about each.
func slide(column [2][]histogram, radii [2]int, fn func(col int, of *[2]histogram)) {
	var of [2]histogram
	cols := len(column[0])
	for k, r := range radii {
		for col := range min(r, cols) {
			of[k].add(&column[k][col])
		}
	}
	for col := range cols {
		for k, r := range radii {
			if enter := col + r; enter < cols {
				of[k].add(&column[k][enter])
			}
			if leave := col - r - 1; leave >= 0 {
				of[k].takeOff(&column[k][leave])
			}
		}
		fn(col, &of)
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
