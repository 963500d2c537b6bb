package stat

import "math"

// Components numbers the connected parts of the cells where in is true: 1, 2,
// ... in the order of their first cells, 0 elsewhere. With eight, cells that
// touch at a corner hang together. sizes[k] is the number of cells of part k;
// sizes[0] is 0.
func Components(in []bool, s Size, eight bool) (labels []int32, sizes []int) {
	labels = make([]int32, s.Len())
	sizes = []int{0}
	var stack []int32
	for i, b := range in {
		if !b || labels[i] != 0 {
			continue
		}
		label := int32(len(sizes))
		labels[i] = label
		stack = append(stack[:0], int32(i))
		n := 0
		for len(stack) > 0 {
			at := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			n++
			stack = spill(stack, in, labels, s, int(at), label, eight)
		}
		sizes = append(sizes, n)
	}
	return labels, sizes
}

// spill labels the free neighbours of cell at and pushes them.
func spill(stack []int32, in []bool, labels []int32, s Size, at int, label int32, eight bool) []int32 {
	x, y := at%s.Cols, at/s.Cols
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if !eight && dx != 0 && dy != 0 {
				continue
			}
			if x+dx < 0 || x+dx >= s.Cols || y+dy < 0 || y+dy >= s.Rows {
				continue
			}
			j := at + dy*s.Cols + dx
			if in[j] && labels[j] == 0 {
				labels[j] = label
				stack = append(stack, int32(j))
			}
		}
	}
	return stack
}

// Keep clears the parts of in (see [Components]) for which want is false. It is
// called once for each part, with its label and size.
func Keep(in []bool, s Size, eight bool, want func(label int32, size int) bool) {
	labels, sizes := Components(in, s, eight)
	ok := make([]bool, len(sizes))
	for k := 1; k < len(sizes); k++ {
		ok[k] = want(int32(k), sizes[k])
	}
	for i, l := range labels {
		in[i] = ok[l]
	}
}

// Hysteresis marks the cells with v >= low that hang together (corners
// included) with a cell of v >= high.
func Hysteresis(v []float32, s Size, low, high float32) []bool {
	in := make([]bool, len(v))
	for i, x := range v {
		in[i] = x >= low
	}
	labels, sizes := Components(in, s, true)
	ok := make([]bool, len(sizes))
	for i, x := range v {
		if x >= high {
			ok[labels[i]] = true
		}
	}
	ok[0] = false
	for i, l := range labels {
		in[i] = ok[l]
	}
	return in
}

// FillHoles sets the parts of the cells where in is false that do not reach
// the raster's edge and have at most most cells.
func FillHoles(in []bool, s Size, most int) {
	out := make([]bool, len(in))
	for i, b := range in {
		out[i] = !b
	}
	labels, sizes := Components(out, s, false)
	open := make([]bool, len(sizes))
	for x := range s.Cols {
		open[labels[x]] = true
		open[labels[(s.Rows-1)*s.Cols+x]] = true
	}
	for y := range s.Rows {
		open[labels[y*s.Cols]] = true
		open[labels[y*s.Cols+s.Cols-1]] = true
	}
	for i, l := range labels {
		if l != 0 && !open[l] && sizes[l] <= most {
			in[i] = true
		}
	}
}

// Far is the distance that [Distance] gives when no cell is marked.
const Far = float32(1e9)

// Distance returns for each cell the distance in cells, between middles, to the
// nearest cell where in is true; 0 on such a cell, [Far] when there is none.
// Exact (two passes: down the columns, then the lower envelope of parabolas
// along each row; Felzenszwalb and Huttenlocher, Theory of Computing 8 (2012),
// 415-428).
func Distance(in []bool, s Size) []float32 {
	d := make([]float32, s.Len())
	columnDistance(d, in, s)
	e := envelope{at: make([]int, s.Cols), from: make([]float64, s.Cols+1), f: make([]float64, s.Cols)}
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
	at   []int     // the parabolas on it
	from []float64 // where each begins
	f    []float64
}

