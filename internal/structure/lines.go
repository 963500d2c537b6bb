package structure

import (
	"math"
	"slices"

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
	if s.Len() == 0 || !anyHeading(headings, false) {
		out := newLineField(s)
		newSweeper(v, s, shape, workers).sweep(shape, headings, true, out)
		return out
	}
	ts := stat.Size{Cols: s.Rows, Rows: s.Cols}
	along := newLineField(ts)
	newSweeper(transpose(v, s), ts, shape, workers).sweep(shape, headings, false, along)
	if !anyHeading(headings, true) {
		return lineField{transpose(along.Strength, ts), transpose(along.Heading, ts)}
	}
	out := newLineField(s)
	newSweeper(v, s, shape, workers).sweep(shape, headings, true, out)
	out.merge(along, s)
	return out
}

// anyHeading says whether one of the headings lies nearer to the raster's rows, or to
// its columns when turned.
func anyHeading(headings []float64, turned bool) bool {
	return slices.ContainsFunc(headings, func(h float64) bool {
		_, ok := slopeOf(h, turned)
		return ok
	})
}

// noLine is the strength where there is no line.
const noLine = -1e3

func newLineField(s stat.Size) lineField {
	f := lineField{Strength: make([]float32, s.Len()), Heading: make([]uint8, s.Len())}
	for i := range f.Strength {
		f.Strength[i] = noLine
	}
	return f
}

// merge takes what was found along the rows, on the transposed raster, where it is as
// strong or stronger.
func (f lineField) merge(along lineField, s stat.Size) {
	inBlocks(s, func(i, j, n int) {
		strength, heading := f.Strength[i:i+n], f.Heading[i:i+n]
		for k, own := range strength {
			if r := along.Strength[j]; r >= own {
				strength[k], heading[k] = r, along.Heading[j]
			}
			j += s.Rows
		}
	})
}

func transpose[T any](v []T, s stat.Size) []T {
	out := make([]T, len(v))
	inBlocks(stat.Size{Cols: s.Rows, Rows: s.Cols}, func(i, j, n int) {
		to := out[i : i+n]
		for k := range to {
			to[k] = v[j]
			j += s.Cols
		}
	})
	return out
}

// inBlocks calls fn with the stretches of the rows of a raster, n cells from i on, and their
// places on the transposed one, j and so many rows on; block by block, so
// that both sides of a block stay in the cache.
func inBlocks(s stat.Size, fn func(i, j, n int)) {
	const block = 32
	for y0 := 0; y0 < s.Rows; y0 += block {
		for x0 := 0; x0 < s.Cols; x0 += block {
			for y := y0; y < min(y0+block, s.Rows); y++ {
				fn(y*s.Cols+x0, x0*s.Rows+y, min(block, s.Cols-x0))
			}
		}
	}
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
		if !turned {
			at, size = transpose(square, s), stat.Size{Cols: s.Rows, Rows: s.Cols}
		}
		w := newSweeper(at, size, shape, 1)
		for k, h := range headings {
			if slope, ok := slopeOf(h, turned); ok {
				out[k] = w.power(w.prepare(shape, slope))
			}
		}
	}
	return out
}

// A sweeper takes lines across the rows of a raster, each row one step further on. All lines
// go that step together, since their cells lie side by side. It holds what the headings
// of one raster share. Its sums have empty cells at both ends of a row, so that a flank is never off them.
type sweeper struct {
	v       []uint8
	s       stat.Size
	workers int
	pad     int      // empty cells at either end of a row of core and flank
	core    []uint16 // weighted sum across the line, in eighths; nil until it is asked for
	flank   []uint16 // sum across one flank, about its middle
	summed  struct { // what core and flank were summed by last
		full, r int
		end     uint16
	}
	shift []int // cells that a line has moved by at each row
}

func newSweeper(v []uint8, s stat.Size, shape lineShape, workers int) *sweeper {
	w := &sweeper{v: v, s: s, pad: int(1.5*shape.To) + 3, workers: workers}
	n := (s.Cols + 2*w.pad) * s.Rows
	w.flank = make([]uint16, n)
	w.summed.full, w.summed.r = -1, -1
	w.shift = make([]int, s.Rows)
	return w
}

