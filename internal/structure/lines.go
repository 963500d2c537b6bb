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
	out := newLineField(s)
	if s.Len() == 0 {
		return out
	}
	if anyHeading(headings, true) {
		across := newRankField(s)
		newSweeper(v, s, shape, workers).sweep(shape, headings, true, across)
		for i, r := range across.strength {
			out.Strength[i] = valueOf(r)
		}
		out.Heading = across.heading
	}
	if anyHeading(headings, false) {
		ts := stat.Size{Cols: s.Rows, Rows: s.Cols}
		along := newRankField(ts)
		newSweeper(transpose(v, s), ts, shape, workers).sweep(shape, headings, false, along)
		out.merge(along, s)
	}
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

// A rank is a strength as a whole number of the same order, of which one is taken or
// another without a branch: which heading wins cannot be foretold.
type rank int32

// rankOf is the bits of a float, which rise with it, those of negative ones turned round.
func rankOf(x float32) rank {
	b := int32(math.Float32bits(x))
	return rank(b ^ int32(uint32(b>>31)>>1))
}

func valueOf(r rank) float32 {
	return math.Float32frombits(uint32(int32(r) ^ int32(uint32(r>>31)>>1)))
}

// A rankField is a lineField in the making.
type rankField struct {
	strength []rank
	heading  []uint8
}

func newRankField(s stat.Size) rankField {
	f := rankField{make([]rank, s.Len()), make([]uint8, s.Len())}
	none := rankOf(noLine)
	for i := range f.strength {
		f.strength[i] = none
	}
	return f
}

// merge takes what was found along the rows, on the transposed raster, where it is as
// strong or stronger.
func (f lineField) merge(along rankField, s stat.Size) {
	inBlocks(s, func(i, j, n int) {
		for k := range n {
			if r := valueOf(along.strength[j+k*s.Rows]); r >= f.Strength[i+k] {
				f.Strength[i+k], f.Heading[i+k] = r, along.heading[j+k*s.Rows]
			}
		}
	})
}

