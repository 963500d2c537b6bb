package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/stat"
)

// shares turns the fine norm into a step for each pool cell and the histograms
// into the off-colour share of each cell.
func (w *work) shares() {
	w.holdFine()
	raw := nans(len(w.look))
	inBands(w.p.Workers, w.pool.fine.Rows, func(from, to int) {
		for i := from * w.pool.fine.Cols; i < to*w.pool.fine.Cols; i++ {
			switch {
			case !w.look[i]:
			case w.s.Ratio == "":
				raw[i] = 0
			default:
				at := w.pool.of(i)
				raw[i] = w.share(w.s.Hist[i*cells.Bins:(i+1)*cells.Bins], w.from[at]+w.step[at])
			}
		}
	})
	w.out.Share = make([]float32, len(raw))
	stat.Gauss(w.out.Share, raw, w.look, w.pool.fine, w.p.SmoothM/w.s.Grid.CellM)
	for i, ok := range w.look {
		if !ok {
			w.out.Share[i] = float32(math.NaN())
		}
	}
}

// holdFine keeps the fine norm near the check's, so that a patch too dense to
// leave a third of its pixels green is still seen, and sets the step.
func (w *work) holdFine() {
	n := w.pool.size.Len()
	w.from, w.step = make([]float32, n), make([]float32, n)
	ratio, sd := w.of[RatioPixel], w.of[PixelSpread]
	if ratio == nil {
		return
	}
	none := int32(len(ratio.center) - 1)
	for at := range n {
		c := w.pool.check[at]
		if w.pool.cells[at] == 0 {
			continue
		}
		if c < 0 {
			c = none
		}
		center := ratio.center[c]
		w.from[at] = float32(held(float64(ratio.v[at]), center-w.p.FineBelow, center+w.p.FineAbove))
		own := held(float64(sd.v[at]), sd.center[c], 2*sd.center[c])
		w.step[at] = float32(held(w.p.StepSpreads*own, w.p.StepLeast, w.p.StepMost))
	}
}

// held returns x kept within low and high; low when x is not known.
func held(x, low, high float64) float64 {
	if !(x > low) {
		return low
	}
	return min(x, high)
}

// share returns the part of a cell's pixels that lie above at, a pixel counting
// in full from at+Ramp on; values lie evenly in each bin. 0 of an empty cell.
func (w *work) share(hist []uint16, at float32) float32 {
	width, ramp := float32(w.s.Width), float32(w.p.Ramp)
	total, over := float32(0), float32(0)
	edge := float32(w.s.Low) - at
	below := rampArea(edge, ramp)
	for _, n := range hist {
		edge += width
		above := rampArea(edge, ramp)
		if n > 0 {
			total += float32(n)
			over += float32(n) * float32(above-below)
		}
		below = above
	}
	if total == 0 {
		return 0
	}
	return over / float32(total*width)
}

// rampArea is the area from the far left up to x under the weight that is 0
// below 0, rises evenly to 1 at ramp and stays there.
func rampArea(x, ramp float32) float32 {
	switch {
	case x <= 0:
		return 0
	case x < ramp:
		return float32(x*x) / (2 * ramp)
	}
	return x - ramp/2
}
