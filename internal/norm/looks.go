package norm

import (
	"math"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

const (
	brownedFrom       = -1.5 // evidence from which a cell is browned
	leastWeightSpread = 4.0  // evidence, the floor under its spread
	departs           = 3.0  // spreads from which a cell departs
	darker            = 0.25 // ln units below the norm's brightness: water shows
)

// looks are the directions in the order of Departure.Looks.
var looks = [...]Look{NoLook, Browned, Yellowed, Thinned, Drowned, Ripened, Lush, Coarse, Regrown}

func lookIndex(l Look) uint8 {
	for i, x := range looks {
		if x == l {
			return uint8(i)
		}
	}
	return 0
}

// direct sets the size and the direction of every cell's departure. Browned
// ground departs by its evidence, all other by what its means say.
func (w *work) direct() {
	n := len(w.look)
	w.out.Looks = append([]Look(nil), looks[:]...)
	w.out.Spreads, w.out.Toward = make([]float32, n), make([]uint8, n)
	var size []float32
	var toward []uint8
	var center, spread float32
	raster.Together(w.p.Workers, func() { size, toward = w.directPool() }, func() {
		center, spread = w.evidenceNorm()
	})
	browned, coarse, nan := lookIndex(Browned), lookIndex(Coarse), float32(math.NaN())
	w.pool.eachRow(w.p.Workers, func(first, from, to int) {
		for i := from; i < to; i++ {
			if !w.look[i] {
				w.out.Spreads[i] = nan
				continue
			}
			at := first + (i-from)/w.pool.fold
			w.out.Spreads[i], w.out.Toward[i] = size[at], toward[at]
			if e := w.out.Evidence[i]; e >= brownedFrom || w.out.Killed[i] {
				w.out.Spreads[i], w.out.Toward[i] = max(0, (e-center)/spread), browned
				if w.leaf != nil && w.leaf[at] && !w.out.Killed[i] {
					w.out.Toward[i] = coarse
				}
			}
		}
	})
}

// evidenceNorm is the centre and spread of the evidence over the crop. Its floor
// puts two spreads about where a patch begins to stand out.
func (w *work) evidenceNorm() (center, spread float32) {
	if len(w.p.Given) > 0 {
		g := w.p.Given[0]
		return float32(g.Center[Weight]), float32(max(g.Spread[Weight], leastWeightSpread))
	}
	xs := stat.Sample(w.out.Evidence, w.look, sampleMost)
	sortRising(xs, make([]uint32, len(xs)))
	c := mode(xs)
	if math.IsNaN(c) {
		c = leastEvidence
	}
	s := held(quietSide(xs, c), leastWeightSpread, math.Inf(1))
	for k := range w.out.Norms {
		w.out.Norms[k].Center[Weight], w.out.Norms[k].Spread[Weight] = c, s
	}
	return float32(c), float32(s)
}

// directPool gives each pool cell the size of its departure in the quantities
// that are means, and the direction of it.
func (w *work) directPool() (size []float32, toward []uint8) {
	n := w.pool.size.Len()
	size, toward = make([]float32, n), make([]uint8, n)
	smoothed := func(name string) *quantity {
		q := w.of[name]
		if q == nil {
			return nil
		}
		v := make([]float32, n)
		stat.Box(v, q.v, nil, w.pool.size, 1)
		return &quantity{v: v, center: q.center, spread: q.spread}
	}
	means := meanQuantities{smoothed(RatioPixel), smoothed(Infrared), smoothed(Brightness)}
	local := meanQuantities{ratio: w.local(means.ratio), infrared: w.local(means.infrared)}
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 {
				d := means.depart(at, w.pool.check[at])
				look := d.look()
				if look == Lush {
					d = d.within(local.depart(at, -1))
					look = d.look()
				}
				size[at] = float32(d.size())
				toward[at] = lookIndex(look)
			}
		}
	})
	return size, toward
}

// meanQuantities are those that say how the means of cells depart; nil where the flight lacks them.
type meanQuantities struct{ ratio, infrared, brightness *quantity }

// local turns a quantity into its distance from the mean of the ground round about.
func (w *work) local(q *quantity) *quantity {
	if q == nil {
		return nil
	}
	return &quantity{v: w.againstRound(q.v), center: []float64{0}, spread: []float64{q.spread[len(q.spread)-1]}}
}

// within is d where the ground also stands out from what lies round about: a
// strip of the mosaic and a slow gradient of the stand do not.
func (d distance) within(round distance) distance {
	d.ratio = max(d.ratio, min(round.ratio, 0))
	d.infrared = min(d.infrared, max(round.infrared, 0))
	return d
}

