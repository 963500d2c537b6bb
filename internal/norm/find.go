package norm

import (
	"context"
	"errors"
	"fmt"
	"math"

	"bittern/internal/cells"
	"bittern/internal/progress"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// Find returns the norm of every check of l and the departure of every cell
// that is looked at. It needs s and l on one grid. The number of workers
// changes no bit of the result.
//
// The off-colour share rests on the pixels' histograms (Summary.Ratio), so a
// patch of which one pixel in ten is brown stands out where the mean of the
// cell would hide it. Without a histogram the share is 0 everywhere and a doubt
// says so.
func Find(ctx context.Context, s *cells.Summary, l *structure.Layout, p Parameters) (*Departure, error) {
	if err := check(s, l, p); err != nil {
		return nil, err
	}
	w := &work{s: s, l: l, p: p, look: lookedAt(s, l)}
	steps := []func(){w.fold, w.readFine, w.center, w.shares, w.direct, w.stand}
	for i, step := range steps {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p.Progress.Report(progress.Event{Stage: "finding the norm", Done: int64(i), Total: int64(len(steps))})
		step()
	}
	p.Progress.Report(progress.Event{Stage: "finding the norm", Done: int64(len(steps)), Total: int64(len(steps))})
	w.out.Doubts = w.doubts()
	return &w.out, nil
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

	pool  *pool
	bands map[string][]float32 // pool: mean of the looked-at cells, by band; NaN without any
	fine  []float32            // pool: the ratio's fine quantile, ln units
	sd    []float32            // pool: standard deviation of crop pixels' ratio, ln units
	from  []float32            // pool: the fine norm: fine, held near the check's
	step  []float32            // pool: off-colour step above the norm, ln units
	of    map[string]*quantity // what has a norm, by name
	raw   []float32            // cells: off-colour share, not smoothed
	out   Departure
}

func (w *work) fold() {
	w.pool = newPool(w.s, w.l, w.look, w.p.Workers)
	w.bands = map[string][]float32{}
	for b, name := range w.s.Bands {
		w.bands[name] = w.pool.mean(w.s.Mean[b], w.look, w.p.Workers)
	}
}

// readFine takes the fine quantile and the pixels' spread from the histograms
// round about each pool cell. The spread is judged below the norm, where weeds
// do not lie.
func (w *work) readFine() {
	n := w.pool.size.Len()
	w.fine, w.sd = nans(n), nans(n)
	if w.s.Ratio == "" {
		return
	}
	radius := max(1, int(math.Round(w.p.FineM/(w.s.Grid.CellM*float64(w.pool.fold)))))
	low := w.p.FineQuantile * 0.3
	span := normalQuantile(w.p.FineQuantile) - normalQuantile(low)
	w.pool.around(radius, w.p.Workers, func(row int, hist []uint32) {
		for col := range w.pool.size.Cols {
			at := row*w.pool.size.Cols + col
			if w.pool.cells[at] == 0 {
				continue
			}
			h := hist[col*cells.Bins : (col+1)*cells.Bins]
			q := w.quantile(h, w.p.FineQuantile)
			w.fine[at] = float32(q)
			w.sd[at] = float32((q - w.quantile(h, low)) / span)
		}
	})
}

// quantile returns the q-th quantile of a histogram of the ratio, values lying
// evenly in each bin; NaN of an empty one.
func (w *work) quantile(h []uint32, q float64) float64 {
	total := 0.0
	for _, n := range h {
		total += float64(n)
	}
	if total == 0 {
		return math.NaN()
	}
	left := q * total
	for b, n := range h {
		if c := float64(n); left <= c && c > 0 {
			return w.s.Low + float64(w.s.Width*(float64(b)+left/c))
		}
		left -= float64(n)
	}
	return w.s.Low + float64(w.s.Width*cells.Bins)
}

// normalQuantile returns the q-th quantile of the standard normal.
func normalQuantile(q float64) float64 { return math.Sqrt2 * math.Erfinv(2*q-1) }

// mean folds a band's cell means.
func (p *pool) mean(v []float32, look []bool, workers int) []float32 {
	out := make([]float32, p.size.Len())
	inBands(workers, p.size.Rows, func(from, to int) {
		for row := from * p.fold; row < min(to*p.fold, p.fine.Rows); row++ {
			base := row / p.fold * p.size.Cols
			for col := range p.fine.Cols {
				if i := row*p.fine.Cols + col; look[i] {
					out[base+col/p.fold] += v[i]
				}
			}
		}
		for at := from * p.size.Cols; at < to*p.size.Cols; at++ {
			out[at] /= float32(p.cells[at]) // 0/0 is NaN: not known
		}
	})
	return out
}

func nans(n int) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(math.NaN())
	}
	return out
}

// smooth is the share at the treatable scale.
func (w *work) smooth(v []float32) []float32 {
	out := make([]float32, len(v))
	stat.Gauss(out, v, w.look, w.pool.fine, w.p.SmoothM/w.s.Grid.CellM)
	return out
}
