package norm

import (
	"math"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

const (
	quietTail   = 0.16 // quantile; the median less this is one deviation of a normal
	usualSpread = 3.25 // deviation of evidence among a field's own crop from which evidence counts as it is
	evenShare   = 0.55 // part of it that is left without any deviation
	leastShare  = 0.65 // the smallest divisor
)

// scatter is the deviation of a figure of the pool cells among the field's crop, taken
// on its lower side, where weeds do not reach; or what was found on the
// whole field, where norms are given. NaN when not known.
func (w *work) scatter(name string, of func(at int) float64) float64 {
	if w.p.Given != nil {
		for _, n := range w.p.Given {
			if v, ok := n.Scatter[name]; ok {
				return v
			}
		}
		return math.NaN()
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
			xs = append(xs, of(at))
		}
		k++
	}
	v := stat.Median(xs) - stat.Quantile(xs, quietTail)
	if !math.IsNaN(v) {
		w.scatters[name] = v
	}
	return v
}

// scale holds evidence against its own scatter among the field's crop: in an even
// stand, or in a picture that shows its plants softly, less of it stands out as
// far. It is never made less, since an uneven crop, and weeds over much of
// a field, scatter it widely. The crop's own middle, the evidence from, stays where it is.
func (w *work) scale(e []float32, from float64) {
	spread := w.scatter(Weight, func(at int) float64 { return float64(e[at]) })
	if math.IsNaN(spread) {
		return
	}
	part := float32(held(evenShare+float64((1-evenShare)*spread/usualSpread), leastShare, 1))
	for i, x := range e {
		e[i] = float32(from) + (x-float32(from))/part
	}
}

// A term is one figure of the sum for dark specks, in the crop's own deviations.
type term struct {
	name      string // under which its scatter is kept
	of        func(at int) float64
	low, high float64 // where it is held, in its own unit
	least     float64 // the smallest deviation that it is counted in
	weight    float64
	scatter   float64
}

const (
	darkBias       = 6.4
	darkBiasColour = 4.8
	darkLead       = 5  // at most so much above the other sum: what that one takes for open ground is no weeds
	darkLow        = -6 // a term in deviations, held so that none outvotes the rest
	darkHigh       = 10
)

// darkTerms are what tells burnt leaf that has turned dark, no paler in green than the
// crop: the red band is rough, and the middle of the pixels redder, while nothing else has changed.
// Gaps, open ground and clumps roughen the near infrared as much or more, and
// soil takes it down. Colour alone goes by the ground's brightness: open ground is
// darker than the crop round about, and a paler crop lifts its greenest pixels, too.
func (w *work) darkTerms() []term {
	b := &w.below
	if !w.near {
		return []term{
			{name: RedContrast, of: func(at int) float64 { return w.away(b.red, at) }, low: -0.5, high: 1.2, least: 0.06, weight: 0.75},
			{name: Middle, of: func(at int) float64 { return w.away(b.middle, at) - w.away(b.low, at) }, low: -0.3, high: 0.5, least: 0.01, weight: 0.36},
			{name: Brightness, of: w.brightness, low: -0.12, high: 0.02, least: 0.03, weight: 0.87},
		}
	}
	return []term{
		{name: RedContrast, of: func(at int) float64 { return w.away(b.red, at) }, low: -0.5, high: 1.2, least: 0.06, weight: 1.5},
		{name: InfraredContrast, of: func(at int) float64 { return w.excess(b.open, at) }, low: -0.1, high: 0.15, least: 0.02, weight: -1.2},
		{name: Middle, of: func(at int) float64 { return w.away(b.middle, at) }, low: -0.3, high: 0.5, least: 0.01, weight: 0.8},
		{name: Infrared, of: func(at int) float64 { return w.away(b.infrared, at) }, low: -0.4, high: 0.3, least: 0.025, weight: 0.75},
	}
}

// brightness is that of green against the ground round about; 0 where not known.
func (w *work) brightness(at int) float64 {
	if b := float64(w.bright[at]); b == b {
		return b
	}
	return 0
}

// dark is the evidence of dark specks of every pool cell, smoothed; nil where the flight
// cannot tell, as without near infrared.
func (w *work) dark() []float32 {
	b := &w.below
	if b.red == nil || b.middle == nil || w.near && (b.open == nil || b.infrared == nil) {
		return nil
	}
	terms, weights, bias := w.darkTerms(), w.balance(), darkBiasColour
	if w.near {
		bias = darkBias
	}
	for i := range terms {
		t := &terms[i]
		s := w.scatter(t.name, t.of)
		if math.IsNaN(s) {
			return nil
		}
		t.scatter = max(s, t.least)
	}
	e, leaf := nans(w.pool.size.Len()), w.leafCrop()
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			c := int(w.pool.check[at])
			if c < 0 {
				c = len(leaf) - 1
			}
			if w.pool.cells[at] == 0 || !leaf[c] {
				continue
			}
			sum := -bias
			if w.near {
				sum -= w.dying(weights, at)
			}
			for i := range terms {
				t := &terms[i]
				sum += float64(t.weight * held(held(t.of(at), t.low, t.high)/t.scatter, darkLow, darkHigh))
			}
			e[at] = float32(max(sum, leastEvidence))
		}
	})
	return w.smooth(e)
}

// leafCrop is by check, and last for ground in none, whether the middle pixel of the norm is
// leaf. Where soil is the norm, plants roughen the red as burnt leaf does.
func (w *work) leafCrop() []bool {
	out := make([]bool, len(w.below.middle.center))
	for c, m := range w.below.middle.center {
		out[c] = m < -math.Log(greenOverRed)
	}
	return out
}