// A distance is how far one place lies from its norm in each quantity, in
// spreads (brightness in ln units); 0 where not known.
type distance struct{ ratio, infrared, brighter float64 }

func (q *meanQuantities) depart(at int, check int32) distance {
	return distance{
		ratio:    q.ratio.spreads(at, check),
		infrared: q.infrared.spreads(at, check),
		brighter: q.brightness.size(at, check),
	}
}

// size is the distance from the norm in the quantity's unit; 0 where not known.
func (q *quantity) size(at int, check int32) float64 {
	if q == nil {
		return 0
	}
	return known(q.at(at, check))
}

// spreads is the same in spreads.
func (q *quantity) spreads(at int, check int32) float64 {
	if q == nil {
		return 0
	}
	_, z := q.at(at, check)
	return known(z, z)
}

func known(x, _ float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

func (d distance) size() float64 { return max(math.Abs(d.ratio), math.Abs(d.infrared)) }

// look names the direction. Only what browns or thickens can be a weed that
// lived; the rest is context.
func (d distance) look() Look {
	switch {
	case d.size() < departs:
		return NoLook
	case d.brighter < -darker && (d.infrared <= -departs || d.infrared == 0):
		return Drowned
	case d.infrared <= -departs:
		return Thinned
	case d.ratio >= departs && d.brighter > darker:
		return Thinned
	case d.ratio >= departs:
		return Yellowed
	}
	return Lush
}

// A killing is what tells killed ground: from crop by the brown and its specks (fates),
// and, where evidence is taken off, from living weeds by what is missing. No living leaf is left between the dead,
// so even the greenest pixels have browned, and dark open ground speckles the near
// infrared. Colour alone sees the brown end rise far with few specks, where burnt
// leaves over living ones make many.
type killing struct {
	fates      *fates
	weeds      fate    // against living weeds, of the day alone; open is that of work.open
	from, took float64 // how likely against weeds evidence is taken off from, and how much for each 1 beyond
	low        float64 // log-odds of dead weeds that killed ground goes on with
	high       float64 // that it reaches somewhere
	mean       float64 // their mean over it
	leaf       float64 // mean excess of its green contrast
	alive      float64 // mean evidence that it stays below
	sure       float64 // what its Fate reaches; of less it is not told that weeds died
}

// The weights are those of logistic regressions on odd seeds, rounded.
var (
	killingInfrared = killing{
		fates: &aloneInfrared,
		weeds: fate{now: weights{red: -2.5, open: 26, low: 6.3, middle: 10}, bias: 1.5},
		took:  3, low: -0.5, high: 2, mean: 1, leaf: 0, alive: -1,
	}
	killingColour = killing{
		fates: &aloneColour,
		weeds: fate{now: weights{red: -9.9, low: 2.1, middle: 2.2, high: 8.7}, bias: -0.8},
		from:  0.5, took: 2, low: -1, high: 2, mean: 1.75, leaf: 0.05, alive: 1.5, sure: 2,
	}
)

const (
	killedLeast = -8.0  // no less than this is said of any ground
	killedM2    = 200.0 // m2, less of it is a thin spot of the stand, or the burnt middle of living weeds
	killedTwo   = 40.0  // m2, where two flights say so
	usualDead   = 2.5   // scatter among a field's own crop from which it counts as it is
	evenDead    = 0.3   // part of it that is left without any scatter
	leastDead   = 0.35  // the smallest divisor
	deadShift   = 0.75  // puts it where two flights have their limits
	deadBrown   = 0.15  // ln units that the brown end has risen at least: dead leaf is brown, whatever else is rough
	living      = 1.5   // evidence from which ground below high is living weeds
)

// killing is what the flight's bands allow.
func (w *work) killing() *killing {
	if w.near {
		return &killingInfrared
	}
	return &killingColour
}

// findKilled marks ground where dead leaf lies over open ground. Killed weeds thin
// out at their rim as living ones do, so ground that shows less of this goes with
// what surely is killed. It returns where, by pool cells; nil where it is not sought.
func (w *work) findKilled() []bool {
	w.out.Killed = make([]bool, len(w.look))
	if w.s.Ratio == "" || w.p.Given != nil {
		return nil
	}
	b := w.killing()
	_, v, of := w.odds(b.fates, nil)
	w.even(v)
	for at, x := range v {
		if w.died != nil && w.died[at] == w.died[at] {
			x = w.died[at]
			of.died[at], of.weeds[at] = w.paired.died[at], w.paired.weeds[at]
		}
		if x != x || float64(x) < b.high && w.pooledEvidence[at] >= living || w.away(w.below.high, at) < deadBrown {
			x = killedLeast
		}
		v[at] = x
	}
	w.out.Fate = NewFate(of.died, of.weeds, w.pool.size, w.pool.of, w.reach(roundFateM), w.p.Workers)
	in := w.surely(b, v, stat.Hysteresis(v, w.pool.size, float32(b.low), float32(b.high)))
	w.pool.each(w.look, w.p.Workers, func(at, i int) { w.out.Killed[i] = in[at] })
	return in
}

// even holds what is said of dead weeds against its own scatter among the field's
// crop, on the quiet side, as scale does with evidence.
func (w *work) even(v []float32) {
	xs := stat.Sample(v, nil, sampleMost)
	middle := stat.Median(xs)
	scatter := middle - stat.Quantile(xs, quietTail)
	part := held(evenDead+float64((1-evenDead)*scatter/usualDead), leastDead, 1)
	for at, x := range v {
		v[at] = float32(middle+(float64(x)-middle)/part) - deadShift
	}
}

// surely marks the patches of in that are large enough, whose mean says the same as
// their best place, in which leaf roughens the green and whose mean evidence is not of
// living weeds: a thin spot of the stand among weeds reaches far in one place, and open
// ground alone is no rougher than crop. Two flights see that for themselves. Of what is all that
// and as likely lived as died, the evidence is that weeds stand there: a patch that is
// walked in vain costs less than one that is left.
func (w *work) surely(b *killing, v []float32, in []bool) []bool {
	labels, sizes := stat.Components(in, w.pool.size, true)
	of := make([]struct {
		sum, rough, alive, died, weight float64
		tells, doubtful                 bool
	}, len(sizes))
	for at, l := range labels {
		if in[at] {
			p, m := &of[l], w.out.Fate.weight(at)
			p.sum += float64(v[at])
			p.rough += w.excess(w.below.green, at)
			p.alive += float64(w.pooledEvidence[at])
			p.died += float64(m * float64(w.out.Fate.died[at]))
			p.weight += m
		}
	}
	side := w.s.Grid.CellM * float64(w.pool.fold)
	least := killedM2
	if w.died != nil {
		least = killedTwo
	}
	sure := 0.0
	for l := range of {
		n, p := float64(sizes[l]), &of[l]
		p.tells = l > 0 && n*side*side >= least && p.sum >= b.mean*n && (w.died != nil || p.rough >= b.leaf*n && p.alive < b.alive*n)
		p.doubtful = p.tells && w.died == nil && p.died < b.sure*p.weight
		if p.tells && !p.doubtful {
			sure += n * side * side
		}
	}
	for at, l := range labels {
		in[at] = in[at] && of[l].tells
		if in[at] && of[l].doubtful && sure < TollM2 {
			in[at] = false
			w.pooledEvidence[at] = max(w.pooledEvidence[at], w.out.Fate.weeds[at])
		}
	}
	return in
}

// decay is the weighed sum at a pool cell; what lies below the norm says little about it.
func (w *work) decay(f *fate, at int) float64 {
	b := &f.now
	sum := float64(b.red * held(w.away(w.below.red, at), -0.5, 1.2))
	sum += float64(b.low * held(w.away(w.below.low, at), -0.1, 0.4))
	sum += float64(b.middle * held(w.away(w.below.middle, at), -0.1, 0.6))
	sum += float64(b.high * held(w.away(w.below.high, at), -0.1, 0.7))
	if b.open != 0 {
		sum += float64(b.open * held(w.open(at), 0, 0.15))
	}
	return sum - f.bias
}

// deadness is how far the green end has risen, as a part of the brown end's
// rise, where living weeds leave it. With near infrared, how far ln(nir/green) has
// fallen and how far open dark ground speckles the near infrared are added.
// Without, it is 0 where red is so speckled that there must be living green
// between the brown.
func (w *work) deadness(at int) float64 {
	high := w.away(w.below.high, at)
	if high < leastRise {
		return 0
	}
	green := max(w.away(w.below.low, at), 0) / high
	switch {
	case !w.near && w.away(w.below.red, at) > livingSpecks:
		return 0
	case !w.near:
		return green
	}
	fall := max(-w.away(w.below.infrared, at), 0) / high
	return green + fall + float64(openDead*held(w.open(at), 0, 0.08))
}

// livingSpecks is the red contrast, in ln units above the norm, that only living
// green between the brown makes.
const livingSpecks = 0.75

// openDead is the deadness for each 1 of open.
const openDead = 8.0

// leastRise is that of the brown end, in ln units, from which deadness is spoken of.
const leastRise = 0.35