// sweep runs the headings that lie nearer to the way across the rows, and keeps the
// strongest in out: the line through a cell is as strong as the weaker of the half
// that ends at it and the half that follows.
func (w *sweeper) sweep(shape lineShape, headings []float64, turned bool, out lineField) {
	for k, h := range headings {
		slope, ok := slopeOf(h, turned)
		if !ok {
			continue
		}
		l := w.prepare(shape, slope)
		// Lines of one slope share no cell.
		raster.Bands(w.workers, l.to-l.from, func(from, to int) {
			w.walk(l, l.from+from, l.from+to, func(row, line int, ends, follows []float32) {
				at := row*w.s.Cols + line + w.shift[row]
				takeStronger(out.Strength[at:][:len(ends)], out.Heading[at:], ends, follows, uint32(k))
			})
		})
	}
}

// takeStronger takes the weaker of both halves where it is more than what is known. Which heading wins cannot be
// foretold, so both are taken without a branch, strengths by their bits.
func takeStronger(strength []float32, heading []uint8, ends, follows []float32, k uint32) {
	heading, ends, follows = heading[:len(strength)], ends[:len(strength)], follows[:len(strength)]
	for i, top := range strength {
		r := min(ends[i], follows[i])
		best, more, is := math.Float32bits(top), math.Float32bits(r), uint32(heading[i])
		if r > top {
			best, is = more, k
		}
		strength[i], heading[i] = math.Float32frombits(best), uint8(is)
	}
}

// power is the sum of squares of all strengths above 0, line by line.
func (w *sweeper) power(l lay) float64 {
	of := make([]float64, l.to-l.from)
	w.walk(l, l.from, l.to, func(_, line int, ends, follows []float32) {
		of := of[line-l.from:][:len(ends)]
		for i, r := range ends {
			x := float64(max(min(r, follows[i]), 0))
			of[i] += float64(x * x)
		}
	})
	sum := 0.0
	for _, x := range of {
		sum += x
	}
	return sum
}

// A lay is how lines of one slope lie on the raster.
type lay struct {
	core []uint16 // sums across them; nil where those of flanks are the same

	n, off   int // cells of a half line; cells to the middle of a flank
	from, to int // cells at which lines enter row 0
	gain     gain
}

// A gain turns sums along a half line into means.
type gain struct{ core, flank float32 }

// of is the mean of the core less that of the higher flank.
func (g gain) of(core, left, right int32) float32 {
	return float32(float32(core)*g.core) - float32(float32(max(left, right))*g.flank)
}

// prepare sums across the lines of one slope (cells per row, -1 to 1).
func (w *sweeper) prepare(shape lineShape, slope float64) lay {
	stretch := math.Sqrt(1 + slope*slope) // cells across, per cell across the line
	n := max(int(math.Round(shape.Half/stretch)), 1)
	from, to := int(math.Round(shape.From*stretch)), int(math.Round(shape.To*stretch))
	flank := w.acrossFlank((to - from) / 2)
	across, core := w.acrossCore(shape.Core * stretch)
	lo, hi := 0, 0
	for row := range w.shift {
		w.shift[row] = int(math.Round(slope * float64(row)))
		lo, hi = min(lo, w.shift[row]), max(hi, w.shift[row])
	}
	g := gain{float32(1 / (core * float64(n))), float32(1 / (flank * float64(n)))}
	return lay{across, n, from + (to-from)/2, -hi, w.s.Cols - lo, g}
}

