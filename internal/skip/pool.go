package skip

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

const (
	poolM  = 2.0  // m, side of the squares that lines are sought on: a strip is about as wide
	roundM = 10.0 // m, half the square that ground is compared with
	clip   = 3.0  // spreads, beyond which a place counts no more: a dense patch must not outvote a line
)

// ground is the field as points: how much each square of poolM stands out from
// the ground round about in what weeds change.
type ground struct {
	mid    [2]float64 // m, grid zone: the origin of x and y
	points []point
	spanM  float64 // m, no point lies farther from mid
	cellM  float64 // m, the grid's cell
	fold   int     // cells along a square's side
}

// A point is one square: m east and north of the middle, spreads held within
// clip times w, and w, the share of it that is looked at.
type point struct{ x, y, v, w float32 }

// usable marks the cells that are looked at and seen.
func usable(s *cells.Summary, l *structure.Layout) []bool {
	use := make([]bool, len(l.Reason))
	for i, r := range l.Reason {
		use[i] = r == structure.LookedAt && s.Pixels[i] > 0
	}
	return use
}

// newGround pools the evidence of the cells in use. A square that a levee, a
// ditch, a road, the edge or a wheel track comes into says nothing: what grows
// there follows it, and tram lines are as straight and as evenly apart as passes.
func newGround(s *cells.Summary, l *structure.Layout, d *norm.Departure, use []bool) *ground {
	g := &ground{cellM: s.Grid.CellM, fold: max(1, int(math.Round(poolM/s.Grid.CellM)))}
	cols := s.Grid.Cols
	size := stat.Size{Cols: (cols + g.fold - 1) / g.fold, Rows: (s.Grid.Rows + g.fold - 1) / g.fold}
	sum, count := make([]float32, size.Len()), make([]float32, size.Len())
	lined, ruts := make([]bool, size.Len()), make([]uint8, size.Len())
	for row := range s.Grid.Rows {
		base := row / g.fold * size.Cols
		at, left := base-1, 1
		for col := range cols {
			i := row*cols + col
			if left--; left == 0 {
				at, left = at+1, g.fold
			}
			switch r := l.Reason[i]; {
			case use[i]:
				if e := d.Evidence[i]; e == e {
					sum[at] += e
					count[at]++
				}
			case r == structure.Levee || r == structure.BorrowDitch || r == structure.Edge || r == structure.Road:
				lined[at] = true
			case r == structure.Track:
				ruts[at]++
			}
		}
	}
	in := make([]bool, size.Len())
	least := float32(g.fold*g.fold) / 3
	for at, n := range count {
		if in[at] = n >= least && !lined[at] && int(ruts[at]) < g.fold; in[at] {
			sum[at] /= n
		}
	}
	round := make([]float32, size.Len())
	stat.Box(round, sum, in, size, int(math.Round(roundM/poolM)))
	for at := range sum {
		sum[at] -= round[at]
	}
	spread := stat.Spread(stat.Sample(sum, in, 20000), 0)
	if !(spread > 0) {
		return g
	}
	g.mid = [2]float64{s.Grid.OriginX + float64(cols)/2*g.cellM, s.Grid.OriginY - float64(s.Grid.Rows)/2*g.cellM}
	side := float64(g.fold) * g.cellM
	for at, ok := range in {
		if !ok {
			continue
		}
		x := (float64(at%size.Cols)+0.5)*side - float64(cols)/2*g.cellM
		y := float64(s.Grid.Rows)/2*g.cellM - (float64(at/size.Cols)+0.5)*side
		w := count[at] / float32(g.fold*g.fold)
		z := float32(max(-clip, min(clip, float64(sum[at])/spread)))
		g.points = append(g.points, point{float32(x), float32(y), z * w, w})
		g.spanM = max(g.spanM, math.Hypot(x, y))
	}
	return g
}
