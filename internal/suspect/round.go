package suspect

import (
	"math"

	"bittern/internal/stat"
)

// round is the reach of the square that insideRound is taken over, in cells, and how
// many cells apart those are that tell its mean: of a wide square not all do.
func (w *work) round() (r, step int) {
	r = int(math.Round(w.p.EdgeM / w.s.Grid.CellM))
	return r, max(1, r/5)
}

// insideRound is the mean of v over a patch within EdgeM of one of its cells,
// its hem apart; not a number where there is none.
func (w *work) insideRound(in []bool, v []float32, cell int) float64 {
	r, step := w.round()
	col, row := cell%w.size.Cols, cell/w.size.Cols
	n, sum := 0, 0.0
	for y := max(row-r, 0); y <= min(row+r, w.size.Rows-1); y += step {
		for i := y*w.size.Cols + max(col-r, 0); i <= y*w.size.Cols+min(col+r, w.size.Cols-1); i += step {
			if x := v[i]; in[i] && w.d.Evidence[i] >= float32(w.p.Low) && x == x {
				n++
				sum += float64(x)
			}
		}
	}
	return sum / float64(n)
}

// eachRound calls fn with every cell where in is true, in any order and some perhaps
// twice, and insideRound of the values there. fn must not change in.
func (w *work) eachRound(in []bool, values [][]float32, fn func(cell int, means []float64)) {
	means := make([]float64, len(values))
	if _, step := w.round(); step > 1 {
		for i, is := range in {
			if !is {
				continue
			}
			for k, v := range values {
				means[k] = w.insideRound(in, v, i)
			}
			fn(i, means)
		}
		return
	}
	for _, b := range w.boxes(in) {
		w.slide(in, b, values, means, fn)
	}
}

// boxes are those about the parts of in.
func (w *work) boxes(in []bool) []box {
	runs, sizes := stat.Runs(in, w.size, true)
	out := make([]box, len(sizes)-1)
	for _, r := range runs {
		col, row := int(r.From)%w.size.Cols, int(r.From)/w.size.Cols
		b, end := &out[r.Part-1], col+int(r.To-r.From)
		if b.rows == 0 {
			*b = box{col, row, end - col, 1}
			continue
		}
		end = max(end, b.col+b.cols)
		b.col = min(b.col, col)
		b.cols, b.rows = end-b.col, row-b.row+1 // runs come row by row
	}
	return out
}

// slide does the work of eachRound for a box, with the square's sums moved along.
func (w *work) slide(in []bool, b box, values [][]float32, means []float64, fn func(cell int, means []float64)) {
	r, _ := w.round()
	left, right := max(b.col-r, 0), min(b.col+b.cols+r, w.size.Cols)
	sums := make([]columnSums, len(values))
	for k := range sums {
		sums[k] = make(columnSums, right-left)
	}
	take := func(row int, by int64) {
		if row < 0 || row >= w.size.Rows {
			return
		}
		for i := row*w.size.Cols + left; i < row*w.size.Cols+right; i++ {
			if in[i] && w.d.Evidence[i] >= float32(w.p.Low) {
				for k, v := range values {
					sums[k][i-row*w.size.Cols-left].take(v[i], by)
				}
			}
		}
	}
	for row := b.row - r; row < b.row+r; row++ {
		take(row, 1)
	}
	square := make([]exactSum, len(values))
	for row := b.row; row < b.row+b.rows; row++ {
		take(row+r, 1)
		for k := range square {
			square[k] = sums[k].over(b.col-r-left, b.col+r-left)
		}
		for col := b.col; col < b.col+b.cols; col++ {
			for k := range square {
				square[k].add(sums[k].at(col+r-left), 1)
			}
			if i := row*w.size.Cols + col; in[i] {
				for k, s := range square {
					if means[k] = s.mean(); s.odd > 0 {
						means[k] = w.insideRound(in, values[k], i)
					}
				}
				fn(i, means)
			}
			for k := range square {
				square[k].add(sums[k].at(col-r-left), -1)
			}
		}
		take(row-r, -1)
	}
}

// An exactSum is a sum of values in whole steps. Those of a square, of which there
// are under 400, add up to under 2^53 steps, so that their sum in float64 is exact, too, and
// the same in any order.
type exactSum struct {
	steps int64
	n     int64 // known values
	odd   int64 // those of them that are no whole steps, or too large
}

const (
	stepsPerUnit = 1 << 40
	largestExact = 16
)

// take adds a value, or takes it off when by is -1; NaN is passed over.
func (s *exactSum) take(v float32, by int64) {
	if v != v {
		return
	}
	s.n += by
	x := float64(v) * stepsPerUnit
	if steps := int64(x); float64(steps) == x && v > -largestExact && v < largestExact {
		s.steps += by * steps
	} else {
		s.odd += by
	}
}

func (s *exactSum) add(o exactSum, by int64) {
	s.steps, s.n, s.odd = s.steps+by*o.steps, s.n+by*o.n, s.odd+by*o.odd
}

// mean is that of the values when none is odd; not a number of none.
func (s *exactSum) mean() float64 { return float64(s.steps) / stepsPerUnit / float64(s.n) }

// columnSums are sums down the rows of a square, by column.
type columnSums []exactSum

// at is the sum of a column; nothing beyond the grid.
func (c columnSums) at(col int) exactSum {
	if col < 0 || col >= len(c) {
		return exactSum{}
	}
	return c[col]
}

// over is the sum of the columns from to to-1.
func (c columnSums) over(from, to int) (s exactSum) {
	for col := max(from, 0); col < min(to, len(c)); col++ {
		s.add(c[col], 1)
	}
	return s
}
