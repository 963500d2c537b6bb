package suspect

import (
	"cmp"
	"slices"

	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A Context is ground that stands out from its check's crop with a look that is
// none of the question's: dark on the map, and in no suspect.
type Context struct {
	Look  norm.Look
	Acres float64 // on the ellipsoid
}

// contextSpreads is how far such ground departs: about a third of the way up the
// map's ink, where a person begins to ask what it is.
const contextSpreads = 5

// context sums ground of looks that do not count by look, the most first. Pieces
// smaller than a patch are left out.
func (w *work) context(f *Finding) []Context {
	other := make([]bool, len(w.d.Looks))
	for k, look := range w.d.Looks {
		other[k] = k > 0 && !w.p.counts(look)
	}
	in := make([]bool, w.size.Len())
	for i, t := range w.d.Toward {
		in[i] = other[t] && w.d.Spreads[i] >= contextSpreads && w.l.Reason[i] == structure.LookedAt && !w.dead[i]
	}
	for _, s := range f.Suspects {
		for _, i := range s.Cells {
			in[i] = false
		}
	}
	stat.Keep(in, w.size, true, func(_ int32, n int) bool { return n >= w.least() })
	count := make([]int, len(w.d.Looks))
	for i, stands := range in {
		if stands {
			count[w.d.Toward[i]]++
		}
	}
	var out []Context
	for k, n := range count {
		if n > 0 {
			out = append(out, Context{w.d.Looks[k], float64(n) * w.s.Grid.AcresPerCell})
		}
	}
	slices.SortStableFunc(out, func(a, b Context) int { return cmp.Compare(b.Acres, a.Acres) })
	return out
}