func transpose[T any](v []T, s stat.Size) []T {
	out := make([]T, len(v))
	inBlocks(s, func(i, j, n int) {
		for k, x := range v[i : i+n] {
			out[j+k*s.Rows] = x
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
	core    []uint16 // weighted sum across the line, in eighths
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
	w.core, w.flank = make([]uint16, n), make([]uint16, n)
	w.summed.full, w.summed.r = -1, -1
	w.shift = make([]int, s.Rows)
	return w
}

// sweep runs the headings that lie nearer to the way across the rows, and keeps the
// strongest in out: the line through a cell is as strong as the weaker of the half
// that ends at it and the half that follows.
func (w *sweeper) sweep(shape lineShape, headings []float64, turned bool, out rankField) {
	for k, h := range headings {
		slope, ok := slopeOf(h, turned)
		if !ok {
			continue
		}
		l := w.prepare(shape, slope)
		// Lines of one slope share no cell.
		raster.Bands(w.workers, l.to-l.from, func(from, to int) {
			w.walk(l, l.from+from, l.from+to, func(row, line int, ends, follows []rank) {
				at := row*w.s.Cols + line + w.shift[row]
				takeStronger(out.strength[at:][:len(ends)], out.heading[at:], ends, follows, uint32(k))
			})
		})
	}
}

// takeStronger takes the weaker of both halves where it is more than what is known.
func takeStronger(strength []rank, heading []uint8, ends, follows []rank, k uint32) {
	heading, ends, follows = heading[:len(strength)], ends[:len(strength)], follows[:len(strength)]
	for i, top := range strength {
		r, h := min(ends[i], follows[i]), uint32(heading[i])
		if r > top {
			h = k
		}
		strength[i], heading[i] = max(top, r), uint8(h)
	}
}

// power is the sum of squares of all strengths above 0, line by line.
func (w *sweeper) power(l lay) float64 {
	by := make([]float32, (l.to-l.from)*w.s.Rows)
	w.walk(l, l.from, l.to, func(row, line int, ends, follows []rank) {
		for i, r := range ends {
			by[(line-l.from+i)*w.s.Rows+row] = valueOf(min(r, follows[i]))
		}
	})
	sum := 0.0
	for _, r := range by {
		if r > 0 {
			sum += float64(float64(r) * float64(r))
		}
	}
	return sum
}

// A lay is how lines of one slope lie on the raster.
type lay struct {
	n, off   int // cells of a half line; cells to the middle of a flank
	from, to int // cells at which lines enter row 0
	gain     gain
}

// A gain turns sums along a half line into means.
type gain struct{ core, flank float32 }

// of is the mean of the core less that of the higher flank.
func (g gain) of(core, left, right int32) rank {
	return rankOf(float32(float32(core)*g.core) - float32(float32(max(left, right))*g.flank))
}

// prepare sums across the lines of one slope (cells per row, -1 to 1).
func (w *sweeper) prepare(shape lineShape, slope float64) lay {
	stretch := math.Sqrt(1 + slope*slope) // cells across, per cell across the line
	n := max(int(math.Round(shape.Half/stretch)), 1)
	core := w.acrossCore(shape.Core * stretch)
	from, to := int(math.Round(shape.From*stretch)), int(math.Round(shape.To*stretch))
	flank := w.acrossFlank((to - from) / 2)
	lo, hi := 0, 0
	for row := range w.shift {
		w.shift[row] = int(math.Round(slope * float64(row)))
		lo, hi = min(lo, w.shift[row]), max(hi, w.shift[row])
	}
	g := gain{float32(1 / (core * float64(n))), float32(1 / (flank * float64(n)))}
	return lay{n, from + (to-from)/2, -hi, w.s.Cols - lo, g}
}

// acrossCore sums cells about each cell with eighths of weight at the ends, and
// returns the weight in all.
func (w *sweeper) acrossCore(half float64) float64 {
	full := int(half - 0.5 + 1e-9) // whole cells on each side
	end := uint16(math.Round(8 * (half - 0.5 - float64(full))))
	if full != w.summed.full || end != w.summed.end {
		w.across(w.core, full, 8, end)
		w.summed.full, w.summed.end = full, end
	}
	return float64(8*(2*full+1)) + 2*float64(end)
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
// ended at the last rows, in a ring.
type sums struct {
	core, left, right []int32
	half              [][]rank
}

func newSums(lines, rows int) *sums {
	s := &sums{make([]int32, lines), make([]int32, lines), make([]int32, lines), make([][]rank, rows)}
	for k := range s.half {
		s.half[k] = make([]rank, lines)
	}
	return s
}

// walk takes the lines that enter row 0 at the cells from to to-1 over all rows. It calls fn
// for each row with the first of the lines that have whole halves on both sides of it there,
// and the strengths of the halves that end at it and of those that follow, line by line.
func (w *sweeper) walk(l lay, from, to int, fn func(row, line int, ends, follows []rank)) {
	s := newSums(to-from, l.n+1)
	for row := range w.s.Rows {
		half := s.half[row%(l.n+1)]
		first, last := w.on(row, from, to)
		// The lines that were on the raster n rows ago leave that cell behind.
		low, high := w.both(row, row-l.n, from, to)
		if low >= high {
			low, high = last, last
		}
		w.enter(s, l, half, row, from, first, low)
		w.move(s, l, half, row, from, low, high)
		w.enter(s, l, half, row, from, high, last)
		if low, high = w.both(row, row-2*l.n+1, from, to); low < high {
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

// at are core and both flanks of some lines at a row.
func (w *sweeper) at(l lay, row, first, last int) (core, left, right []uint16) {
	at, n := row*(w.s.Cols+2*w.pad)+w.pad+first+w.shift[row], last-first
	return w.core[at:][:n], w.flank[at-l.off:][:n], w.flank[at+l.off:][:n]
}

// of are the sums of some lines, of those from from on.
func (s *sums) of(from, first, last int) (core, left, right []int32) {
	n := last - first
	return s.core[first-from:][:n], s.left[first-from:][:n], s.right[first-from:][:n]
}

// enter adds a row to the sums of some lines.
func (w *sweeper) enter(s *sums, l lay, half []rank, row, from, first, last int) {
	if first >= last {
		return
	}
	core, left, right := w.at(l, row, first, last)
	c, a, b := s.of(from, first, last)
	half = half[first-from:][:len(core)]
	for k := range half {
		c[k] += int32(core[k])
		a[k] += int32(left[k])
		b[k] += int32(right[k])
		half[k] = l.gain.of(c[k], a[k], b[k])
	}
}

// move is enter for lines that leave the row n before behind.
func (w *sweeper) move(s *sums, l lay, half []rank, row, from, first, last int) {
	if first >= last {
		return
	}
	n := last - first
	core, left, right := w.at(l, row, first, last)
	oldCore, oldLeft, oldRight := w.at(l, row-l.n, first, last)
	c, a, b := s.of(from, first, last)
	core, left, right = core[:n], left[:n], right[:n]
	oldCore, oldLeft, oldRight = oldCore[:n], oldLeft[:n], oldRight[:n]
	c, a, b, half = c[:n], a[:n], b[:n], half[first-from:][:n]
	for k := range half {
		sc := c[k] + int32(core[k]) - int32(oldCore[k])
		sa := a[k] + int32(left[k]) - int32(oldLeft[k])
		sb := b[k] + int32(right[k]) - int32(oldRight[k])
		c[k], a[k], b[k] = sc, sa, sb
		half[k] = l.gain.of(sc, sa, sb)
	}
}
