package register

import (
	"math"

	"bittern/internal/cells"
)

// Moved is s with its picture laid where the other's lies, by whole cells: what
// remains is at most half a cell along each axis, well below the 3 m that norms
// are read in. Cells that the moved picture does not reach have no pixels.
func Moved(s *cells.Summary, by Shift) *cells.Summary {
	dc := int(math.Round(by.East / s.Grid.CellM))
	dr := -int(math.Round(by.North / s.Grid.CellM))
	if dc == 0 && dr == 0 {
		return s
	}
	out := *s
	m := mover{s.Grid.Cols, s.Grid.Rows, dc, dr}
	out.Pixels = make([]uint32, len(s.Pixels))
	m.each(func(to, from int) { out.Pixels[to] = s.Pixels[from] })
	out.Mean, out.Spread = m.bands(s.Mean), m.bands(s.Spread)
	out.Hist = make([]uint16, len(s.Hist))
	if len(s.Hist) > 0 {
		m.each(func(to, from int) {
			copy(out.Hist[to*cells.Bins:(to+1)*cells.Bins], s.Hist[from*cells.Bins:(from+1)*cells.Bins])
		})
	}
	return &out
}

// A mover takes cells so many columns and rows away to each place.
type mover struct{ cols, rows, dc, dr int }

func (m mover) each(fn func(to, from int)) {
	for row := max(0, -m.dr); row < min(m.rows, m.rows-m.dr); row++ {
		for col := max(0, -m.dc); col < min(m.cols, m.cols-m.dc); col++ {
			fn(row*m.cols+col, (row+m.dr)*m.cols+col+m.dc)
		}
	}
}

func (m mover) bands(in [][]float32) [][]float32 {
	out := make([][]float32, len(in))
	for k, v := range in {
		w := make([]float32, len(v))
		for i := range w {
			w[i] = float32(math.NaN())
		}
		m.each(func(to, from int) { w[to] = v[from] })
		out[k] = w
	}
	return out
}
