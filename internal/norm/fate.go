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
type fates struct {
	living, dead fate
	toll         float64 // added to the log-odds of dead against living weeds: 0 is then where as much of either is found beside surely killed ground
}

// The weights are those of a regression on invented fields, rounded; docs/methods/before.md.
var (
	aloneInfrared = fates{
		living: fate{now: weights{red: 8, green: 24, open: -16, low: 5, middle: -1.5, high: 9.5, infrared: 7, bright: 11.5}, bias: 5.5},
		dead:   fate{now: weights{red: 7, green: 20.5, open: 9, low: 3, middle: 1.5, high: 5.5, infrared: -3, bright: -1}, bias: 7.3},
		toll:   1,
	}
	aloneColour = fates{
		living: fate{now: weights{red: 5, green: 33.5, low: 1, middle: -4, high: 6, bright: 15.5}, bias: 4.9},
		dead:   fate{now: weights{red: 5, green: 32.5, low: 11.5, middle: 1, high: 3, bright: 2.5}, bias: 5.9},
		toll:   -0.5,
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
		toll: 1,
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

// A Fate says of weeds whether they died. A place alone says little, since chance from
// plant to plant is large; weeds of one patch mostly share their fate, so it is asked of patches.
type Fate struct {
	died  []float32 // pool: log-odds that weeds there died rather than lived
	weeds []float32 // pool: log-odds that weeds stand there, dead or alive, against crop
	round []float32 // pool: the mean of died over the ground round about, as Died takes it
	of    func(cell int) int
}

// TollM2 is how much killed ground makes a field one where weeds surely died, in square metres.
const TollM2 = 1200.0

const (
	roundFateM = 7.0  // m, half the side of the square that a place of a mixed patch goes by
	fewWeeds   = -1.0 // log-odds of weeds below which a place hardly counts
	leastWeeds = 0.01 // its weight then
	mostWeeds  = 8.0  // the largest weight
)

// Died is the log-odds that weeds on some cells of the grid died rather than lived: the
// mean over the ground, in which each place weighs by how surely weeds stand there, so that
// a patch's thin rim goes by its core. NaN without cells.
func (f *Fate) Died(cells []int32) float64 {
	sum, weight := 0.0, 0.0
	for _, i := range cells {
		at := f.of(int(i))
		m := f.weight(at)
		sum += float64(m * float64(f.died[at]))
		weight += m
	}
	return sum / weight
}

// DiedAt is the same of the ground round a cell.
func (f *Fate) DiedAt(cell int32) float64 { return float64(f.round[f.of(int(cell))]) }

// NewFate makes a fate of what is known of places: the log-odds that weeds there died
// rather than lived, and those that weeds stand there at all. of tells the place of a cell
// of the grid, radius is half the side of the square that DiedAt goes by, in places.
func NewFate(died, weeds []float32, size stat.Size, of func(cell int) int, radius, workers int) *Fate {
	f := &Fate{died: died, weeds: weeds, round: make([]float32, len(died)), of: of}
	weight := make([]float32, len(died))
	for at := range weight {
		m := f.weight(at)
		weight[at], f.round[at] = float32(m), float32(m*float64(died[at]))
	}
	raster.Together(workers, func() { stat.Sums(weight, size, radius) }, func() { stat.Sums(f.round, size, radius) })
	for at, m := range weight {
		f.round[at] /= m
	}
	return f
}

// weight is what a pool cell weighs.
func (f *Fate) weight(at int) float64 {
	return held(float64(f.weeds[at])-fewWeeds, leastWeeds, mostWeeds)
}

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
	alive, w.died, w.paired = w.odds(by, then.read)
	for at, e := range alive {
		if e == e && w.pooledEvidence[at] == w.pooledEvidence[at] {
			w.pooledEvidence[at] = max(float32(pairedScale)*e+pairedShift, leastEvidence)
			w.died[at] = float32(pairedScale)*w.died[at] + pairedShift
		}
	}
}

// A toll is what a Fate is made of, for each pool cell.
type toll struct{ died, weeds []float32 }

// odds are the log-odds that the ground of each pool cell is living weeds, and that it is
// dead ones, each against all else, and what they say of patches; then is the earlier flight,
// nil without, and so is alive, which is not asked for then. NaN where one of the flights does not show it.
func (w *work) odds(by *fates, then *work) (alive, died []float32, of toll) {
	n := w.pool.size.Len()
	alive, died = make([]float32, n), make([]float32, n)
	of = toll{make([]float32, n), make([]float32, n)}
	in := make([]bool, n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if in[at] = w.pool.cells[at] > 0 && (then == nil || then.pool.cells[at] > 0); in[at] {
				a, b := w.fate(by, then, at)
				alive[at], died[at] = float32(a), float32(b)
				of.died[at], of.weeds[at] = float32(b-a+by.toll), float32(a+over(b-a))
			}
		}
	})
	raster.Together(w.p.Workers,
		func() { stat.Box(alive, alive, in, w.pool.size, w.reach(fateM)) },
		func() { stat.Box(died, died, in, w.pool.size, w.reach(fateM)) },
		func() { stat.Box(of.weeds, of.weeds, in, w.pool.size, w.reach(nearM)) })
	nan := float32(math.NaN())
	for at, ok := range in {
		if !ok {
			alive[at], died[at], of.weeds[at] = nan, nan, leastEvidence
			continue
		}
		a, b := float64(alive[at]), float64(died[at])
		died[at] = float32(b - over(a))
		if then != nil {
			alive[at] = float32(a - over(b))
		}
	}
	if then == nil {
		return nil, died, of
	}
	return alive, died, of
}

// over is ln(1+exp(x)): crop and what has log-odds x against it, taken together.
func over(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// fate is the weighed sums for living weeds and for dead ones at a pool cell.
func (w *work) fate(by *fates, then *work, at int) (living, dead float64) {
	now := w.held(at)
	living, dead = by.living.now.sum(&now)-by.living.bias, by.dead.now.sum(&now)-by.dead.bias
	if then != nil {
		before := then.held(at)
		browned := held(then.away(then.below.high, at)-brownedThen, 0, 0.6)
		living += by.living.then.sum(&before) - float64(by.living.browned*browned)
		dead += by.dead.then.sum(&before) - float64(by.dead.browned*browned)
	}
	return living, dead
}

// held is what one flight departs by at a pool cell, in the weights' units. Each figure
// is held where the regression had data; one that is not known is 0.
func (w *work) held(at int) weights {
	return weights{
		red:      held(w.away(w.below.red, at), -0.5, 1.2),
		green:    held(w.excess(w.below.green, at), -0.08, 0.14),
		open:     held(w.excess(w.below.open, at), -0.15, 0.2),
		low:      held(w.away(w.below.low, at), -0.25, 0.4),
		middle:   held(w.away(w.below.middle, at), -0.3, 0.6),
		high:     held(w.away(w.below.high, at), -0.3, 0.7),
		infrared: held(w.away(w.below.infrared, at), -0.4, 0.3),
		bright:   held(w.brightness(at), -0.15, 0.15),
	}
}

// sum weighs what one flight departs by.
func (b *weights) sum(x *weights) float64 {
	sum := float64(b.red * x.red)
	sum += float64(b.green * x.green)
	sum += float64(b.open * x.open)
	sum += float64(b.low * x.low)
	sum += float64(b.middle * x.middle)
	sum += float64(b.high * x.high)
	sum += float64(b.infrared * x.infrared)
	return sum + float64(b.bright*x.bright)
}
