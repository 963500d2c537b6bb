package suspect

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/norm"
	"bittern/internal/progress"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// Find joins the departing cells of d into suspects. earlier holds the suspects
// of an earlier run of the same day, whose ids and letters stay with their
// ground; nil on a first run.
func Find(ctx context.Context, s *cells.Summary, l *structure.Layout, d *norm.Departure, p Parameters, earlier []Earlier) (*Finding, error) {
	if n := s.Grid.Len(); len(d.Share) != n || len(l.Reason) != n {
		return nil, fmt.Errorf("the summary has %d cells, the layout %d, the departure %d", n, len(l.Reason), len(d.Share))
	}
	p.Progress.Report(progress.Event{Stage: "finding suspects", Total: 2})
	w := newWork(s, l, withoutSkips(d, p.Skips), p)
	found := &Finding{}
	w.killed()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p.Progress.Report(progress.Event{Stage: "finding suspects", Done: 1, Total: 2})
	for _, patch := range w.outlived(slices.DeleteFunc(w.patches(), w.besideSkips())) {
		found.Suspects = append(found.Suspects, w.suspect(patch))
	}
	w.tellKilled(found)
	name(found.Suspects, s.Grid.EPSG, w.overlaps(found.Suspects, earlier), earlier)
	w.sort(found.Suspects)
	w.hint(found.Suspects)
	found.Context = w.context(found)
	found.Doubts = w.doubts(found)
	p.Progress.Report(progress.Event{Stage: "finding suspects", Done: 2, Total: 2})
	return found, ctx.Err()
}

// work is what the steps of Find share.
type work struct {
	s    *cells.Summary
	l    *structure.Layout
	d    *norm.Departure
	p    Parameters
	size stat.Size
	dead []bool // killed ground
	told []bool // that of it which is large enough to be told
}

func newWork(s *cells.Summary, l *structure.Layout, d *norm.Departure, p Parameters) *work {
	return &work{s: s, l: l, d: d, p: p, size: stat.Size{Cols: s.Grid.Cols, Rows: s.Grid.Rows}}
}

// least is the smallest number of cells in a patch.
func (w *work) least() int {
	return max(1, int(math.Ceil(w.p.LeastM2/w.cellM2())))
}

// toldKilled is how many times the smallest patch killed ground must have to be
// told: a thin spot of the stand looks like little killed ground.
const toldKilled = 3

// killed marks the ground whose weeds died; it is in no suspect.
func (w *work) killed() {
	w.dead = slices.Clone(w.d.Killed)
	stat.Keep(w.dead, w.size, true, func(_ int32, n int) bool { return n >= w.least() })
	w.told = slices.Clone(w.dead)
	stat.Keep(w.told, w.size, true, func(_ int32, n int) bool { return n >= toldKilled*w.least() })
}

// outlived takes what looks dead off the patches of a field where weeds surely died: it
// is killed ground, too. Weeds under one treatment mostly died together; on a field without
// killed ground the same looks rather live. A patch that looks dead as a whole
// may have a living side.
func (w *work) outlived(found [][]int32) [][]int32 {
	area := 0.0
	for _, dead := range w.told {
		if dead {
			area += w.cellM2()
		}
	}
	if w.d.Fate == nil || area < norm.TollM2 {
		return found
	}
	var out [][]int32
	for _, patch := range found {
		if w.look(patch) != norm.Browned || w.d.Fate.Died(patch) <= 0 {
			out = append(out, patch)
			continue
		}
		var lived []int32
		for _, i := range patch {
			if w.d.Fate.DiedAt(i) > 0 {
				w.dead[i], w.told[i] = true, true
			} else {
				lived = append(lived, i)
			}
		}
		if len(lived) >= toldKilled*w.least() {
			out = append(out, lived)
		}
	}
	return out
}

// tellKilled reports the killed ground.
func (w *work) tellKilled(f *Finding) {
	for i, dead := range w.told {
		if dead {
			f.KilledCells = append(f.KilledCells, int32(i))
		}
	}
	f.KilledAcres = float64(len(f.KilledCells)) * w.s.Grid.AcresPerCell
	f.Killed = w.outline(f.KilledCells)
}

// suspect describes a patch. Letter, id and hints come later.
func (w *work) suspect(patch []int32) Suspect {
	at := w.check(patch)
	out := Suspect{
		Cells:    patch,
		Outline:  w.outline(patch),
		Acres:    float64(len(patch)) * w.s.Grid.AcresPerCell,
		Look:     w.look(patch),
		Center:   w.inside(patch),
		Share:    mean(patch, w.d.Share),
		Evidence: w.core(patch),
		Spreads:  median(patch, w.d.Spreads),
	}
	if at >= 0 {
		out.Check = w.l.Checks[at].ID
	}
	out.Severity = w.severity(out)
	return out
}