// acrossCore sums cells about each cell with eighths of weight at the ends, and
// returns the sums and the weight in all. A line of one cell has none of its own beside flanks of one.
func (w *sweeper) acrossCore(half float64) ([]uint16, float64) {
	full := int(half - 0.5 + 1e-9) // whole cells on each side
	end := uint16(math.Round(8 * (half - 0.5 - float64(full))))
	if full == 0 && end == 0 && w.summed.r == 0 {
		return nil, 1
	}
	if w.core == nil {
		w.core = make([]uint16, len(w.flank))
	}
	if full != w.summed.full || end != w.summed.end {
		w.across(w.core, full, 8, end)
		w.summed.full, w.summed.end = full, end
	}
	return w.core, float64(8*(2*full+1)) + 2*float64(end)
}

// acrossFlank sums 2r+1 cells about each cell and returns their number.
func (w *sweeper) acrossFlank(r int) float64 {
	if r != w.summed.r {
		w.across(w.flank, r, 1, 0)
		w.summed.r = r
	}
	return float64(2*r + 1)
}

// across puts into dst the weighted sum of the cells of the row up to full to both
// sides, and of those next to them, which weigh end. Cells beyond the raster that a
// flank still sees are filled too.
func (w *sweeper) across(dst []uint16, full int, weight, end uint16) {
	cols, wide := w.s.Cols, w.s.Cols+2*w.pad
	raster.Bands(w.workers, w.s.Rows, func(first, last int) {
		line := make([]uint8, wide+2*full+2) // a cell of dst is in the middle of 2*full+3 of it
		for row := first; row < last; row++ {
			copy(line[w.pad+full+1:], w.v[row*cols:(row+1)*cols])
			to := dst[row*wide : (row+1)*wide]
			if full == 0 && end == 0 {
				for k, v := range line[1:][:len(to)] {
					to[k] = weight * uint16(v)
				}
				continue
			}
			before, leaves, enters := line[:len(to)], line[1:][:len(to)], line[2*full+2:][:len(to)]
			sum := uint16(0)
			for _, v := range line[1 : 2*full+2] {
				sum += uint16(v)
			}
			for k := range to {
				to[k] = weight*sum + end*(uint16(before[k])+uint16(enters[k]))
				sum += uint16(enters[k]) - uint16(leaves[k])
			}
		}
	})
}

// sums are what is added up along some lines, and the strengths of the half lines that
// ended at the last rows, in a ring. The flanks of a line are those of others as far off to both sides, so each is
// added up once.
type sums struct {
	from  int // the first line
	core  []int32
	flank []int32 // from as many lines before the first as a flank lies off, to as many behind the last
	half  [][]float32
}

func newSums(l lay, from, to int) *sums {
	s := &sums{from, make([]int32, to-from), make([]int32, to-from+2*l.off), make([][]float32, l.n+1)}
	for k := range s.half {
		s.half[k] = make([]float32, to-from)
	}
	return s
}

// walk takes the lines that enter row 0 at the cells from to to-1 over all rows. It calls fn
// for each row with the first of the lines that have whole halves on both sides of it there,
// and the strengths of the halves that end at it and of those that follow, line by line.
func (w *sweeper) walk(l lay, from, to int, fn func(row, line int, ends, follows []float32)) {
	s := newSums(l, from, to)
	for row := range w.s.Rows {
		half := s.half[row%(l.n+1)]
		w.addFlanks(s, l, row, to)
		if first, last := w.on(row, from, to); l.core == nil {
			s.thin(l, half, first, last)
		} else {
			w.wide(s, l, half, row, first, last)
		}
		if low, high := w.both(row, row-2*l.n+1, from, to); low < high {
			ends := s.half[(row+1)%(l.n+1)] // those of n rows ago
			fn(row-l.n, low, ends[low-from:high-from], half[low-from:high-from])
		}
	}
}

// on are those of the lines from to to-1 that lie on the raster at a row; none at a
// row before the first.
func (w *sweeper) on(row, from, to int) (first, last int) {
	if row < 0 {
		return from, from
	}
	first = max(from, -w.shift[row])
	return first, max(first, min(to, w.s.Cols-w.shift[row]))
}

// both are those on the raster at two rows, and so between them: shifts rise or fall steadily.
func (w *sweeper) both(a, b, from, to int) (first, last int) {
	first, last = w.on(a, from, to)
	low, high := w.on(b, from, to)
	return max(first, low), min(last, high)
}