func (e *envelope) row(d []float32) {
	n := 0
	for q, v := range d {
		if v >= Far {
			continue
		}
		e.f[q] = float64(v) * float64(v)
		n = e.add(q, n)
	}
	if n == 0 {
		return
	}
	k := 0
	for x := range d {
		for k+1 < n && e.from[k+1] < float64(x) {
			k++
		}
		dx := float64(x - e.at[k])
		d[x] = float32(math.Sqrt(float64(dx*dx) + e.f[e.at[k]]))
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
	return within(Distance(in, s), func(d float32) bool { return float64(d) <= radius })
}

// Shrink marks the cells where in is true that lie more than radius cells,
// between middles, from every cell where it is not. What lies beyond the raster
// counts as in.
func Shrink(in []bool, s Size, radius float64) []bool {
	out := make([]bool, len(in))
	for i, b := range in {
		out[i] = !b
	}
	return within(Distance(out, s), func(d float32) bool { return float64(d) > radius })
}

// Open shrinks and grows again: what is narrower than 2*radius goes.
func Open(in []bool, s Size, radius float64) []bool { return Grow(Shrink(in, s, radius), s, radius) }

// Close grows and shrinks again: gaps narrower than 2*radius go.
func Close(in []bool, s Size, radius float64) []bool { return Shrink(Grow(in, s, radius), s, radius) }

func within(d []float32, ok func(float32) bool) []bool {
	out := make([]bool, len(d))
	for i, v := range d {
		out[i] = ok(v)
	}
	return out
}

// Thin reduces the cells where in is true to lines one cell wide that keep
// their connections and ends (Guo and Hall, Communications of the ACM 32
// (1989), 359-373, algorithm A1). in is not changed.
func Thin(in []bool, s Size) []bool {
	w := s.Cols + 2 // one cell of border, so that no neighbour is beyond
	img := make([]uint8, w*(s.Rows+2))
	var active []int32
	for i, b := range in {
		if b {
			at := (i/s.Cols+1)*w + i%s.Cols + 1
			img[at] = 1
			active = append(active, int32(at))
		}
	}
	for changed := true; changed; {
		a, n1 := thinPass(img, w, active, 0)
		b, n2 := thinPass(img, w, a, 1)
		active, changed = b, n1+n2 > 0
	}
	out := make([]bool, len(in))
	for _, at := range active {
		y, x := int(at)/w, int(at)%w
		out[(y-1)*s.Cols+x-1] = true
	}
	return out
}

// thinPass deletes one side's deletable cells together and returns what stays.
func thinPass(img []uint8, w int, active []int32, side int) (stay []int32, deleted int) {
	var drop []int32
	for _, at := range active {
		if thinnable(img, w, int(at), side) {
			drop = append(drop, at)
		}
	}
	for _, at := range drop {
		img[at] = 0
	}
	stay = active[:0]
	for _, at := range active {
		if img[at] != 0 {
			stay = append(stay, at)
		}
	}
	return stay, len(drop)
}

// thinnable is Guo and Hall's test; neighbours p2..p9 go clockwise from north.
func thinnable(img []uint8, w, at, side int) bool {
	p2, p3, p4 := img[at-w], img[at-w+1], img[at+1]
	p5, p6, p7 := img[at+w+1], img[at+w], img[at+w-1]
	p8, p9 := img[at-1], img[at-w-1]
	c := (p2 ^ 1) & (p3 | p4)
	c += (p4 ^ 1) & (p5 | p6)
	c += (p6 ^ 1) & (p7 | p8)
	c += (p8 ^ 1) & (p9 | p2)
	if c != 1 {
		return false
	}
	n1 := (p9 | p2) + (p3 | p4) + (p5 | p6) + (p7 | p8)
	n2 := (p2 | p3) + (p4 | p5) + (p6 | p7) + (p8 | p9)
	if n := min(n1, n2); n < 2 || n > 3 {
		return false
	}
	if side == 0 {
		return (p2|p3|(p5^1))&p4 == 0
	}
	return (p6|p7|(p9^1))&p8 == 0
}
