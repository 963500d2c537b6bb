package norm

import (
	"math"

	"bittern/internal/stat"
)

const (
	brownedFrom       = -1.5 // evidence from which a cell is browned
	leastWeightSpread = 4.0  // evidence, the floor under its spread
	departs           = 3.0  // spreads from which a cell departs
	killedBrown       = 0.40 // ln units that the brown end of killed ground lies above the norm at least
	killedGreen       = 0.08 // the same of its green end
	killedGreenAlone  = 0.28 // and where no near infrared shows the open ground
	killedBrownAlone  = 0.55 // the brown end there
	killedSpeck       = 0.05 // the same of its green contrast
	killedOpen        = 0.15 // the same of its contrast in the near infrared
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
	browned := lookIndex(Browned)
	w.findKilled()
	inBands(w.p.Workers, w.pool.fine.Rows, func(from, to int) {
		for i := from * w.pool.fine.Cols; i < to*w.pool.fine.Cols; i++ {
			if !w.look[i] {
				continue
			}
			at := w.pool.of(i)
			w.out.Spreads[i], w.out.Toward[i] = size[at], toward[at]
			if e := w.out.Evidence[i]; e >= brownedFrom || w.out.Killed[i] {
				w.out.Spreads[i], w.out.Toward[i] = max(0, (e-center)/spread), browned
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
	inBands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if w.pool.cells[at] > 0 {
				d := depart(smooth, at, w.pool.check[at])
				size[at] = float32(d.size())
				toward[at] = lookIndex(d.look())
			}
		}
	})
	return size, toward
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

// findKilled marks ground where dead leaf lies over open ground: brown, the
// green end gone with it, dark gaps in the near infrared where there is one, and
// more speckled than a thin stand, which bare soil makes even.
func (w *work) findKilled() {
	if w.s.Ratio == "" {
		return
	}
	n := w.pool.size.Len()
	killed := make([]bool, n)
	for at := range n {
		if w.pool.cells[at] == 0 {
			continue
		}
		brown, green, open := killedBrownAlone, killedGreenAlone, true
		if w.below.open != nil {
			brown, green, open = killedBrown, killedGreen, w.away(w.below.open, at) >= killedOpen
		}
		killed[at] = open && w.away(w.below.brown, at) >= brown && w.away(w.below.green, at) >= green && w.away(w.below.speck, at) >= killedSpeck
	}
	for i, ok := range w.look {
		w.out.Killed[i] = ok && killed[w.pool.of(i)]
	}
}
