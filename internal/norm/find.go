package norm

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/progress"
	"bittern/internal/raster"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// Find returns the norm of every check of l and the departure of every cell
// that is looked at. It needs s and l on one grid. The number of workers
// changes no bit of the result.
//
// What it goes by lies below the cell: the pixels' histograms of brown against
// green (Summary.Ratio), and how much the bands vary from pixel to pixel. The
// mean of a cell would hide a patch of which one pixel in ten is brown, and
// cannot tell it from a thin stand. Without a histogram nothing is browned, and
// a doubt says so.
func Find(ctx context.Context, s *cells.Summary, l *structure.Layout, p Parameters) (*Departure, error) {
	if err := check(s, l, p); err != nil {
		return nil, err
	}
	w := &work{s: s, l: l, p: p, look: lookedAt(s, l), of: map[string]*quantity{}}
	steps := []func(){w.fold, w.readPixels, w.readBands, w.findTrends, w.center, w.holdShade, w.shares, w.weigh, w.direct, w.seek}
	if p.Search != nil && p.Given != nil {
		steps = []func(){w.fold, w.nothing, w.seek}
	}
	for i, step := range steps {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p.Progress.Report(progress.Event{Stage: "finding the norm", Done: int64(i), Total: int64(len(steps))})
		step()
	}
	p.Progress.Report(progress.Event{Stage: "finding the norm", Done: int64(len(steps)), Total: int64(len(steps))})
	if p.Given == nil {
		w.out.Doubts = append(w.out.Doubts, w.doubts()...)
	}
	out := w.out // by itself, so that nothing else of the work is kept
	return &out, nil
}

// check refuses what only a defect of the caller can bring.
func check(s *cells.Summary, l *structure.Layout, p Parameters) error {
	n := s.Grid.Len()
	switch {
	case s.Grid.CellM <= 0:
		return fmt.Errorf("the grid's cells are %g m wide", s.Grid.CellM)
	case len(l.Reason) != n || len(l.Check) != n || len(s.Pixels) != n:
		return fmt.Errorf("the summary has %d cells, the layout %d", n, len(l.Reason))
	case s.Ratio != "" && len(s.Hist) != n*cells.Bins:
		return fmt.Errorf("the histograms hold %d counts for %d cells", len(s.Hist), n)
	case s.Ratio != "" && s.Width <= 0:
		return fmt.Errorf("the histograms' bins are %g wide", s.Width)
	case len(s.Mean) != len(s.Bands) || len(s.Spread) != len(s.Bands):
		return fmt.Errorf("%d bands have %d means and %d spreads", len(s.Bands), len(s.Mean), len(s.Spread))
	case p.Given != nil && len(p.Given) != len(l.Checks):
		return fmt.Errorf("%d norms are given for %d checks", len(p.Given), len(l.Checks))
	case p.Then != nil && p.Given == nil && len(p.Then.Known) != n:
		return fmt.Errorf("the summary has %d cells, the earlier flight %d", n, len(p.Then.Known))
	case p.FineM <= 0 || p.FineQuantile <= 0 || p.FineQuantile >= 1 || p.Ramp <= 0 || p.SmoothM <= 0 || p.Floor <= 0:
		return errors.New("a length, quantile, ramp or floor of the norm's parameters is not above 0")
	}
	return nil
}

// lookedAt marks the cells that the stage speaks of: looked at, and seen.
func lookedAt(s *cells.Summary, l *structure.Layout) []bool {
	look := make([]bool, len(l.Reason))
	for i, r := range l.Reason {
		look[i] = r == structure.LookedAt && s.Pixels[i] > 0
	}
	return look
}

