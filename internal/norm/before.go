package norm

import (
	"context"
	"math"

	"bittern/internal/cells"
	"bittern/internal/raster"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// Then is what a flight on the day of treatment, or before it, says of each cell of
// the day's grid.
type Then struct {
	Known []bool // looked at on that flight
	Stood []bool // living weeds stood above the crop

	read *work // nil where the flight cannot be weighed
}

// Part returns which part of the given cells the flight shows, and on which part of
// those weeds stood.
func (t *Then) Part(cells []int32) (stood, known float64) {
	n, k := 0, 0
	for _, i := range cells {
		if t.Known[i] {
			k++
			if t.Stood[i] {
				n++
			}
		}
	}
	return float64(n) / float64(max(k, 1)), float64(k) / float64(max(len(cells), 1))
}

// stoodFrom is the leafiness from which living weeds stood above the crop.
const stoodFrom = -3.0

// Before reads an earlier flight for Parameters.Then. s is its summary laid on the
// day's grid, l the day's layout.
func Before(ctx context.Context, s *cells.Summary, l *structure.Layout, p Parameters) (*Then, error) {
	if err := check(s, l, p); err != nil {
		return nil, err
	}
	w := &work{s: s, l: l, p: p, look: lookedAt(s, l), of: map[string]*quantity{}}
	for _, step := range []func(){w.fold, w.readPixels, w.readBands, w.center, w.read} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		step()
	}
	out := &Then{Known: w.look, Stood: make([]bool, len(w.look))}
	if s.Ratio == "" || w.below.green == nil {
		return out, nil
	}
	leaf := w.leafy()
	for i, known := range w.look {
		out.Stood[i] = known && leaf[w.pool.of(i)] >= stoodFrom
	}
	w.pool.hist, w.s = nil, nil // not asked for again
	out.read = w
	return out, nil
}

// Weights are of what a place departs from its norm by, on one flight.
type weights struct {
	red, green, open  float64 // red contrast, ln units; excess of that of green and of near infrared, of the mean
	low, middle, high float64 // quantiles of the ratio, ln units
	infrared          float64 // ln(nir/green), ln units
	bright            float64 // green brightness against the ground round about, ln units
}

// A pairing weighs two flights for one thing against crop. The sum is near a log-odds.
type pairing struct {
	now, then weights
	browned   float64 // taken off for each 1 that the brown end lay above brownedThen on the earlier flight
	bias      float64
}

// brownedThen is the rise of the brown end, in ln units, from which ground was browned
// before the treatment: green weeds do not reach it, soil and old straw do.
const brownedThen = 0.1

// twoFlights tell weeds that lived and weeds that died from crop. Ground that was
// as pale, thin or rough before the treatment does not owe it to the treatment, so the
// earlier flight's terms have the signs against the day's; but weeds that stand now
// stood then, which the green end shows: their pixels were greener than rice.
type twoFlights struct{ living, dead pairing }

// The weights are those of a regression on invented fields, rounded; docs/methods/before.md.
var (
	pairedInfrared = twoFlights{
		living: pairing{
			now:     weights{red: 9.5, green: 7.5, open: -14.5, low: 11.5, middle: 0.5, high: 8.5, infrared: 6.5, bright: 13.5},
			then:    weights{red: -4.5, green: 9.5, open: 8.5, low: -9.5, middle: 5, high: -4.5, infrared: 0.5},
			browned: 7, bias: 5.3,
		},
		dead: pairing{
			now:     weights{red: 6, green: 2.5, open: 21.5, low: 7.5, middle: 3.5, high: 7.5, infrared: -9, bright: -1},
			then:    weights{red: -3.5, green: 3, open: -7.5, low: 5.5, middle: -5, high: -4, infrared: 12},
			browned: 10, bias: 6.8,
		},
	}
	pairedColour = twoFlights{
		living: pairing{
			now:     weights{red: 4, green: 26, low: 0.5, middle: 7, high: 11, bright: 17.5},
			then:    weights{red: -5, green: 3.5, low: -12.5, middle: -4, high: -5},
			browned: 13, bias: 4.8,
		},
		dead: pairing{
			now:     weights{red: 5.5, green: 17.5, low: 15.5, middle: 10.5, high: 10.5, bright: 3},
			then:    weights{red: -4.5, green: 7, low: 5, middle: -20, high: -1},
			browned: 13, bias: 6.7,
		},
	}
)

// What brings the log-odds that ground is the one and neither of the others to where
// a day alone has its limits.
const (
	pairedScale = 2.0 // evidence, and how likely against the rest weeds died, for each 1
	pairedShift = 0.25
)

// weighPair replaces evidence, where the earlier flight shows the ground, by what
// both flights say, and keeps how likely it is that weeds died there.
func (w *work) weighPair() {
	then := w.p.Then
	if then == nil || then.read == nil || w.below.green == nil || w.p.Given != nil {
		return
	}
	by := &pairedColour
	if w.near && then.read.near {
		by = &pairedInfrared
	}
	n := w.pool.size.Len()
	living, dead, in := make([]float32, n), make([]float32, n), make([]bool, n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 && then.read.pool.cells[at] > 0 && w.pooledEvidence[at] == w.pooledEvidence[at] {
				living[at], dead[at], in[at] = float32(w.paired(&by.living, at)), float32(w.paired(&by.dead, at)), true
			}
		}
	})
	raster.Together(w.p.Workers,
		func() { stat.Box(living, living, in, w.pool.size, w.reach(leafyM)) },
		func() { stat.Box(dead, dead, in, w.pool.size, w.reach(leafyM)) })
	w.died = dead
	for at, ok := range in {
		if !ok {
			w.died[at] = float32(math.NaN())
			continue
		}
		a, b := float64(living[at]), float64(dead[at])
		w.pooledEvidence[at] = float32(max(float64(pairedScale*(a-over(b)))+pairedShift, leastEvidence))
		w.died[at] = float32(float64(pairedScale*(b-over(a))) + pairedShift)
	}
}

// over is ln(1+exp(x)): crop and what has log-odds x against it, taken together.
func over(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// paired is the weighed sum at a pool cell.
func (w *work) paired(p *pairing, at int) float64 {
	then := w.p.Then.read
	browned := held(then.away(then.below.high, at)-brownedThen, 0, 0.6)
	return w.weighed(&p.now, at) + then.weighed(&p.then, at) - float64(p.browned*browned) - p.bias
}

// weighed is one flight's part of it. Each term is held where the regression had data.
func (w *work) weighed(b *weights, at int) float64 {
	sum := float64(b.red * held(w.away(w.below.red, at), -0.5, 1.2))
	sum += float64(b.green * held(w.excess(w.below.green, at), -0.08, 0.14))
	sum += float64(b.open * held(w.excess(w.below.open, at), -0.15, 0.2))
	sum += float64(b.low * held(w.away(w.below.low, at), -0.25, 0.4))
	sum += float64(b.middle * held(w.away(w.below.middle, at), -0.3, 0.6))
	sum += float64(b.high * held(w.away(w.below.high, at), -0.3, 0.7))
	sum += float64(b.infrared * held(w.away(w.below.infrared, at), -0.4, 0.3))
	if r := float64(w.bright[at]); r == r {
		sum += float64(b.bright * held(r, -0.15, 0.15))
	}
	return sum
}
