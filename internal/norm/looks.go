package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/stat"
)

const (
	offFaint    = 0.04 // off-colour share from which a cell is browned
	departs     = 3.0  // spreads from which a cell departs
	killedShare = 0.55 // off-colour share of ground whose weeds died
	killedGreen = 0.20 // living green that such ground has at most, share of the pixels
	darker      = 0.25 // ln units below the norm's brightness: water shows
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
	xs := stat.Sample(w.out.Share, w.look, sampleMost)
	m := stat.Median(xs)
	return float32(held(stat.Spread(xs, m), w.p.Floor, 1))
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

// findKilled marks ground that is brown all over: nearly all of its pixels are
// off-colour and none to speak of are as green as the crop.
func (w *work) findKilled() {
	if w.s.Ratio == "" {
		return
	}
	green := w.smooth(w.greenShares())
	brown := w.out.Share
	for i, ok := range w.look {
		w.out.Killed[i] = ok && brown[i] >= killedShare && green[i] <= killedGreen
	}
}

// greenShares returns the part of each cell's pixels that are no more than
// half the step above the norm.
func (w *work) greenShares() []float32 {
	out := nans(len(w.look))
	inBands(w.p.Workers, w.pool.fine.Rows, func(from, to int) {
		for i := from * w.pool.fine.Cols; i < to*w.pool.fine.Cols; i++ {
			if w.look[i] && w.raw[i] > killedShare/2 {
				at := w.pool.of(i)
				out[i] = 1 - w.above(w.s.Hist[i*cells.Bins:(i+1)*cells.Bins], w.from[at]+w.step[at]/2)
			} else if w.look[i] {
				out[i] = 1
			}
		}
	})
	return out
}

// above returns the part of a cell's pixels that lie above at.
func (w *work) above(hist []uint16, at float32) float32 {
	total, over := float32(0), float32(0)
	edge := float32(w.s.Low)
	for _, n := range hist {
		next := edge + float32(w.s.Width)
		total += float32(n)
		over += float32(n) * min(1, max(0, (next-at)/float32(w.s.Width)))
		edge = next
	}
	if total == 0 {
		return 0
	}
	return over / total
}
