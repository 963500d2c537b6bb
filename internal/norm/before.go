package norm

import (
	"context"

	"bittern/internal/cells"
	"bittern/internal/structure"
)

// Then is what a flight on the day of treatment, or before it, says of each cell of
// the day's grid.
type Then struct {
	Known []bool // looked at on that flight
	Stood []bool // living weeds stood above the crop

	read *work // nil where the flight cannot be weighed
}

// Part returns which part of the given cells the flight shows, and on which part of
// those weeds stood.
func (t *Then) Part(cells []int32) (stood, known float64) {
	n, k := 0, 0
	for _, i := range cells {
		if t.Known[i] {
			k++
			if t.Stood[i] {
				n++
			}
		}
	}
	return float64(n) / float64(max(k, 1)), float64(k) / float64(max(len(cells), 1))
}

// stoodFrom is how far above the crop's middle, in its deviations, living weeds stood above the crop.
const stoodFrom = 1.5

// Before reads an earlier flight for Parameters.Then. s is its summary laid on the
// day's grid, l the day's layout.
func Before(ctx context.Context, s *cells.Summary, l *structure.Layout, p Parameters) (*Then, error) {
	if err := check(s, l, p); err != nil {
		return nil, err
	}
	w := &work{s: s, l: l, p: p, look: lookedAt(s, l), of: map[string]*quantity{}}
	for _, step := range []func(){w.fold, w.readPixels, w.readBands, w.center, w.read} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		step()
	}
	out := &Then{Known: w.look, Stood: make([]bool, len(w.look))}
	if s.Ratio == "" || w.below.green == nil {
		return out, nil
	}
	leaf := w.leafy()
	for i, known := range w.look {
		out.Stood[i] = known && leaf != nil && leaf[w.pool.of(i)] >= stoodFrom // NaN is not
	}
	w.s = nil // not asked for again
	for _, q := range w.of {
		q.v = nil
	}
	out.read = w
	return out, nil
}
