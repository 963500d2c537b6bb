package invent

import (
	"sync"

	"bittern/internal/grid"
)

// A layer is a coarse map of one property of the ground, in the picture's
// frame: node (i, j) lies on the pixel corner ((i-1)*step, (j-1)*step), and
// values between nodes are interpolated.
type layer struct {
	step       int
	cols, rows int
	v          []float32
}

// newLayer makes an empty layer that covers a picture of cols x rows pixels
// and a margin of half a step and more round it.
func newLayer(cols, rows, step int) *layer {
	l := &layer{step: step, cols: (cols+step-1)/step + 4, rows: (rows+step-1)/step + 4}
	l.v = make([]float32, l.cols*l.rows)
	return l
}

// pixel returns the picture coordinates of node (i, j).
func (l *layer) pixel(i, j int) (col, row float64) {
	return float64((i - 1) * l.step), float64((j - 1) * l.step)
}

// at interpolates the layer at picture coordinates, held at its edges.
func (l *layer) at(col, row float64) float32 {
	u := clamp(col/float64(l.step)+1, 0, float64(l.cols)-1.001)
	v := clamp(row/float64(l.step)+1, 0, float64(l.rows)-1.001)
	i, j := int(u), int(v)
	fu, fv := float32(u-float64(i)), float32(v-float64(j))
	k := j*l.cols + i
	return lerp(lerp(l.v[k], l.v[k+1], fu), lerp(l.v[k+l.cols], l.v[k+l.cols+1], fu), fv)
}

// lerp is a at f = 0 and b at f = 1.
func lerp(a, b, f float32) float32 { return a + float32((b-a)*f) }

// A ramp is the interpolation table of a run of pixels along a row, for every
// layer of one step.
type ramp struct {
	first int // first node
	nodes int
	idx   []int32
	frac  []float32
}

// newRamp makes the table for n pixels from col on.
func (r *ramp) set(col, n, step int) {
	r.idx, r.frac = r.idx[:0], r.frac[:0]
	for x := range n {
		u := (float64(col+x)+0.5)/float64(step) + 1
		i := int(u)
		if x == 0 {
			r.first = i
		}
		r.nodes = i - r.first + 2
		r.idx = append(r.idx, int32(i-r.first))
		r.frac = append(r.frac, float32(u-float64(i)))
	}
}

// line interpolates the layer along the pixels of a ramp in one picture row,
// and reports whether anything there is not zero.
func (l *layer) line(dst []float32, r *ramp, row int, tmp []float32) bool {
	v := (float64(row)+0.5)/float64(l.step) + 1
	j := int(v)
	f := float32(v - float64(j))
	a := l.v[j*l.cols+r.first:][:r.nodes]
	b := l.v[(j+1)*l.cols+r.first:][:r.nodes]
	tmp = tmp[:r.nodes]
	some := false
	for i := range tmp {
		tmp[i] = lerp(a[i], b[i], f)
		some = some || tmp[i] != 0
	}
	if !some {
		clear(dst)
		return false
	}
	for x, i := range r.idx {
		dst[x] = lerp(tmp[i], tmp[i+1], r.frac[x])
	}
	return true
}

// eachRow calls fn for every row from two goroutines. Rows must not depend on
// each other.
func eachRow(rows int, fn func(j int)) {
	var wg sync.WaitGroup
	const workers = 2
	for w := range workers {
		wg.Go(func() {
			for j := w; j < rows; j += workers {
				fn(j)
			}
		})
	}
	wg.Wait()
}

// intersect is the ground that a and b share; empty windows have no columns.
func intersect(a, b grid.Window) grid.Window {
	c0, r0 := max(a.Col, b.Col), max(a.Row, b.Row)
	c1, r1 := min(a.Col+a.Cols, b.Col+b.Cols), min(a.Row+a.Rows, b.Row+b.Rows)
	if c1 <= c0 || r1 <= r0 {
		return grid.Window{}
	}
	return grid.Window{Col: c0, Row: r0, Cols: c1 - c0, Rows: r1 - r0}
}
