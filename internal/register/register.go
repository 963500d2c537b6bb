// Package register finds how far one flight's picture of a field lies off
// another's, by what stays on the ground between the two: levees, tracks, roads,
// the field's edge. It compares summaries of cells, never pixels.
package register

import (
	"context"
	"fmt"
	"math"

	"bittern/internal/cells"
	"bittern/internal/stat"
)

// A Shift is how far the second picture lies off the first, in metres of the
// grid's zone: what stands at (x, y) on the first stands at (x+East, y+North) on
// the second. Sure is false when no one shift stood out; East and North are
// then 0.
type Shift struct {
	East, North float64
	Agreement   float64 // correlation at the shift, 0 to 1
	Sure        bool
}

// Far is the length of the shift, in metres.
func (s Shift) Far() float64 { return math.Hypot(s.East, s.North) }

const (
	reachM    = 16.0 // m, the longest shift that is sought along each axis: positions without a base station are off by less
	coarse    = 4    // cells to the side of a square of the first search
	fineCells = 4    // cells that the second search goes to each side
	flattenM  = 6.0  // m, half side of the square whose mean is taken off: fields' colours and light change, lines stay
	holdAt    = 3.0  // robust spreads that a cell is held within, so that no one bright roof decides
	leastPart = 0.02 // of cells that both pictures must show
	leastAgr  = 0.03 // correlation below which nothing is said
	leastOut  = 5.0  // spreads that the peak must stand above the other shifts
)

// Find finds the shift of b's picture against a's. Both lie on one grid, which is
// what only a defect of the caller can break. The result does not depend on the
// number of processors.
func Find(ctx context.Context, a, b *cells.Summary) (Shift, error) {
	if a.Grid != b.Grid {
		return Shift{}, fmt.Errorf("the two summaries lie on different grids: %v and %v", a.Grid, b.Grid)
	}
	size := stat.Size{Cols: a.Grid.Cols, Rows: a.Grid.Rows}
	var pairs []pair
	for _, name := range shared(a, b) {
		pairs = append(pairs, pair{layer(a, name, size), layer(b, name, size), size})
	}
	if len(pairs) == 0 {
		return Shift{}, nil
	}
	reach := int(math.Ceil(reachM / a.Grid.CellM / coarse))
	var first []pair
	for _, p := range pairs {
		first = append(first, p.folded(coarse))
	}
	rough := surface{reach: reach}
	if err := rough.fill(ctx, first, 0, 0); err != nil {
		return Shift{}, err
	}
	at, sure := rough.peak()
	if !sure {
		return Shift{}, nil
	}
	fine := surface{reach: fineCells}
	if err := fine.fill(ctx, pairs, coarse*at[0], coarse*at[1]); err != nil {
		return Shift{}, err
	}
	col, row, top := fine.vertex()
	if top < leastAgr {
		return Shift{}, nil
	}
	cell := a.Grid.CellM
	return Shift{
		East: (float64(coarse*at[0]) + col) * cell, North: -(float64(coarse*at[1]) + row) * cell,
		Agreement: top, Sure: true,
	}, nil
}

// shared lists the bands of both summaries, green as brightness first.
func shared(a, b *cells.Summary) []string {
	var out []string
	for _, name := range []string{"green", "red", "nir"} {
		if m, _ := a.Band(name); m == nil {
			continue
		}
		if m, _ := b.Band(name); m != nil {
			out = append(out, name)
		}
	}
	return out
}

// layer is one band's logarithm less the mean round about, in robust spreads,
// held; NaN where there is no picture. Bands other than green are taken against
// green where there is one: their light is the same.
func layer(s *cells.Summary, name string, size stat.Size) []float32 {
	mean, _ := s.Band(name)
	green, _ := s.Band("green")
	v := make([]float32, len(mean))
	known := make([]bool, len(mean))
	for i, x := range mean {
		y := float64(x)
		if name != "green" && green != nil {
			y /= float64(green[i])
		}
		l := math.Log(y)
		known[i] = s.Pixels[i] > 0 && l-l == 0
		v[i] = float32(l)
		if !known[i] {
			v[i] = 0
		}
	}
	flat := make([]float32, len(v))
	stat.Box(flat, v, known, size, int(math.Round(flattenM/s.Grid.CellM)))
	for i := range v {
		if v[i] -= flat[i]; !known[i] || v[i] != v[i] {
			v[i] = float32(math.NaN())
		}
	}
	const sample = 20000
	center, spread := stat.CenterSpread(stat.Sample(v, known, sample))
	if !(spread > 0) {
		spread = 1
	}
	for i := range v {
		v[i] = float32(max(-holdAt, min(holdAt, (float64(v[i])-center)/spread)))
	}
	return v
}

// A pair is the same layer of both flights.
type pair struct {
	a, b []float32
	size stat.Size
}

