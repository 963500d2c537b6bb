package norm

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/raster"
)

// center finds the centre and spread of every quantity in every check.
func (w *work) center() {
	w.out.Norms = make([]CheckNorm, len(w.l.Checks))
	for c, ch := range w.l.Checks {
		w.out.Norms[c] = CheckNorm{Check: ch.ID, Center: map[string]float64{}, Spread: map[string]float64{}}
	}
	w.countCells()
	if w.p.Given != nil {
		for _, name := range quantities {
			if q := w.of[name]; q != nil {
				w.takeGiven(name, q)
			}
		}
		w.out.Norms = w.p.Given
		return
	}
	on := w.stretches()
	raster.Bands(w.p.Workers, len(quantities), func(from, to int) {
		for _, name := range quantities[from:to] {
			if q := w.of[name]; q != nil {
				w.ownCenters(name, q, on)
			}
		}
	})
	w.stand()
	places := w.places()
	for _, name := range quantities {
		if q := w.of[name]; q != nil {
			w.settle(name, q, places)
			w.publish(name, q)
		}
	}
}

// quantities in the order in which they are worked on.
var quantities = [...]string{RatioPixel, PixelSpread, GreenEnd, Middle, BrownEnd, Brightness, GreenContrast, RedContrast, InfraredContrast, Infrared}

// lnOf puts ln(a/b), or ln(a) without b, in the place of a, and returns it; NaN where it has none.
func (w *work) lnOf(a, b []float32) []float32 {
	nan := float32(math.NaN())
	raster.Bands(w.p.Workers, len(a), func(from, to int) {
		for i, x := range a[from:to] {
			i += from
			if b != nil {
				x /= b[i]
			}
			if x > 0 && x <= math.MaxFloat32 {
				a[i] = float32(math.Log(float64(x)))
			} else {
				a[i] = nan
			}
		}
	})
	return a
}

func (w *work) countCells() {
	for i, c := range w.l.Check {
		if c >= 0 && w.look[i] {
			w.out.Norms[c].Cells++
		}
	}
}

// A quantity is one thing that has a norm. The slices have an element for each
// check and a last one for ground that is in no check.
type quantity struct {
	v              []float32 // pool; NaN where not known
	center, spread []float64
	off            []float64 // pool: how far it lies from its norm; see work.away
	excess         []float64 // pool: of a contrast, what it holds above its norm; see work.findExcess

	own, ownSpread     []float64 // of the check alone, without its neighbours' word
	median, low, upper []float64 // of the check: median, and the quantiles nearPart and 1 - nearPart
}

// at returns the quantity's distance from its norm in pool cell i of check c
// (-1 for none), in its own unit and in spreads.
func (q *quantity) at(i int, c int32) (size, spreads float64) {
	if c < 0 {
		c = int32(len(q.center) - 1)
	}
	d := float64(q.v[i]) - q.center[c]
	return d, d / q.spread[c]
}

// centerAt is the norm of check c (-1 for none).
func (q *quantity) centerAt(c int32) float64 {
	if c < 0 {
		return q.center[len(q.center)-1]
	}
	return q.center[c]
}

// raised says whether weeds only ever raise a quantity.
func raised(name string) bool {
	switch name {
	case Middle, BrownEnd, GreenContrast, RedContrast, InfraredContrast:
		return true
	}
	return false
}

// ownCenters judges every check by itself.
func (w *work) ownCenters(name string, q *quantity, on []stretch) {
	lists := w.byCheck(q.v, on)
	total := 0
	for _, xs := range lists {
		total += len(xs)
	}
	var all []float32
	step, k := total/sampleMost+1, 0
	for _, xs := range lists {
		for _, x := range xs {
			if k%step == 0 {
				all = append(all, x)
			}
			k++
		}
	}
	none := len(lists) - 1
	lists[none] = all
	for _, list := range [...]*[]float64{&q.own, &q.ownSpread, &q.median, &q.low, &q.upper} {
		*list = make([]float64, len(lists))
	}
	longest := 0
	for _, xs := range lists {
		longest = max(longest, len(xs))
	}
	buf := make([]uint32, longest)
	for c, xs := range lists {
		sortRising(xs, buf)
		m := mode(xs)
		if raised(name) {
			m = quietCenter(xs, m)
		}
		q.own[c], q.ownSpread[c] = m, quietSide(xs, m)
		q.low[c], q.median[c], q.upper[c] = sortedQuantile(xs, nearPart), sortedQuantile(xs, 0.5), sortedQuantile(xs, 1-nearPart)
	}
}

// settle sets one quantity's centre and spread in every check, small checks
// leaning on their neighbours. A check that stands apart is its own norm, and
// nobody leans on it.
func (w *work) settle(name string, q *quantity, places []geo.Point) {
	none := len(q.own) - 1
	q.center, q.spread = make([]float64, none+1), make([]float64, none+1)
	q.center[none], q.spread[none] = q.own[none], max(q.ownSpread[none], w.p.Floor)
	for c := range none {
		if w.apart(c) {
			q.center[c], q.spread[c] = q.median[c], max(w.p.Floor, q.ownSpread[c])
			continue
		}
		k := w.trust(c)
		others := w.neighbours(c, places, q.own[:none], q.center[none])
		q.center[c] = lean(k, q.own[c], others)
		if most, ok := w.p.apart(name); ok && !math.IsNaN(others) {
			q.center[c] = held(q.center[c], others-most, others+most)
		}
		q.spread[c] = max(w.p.Floor, lean(k, q.ownSpread[c], w.neighbours(c, places, q.ownSpread[:none], q.spread[none])))
	}
}

