package norm

import (
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// The figures that a field's own weights are for, at a pool cell.
const (
	figureRed = iota
	figureGreen
	figureInfraredContrast
	figureLow
	figureMiddle
	figureHigh
	figureInfrared
	figureBright
	figureEvidence
	figureCount
)

// Figures are what is read at a place: departures from the norm, each held where it
// still tells one amount from another.
type figures [figureCount]float64

// A gauge is one of them over the pool, held between two limits; nil where the flight lacks it.
type gauge struct {
	v         []float64
	low, high float64
}

// departures are the figures but for the last two, in their order.
func (w *work) departures() [figureBright]gauge {
	b := &w.below
	off := func(q *quantity, low, high float64) gauge {
		if q == nil {
			return gauge{}
		}
		return gauge{q.off, low, high}
	}
	excess := func(q *quantity, low, high float64) gauge {
		if q == nil {
			return gauge{}
		}
		return gauge{q.excess, low, high}
	}
	return [...]gauge{
		figureRed:              off(b.red, -0.5, 1.2),
		figureGreen:            excess(b.green, -0.1, 0.2),
		figureInfraredContrast: excess(b.open, -0.2, 0.25),
		figureLow:              off(b.low, -0.25, 0.3),
		figureMiddle:           off(b.middle, -0.3, 0.5),
		figureHigh:             off(b.high, -0.3, 0.6),
		figureInfrared:         off(b.infrared, -0.4, 0.3),
	}
}

// at is what is read at a pool cell; 0 where the flight lacks it.
func (r *gauge) at(at int) float64 {
	if r.v == nil {
		return 0
	}
	return held(r.v[at], r.low, r.high)
}

// figuresAt reads all figures at a pool cell, with its departures; e is the evidence whose weights are the same for every field.
func (w *work) figuresAt(at int, of *[figureBright]gauge, e []float32) (f figures) {
	for k := range of {
		f[k] = of[k].at(at)
	}
	f[figureBright], f[figureEvidence] = w.heldBright(at), heldEvidence(e[at])
	return f
}

// figureRow puts one of them into out for the pool cells from at on where in is true.
func (w *work) figureRow(out []float32, in []bool, k, at int, of *[figureBright]gauge, e []float32) {
	for col, is := range in {
		if !is {
			continue
		}
		switch i := at + col; k {
		case figureBright:
			out[col] = float32(w.heldBright(i))
		case figureEvidence:
			out[col] = float32(heldEvidence(e[i]))
		default:
			out[col] = float32(of[k].at(i))
		}
	}
}

func (w *work) heldBright(at int) float64 { return held(w.brightness(at), -0.2, 0.2) }

func heldEvidence(e float32) float64 { return held(float64(e), -10, 6) }

// brightness is that of green against the ground round about; 0 where not known.
func (w *work) brightness(at int) float64 {
	if b := float64(w.bright[at]); b == b {
		return b
	}
	return 0
}

// A spot is the figures of a place, over 3 m, and then those of the ground round about, over 15 m.
type spot [2 * figureCount]float64

const (
	aroundM  = 7.0    // m, half the side of the square round about, beyond the pool cell itself
	spotStep = 2      // pool cells from spot to spot at least: less than 2 m apart they are nearly one
	spotMost = 100000 // spots that a field's scatter is taken of
)

// Spots are places of a field, by pool cell, and what is read there.
type spots struct {
	at   []int
	spot []spot
}

// spots reads every few pool cells where e is known.
func (w *work) spots(e []float32) spots {
	size, in, known := w.pool.size, knownIn(e), 0
	for _, is := range in {
		if is {
			known++
		}
	}
	step := spotStep
	for known > spotMost*step*step {
		step++
	}
	var at []int
	for row := 0; row < size.Rows; row += step {
		for i := row * size.Cols; i < (row+1)*size.Cols; i += step {
			if in[i] {
				at = append(at, i)
			}
		}
	}
	out := spots{at, make([]spot, len(at))}
	raster.Bands(w.p.Workers, figureCount, func(from, to int) { w.readSpots(out, from, to, in, e) })
	return out
}

// readSpots reads the figures from to to-1 at spots, row by row: means over 3 m, and over those the ground round about.
func (w *work) readSpots(out spots, from, to int, in []bool, e []float32) {
	if from >= to {
		return
	}
	size, of := w.pool.size, w.departures()
	near, round := stat.NewBoxes(to-from, size, w.reach(nearM)), stat.NewBoxes(to-from, size, w.reach(aroundM))
	line := make([]float32, size.Cols)
	inRow := func(y int) []bool { return in[y*size.Cols : (y+1)*size.Cols] }
	keep := func(b *stat.Boxes, next, first int) int { // the spots in the middle row, from the next one on
		for ; next < len(out.at) && out.at[next]/size.Cols == b.Middle(); next++ {
			for k := range to - from {
				out.spot[next][first+k] = float64(b.Mean(k, out.at[next]%size.Cols))
			}
		}
		return next
	}
	nextNear, nextRound := 0, 0
	for y := 0; round.Middle()+1 < size.Rows; y++ {
		if y < size.Rows {
			near.Enter(inRow(y), func(k int) []float32 {
				w.figureRow(line, inRow(y), from+k, y*size.Cols, &of, e)
				return line
			})
		} else {
			near.Beyond()
		}
		switch middle := near.Middle(); {
		case middle < 0:
			continue
		case middle < size.Rows:
			nextNear = keep(near, nextNear, from)
			round.Enter(inRow(middle), func(k int) []float32 {
				near.Means(k, line)
				return line
			})
		default:
			round.Beyond()
		}
		nextRound = keep(round, nextRound, figureCount+from)
	}
}

// knownIn says where v is known.
func knownIn(v []float32) []bool {
	in := make([]bool, len(v))
	for i, x := range v {
		in[i] = x == x
	}
	return in
}
