package structure

import (
	"math"
	"slices"
	"sort"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A lineShape says what the oriented filter looks for. Lengths are in cells.
type lineShape struct {
	Half     float64 // length of each half of the line
	Core     float64 // half the width of the line
	From, To float64 // where the flank begins and ends, from the middle
}

// A lineField is the strongest line through each cell.
type lineField struct {
	Strength []float32 // the lesser half's mean less the higher flank's, in the unit of a step
	Heading  []uint8   // index of the heading it was found at
}

// findLines runs the oriented filter over v for the headings (radians,
// counter-clockwise from east in the raster's own axes, rows downwards counted
// negative). A line is as strong as the weaker of its two halves, and a half as
// strong as its core stands above the higher of its two flanks: so the edge of a
// patch is no line, and a line ends where it ends.
func findLines(v []uint8, s stat.Size, shape lineShape, headings []float64, workers int) lineField {
	out := newLineField(s)
	if s.Len() == 0 {
		return out
	}
	if anyHeading(headings, false) {
		sweep(v, s, shape, headings, false, out, workers)
	}
	if anyHeading(headings, true) {
		ts := stat.Size{Cols: s.Rows, Rows: s.Cols}
		side := newLineField(ts)
		sweep(transpose(v, s), ts, shape, headings, true, side, workers)
		out.mergeTurned(side, s)
	}
	return out
}

func newLineField(s stat.Size) lineField {
	f := lineField{Strength: make([]float32, s.Len()), Heading: make([]uint8, s.Len())}
	for i := range f.Strength {
		f.Strength[i] = -1e3
	}
	return f
}

// mergeTurned takes what the transposed raster found where it is stronger.
func (f lineField) mergeTurned(turned lineField, s stat.Size) {
	for y := range s.Rows {
		for x := range s.Cols {
			i, j := y*s.Cols+x, x*s.Rows+y
			if turned.Strength[j] > f.Strength[i] {
				f.Strength[i], f.Heading[i] = turned.Strength[j], turned.Heading[j]
			}
		}
	}
}

func transpose[T any](v []T, s stat.Size) []T {
	out := make([]T, len(v))
	const block = 32 // both sides of a block stay in the cache
	for y0 := 0; y0 < s.Rows; y0 += block {
		for x0 := 0; x0 < s.Cols; x0 += block {
			for y := y0; y < min(y0+block, s.Rows); y++ {
				for x := x0; x < min(x0+block, s.Cols); x++ {
					out[x*s.Rows+y] = v[y*s.Cols+x]
				}
			}
		}
	}
	return out
}

// sweep runs the headings that lie nearer to the raster's rows (to its columns
// when turned) and keeps the strongest in out.
func sweep(v []uint8, s stat.Size, shape lineShape, headings []float64, turned bool, out lineField, workers int) {
	w := newSweeper(v, s, shape, workers)
	for k, h := range headings {
		slope, ok := slopeOf(h, turned)
		if !ok {
			continue
		}
		l := w.prepare(shape, slope)
		// Lines of one slope share no cell.
		raster.Bands(workers, l.to-l.from, func(from, to int) {
			line := newSums(s.Cols)
			for y := l.from + from; y < l.from+to; y++ {
				w.keep(y, l, uint8(k), out, line)
			}
		})
	}
}

// anyHeading says whether one of the headings lies nearer to the raster's rows.
func anyHeading(headings []float64, turned bool) bool {
	return slices.ContainsFunc(headings, func(h float64) bool {
		_, ok := slopeOf(h, turned)
		return ok
	})
}

// slopeOf is a heading in rows per column of the raster, or of the transposed
// one when turned, and whether that raster is the one to take it.
func slopeOf(heading float64, turned bool) (float64, bool) {
	dx, dy := math.Cos(heading), -math.Sin(heading) // rows run southwards
	if turned {
		dx, dy = dy, dx
	}
	// Exactly one of the two rasters takes a heading at 45 degrees.
	if d := math.Abs(dx) - math.Abs(dy); d < -1e-9 || (turned && d <= 1e-9) {
		return 0, false
	}
	return dy / dx, true
}

// response is, for each heading, how strongly lines at it stand out in all of
// the squares v: the sum of the squares of their strengths.
func response(v [][]uint8, s stat.Size, shape lineShape, headings []float64, workers int) []float64 {
	powers := make([][]float64, len(v)) // by square and heading
	raster.Bands(workers, len(v), func(from, to int) {
		for i := from; i < to; i++ {
			powers[i] = responseOf(v[i], s, shape, headings)
		}
	})
	out := make([]float64, len(headings))
	for _, p := range powers {
		for k := range out {
			out[k] += p[k]
		}
	}
	return out
}

// responseOf is the response of one square.
func responseOf(square []uint8, s stat.Size, shape lineShape, headings []float64) []float64 {
	out := make([]float64, len(headings))
	for _, turned := range [2]bool{false, true} {
		at, size := square, s
		if turned {
			at, size = transpose(square, s), stat.Size{Cols: s.Rows, Rows: s.Cols}
		}
		w, line := newSweeper(at, size, shape, 1), newSums(size.Cols)
		for k, h := range headings {
			if slope, ok := slopeOf(h, turned); ok {
				out[k] = w.power(w.prepare(shape, slope), line)
			}
		}
	}
	return out
}

// A sweeper holds what the headings of one raster share. Its rasters have empty
// rows above and below, so that a flank is never off them.
type sweeper struct {
	v       []uint8
	s       stat.Size
	workers int
	pad     int      // empty rows on either side of core and flank
	core    []uint16 // weighted sum across the line, in eighths
	flank   []uint16 // sum across one flank, about its middle
	summed  struct { // what core and flank were summed by last
		full, r int
		end     uint16
	}
	shift []int // rows that a line has moved by at each column
	place []int // the same as a place in core, column included
}

func newSweeper(v []uint8, s stat.Size, shape lineShape, workers int) *sweeper {
	w := &sweeper{v: v, s: s, pad: int(1.5*shape.To) + 3, workers: workers}
	n := (s.Rows + 2*w.pad) * s.Cols
	w.core, w.flank = make([]uint16, n), make([]uint16, n)
	w.summed.full, w.summed.r = -1, -1
	w.shift, w.place = make([]int, s.Cols), make([]int, s.Cols)
	return w
}

// sums are what is added up along one line, column by column.
type sums struct {
	upTo []threeSums
	half []float32 // strength of the half line that ends there
}

// threeSums are those of the core and of both flanks from the line's beginning.
type threeSums struct{ core, left, right int32 }

func newSums(cols int) *sums { return &sums{make([]threeSums, cols), make([]float32, cols)} }

// A lay is how lines of one slope lie on the raster.
type lay struct {
	n, off   int // cells of a half line; rows to the middle of a flank
	from, to int // rows at which lines enter column 0
	gain     gain
}

// A gain turns sums along a half line into means.
type gain struct{ core, flank float32 }

// prepare sums across the lines of one slope (rows per column, -1 to 1).
func (w *sweeper) prepare(shape lineShape, slope float64) lay {
	stretch := math.Sqrt(1 + slope*slope) // rows across, per cell across the line
	n := max(int(math.Round(shape.Half/stretch)), 1)
	core := w.acrossCore(shape.Core * stretch)
	from, to := int(math.Round(shape.From*stretch)), int(math.Round(shape.To*stretch))
	flank := w.acrossFlank((to - from) / 2)
	lo, hi := 0, 0
	for x := range w.shift {
		w.shift[x] = int(math.Round(slope * float64(x)))
		w.place[x] = (w.shift[x]+w.pad)*w.s.Cols + x
		lo, hi = min(lo, w.shift[x]), max(hi, w.shift[x])
	}
	g := gain{float32(1 / (core * float64(n))), float32(1 / (flank * float64(n)))}
	return lay{n, from + (to-from)/2, -hi, w.s.Rows - lo, g}
}

// acrossCore sums rows about each cell with eighths of weight at the ends, and
// returns the weight in all.
func (w *sweeper) acrossCore(half float64) float64 {
	full := int(half - 0.5 + 1e-9) // whole rows on each side
	end := uint16(math.Round(8 * (half - 0.5 - float64(full))))
	if full != w.summed.full || end != w.summed.end {
		w.across(w.core, full+1, 8, end)
		w.summed.full, w.summed.end = full, end
	}
	return float64(8*(2*full+1)) + 2*float64(end)
}

// acrossFlank sums 2r+1 rows about each cell and returns their number.
func (w *sweeper) acrossFlank(r int) float64 {
	if r != w.summed.r {
		w.across(w.flank, r, 1, 1)
		w.summed.r = r
	}
	return float64(2*r + 1)
}

// across puts into each row of dst the weighted sum of the rows of the raster
// up to r above and below it; the outermost two weigh end. Rows beyond the
// raster that a flank still sees are filled too.
func (w *sweeper) across(dst []uint16, r int, weight, end uint16) {
	cols := w.s.Cols
	raster.Bands(w.workers, w.s.Rows+2*w.pad, func(first, last int) {
		for row := first; row < last; row++ {
			to := dst[row*cols : (row+1)*cols]
			clear(to)
			for y := max(row-w.pad-r, 0); y <= min(row-w.pad+r, w.s.Rows-1); y++ {
				by := weight
				if y == row-w.pad-r || y == row-w.pad+r {
					by = end
				}
				if by > 0 {
					addRow(to, w.v[y*cols:(y+1)*cols], by)
				}
			}
		}
	})
}

// addRow adds weight times a row to another of the same length.
func addRow(to []uint16, from []uint8, weight uint16) {
	from = from[:len(to)]
	if weight == 1 {
		for x := range to {
			to[x] += uint16(from[x])
		}
		return
	}
	for x := range to {
		to[x] += weight * uint16(from[x])
	}
}

// one takes the sheared line that enters column 0 at row y0. Going along it, it
// keeps the sums of the core and of both flanks, and leaves in half[k] the
// strength of the half line of n cells that ends k columns after the first, from the
// n-th on. The places are those of the line's cells in core, less base.
func (w *sweeper) one(y0 int, l lay, line *sums) (half []float32, places []int, base int) {
	first, last := w.span(y0)
	if first > last {
		return nil, nil, 0
	}
	places, base = w.place[first:last+1], y0*w.s.Cols
	off := l.off * w.s.Cols
	upTo, half := line.upTo[:len(places)], line.half[:len(places)]
	var s threeSums
	for k, p := range places[:min(l.n, len(places))] {
		at := base + p
		s.core, s.left, s.right = s.core+int32(w.core[at]), s.left+int32(w.flank[at-off]), s.right+int32(w.flank[at+off])
		upTo[k] = s
	}
	if len(places) < l.n {
		return nil, nil, 0
	}
	half[l.n-1] = l.gain.of(s)
	before := upTo[:len(places)-l.n]
	now, out := upTo[l.n:][:len(before)], half[l.n:][:len(before)]
	for k, p := range places[l.n:][:len(before)] {
		at := base + p
		s.core, s.left, s.right = s.core+int32(w.core[at]), s.left+int32(w.flank[at-off]), s.right+int32(w.flank[at+off])
		now[k] = s
		b := before[k]
		out[k] = l.gain.of(threeSums{s.core - b.core, s.left - b.left, s.right - b.right})
	}
	return half, places, base
}

// of is the mean of the core less that of the higher flank.
func (g gain) of(s threeSums) float32 {
	return float32(float32(s.core)*g.core) - float32(float32(max(s.left, s.right))*g.flank)
}

// both is the half lines that end at a cell and those that follow, in pairs, of what one
// left: the line through a cell is as strong as the weaker of the two.
func (l lay) both(half []float32) (ends, follows []float32) {
	if len(half) < 2*l.n {
		return nil, nil
	}
	ends = half[l.n-1 : len(half)-l.n]
	return ends, half[2*l.n-1:][:len(ends)]
}

// keep takes a line into out where it is stronger.
func (w *sweeper) keep(y0 int, l lay, heading uint8, out lineField, line *sums) {
	half, places, base := w.one(y0, l, line)
	ends, follows := l.both(half)
	if len(ends) == 0 {
		return
	}
	base -= w.pad * w.s.Cols
	for k, p := range places[l.n-1:][:len(ends)] {
		r := ends[k]
		if f := follows[k]; f < r {
			r = f
		}
		if i := base + p; r > out.Strength[i] {
			out.Strength[i], out.Heading[i] = r, heading
		}
	}
}

// power is the sum of squares of all strengths above 0.
func (w *sweeper) power(l lay, line *sums) float64 {
	sum := 0.0
	for y := l.from; y < l.to; y++ {
		half, _, _ := w.one(y, l, line)
		ends, follows := l.both(half)
		for k, r := range ends {
			if f := follows[k]; f < r {
				r = f
			}
			if r > 0 {
				sum += float64(float64(r) * float64(r))
			}
		}
	}
	return sum
}

// span is the columns at which the sheared line lies on the raster: shifts rise
// or fall steadily.
func (w *sweeper) span(y0 int) (first, last int) {
	n := len(w.shift)
	if w.shift[n-1] >= 0 {
		first = sort.Search(n, func(x int) bool { return y0+w.shift[x] >= 0 })
		last = sort.Search(n, func(x int) bool { return y0+w.shift[x] >= w.s.Rows }) - 1
		return first, last
	}
	first = sort.Search(n, func(x int) bool { return y0+w.shift[x] < w.s.Rows })
	last = sort.Search(n, func(x int) bool { return y0+w.shift[x] < 0 }) - 1
	return first, last
}
