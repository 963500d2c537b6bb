package norm

import (
	"math"

	"bittern/internal/stat"
)

const (
	offFaint         = 0.04 // off-colour share from which a cell is browned
	departs          = 3.0  // spreads from which a cell departs
	killedBrown      = 0.40 // ln units that the brown end of killed ground lies above the norm at least
	killedGreen      = 0.08 // the same of its green end
	killedGreenAlone = 0.26 // and where no near infrared shows the open ground
	killedSpeck      = 0.05 // the same of its green contrast
	killedOpen       = 0.15 // the same of its contrast in the near infrared
	darker           = 0.25 // ln units below the norm's brightness: water shows
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

// direct sets the size and the direction of every cell's departure.
func (w *work) direct() {
	n := len(w.look)
	w.out.Looks = append([]Look(nil), looks[:]...)
	w.out.Spreads, w.out.Toward, w.out.Killed = nans(n), make([]uint8, n), make([]bool, n)
	size, toward := w.directPool()
	off := w.offSpread()
	w.findKilled()
	inBands(w.p.Workers, w.pool.fine.Rows, func(from, to int) {
		for i := from * w.pool.fine.Cols; i < to*w.pool.fine.Cols; i++ {
			if !w.look[i] {
				continue
			}
			at := w.pool.of(i)
			share := w.out.Share[i]
			w.out.Spreads[i] = max(size[at], share/off)
			w.out.Toward[i] = toward[at]
			if share >= offFaint || w.out.Killed[i] {
				w.out.Toward[i] = lookIndex(Browned)
			}
		}
	})
}

// offSpread is one spread of the off-colour share: crop has nearly none, so it
// is the floor unless the whole field is noisy.
func (w *work) offSpread() float32 {
	if len(w.p.Given) > 0 {
		return float32(max(w.p.Given[0].Spread[OffColor], w.p.Floor))
	}
	xs := stat.Sample(w.out.Share, w.look, sampleMost)
	m := stat.Median(xs)
	spread := held(stat.Spread(xs, m), w.p.Floor, 1)
	for c := range w.out.Norms {
		if w.out.Norms[c].Cells > 0 {
			w.out.Norms[c].Center[OffColor], w.out.Norms[c].Spread[OffColor] = held(m, 0, 1), spread
		}
	}
	return float32(spread)
}

// directPool gives each pool cell the size of its departure in the quantities
// that are means, and the direction of it.
func (w *work) directPool() (size []float32, toward []uint8) {
	n := w.pool.size.Len()
	size, toward = make([]float32, n), make([]uint8, n)
	smooth := map[string]*quantity{}
	for _, name := range quantities {
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
	get := func(name string) (float64, float64) {
		if q[name] == nil {
			return 0, 0
		}
		d, z := q[name].at(at, check)
		if math.IsNaN(z) {
			return 0, 0
		}
		return d, z
	}
	var d distance
	_, d.ratio = get(RatioPixel)
	_, d.infrared = get(Infrared)
	d.brighter, _ = get(Brightness)
	return d
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
		green, open := killedGreenAlone, true
		if w.of[InfraredContrast] != nil {
			green, open = killedGreen, w.away(InfraredContrast, at) >= killedOpen
		}
		killed[at] = open && w.away(BrownEnd, at) >= killedBrown && w.away(GreenEnd, at) >= green && w.away(GreenContrast, at) >= killedSpeck
	}
	for i, ok := range w.look {
		w.out.Killed[i] = ok && killed[w.pool.of(i)]
	}
}