// work is what the steps of Find hand on.
type work struct {
	s    *cells.Summary
	l    *structure.Layout
	p    Parameters
	look []bool // cells

	some       []int32 // cells looked at, a sample
	pool       *pool
	of         map[string]*quantity // what has a norm, by name
	below      readings             // those of them that evidence rests on
	near       bool                 // the flight has near infrared
	bright     []float32            // pool: ln brightness against the 30 m round about; NaN where not known
	from       []float32            // pool: the fine norm of the ratio, ln units
	step       []float32            // pool: off-colour step above it, ln units
	shaded     []bool               // pool: in shade that is looked at; nil for none
	ratioShade []float32            // pool: what shade adds to the ratio; nil for nothing
	kindOf     []int                // by check, its kind; -1 for none; nil where none was compared
	out        Departure

	pooledEvidence []float32 // pool: the evidence before it is spread out to the cells
	leaf           []bool    // pool: the evidence is of living leaf, not of brown specks; nil for nowhere
	died           []float32 // pool: how likely weeds died, by two flights; NaN where not known, nil without an earlier one
	paired         toll      // what both flights say of patches, with died
}

func (w *work) fold() { w.pool = newPool(w.s, w.l, w.look, w.p.Workers) }

// reach is a length in pool cells, one at least.
func (w *work) reach(m float64) int {
	return max(1, int(math.Round(m/(w.s.Grid.CellM*float64(w.pool.fold)))))
}

// nearM is the half side of the square that quantities are read in, beyond the
// pool cell itself: 3 m squares, about the smallest ground that is treated.
const nearM = 1.0

// readPixels takes quantiles of the ratio from the histograms round about each
// pool cell.
func (w *work) readPixels() {
	if w.s.Ratio == "" {
		return
	}
	n := w.pool.size.Len()
	low, mid, high, fine, sd := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	nan := float32(math.NaN())
	near := [...]float64{lowQuantile, midQuantile, highQuantile}
	pair := [...]float64{w.p.FineQuantile * 0.3, w.p.FineQuantile}
	span := normalQuantile(pair[1]) - normalQuantile(pair[0])
	w.pool.around(w.s, w.look, [2]int{w.reach(nearM), w.reach(w.p.FineM)}, w.p.Workers, func(at int, of *[2]histogram) {
		if w.pool.cells[at] == 0 {
			low[at], mid[at], high[at], fine[at], sd[at] = nan, nan, nan, nan, nan
			return
		}
		var three [len(near)]float64
		w.quantiles(three[:], &of[0], near[:])
		low[at], mid[at], high[at] = float32(three[0]), float32(three[1]), float32(three[2])
		var two [len(pair)]float64
		w.quantiles(two[:], &of[1], pair[:])
		fine[at], sd[at] = float32(two[1]), float32((two[1]-two[0])/span)
	})
	w.of[RatioPixel], w.of[PixelSpread] = &quantity{v: fine}, &quantity{v: sd}
	w.of[GreenEnd], w.of[Middle], w.of[BrownEnd] = &quantity{v: low}, &quantity{v: mid}, &quantity{v: high}
}

// quantiles puts into out the q-th quantiles of a histogram of the ratio, the least q
// first, values lying evenly in each bin; NaN of an empty one.
func (w *work) quantiles(out []float64, h *histogram, q []float64) {
	total := float64(h.total())
	k, upTo := 0, 0.0
	for b := 0; b < cells.Bins && k < len(q); b++ {
		n := float64(h.bin(b))
		if n == 0 {
			continue
		}
		before := upTo
		// No bit is lost here: counts are whole, and what is left is less than what it is taken off.
		for upTo += n; k < len(q) && q[k]*total <= upTo; k++ {
			out[k] = w.s.Low + float64(w.s.Width*(float64(b)+(q[k]*total-before)/n))
		}
	}
	for ; k < len(q); k++ {
		if out[k] = w.s.Low + float64(w.s.Width*cells.Bins); total == 0 {
			out[k] = math.NaN()
		}
	}
}

// normalQuantile returns the q-th quantile of the standard normal.
func normalQuantile(q float64) float64 { return math.Sqrt2 * math.Erfinv(2*q-1) }

