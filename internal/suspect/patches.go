package suspect

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/norm"
	"bittern/internal/raster"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// patches returns the cells of every patch, ascending, patches in the order of
// their first cells.
func (w *work) patches() [][]int32 {
	var all [][]int32
	taken := make([]bool, len(w.d.Evidence))
	for k, look := range w.p.Evident {
		var in, lush []bool
		raster.Together(w.p.Norm.Workers, func() { in = w.evident(look) }, func() {
			if k == 0 {
				lush = w.lush()
			}
		})
		for i, is := range lush {
			in[i] = in[i] || is
		}
		in = w.hemmed(w.offRims(slices.DeleteFunc(w.gather(in), w.slight)), taken)
		w.sharpen(in)
		w.crossTracks(in, taken)
		w.fillHoles(in, taken)
		found := w.gather(in)
		for _, patch := range found {
			for _, i := range patch {
				taken[i] = true
			}
		}
		all = append(all, found...)
	}
	slices.SortStableFunc(all, func(a, b []int32) int { return cmp.Compare(a[0], b[0]) })
	return all
}

// trackM is the widest gap that wheel tracks leave in a patch, in metres.
const trackM = 2.0

// crossTracks gives wheel tracks back that have a patch on both sides, with what
// is evident between a pair of them: a rut is left out since it looks like
// nothing else, but what stands on both sides of it grows along it too, and no
// machine leaves it out.
func (w *work) crossTracks(in, taken []bool) {
	radius := trackM / 2 / w.s.Grid.CellM
	closed := stat.Shrink(stat.Grow(in, w.size, radius), w.size, radius)
	for i, r := range w.l.Reason {
		if closed[i] && !taken[i] && !w.dead[i] && (r == structure.Track || w.d.Evidence[i] >= float32(w.p.Low)) {
			in[i] = true
		}
	}
}

// hemmed marks the patches and the ground up to HemM about them where the
// evidence is not clearly against it: a patch thins out over a metre or two, and
// its last plants count as much as its first. Ground that is taken by patches of
// another look is not theirs.
func (w *work) hemmed(found [][]int32, taken []bool) []bool {
	in := make([]bool, len(w.d.Evidence))
	for _, patch := range found {
		for _, i := range patch {
			in[i] = !taken[i]
		}
	}
	if w.p.HemM <= 0 {
		return in
	}
	out := stat.Grow(in, w.size, w.p.HemM/w.s.Grid.CellM)
	for i := range out {
		out[i] = in[i] || out[i] && !taken[i] && !w.dead[i] && w.d.Evidence[i] >= float32(w.p.HemFrom) // NaN is not
	}
	return out
}

// edgeSample is how many cells the crop's middle is taken of.
const edgeSample = 20000

// sharpen takes off what evidence, which is averaged over metres, spills over the
// edge of a strong patch: an edge lies where it has come down EdgeAt of the way
// from the patch to the crop. Of a faint patch that lies below what belongs to it anyway.
func (w *work) sharpen(in []bool) {
	if w.p.EdgeAt <= 0 {
		return
	}
	crop := make([]bool, len(in))
	for i, r := range w.l.Reason {
		crop[i] = r == structure.LookedAt && !in[i] && !w.dead[i]
	}
	base := stat.Median(stat.Sample(w.d.Evidence, crop, edgeSample))
	if math.IsNaN(base) {
		return
	}
	// What spills keeps the mean of the inside down, so the edge of a heavy patch is sought twice.
	for again := range 2 {
		var spilled []int
		for i, e := range w.d.Evidence {
			if !in[i] {
				continue
			}
			inside := w.insideRound(in, w.d.Evidence, i)
			if again > 0 && inside < w.p.HeavyFrom {
				continue
			}
			// Where there is no evidence the ground is no crop, and stays.
			if float64(e) < base+float64(w.p.EdgeAt*(inside-base)) {
				spilled = append(spilled, i)
			}
		}
		for _, i := range spilled {
			in[i] = false
		}
	}
	w.thin(in)
}

// thin takes ground off heavy patches whose off-colour share is a small part of that
// round about: a share is taken over a metre where evidence is taken over three, and
// grows evenly with the weeds, while the evidence of few is nearly that of many.
func (w *work) thin(in []bool) {
	if w.p.EdgeShare <= 0 {
		return
	}
	var thin []int
	for i, share := range w.d.Share {
		// Without a share the ground is no crop, and stays.
		if in[i] && share == share && w.insideRound(in, w.d.Evidence, i) >= w.p.HeavyFrom &&
			float64(share) < w.p.EdgeShare*w.insideRound(in, w.d.Share, i) {
			thin = append(thin, i)
		}
	}
	for _, i := range thin {
		in[i] = false
	}
}

