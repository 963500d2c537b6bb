package stat

import (
	"math"
	"slices"
)

// A Size is the shape of a raster.
type Size struct{ Cols, Rows int }

// Len is the number of cells.
func (s Size) Len() int { return s.Cols * s.Rows }

// Box writes to dst the mean of src over the square of 2*radius+1 cells about
// each cell, counting only cells where in is true (all when in is nil) and src
// is not NaN; NaN where the square has none. dst may be src. Cost does not
// depend on the radius, and memory is that of 2*radius+1 rows.
func Box(dst, src []float32, in []bool, s Size, radius int) {
	BoxAll([][]float32{dst}, [][]float32{src}, in, s, radius)
}

// BoxAll is [Box] of several rasters, of which the same cells count: those of the first one.
func BoxAll(dst, src [][]float32, in []bool, s Size, radius int) {
	if s.Len() == 0 || len(src) == 0 {
		return
	}
	b := NewBoxes(len(src), s, radius)
	for y := -radius; y < s.Rows; y++ {
		if enter := y + radius; enter < s.Rows {
			b.Enter(maskRow(in, s, enter), func(k int) []float32 { return src[k][enter*s.Cols : (enter+1)*s.Cols] })
		} else {
			b.Beyond()
		}
		if y < 0 {
			continue
		}
		for k := range dst {
			b.Means(k, dst[k][y*s.Cols:(y+1)*s.Cols])
		}
	}
}

// Boxes are the means that [Box] takes, of several rasters of which the same cells count, so that these are counted
// once. The rasters come row by row, and so do the means: whoever goes on with them needs no raster for them.
type Boxes struct {
	radius, row int // row: rows that came
	n           *counts
	of          []*columns
}

// NewBoxes makes ready for so many rasters.
func NewBoxes(rasters int, s Size, radius int) *Boxes {
	b := &Boxes{radius: radius, n: newCounts(s.Cols, radius), of: make([]*columns, rasters)}
	for k := range b.of {
		b.of[k] = newColumns(s.Cols, radius)
	}
	return b
}

// Enter takes the next row of every raster. Those cells count where in is true, all when it is nil, and the first raster
// is not NaN; no other raster may be NaN there.
func (b *Boxes) Enter(in []bool, row func(raster int) []float32) {
	for k, c := range b.of {
		if k == 0 {
			c.weigh(b.n, row(0), in)
			b.n.slideRow()
			b.n.slide(b.row)
		} else {
			c.take(b.n, row(k))
		}
		slideRow(c.sums, c.line, c.radius)
		c.slide(b.row)
	}
	b.row++
}

// Beyond takes a row beyond the last one, in which no cell counts.
func (b *Boxes) Beyond() {
	clear(b.n.sums)
	b.n.slide(b.row)
	for _, c := range b.of {
		clear(c.sums)
		c.slide(b.row)
	}
	b.row++
}

// Middle is the row that the means are of: radius rows behind the last one that came, below 0 at first.
func (b *Boxes) Middle() int { return b.row - 1 - b.radius }

// Means puts those of a raster at the middle row into dst; NaN where no cell counts.
func (b *Boxes) Means(raster int, dst []float32) {
	nan := float32(math.NaN())
	acc, n := b.of[raster].acc[:len(dst)], b.n.acc[:len(dst)]
	for x := range dst {
		if k := n[x]; k > 0 {
			dst[x] = float32(acc[x]) / float32(k)
		} else {
			dst[x] = nan
		}
	}
}

// Mean is that of one cell.
func (b *Boxes) Mean(raster, x int) float32 {
	return float32(b.of[raster].acc[x]) / float32(b.n.acc[x])
}

// maskRow is row y of a mask; nil for all cells.
func maskRow(in []bool, s Size, y int) []bool {
	if in == nil {
		return nil
	}
	return in[y*s.Cols : (y+1)*s.Cols]
}

// Sums replaces each value of v by the sum over the square of 2*radius+1 cells
// about it, cells beyond the raster counting 0. v must hold no NaN.
func Sums(v []float32, s Size, radius int) {
	if s.Len() == 0 {
		return
	}
	c := newColumns(s.Cols, radius)
	for y := -radius; y < s.Rows; y++ {
		if enter := y + radius; enter < s.Rows {
			copy(c.line, v[enter*s.Cols:(enter+1)*s.Cols])
			slideRow(c.sums, c.line, radius)
		} else {
			clear(c.sums)
		}
		c.slide(y + radius)
		if y < 0 {
			continue
		}
		row := v[y*s.Cols : (y+1)*s.Cols]
		acc := c.acc[:len(row)]
		for x := range row {
			row[x] = float32(acc[x])
		}
	}
}

