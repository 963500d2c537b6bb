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
	hist  []uint32 // [pool cell*Bins + bin]
}

// newPool folds the summary's histograms of the cells where look is true.
func newPool(s *cells.Summary, l *structure.Layout, look []bool, workers int) *pool {
	g := s.Grid
	fold := max(1, int(math.Round(1/g.CellM)))
	p := &pool{fold: fold, fine: stat.Size{Cols: g.Cols, Rows: g.Rows}}
	p.size = stat.Size{Cols: (g.Cols + fold - 1) / fold, Rows: (g.Rows + fold - 1) / fold}
	p.check = make([]int32, p.size.Len())
	p.cells = make([]uint16, p.size.Len())
	p.hist = make([]uint32, p.size.Len()*cells.Bins)
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
	base := row / p.fold * p.size.Cols
	for col := range p.fine.Cols {
		i := row*p.fine.Cols + col
		if !look[i] {
			continue
		}
		at := base + col/p.fold
		p.cells[at]++
		if p.check[at] < 0 {
			p.check[at] = l.Check[i]
		}
		if s.Ratio == "" {
			continue
		}
		from := s.Hist[i*cells.Bins : (i+1)*cells.Bins : (i+1)*cells.Bins]
		into := p.hist[at*cells.Bins : (at+1)*cells.Bins : (at+1)*cells.Bins]
		for b, n := range from {
			into[b] += uint32(n)
		}
	}
}

// around returns for each pool cell the histogram of the square of 2*radius+1
// pool cells about it, in one row at a time: fn is called for each row with
// Bins counts for each column. Rows come in any order, each once.
func (p *pool) around(radius, workers int, fn func(row int, hist []uint32)) {
	raster.Bands(workers, p.size.Rows, func(from, to int) {
		wide := p.size.Cols * cells.Bins
		column := make([]uint32, wide)
		line := make([]uint32, wide)
		for row := max(from-radius, 0); row < min(from+radius, p.size.Rows); row++ {
			addTo(column, p.hist[row*wide:(row+1)*wide])
		}
		for row := from; row < to; row++ {
			if enter := row + radius; enter < p.size.Rows {
				addTo(column, p.hist[enter*wide:(enter+1)*wide])
			}
			if leave := row - radius - 1; leave >= max(from-radius, 0) {
				takeFrom(column, p.hist[leave*wide:(leave+1)*wide])
			}
			slide(line, column, radius)
			fn(row, line)
		}
	})
}

// slide sums histograms over 2*radius+1 columns.
func slide(line, column []uint32, radius int) {
	const bins = cells.Bins
	cols := len(column) / bins
	var sum [bins]uint32
	for col := range min(radius, cols) {
		addTo(sum[:], column[col*bins:(col+1)*bins])
	}
	for col := range cols {
		if enter := col + radius; enter < cols {
			addTo(sum[:], column[enter*bins:(enter+1)*bins])
		}
		if leave := col - radius - 1; leave >= 0 {
			takeFrom(sum[:], column[leave*bins:(leave+1)*bins])
		}
		copy(line[col*bins:(col+1)*bins], sum[:])
	}
}

func addTo(into, from []uint32) {
	from = from[:len(into)]
	for i := range into {
		into[i] += from[i]
	}
}

func takeFrom(into, from []uint32) {
	from = from[:len(into)]
	for i := range into {
		into[i] -= from[i]
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
