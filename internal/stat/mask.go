package stat

import (
	"math"
	"slices"
)

// A Run is the cells From to To-1, which lie in one row, and the part that they are of.
type Run struct{ From, To, Part int32 }

// Runs cuts the cells where in is true into runs, in the order of the cells, and
// numbers the connected parts that they make up: 1, 2, ... in the order of their
// first cells. With eight, cells that touch at a corner hang together. sizes[k] is
// the number of cells of part k; sizes[0] is 0.
func Runs(in []bool, s Size, eight bool) (runs []Run, sizes []int) {
	reach := int32(0)
	if eight {
		reach = 1
	}
	f, above, cols := forest(nil), 0, int32(s.Cols)
	for y := range s.Rows {
		first := len(f)
		f = f.cut(in[y*s.Cols:(y+1)*s.Cols], int32(y)*cols)
		for k := first; k < len(f) && above < first; {
			up, low := f[above], f[k]
			if up.From+cols < low.To+reach && low.From < up.To+cols+reach {
				f.join(int32(above), int32(k))
			}
			if up.To+cols < low.To {
				above++
			} else {
				k++
			}
		}
		above = first
	}
	return f, f.name()
}

// A forest is runs that hold, for their part, the place of an earlier run of the
// same part, or their own.
type forest []Run

// cut appends the runs of a row whose first cell is at.
func (f forest) cut(row []bool, at int32) forest {
	for x := nextMarked(row, 0); x < len(row); x = nextMarked(row, x) {
		from := x
		for x < len(row) && row[x] {
			x++
		}
		f = append(f, Run{at + int32(from), at + int32(x), int32(len(f))})
	}
	return f
}

// nextMarked is the first cell of a row, from x on, that is marked; the row's length when there is none. Most
// masks are empty over long stretches, which are passed over many cells at a time.
func nextMarked(row []bool, x int) int {
	for near := min(x+4, len(row)); x < near; x++ { // a short gap
		if row[x] {
			return x
		}
	}
	var none [64]bool
	for x+len(none) <= len(row) && *(*[len(none)]bool)(row[x:]) == none {
		x += len(none)
	}
	for x < len(row) && !row[x] {
		x++
	}
	return x
}

func (f forest) root(k int32) int32 {
	for f[k].Part != k {
		f[k].Part = f[f[k].Part].Part
		k = f[k].Part
	}
	return k
}

func (f forest) join(a, b int32) {
	a, b = f.root(a), f.root(b)
	f[max(a, b)].Part = min(a, b)
}

// name numbers the roots from 1 in their order, which is that of their first cells,
// gives every run its root's number, and returns the sizes.
func (f forest) name() []int {
	sizes := make([]int, 1, 64)
	for k := range f {
		if of := f[k].Part; int(of) == k {
			f[k].Part = int32(len(sizes))
			sizes = append(sizes, 0)
		} else {
			f[k].Part = f[of].Part // an earlier one, which has its number
		}
		sizes[f[k].Part] += int(f[k].To - f[k].From)
	}
	return sizes
}

// Components gives every cell the number of its part (see [Runs]), 0 where in is
// not true.
func Components(in []bool, s Size, eight bool) (labels []int32, sizes []int) {
	labels = make([]int32, s.Len())
	runs, sizes := Runs(in, s, eight)
	for _, r := range runs {
		row := labels[r.From:r.To]
		for k := range row {
			row[k] = r.Part
		}
	}
	return labels, sizes
}

// Keep clears the parts of in (see [Runs]) for which want is false. It is
// called once for each part, with its label and size.
func Keep(in []bool, s Size, eight bool, want func(label int32, size int) bool) {
	runs, sizes := Runs(in, s, eight)
	ok := make([]bool, len(sizes))
	for k := 1; k < len(sizes); k++ {
		ok[k] = want(int32(k), sizes[k])
	}
	keep(in, runs, ok)
}

func keep(in []bool, runs []Run, ok []bool) {
	for _, r := range runs {
		if !ok[r.Part] {
			clear(in[r.From:r.To])
		}
	}
}

// Hysteresis marks the cells with v >= low that hang together (corners
// included) with a cell of v >= high.
func Hysteresis(v []float32, s Size, low, high float32) []bool {
	in := make([]bool, len(v))
	for i, x := range v {
		in[i] = x >= low
	}
	runs, sizes := Runs(in, s, true)
	ok := make([]bool, len(sizes))
	for _, r := range runs {
		for _, x := range v[r.From:r.To] {
			if x >= high {
				ok[r.Part] = true
				break
			}
		}
	}
	keep(in, runs, ok)
	return in
}