// columns are running sums down all columns at once, of sums along rows: the rows
// that are still needed are kept in a ring. Sums are taken in float64, so that
// rounding does not pile up.
type columns struct {
	radius int
	line   []float32 // the row that enters
	sums   []float32 // the same, summed along it
	ring   []float32
	acc    []float64
}

func newColumns(cols, radius int) *columns {
	return &columns{radius, make([]float32, cols), make([]float32, cols), make([]float32, (2*radius+1)*cols), make([]float64, cols)}
}

// weigh takes a row that enters under its mask, and its weights into n.
func (c *columns) weigh(n *counts, src []float32, in []bool) {
	line, weight := c.line[:len(src)], n.line[:len(src)]
	if in != nil {
		in = in[:len(src)]
	}
	for x, v := range src {
		if (in == nil || in[x]) && v == v {
			line[x], weight[x] = v, 1
		} else {
			line[x], weight[x] = 0, 0
		}
	}
}

// take takes a row that enters by weights that are known.
func (c *columns) take(n *counts, src []float32) {
	line, weight := c.line[:len(src)], n.line[:len(src)]
	for x, v := range src {
		line[x] = math.Float32frombits(math.Float32bits(v) & uint32(-weight[x])) // 0 where it weighs 0, without a branch
	}
}

// slide moves the sums on by the row that enters, which is row y.
func (c *columns) slide(y int) {
	enter := c.sums
	old, acc := ringRow(c.ring, len(enter), y, c.radius)[:len(enter)], c.acc[:len(enter)]
	for x, v := range enter {
		acc[x] += float64(v) - float64(old[x])
		old[x] = v
	}
}

// ringRow is the place of a row in a ring, where the one that leaves still lies.
func ringRow[T any](ring []T, cols, row, radius int) []T {
	k := row % (2*radius + 1)
	return ring[k*cols : (k+1)*cols]
}

// slideRow puts into sums the sums of 2*r+1 values of a row about each.
func slideRow(sums, row []float32, r int) {
	acc := 0.0
	for x := range min(r, len(row)) {
		acc += float64(row[x])
	}
	inner, last := innerOf(len(row), r)
	for x := range inner {
		acc += float64(row[x+r])
		sums[x] = float32(acc)
	}
	if inner < last {
		out := sums[inner:last]
		enter, leave := row[inner+r:][:len(out)], row[inner-r-1:][:len(out)]
		for k := range out {
			acc += float64(enter[k]) - float64(leave[k]) // one sum that waits for the last one, not two
			out[k] = float32(acc)
		}
	}
	for x := last; x < len(row); x++ {
		if x-r-1 >= 0 {
			acc -= float64(row[x-r-1])
		}
		sums[x] = float32(acc)
	}
}

// innerOf is from where on in a row of n values some leave the sum of 2*r+1 about each as it
// moves along, and to where some enter it.
func innerOf(n, r int) (from, to int) {
	to = max(n-r, 0)
	return min(r+1, to), to
}

// counts are columns of how many cells there are.
type counts struct {
	radius     int
	line, sums []int32
	ring, acc  []int32
}

// slideRow is that of columns.
func (c *counts) slideRow() {
	row, sums, r := c.line, c.sums, c.radius
	n := int32(0)
	for x := range min(r, len(row)) {
		n += row[x]
	}
	inner, last := innerOf(len(row), r)
	for x := range inner {
		n += row[x+r]
		sums[x] = n
	}
	if inner < last {
		out := sums[inner:last]
		enter, leave := row[inner+r:][:len(out)], row[inner-r-1:][:len(out)]
		for k := range out {
			n += enter[k] - leave[k]
			out[k] = n
		}
	}
	for x := last; x < len(row); x++ {
		if x-r-1 >= 0 {
			n -= row[x-r-1]
		}
		sums[x] = n
	}
}

func newCounts(cols, radius int) *counts {
	return &counts{radius, make([]int32, cols), make([]int32, cols), make([]int32, (2*radius+1)*cols), make([]int32, cols)}
}

// slide is that of columns.
func (c *counts) slide(y int) {
	enter := c.sums
	old, acc := ringRow(c.ring, len(enter), y, c.radius)[:len(enter)], c.acc[:len(enter)]
	for x, v := range enter {
		acc[x] += v - old[x]
		old[x] = v
	}
}

