package suspect

import (
	"math"
	"slices"

	"bittern/internal/norm"
	"bittern/internal/stat"
)

// withoutSkips is d with nothing known of the cells of skips.
func withoutSkips(d *norm.Departure, skips []bool) *norm.Departure {
	if skips == nil {
		return d
	}
	out := *d
	out.Evidence, out.Toward, out.Killed = slices.Clone(d.Evidence), slices.Clone(d.Toward), slices.Clone(d.Killed)
	nan := float32(math.NaN())
	for i, skip := range skips {
		if skip {
			out.Evidence[i], out.Toward[i], out.Killed[i] = nan, 0, false
		}
	}
	return &out
}

// hugM is how far beside a skip its own weeds are still seen, in metres: the
// evidence of a place is read and averaged over 3 m.
const hugM = 3.0

// besideSkips says of a patch that most of it lies beside a skip: that is the
// skip's own rim, and no patch.
func (w *work) besideSkips() func(patch []int32) bool {
	if w.p.Skips == nil {
		return func([]int32) bool { return false }
	}
	near := stat.Grow(w.p.Skips, w.size, hugM/w.s.Grid.CellM)
	return func(patch []int32) bool {
		n := 0
		for _, i := range patch {
			if near[i] {
				n++
			}
		}
		return 2*n > len(patch)
	}
}
