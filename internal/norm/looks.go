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
	w.out.Spreads, w.out.Toward, w.out.Killed = nans(n), make([]uint8, n), make([]bool, n)
	size, toward := w.directPool()
	center, spread := w.evidenceNorm()
	browned, coarse := lookIndex(Browned), lookIndex(Coarse)
	w.findKilled()
	raster.Bands(w.p.Workers, w.pool.fine.Rows, func(from, to int) {
		for i := from * w.pool.fine.Cols; i < to*w.pool.fine.Cols; i++ {
			if !w.look[i] {
				continue
			}
			at := w.pool.of(i)
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
	var xs []float64
	for _, e := range stat.Sample(w.out.Evidence, w.look, sampleMost) {
		xs = append(xs, float64(e))
	}
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
	smooth := map[string]*quantity{}
	for _, name := range [...]string{RatioPixel, Infrared, Brightness} {
		if q := w.of[name]; q != nil {
			v := make([]float32, n)
			stat.Box(v, q.v, nil, w.pool.size, 1)
			smooth[name] = &quantity{v: v, center: q.center, spread: q.spread}
		}
	}
	local := w.local(smooth)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 {
				d := depart(smooth, at, w.pool.check[at])
				if d.look() == Lush {
					d = d.within(depart(local, at, -1))
				}
				size[at] = float32(d.size())
				toward[at] = lookIndex(d.look())
			}
		}
	})
	return size, toward
}

// local turns quantities into their distance from the mean of the ground round
// about.
func (w *work) local(smooth map[string]*quantity) map[string]*quantity {
	out := map[string]*quantity{}
	for _, name := range [...]string{RatioPixel, Infrared} {
		if q := smooth[name]; q != nil {
			spread := q.spread[len(q.spread)-1]
			out[name] = &quantity{v: w.againstRound(q.v), center: []float64{0}, spread: []float64{spread}}
		}
	}
	return out
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

func depart(q map[string]*quantity, at int, check int32) distance {
	return distance{
		ratio:    q[RatioPixel].spreads(at, check),
		infrared: q[Infrared].spreads(at, check),
		brighter: q[Brightness].size(at, check),
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

// A decay weighs what tells killed ground from living weeds and from crop: dead
// leaf over open ground. The sum is near a log-odds.
type decay struct {
	green    float64 // rise of the green end, as a part of the brown end's: no living leaf is left between
	middle   float64 // rise of the middle, likewise
	contrast float64 // excess of the green contrast, of the mean: dead leaf is paler in green than the soil of a thin stand
	red      float64 // red contrast, ln units
	brown    float64 // rise of the brown end, ln units
	open     float64 // see open
	bias     float64
	low      float64 // decay that killed ground goes on with
	high     float64 // decay that it reaches somewhere
	living   float64 // evidence from which ground below high is living weeds
}

// The weights are those of a logistic regression of killed ground against living
// weeds and all other crop, rounded.
var (
	decayInfrared = decay{green: 5.5, middle: 1.5, contrast: 24, red: 1, brown: 9, open: 24, bias: 10.2, low: -1, high: 1.5, living: 1.5}
	decayColour   = decay{green: 5.4, middle: 2.6, contrast: 11, brown: 5.7, bias: 8.6, low: -2, high: 1, living: 3}
)

const (
	killedLeast = -8.0 // no less than this is said of any ground
	killedM2    = 40.0 // m2, less of it is a thin spot of the stand
	leastBrown  = 0.25 // ln units, the least rise of the brown end that a part is taken of
)

// findKilled marks ground where dead leaf lies over open ground: even the
// greenest pixels have browned, the leaf is pale in green, and dark gaps show
// in the near infrared. Killed weeds thin out at their rim as living ones do, so
// ground that shows less of this goes with what surely is killed.
func (w *work) findKilled() {
	if w.s.Ratio == "" || w.p.Given != nil {
		return
	}
	b := decayColour
	if w.near {
		b = decayInfrared
	}
	n := w.pool.size.Len()
	v := nans(n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 {
				v[at] = float32(max(w.decay(&b, at), killedLeast))
			}
		}
	})
	v = w.smooth(v)
	for at, x := range v {
		if x != x || float64(x) < b.high && float64(w.pooledEvidence[at]) >= b.living {
			v[at] = killedLeast
		}
	}
	in := stat.Hysteresis(v, w.pool.size, float32(b.low), float32(b.high))
	side := w.s.Grid.CellM * float64(w.pool.fold)
	stat.Keep(in, w.pool.size, true, func(_ int32, n int) bool { return float64(n)*side*side >= killedM2 })
	for i, ok := range w.look {
		w.out.Killed[i] = ok && in[w.pool.of(i)]
	}
}

// decay is the weighed sum at a pool cell.
func (w *work) decay(b *decay, at int) float64 {
	high := w.away(w.below.high, at)
	of := max(high, leastBrown)
	sum := float64(b.green*held(w.away(w.below.low, at)/of, 0, 1)) + float64(b.middle*held(w.away(w.below.middle, at)/of, 0, 1))
	sum += float64(b.contrast * held(w.excess(w.below.green, at), -0.05, 0.12))
	sum += float64(b.red * held(w.away(w.below.red, at), -0.2, 1.2))
	sum += float64(b.brown * held(high, 0, 0.6))
	sum += float64(b.open * held(w.open(at), 0, 0.1))
	return sum - b.bias
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