// readBands takes brightness and pixel-to-pixel contrast of the bands.
func (w *work) readBands() {
	names := [...]string{"green", "red", "nir", "rededge"}
	if len(w.s.Bands) > 0 && !slices.Contains(w.s.Bands, names[0]) {
		names[0] = w.s.Bands[0]
	}
	if slices.Contains(w.s.Bands, "nir") {
		names[3] = "" // not asked for
	}
	w.some = stat.Places(w.look, unitSample)
	var of [len(names)]*bandMoments
	raster.Bands(w.p.Workers, len(names), func(from, to int) {
		for k := from; k < to; k++ {
			of[k] = w.moments(names[k])
		}
	})
	green, red, nir, edge := of[0], of[1], of[2], of[3]
	if green == nil {
		return
	}
	// Each logarithm takes the place of what it is of, so means come after what is held against them.
	w.of[GreenContrast] = &quantity{v: w.lnOf(green.within, green.mean)}
	if red != nil {
		w.of[RedContrast] = &quantity{v: w.lnOf(red.within, red.mean)}
	}
	if nir != nil {
		w.near = true
		w.of[InfraredContrast] = &quantity{v: w.lnOf(nir.within, nir.mean)}
		w.of[Infrared] = &quantity{v: w.lnOf(nir.mean, green.mean)}
	} else if edge != nil {
		w.of[Infrared] = &quantity{v: w.lnOf(edge.mean, green.mean)}
	}
	w.of[Brightness] = &quantity{v: w.lnOf(green.mean, nil)}
	w.bright = w.againstRound(w.of[Brightness].v)
	w.shaded = w.shade()
}

// bandMoments are a band's mean and mean within-cell deviation in the 3 m round each pool
// cell; NaN where not known.
type bandMoments struct{ mean, within []float32 }

// moments folds a band's means and spreads; nil when the flight lacks the band.
func (w *work) moments(band string) *bandMoments {
	mean, spread := w.s.Band(band)
	if mean == nil {
		return nil
	}
	n := w.pool.size.Len()
	m := bandMoments{make([]float32, n), make([]float32, n)}
	scale := unitOf(mean, w.some)
	count := make([]float32, n)
	w.pool.eachRow(w.p.Workers, func(at, from, to int) {
		for i := from; i < to; at++ {
			k, sum, within := count[at], m.mean[at], m.within[at]
			for end := min(i+w.pool.fold, to); i < end; i++ {
				if a, b := mean[i]*scale, spread[i]*scale; w.look[i] && a > 0 && b >= 0 && a < 1e6 && b < 1e6 {
					k++
					sum += a
					within += b
				}
			}
			count[at], m.mean[at], m.within[at] = k, sum, within
		}
	})
	r := w.reach(nearM)
	for _, v := range [][]float32{count, m.mean, m.within} {
		stat.Sums(v, w.pool.size, r)
	}
	for at, k := range count {
		m.mean[at], m.within[at] = m.mean[at]/k, m.within[at]/k // 0/0 is NaN: not known
	}
	return &m
}

// unitSample is about how many cells unitOf goes by.
const unitSample = 5000

// unitOf returns a factor that brings a band to the order of 1, by some of its cells,
// so that sums in any file's unit fit.
func unitOf(mean []float32, some []int32) float32 {
	xs := make([]float32, len(some))
	for k, i := range some {
		xs[k] = mean[i]
	}
	m := stat.Median(xs)
	if m > 0 && !math.IsInf(m, 0) {
		return float32(1 / m)
	}
	return 1
}

// roundM is the half side of the square whose mean brightness stands for what
// the camera, the haze and the clouds make of it.
const roundM = 25

// againstRound takes the mean of the ground round about off.
func (w *work) againstRound(v []float32) []float32 {
	in := make([]bool, len(v))
	for at, n := range w.pool.cells {
		in[at] = n > 0
	}
	out := make([]float32, len(v))
	stat.Box(out, v, in, w.pool.size, w.reach(roundM))
	for i := range out {
		out[i] = v[i] - out[i]
	}
	return out
}

func nans(n int) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(math.NaN())
	}
	return out
}
