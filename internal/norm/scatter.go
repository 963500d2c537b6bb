package norm

import (
	"math"

	"bittern/internal/stat"
)

const (
	quietTail   = 0.16 // quantile; the median less this is one deviation of a normal
	usualSpread = 3.25 // deviation of evidence among a field's own crop from which evidence counts as it is
	evenShare   = 0.55 // part of it that is left without any deviation
	leastShare  = 0.65 // the smallest divisor
)

// scatter is the deviation of evidence of the pool cells among the field's crop, taken
// on its lower side, where weeds do not reach; or what was found on the
// whole field, where norms are given. 0 when not known.
func (w *work) scatter(e []float32) float64 {
	if w.p.Given != nil {
		if len(w.p.Given) == 0 {
			return 0
		}
		return w.p.Given[0].Scatter
	}
	n := 0
	for _, c := range w.pool.cells {
		if c > 0 {
			n++
		}
	}
	step, k := n/sampleMost+1, 0
	xs := make([]float64, 0, n/step+1)
	for at, c := range w.pool.cells {
		if c == 0 {
			continue
		}
		if k%step == 0 {
			xs = append(xs, float64(e[at]))
		}
		k++
	}
	v := stat.Median(xs) - stat.Quantile(xs, quietTail)
	if math.IsNaN(v) {
		return 0
	}
	for k := range w.out.Norms {
		w.out.Norms[k].Scatter = v
	}
	return v
}

// scale holds evidence against its own scatter among the field's crop: in an even
// stand, or in a picture that shows its plants softly, less of it stands out as
// far. It is never made less, since an uneven crop, and weeds over much of
// a field, scatter it widely. The crop's own middle, the evidence from, stays where it is.
func (w *work) scale(e []float32, from float64) {
	spread := w.scatter(e)
	if spread == 0 {
		return
	}
	part := float32(held(evenShare+float64((1-evenShare)*spread/usualSpread), leastShare, 1))
	for i, x := range e {
		e[i] = float32(from) + (x-float32(from))/part
	}
}