// Gauss writes to dst the mean of src about each cell with normal weights of
// standard deviation sigma (cells), counting only cells where in is true (all
// when in is nil) and src is not NaN; NaN where no such cell is near. dst may
// be src. Up to sigma 2.5 the weights are exact to 3 sigma; above, three boxes
// of the same variance stand for them.
func Gauss(dst, src []float32, in []bool, s Size, sigma float64) {
	n := make([]float32, len(src))
	for i, v := range src {
		if (in == nil || in[i]) && v == v {
			n[i] = 1
		}
	}
	newSmoother(n, s, sigma).Mean(dst, src)
}

// A Smoother takes the means of [Gauss] of one raster after the other, of which the same cells count.
type Smoother struct {
	size Size
	in   []float32 // 1 where a cell counts
	n    []float32 // the same, smoothed
	by   func(v []float32)
}

// NewSmoother is that of the cells where in is true.
func NewSmoother(in []bool, s Size, sigma float64) *Smoother {
	n := make([]float32, len(in))
	for i, is := range in {
		if is {
			n[i] = 1
		}
	}
	return newSmoother(n, s, sigma)
}

func newSmoother(in []float32, s Size, sigma float64) *Smoother {
	g := &Smoother{size: s, in: in, n: slices.Clone(in)}
	if kernel := gaussKernel(sigma); sigma <= 2.5 {
		g.by = func(v []float32) { convolve(v, s, kernel) }
	} else {
		g.by = func(v []float32) {
			for _, r := range threeBoxes(sigma) {
				Sums(v, s, r)
			}
		}
	}
	g.by(g.n)
	return g
}

// Mean writes those of src to dst, which may be src; no cell that counts may be NaN.
func (g *Smoother) Mean(dst, src []float32) {
	for i, v := range src {
		dst[i] = 0
		if g.in[i] != 0 {
			dst[i] = v
		}
	}
	g.by(dst)
	nan := float32(math.NaN())
	for i, n := range g.n {
		if n > 0.5e-6 {
			dst[i] /= n
		} else {
			dst[i] = nan
		}
	}
}

func gaussKernel(sigma float64) []float32 {
	r := max(int(math.Ceil(3*sigma)), 1)
	k := make([]float32, 2*r+1)
	for i := range k {
		d := float64(i-r) / max(sigma, 1e-3)
		k[i] = float32(math.Exp(-d * d / 2))
	}
	return k
}

// threeBoxes gives radii whose boxes together have variance sigma^2: a box of
// side 2r+1 has ((2r+1)^2-1)/12.
func threeBoxes(sigma float64) [3]int {
	var out [3]int
	left := 12 * sigma * sigma
	for i := range out {
		side := math.Sqrt(left/float64(3-i) + 1)
		r := max(int(math.Round((side-1)/2)), 0)
		out[i] = r
		left = max(left-float64((2*r+1)*(2*r+1)-1), 0)
	}
	return out
}

// convolve applies the kernel along rows, and along columns as the rows come; the
// rows that are still needed are kept in a ring.
func convolve(v []float32, s Size, k []float32) {
	if s.Len() == 0 {
		return
	}
	r := len(k) / 2
	pad, ring := make([]float32, s.Cols+2*r), make([]float32, len(k)*s.Cols)
	for y := -r; y < s.Rows; y++ {
		if enter := y + r; enter < s.Rows {
			copy(pad[r:], v[enter*s.Cols:(enter+1)*s.Cols])
			line := ringRow(ring, s.Cols, enter, r)
			clear(line)
			for j := 0; j+1 < len(k); j += 2 {
				addScaled(line, pad[j:j+s.Cols], pad[j+1:j+1+s.Cols], k[j], k[j+1])
			}
			addScaled(line, pad[2*r:], nil, k[2*r], 0)
		}
		if y < 0 {
			continue
		}
		row := v[y*s.Cols : (y+1)*s.Cols]
		clear(row)
		from, to := max(y-r, 0), min(y+r, s.Rows-1)
		for q := from; q <= to; q += 2 {
			var second []float32
			w := k[q-y+r]
			if q < to {
				second = ringRow(ring, s.Cols, q+1, r)
				addScaled(row, ringRow(ring, s.Cols, q, r), second, w, k[q+1-y+r])
			} else {
				addScaled(row, ringRow(ring, s.Cols, q, r), nil, w, 0)
			}
		}
	}
}

// addScaled adds two rows of the length of dst, one after the other, or one when b
// is nil.
func addScaled(dst, a, b []float32, wa, wb float32) {
	a = a[:len(dst)]
	if b == nil {
		for i := range dst {
			dst[i] += float32(a[i] * wa)
		}
		return
	}
	b = b[:len(dst)]
	for i := range dst {
		sum := dst[i] + float32(a[i]*wa)
		dst[i] = sum + float32(b[i]*wb)
	}
}
