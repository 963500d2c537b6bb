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
		w.sharpen(in, taken)
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
// machine leaves it out. A gap without ruts is a gap, a bank between weeds for one.
func (w *work) crossTracks(in, taken []bool) {
	if !slices.Contains(w.l.Reason, structure.Track) {
		return
	}
	radius := trackM / 2 / w.s.Grid.CellM
	closed := stat.Shrink(stat.Grow(in, w.size, radius), w.size, radius)
	ruts := make([]bool, len(in))
	for i, r := range w.l.Reason {
		ruts[i] = r == structure.Track
	}
	ruts = stat.Grow(ruts, w.size, 2*radius)
	for i, r := range w.l.Reason {
		if closed[i] && ruts[i] && !taken[i] && !w.dead[i] && (r == structure.Track || w.d.Evidence[i] >= float32(w.p.Low)) {
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
	if !slices.Contains(w.told, true) {
		return found
	}
	return slices.DeleteFunc(found, func(patch []int32) bool {
		small := float64(len(patch))*w.cellM2() < rimM2
		return small && mean(patch, w.d.Evidence) < rimEvidence && w.mostlyNearKilled(patch, rimM)
	})
}

// mostlyNearKilled says whether most of a patch lies within so many metres of killed
// ground that is told.
func (w *work) mostlyNearKilled(patch []int32, reachM float64) bool {
	reach := reachM / w.s.Grid.CellM
	b := w.box(patch, int(reach)+1)
	told := make([]bool, b.cols*b.rows)
	w.overBox(b, func(k, i int) { told[k] = w.told[i] })
	near := stat.Grow(told, stat.Size{Cols: b.cols, Rows: b.rows}, reach)
	n := 0
	for _, i := range patch {
		if near[b.local(int(i), w.size.Cols)] {
			n++
		}
	}
	return 2*n > len(patch)
}

// evident marks the ground of a look that its evidence tells: hysteresis, limbs
// off. Evidence of browned ground is of brown specks whatever the means say.
func (w *work) evident(look norm.Look) []bool {
	if !w.p.counts(look) {
		return make([]bool, len(w.d.Share))
	}
	in, wide := w.mayBe(look)
	w.keepStrong(in, w.d.Evidence, w.p.High)
	w.addWide(in, wide)
	if w.p.NarrowM > 0 {
		trimmed := stat.Open(w.overTracks(in), w.size, w.p.NarrowM/2/w.s.Grid.CellM)
		for i := range in {
			in[i] = in[i] && trimmed[i]
		}
	}
	return in
}

// mayBe marks the ground of a look from the evidence on that belongs to a patch, and
// from that on of wide ground; nil where that is not asked for.
func (w *work) mayBe(look norm.Look) (in, wide []bool) {
	low, wideLow := float32(w.p.Low), float32(math.Inf(1))
	in = make([]bool, len(w.d.Evidence))
	if w.p.WideMass > 0 {
		wideLow = float32(w.p.WideLow)
		wide = make([]bool, len(in))
	}
	round := w.roundKilled(besideM)
	for i, e := range w.d.Evidence {
		if !(e >= low || e > wideLow) || w.dead[i] || look != norm.Browned && w.d.Looks[w.d.Toward[i]] != look ||
			round != nil && round[i] && e < besideKilled {
			continue
		}
		in[i] = e >= low
		if wide != nil {
			wide[i] = e > wideLow
		}
	}
	return in, wide
}

// keepStrong clears the parts of in in which v is high nowhere.
func (w *work) keepStrong(in []bool, v []float32, high float64) {
	runs, sizes := stat.Runs(in, w.size, true)
	strong := make([]bool, len(sizes))
	for _, r := range runs {
		for _, x := range v[r.From:r.To] {
			strong[r.Part] = strong[r.Part] || x >= float32(high)
		}
	}
	for _, r := range runs {
		if !strong[r.Part] {
			clear(in[r.From:r.To])
		}
	}
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
func (w *work) addWide(in, wide []bool) {
	if wide == nil {
		return
	}
	low := float32(w.p.WideLow)
	runs, sizes := stat.Runs(wide, w.size, true)
	mass, strong := make([]float64, len(sizes)), make([]bool, len(sizes))
	for _, r := range runs {
		for i := r.From; i < r.To; i++ {
			mass[r.Part] += float64(w.d.Evidence[i] - low)
			strong[r.Part] = strong[r.Part] || in[i]
		}
	}
	for _, r := range runs {
		if mass[r.Part]*w.cellM2() < w.p.WideMass {
			continue
		}
		for i := r.From; i < r.To; i++ {
			// What a strong patch has about it is its spill, unless it belongs to a patch by itself.
			in[i] = in[i] || !strong[r.Part] || float64(w.d.Evidence[i]) >= w.p.Low
		}
	}
}

// cellM2 is the area of a cell.
func (w *work) cellM2() float64 { return w.s.Grid.CellM * w.s.Grid.CellM }

const (
	besideKilled = 5.0 // evidence that ground beside killed ground needs: thinning dead weeds look like living ones
	besideM      = 4.5 // m, how far beside
)

// roundKilled marks killed ground that is told and what lies up to so many metres
// beside it; nil without any.
func (w *work) roundKilled(reach float64) []bool {
	if !slices.Contains(w.told, true) {
		return nil
	}
	return stat.Grow(w.told, w.size, reach/w.s.Grid.CellM)
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
	in := make([]bool, len(w.d.Spreads))
	for i, z := range w.d.Spreads {
		in[i] = z >= lushLow && w.d.Looks[w.d.Toward[i]] == norm.Lush
	}
	w.keepStrong(in, w.d.Spreads, lushHigh)
	thick := stat.Open(in, w.size, lushM/2/w.s.Grid.CellM)
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
	runs, sizes := stat.Runs(joined, w.size, true)
	n := make([]int, len(sizes))
	for _, r := range runs {
		for _, is := range in[r.From:r.To] {
			if is {
				n[r.Part]++
			}
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
	for _, r := range runs {
		k := at[r.Part]
		if k < 0 {
			continue
		}
		for i := r.From; i < r.To; i++ {
			if in[i] {
				out[k] = append(out[k], i)
			}
		}
	}
	return out
}
