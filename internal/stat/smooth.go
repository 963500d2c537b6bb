package stat

import "math"

// A Size is the shape of a raster.
type Size struct{ Cols, Rows int }

// Len is the number of cells.
func (s Size) Len() int { return s.Cols * s.Rows }

// Box writes to dst the mean of src over the square of 2*radius+1 cells about
// each cell, counting only cells where in is true (all when in is nil) and src
// is not NaN; NaN where the square has none. dst may be src. Cost does not
// depend on the radius.
func Box(dst, src []float32, in []bool, s Size, radius int) {
	sum, n := weigh(src, in)
	boxSums(sum, s, radius)
	boxSums(n, s, radius)
	divide(dst, sum, n)
}

// Sums replaces each value of v by the sum over the square of 2*radius+1 cells
// about it, cells beyond the raster counting 0. v must hold no NaN.
func Sums(v []float32, s Size, radius int) { boxSums(v, s, radius) }

// weigh splits src under its mask into values and weights.
func weigh(src []float32, in []bool) (sum, n []float32) {
	sum, n = make([]float32, len(src)), make([]float32, len(src))
	for i, v := range src {
		if (in == nil || in[i]) && v == v {
			sum[i], n[i] = v, 1
		}
	}
	return sum, n
}

func divide(dst, sum, n []float32) {
	nan := float32(math.NaN())
	for i := range dst {
		if n[i] > 0.5e-6 {
			dst[i] = sum[i] / n[i]
		} else {
			dst[i] = nan
		}
	}
}

func boxSums(v []float32, s Size, r int) {
	if s.Len() == 0 {
		return
	}
	line := make([]float32, s.Cols)
	for y := range s.Rows {
		boxRow(v[y*s.Cols:(y+1)*s.Cols], line, r)
	}
	boxColumns(v, s, r)
}

// boxRow is a running sum in float64, so that rounding does not pile up.
func boxRow(row, old []float32, r int) {
	copy(old, row)
	acc := 0.0
	for x := range min(r, len(row)) {
		acc += float64(old[x])
	}
	for x := range row {
		if x+r < len(row) {
			acc += float64(old[x+r])
		}
		if x-r-1 >= 0 {
			acc -= float64(old[x-r-1])
		}
		row[x] = float32(acc)
	}
}

// boxColumns runs all columns at once, row by row, keeping the rows that are
// still needed in a ring.
func boxColumns(v []float32, s Size, r int) {
	acc := make([]float64, s.Cols)
	ring := make([]float32, (2*r+1)*s.Cols)
	keep := func(y int) []float32 { k := y % (2*r + 1); return ring[k*s.Cols : (k+1)*s.Cols] }
	enter := func(y int) {
		if y >= s.Rows {
			return
		}
		line := keep(y)
		copy(line, v[y*s.Cols:(y+1)*s.Cols])
		for x, a := range line {
			acc[x] += float64(a)
		}
	}
	for y := range min(r, s.Rows) {
		enter(y)
	}
	for y := range s.Rows {
		if y-r-1 >= 0 {
			for x, a := range keep(y - r - 1) {
				acc[x] -= float64(a)
			}
		}
		enter(y + r)
		row := v[y*s.Cols : (y+1)*s.Cols]
		for x := range row {
			row[x] = float32(acc[x])
		}
	}
}

// Gauss writes to dst the mean of src about each cell with normal weights of
// standard deviation sigma (cells), counting only cells where in is true (all
// when in is nil) and src is not NaN; NaN where no such cell is near. dst may
// be src. Up to sigma 2.5 the weights are exact to 3 sigma; above, three boxes
// of the same variance stand for them.
func Gauss(dst, src []float32, in []bool, s Size, sigma float64) {
	sum, n := weigh(src, in)
	if sigma <= 2.5 {
		k := gaussKernel(sigma)
		convolve(sum, s, k)
		convolve(n, s, k)
	} else {
		for _, r := range threeBoxes(sigma) {
			boxSums(sum, s, r)
			boxSums(n, s, r)
		}
	}
	divide(dst, sum, n)
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

// convolve applies the kernel along rows, then along columns.
func convolve(v []float32, s Size, k []float32) {
	if s.Len() == 0 {
		return
	}
	r := len(k) / 2
	pad := make([]float32, s.Cols+2*r)
	for y := range s.Rows {
		row := v[y*s.Cols : (y+1)*s.Cols]
		copy(pad[r:], row)
		clear(row)
		for j, w := range k {
			addScaled(row, pad[j:j+s.Cols], w)
		}
	}
	convolveColumns(v, s, k)
}

func convolveColumns(v []float32, s Size, k []float32) {
	r := len(k) / 2
	src := make([]float32, len(v))
	copy(src, v)
	clear(v)
	for y := range s.Rows {
		row := v[y*s.Cols : (y+1)*s.Cols]
		for j, w := range k {
			if q := y + j - r; q >= 0 && q < s.Rows {
				addScaled(row, src[q*s.Cols:(q+1)*s.Cols], w)
			}
		}
	}
}

func addScaled(dst, src []float32, w float32) {
	src = src[:len(dst)]
	for i := range dst {
		dst[i] += float32(src[i] * w)
	}
}
