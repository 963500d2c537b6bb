package norm

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/raster"
	"bittern/internal/structure"
)

const (
	shadedM2   = 400.0 // m2 of shade, below which it is held against the crop in the sun
	shadedStep = 600.0 // m2 of shade that one step of the curve rests on, at least
	shadedMost = 8     // steps
	shadedPart = 0.5   // of the field in shade, from which shade is its norm
)

// Shaded is what shade changes in what is read of the crop, in steps of light: the sky's light is bluer
// than the sun's, haze weighs more on dark ground, and noise roughens it. Weeds in shade are held
// against crop in as much shade.
type Shaded struct {
	Light []float64            // ln brightness against the norm of the check, from the darkest on
	Off   map[string][]float64 // by quantity, what shade adds to it, ln units
}

// shade marks the pool cells that lie in shade; nil for none, or when most of the field does.
func (w *work) shade() []bool {
	if w.l.Kept == nil || w.of[Brightness] == nil {
		return nil
	}
	n, shaded, all := make([]uint16, w.pool.size.Len()), 0, 0
	w.pool.each(w.look, w.p.Workers, func(at, i int) {
		if w.l.Kept[i] == structure.Shade {
			n[at]++
		}
	})
	out := make([]bool, len(n))
	for at, k := range n {
		if w.pool.cells[at] == 0 {
			continue
		}
		all++
		if out[at] = 2*k > w.pool.cells[at]; out[at] {
			shaded++
		}
	}
	if shaded == 0 || w.p.Given == nil && float64(shaded) > shadedPart*float64(all) {
		return nil
	}
	return out
}

// inShade says whether a pool cell lies in shade.
func (w *work) inShade(at int) bool { return w.shaded != nil && w.shaded[at] }

// holdShade takes off what shade adds to the quantities, so that they may be held against the norms of their checks.
func (w *work) holdShade() {
	if w.shaded == nil {
		return
	}
	curve := w.p.Shaded
	if w.p.Given == nil {
		curve = w.findShaded()
		w.out.Shaded = curve
	}
	if curve == nil {
		return
	}
	light := w.of[Brightness]
	if _, ok := curve.Off[RatioPixel]; ok {
		w.ratioShade = make([]float32, w.pool.size.Len())
	}
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if !w.shaded[at] || w.pool.cells[at] == 0 {
				continue
			}
			d, _ := light.at(at, w.pool.check[at])
			for name, off := range curve.Off {
				by := float32(between(curve.Light, off, d))
				w.of[name].v[at] -= by
				if name == RatioPixel {
					w.ratioShade[at] = by
				}
			}
		}
	})
	w.bright = w.againstRound(light.v)
}

// findShaded reads the curve from the field's own shade; nil where there is too little.
func (w *work) findShaded() *Shaded {
	light := w.of[Brightness]
	var cells []int
	dark := make([]float64, len(w.shaded))
	for at, is := range w.shaded {
		if d, _ := light.at(at, w.pool.check[at]); is && w.pool.cells[at] > 0 && d == d {
			dark[at] = d
			cells = append(cells, at)
		}
	}
	side := w.s.Grid.CellM * float64(w.pool.fold)
	m2 := float64(len(cells)) * side * side
	if m2 < shadedM2 {
		return nil
	}
	slices.SortStableFunc(cells, func(a, b int) int { return cmp.Compare(dark[a], dark[b]) })
	steps := int(held(m2/shadedStep, 1, shadedMost))
	out := &Shaded{Off: map[string][]float64{}}
	for _, name := range quantities {
		if q := w.of[name]; q != nil {
			out.Off[name] = make([]float64, steps)
		}
	}
	for k := range steps {
		part := cells[k*len(cells)/steps : (k+1)*len(cells)/steps]
		out.Light = append(out.Light, dark[part[len(part)/2]])
		for name, off := range out.Off {
			q := w.of[name]
			xs := make([]float32, 0, len(part))
			for _, at := range part {
				if d, _ := q.at(at, w.pool.check[at]); d == d {
					xs = append(xs, float32(d))
				}
			}
			slices.Sort(xs)
			m := mode(xs)
			if raised(name) {
				m = quietCenter(xs, m)
			}
			if !math.IsNaN(m) {
				off[k] = m
			}
		}
	}
	return out
}

// between interpolates y at x, where xs rise; the first or last y beyond them.
func between(xs, ys []float64, x float64) float64 {
	k := slices.IndexFunc(xs, func(at float64) bool { return at > x })
	switch {
	case k < 0:
		return ys[len(ys)-1]
	case k == 0:
		return ys[0]
	}
	part := (x - xs[k-1]) / (xs[k] - xs[k-1])
	return ys[k-1] + float64(part*(ys[k]-ys[k-1]))
}