// at are the sums across some lines at a row.
func (w *sweeper) at(across []uint16, row, first, last int) []uint16 {
	at := row*(w.s.Cols+2*w.pad) + w.pad + first + w.shift[row]
	return across[at:][:last-first]
}

// addFlanks adds a row to the sums of what are flanks of the lines on the raster, and takes off the row n before.
func (w *sweeper) addFlanks(s *sums, l lay, row, to int) {
	beside := func(row int) (first, last int) {
		if first, last = w.on(row, s.from, to); first < last {
			first, last = first-l.off, last+l.off
		}
		return first, last
	}
	first, last := beside(row)
	if first >= last {
		return
	}
	low, high := beside(row - l.n)
	low, high = max(first, low), min(last, high)
	sums := s.flank[first-s.from+l.off:][:last-first]
	if low >= high {
		add(sums, w.at(w.flank, row, first, last))
		return
	}
	add(sums[:low-first], w.at(w.flank, row, first, low))
	addOff(sums[low-first:high-first], w.at(w.flank, row, low, high), w.at(w.flank, row-l.n, low, high))
	add(sums[high-first:], w.at(w.flank, row, high, last))
}

func add(to []int32, v []uint16) {
	v = v[:len(to)]
	for k := range to {
		to[k] += int32(v[k])
	}
}

// addOff adds what enters and takes off what leaves.
func addOff(to []int32, enters, leaves []uint16) {
	enters, leaves = enters[:len(to)], leaves[:len(to)]
	for k := range to {
		to[k] += int32(enters[k]) - int32(leaves[k])
	}
}

// of are the sums of some lines.
func (s *sums) of(l lay, first, last int) (core, left, right []int32) {
	at, n := first-s.from, last-first
	return s.core[at:][:n], s.flank[at:][:n], s.flank[at+2*l.off:][:n]
}

// thin takes the strengths of lines of one cell by the sums of flanks, one of which lies where each line does.
func (s *sums) thin(l lay, half []float32, first, last int) {
	if first >= last {
		return
	}
	at, n := first-s.from, last-first
	left, core, right := s.flank[at:][:n], s.flank[at+l.off:][:n], s.flank[at+2*l.off:][:n]
	half = half[at:][:n]
	for k, sum := range core {
		half[k] = l.gain.of(sum, left[k], right[k])
	}
}

// wide adds a row to the sums of lines of several cells, and takes their strengths.
func (w *sweeper) wide(s *sums, l lay, half []float32, row, first, last int) {
	// The lines that were on the raster n rows ago leave that cell behind.
	low, high := w.both(row, row-l.n, first, last)
	if low >= high {
		low, high = last, last
	}
	w.enter(s, l, half, row, first, low)
	w.move(s, l, half, row, low, high)
	w.enter(s, l, half, row, high, last)
}

// enter adds a row to the sums of some lines.
func (w *sweeper) enter(s *sums, l lay, half []float32, row, first, last int) {
	if first >= last {
		return
	}
	c, left, right := s.of(l, first, last)
	core := w.at(l.core, row, first, last)[:len(c)]
	left, right, half = left[:len(c)], right[:len(c)], half[first-s.from:][:len(c)]
	for k, sum := range c {
		sum += int32(core[k])
		c[k] = sum
		half[k] = l.gain.of(sum, left[k], right[k])
	}
}

// move is enter for lines that leave the row n before behind.
func (w *sweeper) move(s *sums, l lay, half []float32, row, first, last int) {
	if first >= last {
		return
	}
	c, left, right := s.of(l, first, last)
	core, leaves := w.at(l.core, row, first, last)[:len(c)], w.at(l.core, row-l.n, first, last)[:len(c)]
	left, right, half = left[:len(c)], right[:len(c)], half[first-s.from:][:len(c)]
	g := l.gain
	for k, sum := range c {
		sum += int32(core[k]) - int32(leaves[k])
		c[k] = sum
		half[k] = g.of(sum, left[k], right[k])
	}
}
