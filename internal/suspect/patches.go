package suspect

import (
	"slices"

	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// patches returns the cells of every patch, ascending, patches in the order of
// their first cells.
func (w *work) patches() [][]int32 {
	in := w.browned()
	w.addLush(in)
	found := slices.DeleteFunc(w.gather(in), w.slight)
	in = w.hemmed(found)
	w.crossTracks(in)
	return w.gather(in)
}

// trackM is the widest gap that wheel tracks leave in a patch, in metres.
const trackM = 2.0

// crossTracks gives wheel tracks back that have a patch on both sides, with what
// is browned between a pair of them: a rut is left out since it looks like
// nothing else, but what stands on both sides of it grows along it too, and no
// machine leaves it out.
func (w *work) crossTracks(in []bool) {
	radius := trackM / 2 / w.s.Grid.CellM
	closed := stat.Shrink(stat.Grow(in, w.size, radius), w.size, radius)
	for i, r := range w.l.Reason {
		if closed[i] && !w.dead[i] && (r == structure.Track || w.d.Evidence[i] >= float32(w.p.Low)) {
			in[i] = true
		}
	}
}

// hemmed marks the patches and the ground up to HemM about them where the
// evidence is not clearly against it: a patch thins out over a metre or two, and
// its last plants count as much as its first.
func (w *work) hemmed(found [][]int32) []bool {
	in := make([]bool, len(w.d.Evidence))
	for _, patch := range found {
		for _, i := range patch {
			in[i] = true
		}
	}
	if w.p.HemM <= 0 {
		return in
	}
	out := stat.Grow(in, w.size, w.p.HemM/w.s.Grid.CellM)
	for i := range out {
		out[i] = in[i] || out[i] && !w.dead[i] && w.d.Evidence[i] >= float32(w.p.HemFrom) // NaN is not
	}
	return out
}

// slight says whether a browned patch is too small for how faint it is.
func (w *work) slight(patch []int32) bool {
	mass := 0.0
	for _, i := range patch {
		if w.d.Looks[w.d.Toward[i]] != norm.Browned {
			return false
		}
		mass += float64(w.d.Evidence[i])
	}
	return mass*w.s.Grid.CellM*w.s.Grid.CellM < w.p.LeastMass
}

// browned marks the browned ground: hysteresis on the evidence, limbs off.
func (w *work) browned() []bool {
	if !w.p.counts(norm.Browned) {
		return make([]bool, len(w.d.Share))
	}
	v := make([]float32, len(w.d.Evidence))
	round := w.roundKilled()
	for i, e := range w.d.Evidence {
		v[i] = noEvidence
		if e != e || w.dead[i] || round != nil && round[i] && e < besideKilled {
			continue
		}
		v[i] = e
	}
	in := stat.Hysteresis(v, w.size, float32(w.p.Low), float32(w.p.High))
	if w.p.NarrowM > 0 {
		trimmed := stat.Open(in, w.size, w.p.NarrowM/2/w.s.Grid.CellM)
		for i := range in {
			in[i] = in[i] && trimmed[i]
		}
	}
	return in
}

const (
	noEvidence   = -100
	besideKilled = 5.0 // evidence that ground beside killed ground needs: thinning dead weeds look like living ones
	besideM      = 6.0 // m, how far beside
)

// roundKilled marks killed ground and what lies beside it; nil without any.
func (w *work) roundKilled() []bool {
	for _, dead := range w.dead {
		if dead {
			return stat.Grow(w.dead, w.size, besideM/w.s.Grid.CellM)
		}
	}
	return nil
}

const (
	lushLow  = 5.0 // spreads that belong to a lush patch
	lushHigh = 8.0 // spreads that it reaches somewhere
	lushM    = 3.0 // m, the least width of one: rows of a spreader and wheel tracks are narrower
)

// addLush adds ground that stands greener and denser than the crop.
func (w *work) addLush(in []bool) {
	for _, l := range []norm.Look{norm.Lush, norm.Coarse} {
		if !w.p.counts(l) {
			continue
		}
		v := make([]float32, len(w.d.Spreads))
		for i, z := range w.d.Spreads {
			if w.d.Looks[w.d.Toward[i]] == l {
				v[i] = z
			}
		}
		thick := stat.Open(stat.Hysteresis(v, w.size, lushLow, lushHigh), w.size, lushM/2/w.s.Grid.CellM)
		for i, lush := range thick {
			in[i] = in[i] || lush && !w.dead[i]
		}
	}
}

// gather joins parts with narrow gaps between them into patches, and drops
// what is too small.
func (w *work) gather(in []bool) [][]int32 {
	joined := in
	if w.p.JoinM > 0 {
		joined = stat.Grow(in, w.size, w.p.JoinM/2/w.s.Grid.CellM)
	}
	labels, sizes := stat.Components(joined, w.size, true)
	n := make([]int, len(sizes))
	for i, l := range labels {
		if in[i] {
			n[l]++
		}
	}
	var out [][]int32
	at := make([]int, len(sizes))
	for k := 1; k < len(n); k++ {
		at[k] = -1
		if n[k] >= w.least() {
			at[k] = len(out)
			out = append(out, make([]int32, 0, n[k]))
		}
	}
	for i, l := range labels {
		if in[i] && at[l] >= 0 {
			out[at[l]] = append(out[at[l]], int32(i))
		}
	}
	return out
}