// folded is the pair over squares of n cells; a square is known where half of it is.
func (p pair) folded(n int) pair {
	size := stat.Size{Cols: p.size.Cols / n, Rows: p.size.Rows / n}
	fold := func(v []float32) []float32 {
		out := make([]float32, size.Len())
		for row := range size.Rows {
			for col := range size.Cols {
				sum, k := float32(0), float32(0)
				for dr := range n {
					for _, x := range v[(row*n+dr)*p.size.Cols+col*n:][:n] {
						if x == x {
							sum += x
							k++
						}
					}
				}
				if out[row*size.Cols+col] = sum / k; 2*int(k) < n*n {
					out[row*size.Cols+col] = float32(math.NaN())
				}
			}
		}
		return out
	}
	return pair{fold(p.a), fold(p.b), size}
}

// correlation is that of a at each place and b so many columns and rows away, and
// the part of the places that both know.
func (p pair) correlation(dc, dr int) (r, part float64) {
	var n, sa, sb, aa, bb, ab float64
	for row := max(0, -dr); row < min(p.size.Rows, p.size.Rows-dr); row++ {
		from, to := max(0, -dc), min(p.size.Cols, p.size.Cols-dc)
		if from >= to {
			break
		}
		line := p.a[row*p.size.Cols+from : row*p.size.Cols+to]
		other := p.b[(row+dr)*p.size.Cols+from+dc:][:len(line)]
		for i, x := range line {
			y := other[i]
			if x != x || y != y {
				continue
			}
			u, v := float64(x), float64(y)
			n++
			sa += u
			sb += v
			aa += float64(u * u)
			bb += float64(v * v)
			ab += float64(u * v)
		}
	}
	va, vb := aa-float64(sa*sa)/n, bb-float64(sb*sb)/n
	if !(va > 0 && vb > 0) {
		return 0, 0
	}
	return (ab - float64(sa*sb)/n) / math.Sqrt(float64(va*vb)), n / float64(p.size.Len())
}

// A surface is the mean correlation at every shift up to reach to each side of a
// middle, rows first.
type surface struct {
	reach int
	v     []float64
}

func (s *surface) fill(ctx context.Context, pairs []pair, col, row int) error {
	for dr := -s.reach; dr <= s.reach; dr++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		for dc := -s.reach; dc <= s.reach; dc++ {
			sum := 0.0
			for _, p := range pairs {
				if r, part := p.correlation(col+dc, row+dr); part >= leastPart {
					sum += r
				}
			}
			s.v = append(s.v, sum/float64(len(pairs)))
		}
	}
	return nil
}

// at is the value at a shift from the middle.
func (s *surface) at(col, row int) float64 {
	return s.v[(row+s.reach)*(2*s.reach+1)+col+s.reach]
}

// top is the shift with the largest value, the first of equal ones.
func (s *surface) top() (at [2]int) {
	for dr := -s.reach; dr <= s.reach; dr++ {
		for dc := -s.reach; dc <= s.reach; dc++ {
			if s.at(dc, dr) > s.at(at[0], at[1]) {
				at = [2]int{dc, dr}
			}
		}
	}
	return at
}

// peak is the best shift, and whether it stands above those that are more than
// two steps away from it and lies within the search.
func (s *surface) peak() (at [2]int, sure bool) {
	at = s.top()
	var rest []float64
	for dr := -s.reach; dr <= s.reach; dr++ {
		for dc := -s.reach; dc <= s.reach; dc++ {
			if max(abs(dc-at[0]), abs(dr-at[1])) > 2 {
				rest = append(rest, s.at(dc, dr))
			}
		}
	}
	center, spread := stat.CenterSpread(rest)
	top := s.at(at[0], at[1])
	inside := max(abs(at[0]), abs(at[1])) < s.reach
	return at, inside && top >= leastAgr && top-center >= leastOut*max(spread, 1e-6)
}

func abs(x int) int { return max(x, -x) }

// vertex is the top of the parabolas through the best shift and its neighbours
// along each axis.
func (s *surface) vertex() (col, row, top float64) {
	at := s.top()
	col, row, top = float64(at[0]), float64(at[1]), s.at(at[0], at[1])
	if abs(at[0]) < s.reach {
		col += bend(s.at(at[0]-1, at[1]), top, s.at(at[0]+1, at[1]))
	}
	if abs(at[1]) < s.reach {
		row += bend(s.at(at[0], at[1]-1), top, s.at(at[0], at[1]+1))
	}
	return col, row, top
}

// bend is where the parabola through three values one step apart is highest,
// from the middle one.
func bend(before, mid, after float64) float64 {
	den := before - 2*mid + after
	if !(den < 0) {
		return 0
	}
	return max(-0.5, min(0.5, (before-after)/2/den))
}