// Far is the distance that [Distance] gives when no cell is marked.
const Far = float32(1e9)

// Distance returns for each cell the distance in cells, between middles, to the
// nearest cell where in is true; 0 on such a cell, [Far] when there is none.
// Exact (two passes: down the columns, then the lower envelope of parabolas
// along each row; Felzenszwalb and Huttenlocher, Theory of Computing 8 (2012),
// 415-428).
func Distance(in []bool, s Size) []float32 { return DistanceWithin(in, s, float64(Far)) }

// DistanceWithin is [Distance] as far as limit cells, and [Far] beyond; it costs
// less the less ground lies within the limit.
func DistanceWithin(in []bool, s Size, limit float64) []float32 {
	d := make([]float32, s.Len())
	columnDistance(d, in, s)
	e := envelope{at: make([]int, s.Cols), from: make([]float64, s.Cols+1), f: make([]float64, s.Cols), limit: limit}
	for y := range s.Rows {
		e.row(d[y*s.Cols : (y+1)*s.Cols])
	}
	return d
}

func columnDistance(d []float32, in []bool, s Size) {
	for i := range d {
		switch {
		case in[i]:
			d[i] = 0
		case i >= s.Cols && d[i-s.Cols] < Far:
			d[i] = d[i-s.Cols] + 1
		default:
			d[i] = Far
		}
	}
	for i := len(d) - 1 - s.Cols; i >= 0; i-- {
		if below := d[i+s.Cols]; below < Far {
			d[i] = min(d[i], below+1)
		}
	}
}

// An envelope is the lower envelope of the parabolas f[q] + (x-q)^2.
type envelope struct {
	at    []int     // the parabolas on it
	from  []float64 // where each begins
	f     []float64
	limit float64
}

func (e *envelope) row(d []float32) {
	n := 0
	limit := float32(e.limit)
	for q, v := range d {
		if v > limit || v >= Far {
			d[q] = Far
			continue
		}
		// Between two cells at 0 a third one hides nothing and hides nothing of
		// theirs: only the ends of a run of them matter.
		if v == 0 && q > 0 && q+1 < len(d) && d[q-1] == 0 && d[q+1] == 0 {
			continue
		}
		e.f[q] = float64(v) * float64(v)
		n = e.add(q, n)
	}
	for k := range n {
		e.draw(d, k, n)
	}
}

// draw writes the stretch of the k-th parabola of n.
func (e *envelope) draw(d []float32, k, n int) {
	q := e.at[k]
	lo, hi := float64(q)-e.limit, float64(q)+e.limit
	if k > 0 {
		lo = max(lo, math.Floor(e.from[k])+1)
	}
	if k+1 < n {
		hi = min(hi, math.Floor(e.from[k+1]))
	}
	f := e.f[q]
	for x := int(max(lo, 0)); x <= int(min(hi, float64(len(d)-1))); x++ {
		if d[x] == 0 {
			continue
		}
		dx := float64(x - q)
		if v := math.Sqrt(float64(dx*dx) + f); v <= e.limit {
			d[x] = float32(v)
		} else {
			d[x] = Far
		}
	}
}

// add puts parabola q onto an envelope of n and returns its new length.
func (e *envelope) add(q, n int) int {
	for n > 0 {
		p := e.at[n-1]
		x := (e.f[q] + float64(q*q) - e.f[p] - float64(p*p)) / float64(2*(q-p))
		if x > e.from[n-1] {
			e.at[n], e.from[n] = q, x
			return n + 1
		}
		n--
	}
	e.at[0], e.from[0] = q, math.Inf(-1)
	return 1
}

// Grow marks the cells within radius cells, between middles, of a cell where in
// is true.
func Grow(in []bool, s Size, radius float64) []bool {
	if radius < stampMost {
		return stamp(in, s, radius)
	}
	if out := stretch(in, s, radius); out != nil {
		return out
	}
	return within(DistanceWithin(in, s, radius), func(d float32) bool { return float64(d) <= radius })
}

// Shrink marks the cells where in is true that lie more than radius cells,
// between middles, from every cell where it is not. What lies beyond the raster
// counts as in.
func Shrink(in []bool, s Size, radius float64) []bool {
	if radius < stampMost {
		return stampOut(in, s, radius)
	}
	out := make([]bool, len(in))
	for i, b := range in {
		out[i] = !b
	}
	return within(DistanceWithin(out, s, radius), func(d float32) bool { return float64(d) > radius })
}

// stretchMost is the part of the cells that as many rows of runs may have as are worth stretching.
const stretchMost = 1.0 / 16