// severity is a word for the evidence; looks without any go by spreads.
func (w *work) severity(s Suspect) Severity {
	faint, heavy := s.Evidence < w.p.FaintBelow, s.Evidence >= w.p.HeavyFrom
	if !w.p.evident(s.Look) {
		faint, heavy = s.Spreads < 6, s.Spreads >= 12
	}
	switch {
	case heavy:
		return Heavy
	case faint:
		return Faint
	}
	return Some
}

// check returns the index of the check that holds most of the patch, -1 when
// none does; the first of equal ones.
func (w *work) check(patch []int32) int {
	n := make([]int, len(w.l.Checks)+1)
	for _, i := range patch {
		n[w.l.Check[i]+1]++
	}
	best := 0
	for c := range n {
		if n[c] > n[best] {
			best = c
		}
	}
	return best - 1
}

// look returns the look of most of the patch's cells.
func (w *work) look(patch []int32) norm.Look {
	n := make([]int, len(w.d.Looks))
	for _, i := range patch {
		n[w.d.Toward[i]]++
	}
	n[0] = 0
	best := 0
	for k := range n {
		if n[k] > n[best] {
			best = k
		}
	}
	if best == 0 {
		return w.p.Evident[0]
	}
	return w.d.Looks[best]
}

// mean is that of the patch's cells that were looked at: wheel tracks in a patch
// have no value.
func mean(patch []int32, v []float32) float64 {
	sum, n := 0.0, 0.0
	for _, i := range patch {
		if x := float64(v[i]); x == x {
			sum += x
			n++
		}
	}
	return sum / n
}

// core is the mean evidence of a patch without its hem.
func (w *work) core(patch []int32) float64 {
	sum, n := 0.0, 0.0
	for _, i := range patch {
		if e := float64(w.d.Evidence[i]); e >= w.p.Low {
			sum += e
			n++
		}
	}
	if n == 0 {
		return mean(patch, w.d.Evidence)
	}
	return sum / n
}

func median(patch []int32, v []float32) float64 {
	xs := make([]float32, len(patch))
	for k, i := range patch {
		xs[k] = v[i]
	}
	return stat.Median(xs)
}

// inside returns the middle of the cell that lies deepest in the patch; of
// equal ones the nearest to the patch's centroid, then the first.
func (w *work) inside(patch []int32) geo.Point {
	box := w.box(patch, 1)
	local := stat.Size{Cols: box.cols, Rows: box.rows}
	out := make([]bool, local.Len())
	for i := range out {
		out[i] = true
	}
	cx, cy := 0.0, 0.0
	for _, i := range patch {
		k := box.local(int(i), w.size.Cols)
		out[k] = false
		cx += float64(k % local.Cols)
		cy += float64(k / local.Cols)
	}
	cx /= float64(len(patch))
	cy /= float64(len(patch))
	deep := stat.Distance(out, local)
	best := slices.MinFunc(patch, func(a, b int32) int {
		ka, kb := box.local(int(a), w.size.Cols), box.local(int(b), w.size.Cols)
		far := func(k int) float64 {
			return math.Hypot(float64(k%local.Cols)-cx, float64(k/local.Cols)-cy)
		}
		return cmp.Or(cmp.Compare(deep[kb], deep[ka]), cmp.Compare(far(ka), far(kb)), cmp.Compare(a, b))
	})
	return w.s.Grid.Center(int(best)%w.size.Cols, int(best)/w.size.Cols)
}

// A box is a rectangle of cells about a patch; it may reach beyond the grid.
type box struct{ col, row, cols, rows int }

func (w *work) box(patch []int32, margin int) box {
	c0, r0, c1, r1 := w.size.Cols, w.size.Rows, 0, 0
	for _, i := range patch {
		c, r := int(i)%w.size.Cols, int(i)/w.size.Cols
		c0, r0, c1, r1 = min(c0, c), min(r0, r), max(c1, c), max(r1, r)
	}
	return box{c0 - margin, r0 - margin, c1 - c0 + 1 + 2*margin, r1 - r0 + 1 + 2*margin}
}

// local turns a cell of the grid into one of the box.
func (b box) local(i, cols int) int { return (i/cols-b.row)*b.cols + i%cols - b.col }
