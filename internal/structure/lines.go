package structure

import (
	"math"

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
func findLines(v []uint8, s stat.Size, shape lineShape, headings []float64) lineField {
	out := newLineField(s)
	turned := transpose(v, s)
	ts := stat.Size{Cols: s.Rows, Rows: s.Cols}
	side := newLineField(ts)
	done := make(chan struct{})
	go func() {
		defer close(done)
		sweep(turned, ts, shape, headings, true, side)
	}()
	sweep(v, s, shape, headings, false, out)
	<-done
	out.mergeTurned(side, s)
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
func sweep(v []uint8, s stat.Size, shape lineShape, headings []float64, turned bool, out lineField) {
	w := newSweeper(v, s)
	for k, h := range headings {
		dx, dy := math.Cos(h), -math.Sin(h) // rows run southwards
		if turned {
			dx, dy = dy, dx
		}
		// Exactly one of the two rasters takes a heading at 45 degrees.
		if d := math.Abs(dx) - math.Abs(dy); d < -1e-9 || (turned && d <= 1e-9) {
			continue
		}
		w.run(shape, dy/dx, uint8(k), out)
	}
}

// A sweeper holds what the headings of one raster share.
type sweeper struct {
	v     []uint8
	s     stat.Size
	shift []int
	core  []uint16 // weighted sum across the line, in eighths
	flank []uint16 // sum across one flank, about its middle
	line  [3][]int32
	half  []float32
}

func newSweeper(v []uint8, s stat.Size) *sweeper {
	w := &sweeper{v: v, s: s, shift: make([]int, s.Cols), half: make([]float32, s.Cols)}
	w.core, w.flank = make([]uint16, len(v)), make([]uint16, len(v))
	for i := range w.line {
		w.line[i] = make([]int32, s.Cols)
	}
	return w
}

// run finds the lines of one slope (rows per column, -1 to 1).
func (w *sweeper) run(shape lineShape, slope float64, heading uint8, out lineField) {
	stretch := math.Sqrt(1 + slope*slope) // rows across, per cell across the line
	n := max(int(math.Round(shape.Half/stretch)), 1)
	core := w.acrossCore(shape.Core * stretch)
	from, to := int(math.Round(shape.From*stretch)), int(math.Round(shape.To*stretch))
	flank := w.acrossFlank((to - from) / 2)
	off := from + (to-from)/2
	lo, hi := 0, 0
	for x := range w.shift {
		w.shift[x] = int(math.Round(slope * float64(x)))
		lo, hi = min(lo, w.shift[x]), max(hi, w.shift[x])
	}
	g := gain{core: float32(1 / (core * float64(n))), flank: float32(1 / (flank * float64(n)))}
	for y := -hi; y < w.s.Rows-lo; y++ {
		w.one(y, n, off, g, heading, out)
	}
}

// A gain turns sums along a half line into means.
type gain struct{ core, flank float32 }

// acrossCore sums rows about each cell with eighths of weight at the ends, and
// returns the weight in all.
func (w *sweeper) acrossCore(half float64) float64 {
	full := int(half - 0.5 + 1e-9) // whole rows on each side
	end := uint16(math.Round(8 * (half - 0.5 - float64(full))))
	clear(w.core)
	for d := -full - 1; d <= full+1; d++ {
		weight := uint16(8)
		if d == -full-1 || d == full+1 {
			weight = end
		}
		if weight > 0 {
			addRows(w.core, w.v, w.s, d, weight)
		}
	}
	return float64(8*(2*full+1)) + 2*float64(end)
}

// acrossFlank sums 2r+1 rows about each cell and returns their number.
func (w *sweeper) acrossFlank(r int) float64 {
	clear(w.flank)
	for d := -r; d <= r; d++ {
		addRows(w.flank, w.v, w.s, d, 1)
	}
	return float64(2*r + 1)
}

// addRows adds weight times the row d rows below to each row.
func addRows(dst []uint16, v []uint8, s stat.Size, d int, weight uint16) {
	for y := max(0, -d); y < min(s.Rows, s.Rows-d); y++ {
		to := dst[y*s.Cols : (y+1)*s.Cols]
		from := v[(y+d)*s.Cols : (y+d+1)*s.Cols]
		from = from[:len(to)]
		for x := range to {
			to[x] += weight * uint16(from[x])
		}
	}
}

// one takes the sheared line that enters column 0 at row y0.
func (w *sweeper) one(y0, n, off int, g gain, heading uint8, out lineField) {
	first, last := w.span(y0)
	if first > last {
		return
	}
	w.load(w.line[0], w.core, y0, first, last)
	w.load(w.line[1], w.flank, y0-off, first, last)
	w.load(w.line[2], w.flank, y0+off, first, last)
	w.halves(first, last, n, g)
	for x := first; x <= last; x++ {
		r := w.half[x]
		if x-n >= first {
			r = min(r, w.half[x-n])
		} else {
			r = -1e3
		}
		if i := (y0+w.shift[x])*w.s.Cols + x; r > out.Strength[i] {
			out.Strength[i], out.Heading[i] = r, heading
		}
	}
}

// span is the columns at which the sheared line lies on the raster.
func (w *sweeper) span(y0 int) (first, last int) {
	first, last = 0, w.s.Cols-1
	for first <= last && !w.on(y0+w.shift[first]) {
		first++
	}
	for last >= first && !w.on(y0+w.shift[last]) {
		last--
	}
	return first, last
}

func (w *sweeper) on(y int) bool { return y >= 0 && y < w.s.Rows }

func (w *sweeper) load(line []int32, from []uint16, y0, first, last int) {
	for x := first; x <= last; x++ {
		line[x] = 0
		if y := y0 + w.shift[x]; y >= 0 && y < w.s.Rows {
			line[x] = int32(from[y*w.s.Cols+x])
		}
	}
}

// halves puts into half[x] the strength of the half line of n cells that begins
// at x.
func (w *sweeper) halves(first, last, n int, g gain) {
	var c, a, b int32
	core, left, right := w.line[0], w.line[1], w.line[2]
	for x := last; x >= first; x-- {
		c, a, b = c+core[x], a+left[x], b+right[x]
		if x+n <= last {
			c, a, b = c-core[x+n], a-left[x+n], b-right[x+n]
		}
		w.half[x] = float32(float32(c)*g.core) - float32(float32(max(a, b))*g.flank)
	}
}