// stretch is Grow by marking, for every run of marked cells in a row, the rows of all discs along it; nil where there are
// so many runs that the distance of every cell costs less.
func stretch(in []bool, s Size, radius float64) []bool {
	most := int(stretchMost * float64(len(in)) / (2*radius + 1))
	var runs forest
	for y := range s.Rows {
		if runs = runs.cut(in[y*s.Cols:(y+1)*s.Cols], int32(y*s.Cols)); len(runs) > most {
			return nil
		}
	}
	out, d := make([]bool, len(in)), newDisc(radius)
	reach := len(d) - 1
	for _, r := range runs {
		y, from := int(r.From)/s.Cols, int(r.From)%s.Cols
		to := from + int(r.To-r.From)
		for v := max(y-reach, 0); v <= min(y+reach, s.Rows-1); v++ {
			w := d[max(v-y, y-v)]
			row := out[v*s.Cols+max(from-w, 0) : v*s.Cols+min(to+w, s.Cols)]
			for k := range row {
				row[k] = true
			}
		}
	}
	return out
}

// stampMost is the radius, in cells, below which marking a disc about each cell
// of a rim costs less than the distance of every cell.
const stampMost = 5.0

// A disc is how far to both sides the rows of a disc reach, from its middle row on.
type disc []int

func newDisc(radius float64) disc {
	d := make(disc, int(radius)+1)
	for dy := range d {
		for dx := 0; float64(float32(math.Sqrt(float64(dx*dx+dy*dy)))) <= radius; dx++ {
			d[dy] = dx
		}
	}
	return d
}

// stamp sets the cells of the disc about (x, y).
func (d disc) stamp(out []bool, s Size, x, y int, to bool) {
	reach := len(d) - 1
	for v := max(y-reach, 0); v <= min(y+reach, s.Rows-1); v++ {
		w := d[max(v-y, y-v)]
		row := out[v*s.Cols+max(x-w, 0) : v*s.Cols+min(x+w, s.Cols-1)+1]
		for k := range row {
			row[k] = to
		}
	}
}

// stamp is Grow by marking the disc about every marked cell that has an unmarked
// one beside it: of a cell that is not marked, the nearest marked one is of that
// kind, since from any other there is a nearer one.
func stamp(in []bool, s Size, radius float64) []bool {
	out := slices.Clone(in)
	if !(radius >= 1) {
		return out
	}
	d := newDisc(radius)
	for y := range s.Rows {
		row := in[y*s.Cols : (y+1)*s.Cols]
		for x := nextMarked(row, 0); x < len(row); x = nextMarked(row, x) {
			for ; x < len(row) && row[x]; x++ {
				if onRim(in, s, x, y) {
					d.stamp(out, s, x, y, true)
				}
			}
		}
	}
	return out
}

// stampOut is Shrink by clearing the disc about every cell that is not marked and
// has a marked one beside it, for the same reason.
func stampOut(in []bool, s Size, radius float64) []bool {
	out := slices.Clone(in)
	if !(radius >= 1) {
		return out
	}
	d := newDisc(radius)
	for y := range s.Rows {
		row := in[y*s.Cols : (y+1)*s.Cols]
		for x := nextMarked(row, 0); x < len(row); x = nextMarked(row, x) {
			for ; x < len(row) && row[x]; x++ {
				d.stampBeside(in, out, s, x, y)
			}
		}
	}
	return out
}

// stampBeside clears the disc about every cell beside (x, y) that is not marked.
func (d disc) stampBeside(in, out []bool, s Size, x, y int) {
	i := y*s.Cols + x
	if x > 0 && !in[i-1] {
		d.stamp(out, s, x-1, y, false)
	}
	if x+1 < s.Cols && !in[i+1] {
		d.stamp(out, s, x+1, y, false)
	}
	if y > 0 && !in[i-s.Cols] {
		d.stamp(out, s, x, y-1, false)
	}
	if y+1 < s.Rows && !in[i+s.Cols] {
		d.stamp(out, s, x, y+1, false)
	}
}

// onRim says that one of the four cells beside (x, y) is not marked.
func onRim(in []bool, s Size, x, y int) bool {
	i := y*s.Cols + x
	return x > 0 && !in[i-1] || x+1 < s.Cols && !in[i+1] || y > 0 && !in[i-s.Cols] || y+1 < s.Rows && !in[i+s.Cols]
}

// Open shrinks and grows again: what is narrower than 2*radius goes.
func Open(in []bool, s Size, radius float64) []bool { return Grow(Shrink(in, s, radius), s, radius) }

func within(d []float32, ok func(float32) bool) []bool {
	out := make([]bool, len(d))
	for i, v := range d {
		out[i] = ok(v)
	}
	return out
}