// takeGiven sets a quantity's norms to those that were given; ground in no
// check, and a check without one, goes by the mean of the others.
func (w *work) takeGiven(name string, q *quantity) {
	none := len(w.l.Checks)
	q.center, q.spread = make([]float64, none+1), make([]float64, none+1)
	center, spread, n := 0.0, 0.0, 0.0
	for c := range w.l.Checks {
		m, ok := w.p.Given[c].Center[name]
		if !ok {
			m = math.NaN()
		} else {
			center += m
			spread += w.p.Given[c].Spread[name]
			n++
		}
		q.center[c], q.spread[c] = m, max(w.p.Given[c].Spread[name], w.p.Floor)
	}
	for c := range q.center {
		if c == none || math.IsNaN(q.center[c]) {
			q.center[c], q.spread[c] = center/n, max(spread/max(n, 1), w.p.Floor)
		}
	}
}

// publish writes a quantity into the checks' norms; what is not known is left
// out.
func (w *work) publish(name string, q *quantity) {
	for c := range w.out.Norms {
		if m := q.center[c]; !math.IsNaN(m) {
			w.out.Norms[c].Center[name] = m
			w.out.Norms[c].Spread[name] = q.spread[c]
		}
	}
}

// A stretch is pool cells side by side whose values make norms, and their list: that of their check, or the last one.
type stretch struct{ from, to, list int }

// stretches are those of all ground that makes norms, in order.
func (w *work) stretches() (out []stretch) {
	list := func(at int) int {
		if w.pool.cells[at] == 0 || w.inShade(at) {
			return -1
		}
		if c := w.pool.check[at]; c >= 0 {
			return int(c)
		}
		return len(w.l.Checks)
	}
	for at := 0; at < len(w.pool.cells); {
		s := stretch{from: at, list: list(at)}
		for at < len(w.pool.cells) && list(at) == s.list {
			at++
		}
		if s.to = at; s.list >= 0 {
			out = append(out, s)
		}
	}
	return out
}

// byCheck gathers the known values of each check, at most about sampleMost of
// each; the last list holds those of ground in no check.
func (w *work) byCheck(v []float32, on []stretch) [][]float32 {
	n, known := make([]int, len(w.l.Checks)+1), make([]int, len(on))
	for k, s := range on {
		some := 0
		for _, x := range v[s.from:s.to] {
			if x == x {
				some++
			}
		}
		known[k] = some
		n[s.list] += some
	}
	out := make([][]float32, len(n))
	step, left := make([]int, len(n)), make([]int, len(n)) // left: values until the next one that is taken
	for c := range out {
		step[c] = n[c]/sampleMost + 1
		out[c] = make([]float32, 0, n[c]/step[c]+1)
	}
	for k, s := range on {
		xs, until := v[s.from:s.to], left[s.list]
		if known[k] == len(xs) { // from one that is taken straight to the next
			for ; until < len(xs); until += step[s.list] {
				out[s.list] = append(out[s.list], xs[until])
			}
			left[s.list] = until - len(xs)
			continue
		}
		for _, x := range xs {
			if x != x {
				continue
			}
			if until == 0 {
				out[s.list] = append(out[s.list], x)
				until = step[s.list]
			}
			until--
		}
		left[s.list] = until
	}
	return out
}

// trust is how far check c rests on itself: a half at LeastCheckM2, near 1 far
// above it.
func (w *work) trust(c int) float64 {
	m2 := float64(w.out.Norms[c].Cells) * w.s.Grid.CellM * w.s.Grid.CellM
	return m2 * m2 / (m2*m2 + float64(w.p.LeastCheckM2*w.p.LeastCheckM2))
}

func lean(trust, own, others float64) float64 {
	switch {
	case math.IsNaN(own):
		return others
	case math.IsNaN(others):
		return own
	}
	return float64(trust*own) + float64((1-trust)*others)
}

// places returns a middle of every check.
func (w *work) places() []geo.Point {
	out := make([]geo.Point, len(w.l.Checks))
	n := make([]float64, len(out))
	for at, c := range w.pool.check {
		if c >= 0 {
			out[c].X += float64(at % w.pool.size.Cols)
			out[c].Y += float64(at / w.pool.size.Cols)
			n[c]++
		}
	}
	for c := range out {
		out[c].X /= max(n[c], 1)
		out[c].Y /= max(n[c], 1)
	}
	return out
}

// neighbourM is the distance at which a neighbour's word counts half.
const neighbourM = 100

// neighbours is the mean of v over the other checks, the larger and nearer ones
// counting more; otherwise when there are none.
func (w *work) neighbours(c int, places []geo.Point, v []float64, otherwise float64) float64 {
	half := neighbourM / (w.s.Grid.CellM * float64(w.pool.fold))
	sum, weight := 0.0, 0.0
	for o, x := range v {
		if o == c || math.IsNaN(x) || w.out.Norms[o].Cells == 0 || w.apart(o) {
			continue
		}
		d := math.Hypot(places[o].X-places[c].X, places[o].Y-places[c].Y) / half
		k := w.trust(o) / (1 + float64(d*d))
		sum += float64(k * x)
		weight += k
	}
	if weight < 0.05 {
		return otherwise
	}
	return sum / weight
}