// fillHoles gives a patch the crop within it that is smaller than the smallest
// patch: as little says that nothing grows there as would say that something does
// elsewhere, and no machine leaves it out.
func (w *work) fillHoles(in, taken []bool) {
	seen := make([]bool, len(in)) // looked at: no hole, or too large
	var hole []int
	for i, is := range in {
		if !is {
			continue
		}
		for _, j := range w.beside(i) {
			if in[j] || seen[j] {
				continue
			}
			var closed bool
			if hole, closed = w.hole(hole[:0], j, in, taken, seen); closed {
				for _, k := range hole {
					in[k] = true
				}
			}
		}
	}
}

// hole gathers the cells of a hole from one of them on, as far as it is smaller than
// a patch, and says whether a patch closes it in.
func (w *work) hole(cells []int, from int, in, taken, seen []bool) ([]int, bool) {
	cells, closed := append(cells, from), true
	at := map[int]bool{from: true}
	for k := 0; k < len(cells) && closed; k++ {
		i := cells[k]
		col, row := i%w.size.Cols, i/w.size.Cols
		closed = w.l.Reason[i] == structure.LookedAt && !taken[i] && !w.dead[i] && !seen[i] && len(cells) < w.least() &&
			col > 0 && row > 0 && col < w.size.Cols-1 && row < w.size.Rows-1
		for _, j := range w.beside(i) {
			if closed && !in[j] && !at[j] {
				at[j] = true
				cells = append(cells, j)
			}
		}
	}
	for _, i := range cells {
		seen[i] = true
	}
	return cells, closed
}

// beside are the neighbours of a cell, within the row of cells that it lies in and
// those next to it; a cell at the grid's edge is its own.
func (w *work) beside(cell int) [4]int {
	col, row := cell%w.size.Cols, cell/w.size.Cols
	return [4]int{
		cell - min(col, 1), cell + min(w.size.Cols-1-col, 1),
		cell - w.size.Cols*min(row, 1), cell + w.size.Cols*min(w.size.Rows-1-row, 1),
	}
}

// insideRound is the mean of v over a patch within EdgeM of one of its cells,
// its hem apart; not a number where there is none.
func (w *work) insideRound(in []bool, v []float32, cell int) float64 {
	r := int(math.Round(w.p.EdgeM / w.s.Grid.CellM))
	col, row := cell%w.size.Cols, cell/w.size.Cols
	step := max(1, r/5) // of a wide square every so many cells tell its mean
	n, sum := 0, 0.0
	for y := max(row-r, 0); y <= min(row+r, w.size.Rows-1); y += step {
		for i := y*w.size.Cols + max(col-r, 0); i <= y*w.size.Cols+min(col+r, w.size.Cols-1); i += step {
			if x := v[i]; in[i] && w.d.Evidence[i] >= float32(w.p.Low) && x == x {
				n++
				sum += float64(x)
			}
		}
	}
	return sum / float64(n)
}

// slight says whether a browned patch is too small for how faint it is.
func (w *work) slight(patch []int32) bool {
	mass, wide := 0.0, 0.0
	for _, i := range patch {
		if look := w.d.Looks[w.d.Toward[i]]; w.p.counts(look) && !w.p.evident(look) {
			return false // lush ground has its own bounds
		}
		e := float64(w.d.Evidence[i])
		mass += e
		wide += max(0, e-w.p.WideLow)
	}
	return mass*w.cellM2() < w.p.LeastMass && (w.p.WideMass <= 0 || wide*w.cellM2() < w.p.WideMass)
}

const (
	rimM        = 8.0   // m, how far the rim of killed ground reaches
	rimM2       = 120.0 // m2, a larger patch is more than a rim
	rimEvidence = 2.5   // mean evidence of a patch that stands by itself
)

