package norm

import (
	"math"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

// Weights are of what a place departs from its norm by, on one flight.
type weights struct {
	red, green, open  float64 // red contrast, ln units; excess of that of green and of near infrared, of the mean
	low, middle, high float64 // quantiles of the ratio, ln units
	infrared          float64 // ln(nir/green), ln units
	bright            float64 // green brightness against the ground round about, ln units
}

// A fate weighs the day, and an earlier flight where there is one, for one thing against crop. The sum is near a log-odds.
type fate struct {
	now, then weights
	browned   float64 // taken off for each 1 that the brown end lay above brownedThen on the earlier flight
	bias      float64
}

// brownedThen is the rise of the brown end, in ln units, from which ground was browned
// before the treatment: green weeds do not reach it, soil and old straw do.
const brownedThen = 0.1

// fates tell weeds that lived and weeds that died from crop. Ground that was
// as pale, thin or rough before the treatment does not owe it to the treatment, so the
// earlier flight's terms have the signs against the day's; but weeds that stand now
// stood then, which the green end shows: their pixels were greener than rice.
type fates struct{ living, dead fate }

// The weights are those of a regression on invented fields, rounded; docs/methods/before.md.
var (
	aloneInfrared = fates{
		living: fate{now: weights{red: 8, green: 24, open: -16, low: 5, middle: -1.5, high: 9.5, infrared: 7, bright: 11.5}, bias: 5.5},
		dead:   fate{now: weights{red: 7, green: 20.5, open: 9, low: 3, middle: 1.5, high: 5.5, infrared: -3, bright: -1}, bias: 7.3},
	}
	aloneColour = fates{
		living: fate{now: weights{red: 5, green: 33.5, low: 1, middle: -4, high: 6, bright: 15.5}, bias: 4.9},
		dead:   fate{now: weights{red: 5, green: 32.5, low: 11.5, middle: 1, high: 3, bright: 2.5}, bias: 5.9},
	}
	pairedInfrared = fates{
		living: fate{
			now:     weights{red: 9.5, green: 7.5, open: -14.5, low: 11.5, middle: 0.5, high: 8.5, infrared: 6.5, bright: 13.5},
			then:    weights{red: -4.5, green: 9.5, open: 8.5, low: -9.5, middle: 5, high: -4.5, infrared: 0.5},
			browned: 7, bias: 5.3,
		},
		dead: fate{
			now:     weights{red: 6, green: 2.5, open: 21.5, low: 7.5, middle: 3.5, high: 7.5, infrared: -9, bright: -1},
			then:    weights{red: -3.5, green: 3, open: -7.5, low: 5.5, middle: -5, high: -4, infrared: 12},
			browned: 10, bias: 6.8,
		},
	}
	pairedColour = fates{
		living: fate{
			now:     weights{red: 4, green: 26, low: 0.5, middle: 7, high: 11, bright: 17.5},
			then:    weights{red: -5, green: 3.5, low: -12.5, middle: -4, high: -5},
			browned: 13, bias: 4.8,
		},
		dead: fate{
			now:     weights{red: 5.5, green: 17.5, low: 15.5, middle: 10.5, high: 10.5, bright: 3},
			then:    weights{red: -4.5, green: 7, low: 5, middle: -20, high: -1},
			browned: 13, bias: 6.7,
		},
	}
)

// fateM is half the side of the square over which the sums are averaged, beyond the pool
// cell itself: chance from plant to plant is large, and weeds die or live over metres.
const fateM = 3.0

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
	var alive []float32
	alive, w.died = w.odds(by, then.read)
	for at, e := range alive {
		if e == e && w.pooledEvidence[at] == w.pooledEvidence[at] {
			w.pooledEvidence[at] = max(float32(pairedScale)*e+pairedShift, leastEvidence)
			w.died[at] = float32(pairedScale)*w.died[at] + pairedShift
		}
	}
}

// odds are the log-odds that the ground of each pool cell is living weeds, and that it is
// dead ones, each against all else; then is the earlier flight, nil without. NaN where one
// of the flights does not show it.
func (w *work) odds(by *fates, then *work) (alive, died []float32) {
	n := w.pool.size.Len()
	alive, died = make([]float32, n), make([]float32, n)
	in := make([]bool, n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if in[at] = w.pool.cells[at] > 0 && (then == nil || then.pool.cells[at] > 0); in[at] {
				alive[at], died[at] = float32(w.fate(&by.living, then, at)), float32(w.fate(&by.dead, then, at))
			}
		}
	})
	raster.Together(w.p.Workers,
		func() { stat.Box(alive, alive, in, w.pool.size, w.reach(fateM)) },
		func() { stat.Box(died, died, in, w.pool.size, w.reach(fateM)) })
	for at, ok := range in {
		a, b := float64(alive[at]), float64(died[at])
		if !ok {
			a, b = math.NaN(), math.NaN()
		}
		alive[at], died[at] = float32(a-over(b)), float32(b-over(a))
	}
	return alive, died
}

// over is ln(1+exp(x)): crop and what has log-odds x against it, taken together.
func over(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// fate is the weighed sum at a pool cell.
func (w *work) fate(b *fate, then *work, at int) float64 {
	sum := w.weighed(&b.now, at) - b.bias
	if then != nil {
		browned := held(then.away(then.below.high, at)-brownedThen, 0, 0.6)
		sum += then.weighed(&b.then, at) - float64(b.browned*browned)
	}
	return sum
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
