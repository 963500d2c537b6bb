package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// shares turns the fine norm into a step for each pool cell and the histograms
// into the off-colour share, smoothed there and interpolated to the cells. A
// window held against given norms is looked at for its evidence only, and gets
// no share.
func (w *work) shares() {
	if w.p.Given != nil {
		w.out.Share = nans(len(w.look))
		return
	}
	w.holdFine()
	n := w.pool.size.Len()
	raw, in := make([]float32, n), make([]bool, n)
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		line := make([]histogram, w.pool.size.Cols)
		for row := from; row < to; row++ {
			if w.s.Ratio != "" {
				w.pool.histograms(line, w.s, w.look, row)
			}
			for col := range line {
				at := row*w.pool.size.Cols + col
				if in[at] = w.pool.cells[at] > 0; in[at] {
					raw[at] = w.share(&line[col], w.from[at]+w.step[at])
				}
			}
		}
	})
	stat.Gauss(raw, raw, in, w.pool.size, w.p.SmoothM/(w.s.Grid.CellM*float64(w.pool.fold)))
	for at, ok := range in {
		if !ok {
			raw[at] = float32(math.NaN())
		}
	}
	w.out.Share = w.spreadOut(raw)
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
		center, shade := ratio.center[c], float32(0)
		if w.ratioShade != nil {
			shade = w.ratioShade[at]
		}
		w.from[at] = shade + float32(held(float64(ratio.v[at]), center-w.p.FineBelow, center+w.p.FineAbove))
		own := held(float64(sd.v[at]), sd.center[c], 2*sd.center[c])
		w.step[at] = float32(held(w.p.StepSpreads*own, w.p.StepLeast, w.p.StepMost))
	}
}

// held returns x kept within low and high; low when x is not known.
func held(x, low, high float64) float64 {
	switch {
	case !(x > low):
		return low
	case x > high:
		return high
	}
	return x
}

// share returns the part of a pool cell's pixels that lie above at, a pixel counting
// in full from at+Ramp on; values lie evenly in each bin. 0 of an empty cell.
func (w *work) share(hist *histogram, at float32) float32 {
	width, ramp := float32(w.s.Width), float32(w.p.Ramp)
	total, over := float32(0), float32(0)
	edge := float32(w.s.Low) - at
	for b := range cells.Bins {
		below := edge
		edge += width
		if n := hist.bin(b); n > 0 {
			total += float32(n)
			over += float32(n) * float32(rampArea(edge, ramp)-rampArea(below, ramp))
		}
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