// offRims drops small patches of little evidence that lie in the rim of killed
// ground, where dead weeds stand between rice as living ones do.
func (w *work) offRims(found [][]int32) [][]int32 {
	rim := w.roundKilled(rimM)
	if rim == nil {
		return found
	}
	return slices.DeleteFunc(found, func(patch []int32) bool {
		n := 0
		for _, i := range patch {
			if rim[i] {
				n++
			}
		}
		small := float64(len(patch))*w.cellM2() < rimM2
		return small && 2*n > len(patch) && mean(patch, w.d.Evidence) < rimEvidence
	})
}

// evident marks the ground of a look that its evidence tells: hysteresis, limbs
// off. Evidence of browned ground is of brown specks whatever the means say.
func (w *work) evident(look norm.Look) []bool {
	if !w.p.counts(look) {
		return make([]bool, len(w.d.Share))
	}
	v := make([]float32, len(w.d.Evidence))
	round := w.roundKilled(besideM)
	for i, e := range w.d.Evidence {
		v[i] = noEvidence
		if e != e || w.dead[i] || look != norm.Browned && w.d.Looks[w.d.Toward[i]] != look || round != nil && round[i] && e < besideKilled {
			continue
		}
		v[i] = e
	}
	in := stat.Hysteresis(v, w.size, float32(w.p.Low), float32(w.p.High))
	w.addWide(in, v)
	if w.p.NarrowM > 0 {
		trimmed := stat.Open(w.overTracks(in), w.size, w.p.NarrowM/2/w.s.Grid.CellM)
		for i := range in {
			in[i] = in[i] && trimmed[i]
		}
	}
	return in
}

// overTracks is in with the wheel tracks that have it on both sides: a rut makes no
// limb of the ground beside it.
func (w *work) overTracks(in []bool) []bool {
	radius := trackM / 2 / w.s.Grid.CellM
	out := stat.Shrink(stat.Grow(in, w.size, radius), w.size, radius)
	for i, r := range w.l.Reason {
		out[i] = in[i] || out[i] && r == structure.Track
	}
	return out
}

// addWide marks ground that is everywhere too faint for a patch but too wide for
// chance, which makes small pieces: what hangs together above WideLow with WideMass.
func (w *work) addWide(in []bool, evidence []float32) {
	if w.p.WideMass <= 0 {
		return
	}
	low := float32(w.p.WideLow)
	above := make([]bool, len(evidence))
	for i, e := range evidence {
		above[i] = e > low
	}
	labels, sizes := stat.Components(above, w.size, true)
	mass, strong := make([]float64, len(sizes)), make([]bool, len(sizes))
	for i, l := range labels {
		if l > 0 {
			mass[l] += float64(evidence[i] - low)
			strong[l] = strong[l] || in[i]
		}
	}
	for i, l := range labels {
		// What a strong patch has about it is its spill, unless it belongs to a patch by itself.
		if l > 0 && mass[l]*w.cellM2() >= w.p.WideMass && (!strong[l] || float64(evidence[i]) >= w.p.Low) {
			in[i] = true
		}
	}
}

// cellM2 is the area of a cell.
func (w *work) cellM2() float64 { return w.s.Grid.CellM * w.s.Grid.CellM }

const (
	noEvidence   = -100
	besideKilled = 5.0 // evidence that ground beside killed ground needs: thinning dead weeds look like living ones
	besideM      = 4.5 // m, how far beside
)

// roundKilled marks killed ground that is told and what lies up to so many metres
// beside it; nil without any.
func (w *work) roundKilled(reach float64) []bool {
	for _, dead := range w.told {
		if dead {
			return stat.Grow(w.told, w.size, reach/w.s.Grid.CellM)
		}
	}
	return nil
}

const (
	lushLow  = 5.0 // spreads that belong to a lush patch
	lushHigh = 8.0 // spreads that it reaches somewhere
	lushM    = 3.0 // m, the least width of one: rows of a spreader and wheel tracks are narrower
)

// lush marks ground that stands greener and denser than the crop; nil where that
// counts for nothing.
func (w *work) lush() []bool {
	if !w.p.counts(norm.Lush) || w.p.evident(norm.Lush) {
		return nil
	}
	v := make([]float32, len(w.d.Spreads))
	for i, z := range w.d.Spreads {
		if w.d.Looks[w.d.Toward[i]] == norm.Lush {
			v[i] = z
		}
	}
	thick := stat.Open(stat.Hysteresis(v, w.size, lushLow, lushHigh), w.size, lushM/2/w.s.Grid.CellM)
	for i := range thick {
		thick[i] = thick[i] && !w.dead[i]
	}
	return thick
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
