package norm

import (
	"math"

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

// figure reads one of them at a pool cell; e is the sum whose weights are the same for every field.
func (w *work) figure(k, at int, e []float32) float64 {
	b := &w.below
	switch k {
	case figureRed:
		return held(w.away(b.red, at), -0.5, 1.2)
	case figureGreen:
		return held(w.excess(b.green, at), -0.1, 0.2)
	case figureInfraredContrast:
		return held(w.excess(b.open, at), -0.2, 0.25)
	case figureLow:
		return held(w.away(b.low, at), -0.25, 0.3)
	case figureMiddle:
		return held(w.away(b.middle, at), -0.3, 0.5)
	case figureHigh:
		return held(w.away(b.high, at), -0.3, 0.6)
	case figureInfrared:
		return held(w.away(b.infrared, at), -0.4, 0.3)
	case figureBright:
		return held(w.brightness(at), -0.2, 0.2)
	}
	return held(float64(e[at]), -10, 6)
}

// figuresAt reads them all.
func (w *work) figuresAt(at int, e []float32) (f figures) {
	for k := range f {
		f[k] = w.figure(k, at, e)
	}
	return f
}

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
	size, known := w.pool.size, 0
	for _, x := range e {
		if x == x {
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
			if e[i] == e[i] {
				at = append(at, i)
			}
		}
	}
	out := make([]spot, len(at))
	raster.Bands(w.p.Workers, figureCount, func(from, to int) {
		v, round := make([]float32, size.Len()), make([]float32, size.Len()) // of one figure after the other
		for k := from; k < to; k++ {
			for i := range v {
				if v[i] = float32(math.NaN()); e[i] == e[i] {
					v[i] = float32(w.figure(k, i, e))
				}
			}
			w.smoothKnown(v, e)
			stat.Box(round, v, nil, size, w.reach(aroundM))
			for i, cell := range at {
				out[i][k], out[i][figureCount+k] = float64(v[cell]), float64(round[cell])
			}
		}
	})
	return spots{at, out}
}

// smoothKnown takes the mean of v over 3 m in its place, where e is known; NaN elsewhere, as v is.
func (w *work) smoothKnown(v, e []float32) {
	stat.Box(v, v, nil, w.pool.size, w.reach(nearM))
	for at, x := range e {
		if x != x {
			v[at] = x
		}
	}
}
