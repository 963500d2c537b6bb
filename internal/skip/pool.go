package skip

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

const (
	poolM  = 1.0  // m, side of the squares that lines are sought on: half as wide as a strip
	roundM = 10.0 // m, half the square that ground is compared with
	clearM = 1.0  // m beside whatever is left out that says nothing
	clip   = 3.0  // spreads, beyond which a place counts no more: a dense patch must not outvote a line
)

// ground is the field as points: how much each square of poolM stands out from
// the ground round about in what weeds change.
type ground struct {
	mid    [2]float64 // m, grid zone: the origin of x and y
	points []point
	spanM  float64 // m, no point lies farther from mid
}

// A point is one square: m east and north of the middle, what it stands out by times w, and
// w, how many m2 of it are looked at.
type point struct{ x, y, v, w float32 }

// usable marks the cells that are looked at and seen.
func usable(s *cells.Summary, l *structure.Layout) []bool {
	use := make([]bool, len(l.Reason))
	for i, r := range l.Reason {
		use[i] = r == structure.LookedAt && s.Pixels[i] > 0
	}
	return use
}

// newGround pools the evidence of the cells in use, and how speckled they are in red: weeds of which leaf has burnt
// speckle it, and it has not been averaged over the neighbours. A thin or pale strip may be speckled, but is no evidence of weeds; so
// each is held within its own spreads, and both count. Beside a levee, a ditch, a road, the edge or a wheel track, as beside all that is left out, nothing is
// said: what grows there follows it, and tram lines are as straight and as evenly apart as passes.
func newGround(s *cells.Summary, l *structure.Layout, d *norm.Departure, use []bool) *ground {
	cols, cell := s.Grid.Cols, s.Grid.CellM
	lined := make([]bool, len(use))
	for i, r := range l.Reason {
		lined[i] = !use[i] && r != structure.Outside
	}
	beside := stat.Grow(lined, stat.Size{Cols: cols, Rows: s.Grid.Rows}, clearM/cell)
	fold := max(1, int(math.Round(poolM/cell)))
	size := stat.Size{Cols: (cols + fold - 1) / fold, Rows: (s.Grid.Rows + fold - 1) / fold}
	weedy, speckled, count := make([]float32, size.Len()), make([]float32, size.Len()), make([]float32, size.Len())
	mean, spread := s.Band("red")
	for row := range s.Grid.Rows {
		base := row / fold * size.Cols
		for col := range cols {
			i, at := row*cols+col, base+col/fold
			e := d.Evidence[i]
			if !use[i] || beside[i] || e != e {
				continue
			}
			weedy[at] += max(e, leastEvidence)
			count[at]++
			if mean != nil {
				speckled[at] += speckle(mean[i], spread[i])
			}
		}
	}
	in := make([]bool, size.Len())
	for at, n := range count {
		if in[at] = n > 0; in[at] {
			weedy[at], speckled[at] = weedy[at]/n, speckled[at]/n
		}
	}
	standOut(weedy, in, size)
	standOut(speckled, in, size)
	if mean == nil {
		speckled = weedy
	}
	g := &ground{mid: [2]float64{s.Grid.OriginX + float64(cols)/2*cell, s.Grid.OriginY - float64(s.Grid.Rows)/2*cell}}
	side := float64(fold) * cell
	for at, ok := range in {
		if !ok {
			continue
		}
		x := (float64(at%size.Cols)+0.5)*side - float64(cols)/2*cell
		y := float64(s.Grid.Rows)/2*cell - (float64(at/size.Cols)+0.5)*side
		w := count[at] * float32(cell*cell)
		g.points = append(g.points, point{float32(x), float32(y), (weedy[at] + speckled[at]) * w, w})
		g.spanM = max(g.spanM, math.Hypot(x, y))
	}
	return g
}

const (
	leastEvidence = -12  // below which no ground is less like weeds
	leastSpeckle  = 0.01 // of the mean
	mostSpeckle   = 10.0
)

// speckle is ln of a cell's deviation over its mean; that of an even cell where it is not known.
func speckle(mean, spread float32) float32 {
	part := float64(spread / mean)
	if !(part > leastSpeckle) { // NaN, too
		part = leastSpeckle
	}
	return float32(math.Log(min(part, mostSpeckle)))
}

// standOut turns v into how far each square lies above the ground round about, in spreads held within clip.
func standOut(v []float32, in []bool, size stat.Size) {
	round := make([]float32, len(v))
	stat.Box(round, v, in, size, int(math.Round(roundM/poolM)))
	for at := range v {
		v[at] -= round[at]
	}
	spread := stat.Spread(stat.Sample(v, in, 20000), 0)
	for at, x := range v {
		if !in[at] || !(spread > 0) {
			v[at] = 0
			continue
		}
		v[at] = float32(max(-clip, min(clip, float64(x)/spread)))
	}
}
