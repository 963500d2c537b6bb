package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/unit"
)

// A measure says how a set of cells agrees with the truth. Lighter ground than
// what is worth acting on is neither right nor wrong.
type measure struct {
	truth, hit, wrong float64 // acres worth acting on; of them marked; marked without need
}

func (m measure) recall() float64    { return m.hit / m.truth }
func (m measure) precision() float64 { return m.hit / (m.hit + m.wrong) }
func (m measure) iou() float64       { return m.hit / (m.truth + m.wrong) }

// gapShare is the part of the usual cover that ground lacks where it is a gap: as the
// question has it.
const gapShare = 0.35

// acting says whether cell i is what the row's question asks for. A check that no pass reached is told whole,
// a patch in it, too.
func (d *day) acting(i int) bool {
	switch d.question {
	case "insects":
		return d.Truth.Chewed(i)
	case "nitrogen":
		return d.Truth.Lacking(i)
	case "stand":
		return d.lacks[i] >= gapShare
	}
	return d.Truth.Acting(i) && d.Truth.Patch[i] >= 0 && !d.untreated(i)
}

// forgiven says whether cell i may be marked or not: less of the same, or what
// is told by another name (skips, a check that no pass reached).
func (d *day) forgiven(i int) bool {
	switch d.question {
	case "insects":
		return d.Truth.Defoliated[i] > 0.02 && !d.Truth.Chewed(i)
	case "nitrogen":
		return d.Truth.Short[i] > 0.1 && !d.Truth.Lacking(i)
	case "stand":
		return d.lacks[i] >= gapShare/2 && d.lacks[i] < gapShare
	}
	return d.Truth.Light(i) || d.Truth.Acting(i) && d.Truth.Patch[i] < 0 || d.untreated(i)
}

// untreated says whether cell i lies in a check that no pass reached.
func (d *day) untreated(i int) bool {
	return d.class == "untreated" && d.Truth.Odd >= 0 && d.Truth.Check[i] == d.Truth.Odd
}

// compare measures marked cells against the truth inside the boundary.
func (d *day) compare(marked func(i int) bool) measure {
	var m measure
	for i, in := range d.Summary.Inside {
		if !in {
			continue
		}
		act, mark := d.acting(i), marked(i)
		if act {
			m.truth++
		}
		switch {
		case act && mark:
			m.hit++
		case mark && !d.forgiven(i):
			m.wrong++
		}
	}
	a := d.Summary.Grid.AcresPerCell
	return measure{m.truth * a, m.hit * a, m.wrong * a}
}

// A result is what the chain made of one scene. Numbers that the scene has no
// truth for are NaN.
type result struct {
	measure
	suspects, falsely int     // suspects, and those of which under a quarter is what was asked for
	patches, found    int     // planted patches of 0.025 acre or more, and those found at half their area
	bias              float64 // area of the suspects on found patches over the patches' own, less 1
	faint             int     // suspects called faint
	looked            float64 // part of what was asked for that structure leaves to be looked at

	killed, called, killedIn float64 // acres of killed weeds, acres told, part of them in suspects
	revived                  float64 // acres of living weeds worth acting on that were told as killed
	rightly                  float64 // acres told of killed weeds that are so
	skipIn                   float64 // part of the skips' ground in suspects
	oddIn                    float64 // part of the odd check in suspects
	trendIn                  float64 // part of the trends' ground in suspects
	trends                   string  // each trend: true and told half-distance, ft
	named, watered, misnamed int     // checks called apart: the odd one; those with water of their own; others
	checks, trueChecks       int

	leveeRecall, leveePrecision float64 // of inner levees
	leveeGround                 float64 // part of the field's inside called levee
	onLevees                    float64 // part of the suspects' ground that is levee or borrow ditch

	hints map[string]int // true cause and first hint -> suspects
}

// killedCover is the cover of dead weeds from which ground counts as killed:
// as dense as living weeds worth acting on.
const killedCover = invent.ActDensity

// judge measures a finding.
func judge(d *day, l *structure.Layout, dep *norm.Departure, f *suspect.Finding) result {
	in := make([]bool, len(d.Summary.Inside))
	r := result{suspects: len(f.Suspects), hints: map[string]int{}, called: f.KilledAcres}
	levee, all := 0, 0
	for _, s := range f.Suspects {
		right := 0
		for _, i := range s.Cells {
			in[i] = true
			all++
			if d.acting(int(i)) || d.forgiven(int(i)) {
				right++
			}
			if c := d.Truth.Class[i]; c == invent.Levee || c == invent.Ditch {
				levee++
			}
		}
		if 4*right < len(s.Cells) {
			r.falsely++
		}
		if s.Severity == suspect.Faint {
			r.faint++
		}
		first := "nothing fits"
		if len(s.Hints) > 0 {
			first = s.Hints[0].Cause
		}
		r.hints[d.cause(s)+" -> "+first]++
	}
	marked := func(i int) bool { return in[i] }
	r.measure = d.compare(marked)
	r.onLevees = float64(levee) / float64(all)
	r.looked = d.compare(func(i int) bool { return l.Reason[i] == structure.LookedAt }).recall()
	r.countPatches(d, in, f)
	r.killed, r.killedIn = d.within(in, func(i int) bool { return d.Truth.Killed[i] >= killedCover && !d.Truth.Acting(i) })
	r.revived, r.rightly = d.toldKilled(f.KilledCells)
	_, r.skipIn = d.within(in, func(i int) bool { return d.Truth.Patch[i] == invent.SkipPatch && d.Truth.Acting(i) })
	_, r.oddIn = d.within(in, func(i int) bool { return d.Truth.Odd >= 0 && d.Truth.Check[i] == d.Truth.Odd && d.crop(i) })
	_, r.trendIn = d.within(in, func(i int) bool { return d.Truth.Trend[i] >= 0.25 && d.crop(i) && d.Truth.Density[i] == 0 })
	r.trends = d.trends(dep.Trends)
	r.standings(d, l, dep)
	r.levees(d, l)
	return r
}

// toldKilled is the acres of living weeds among the cells told as killed, and those of killed ones.
func (d *day) toldKilled(cells []int32) (living, killed float64) {
	for _, i := range cells {
		switch {
		case d.Truth.Acting(int(i)):
			living += d.Summary.Grid.AcresPerCell
		case d.Truth.Killed[i] >= killedCover:
			killed += d.Summary.Grid.AcresPerCell
		}
	}
	return living, killed
}

// trends is the half-distances of the scene's trends, and what was told of them and
// beside them.
func (d *day) trends(told []norm.Trend) string {
	feet := func(m float64) string { return fmt.Sprintf("%.0f", float64(unit.Meters(m).Feet())) }
	var out []string
	left := slices.Clone(told)
	for _, t := range d.Truth.Trends {
		as := "none"
		if k := slices.IndexFunc(left, func(n norm.Trend) bool { return n.Inlet == t.Inlet }); k >= 0 {
			as = feet(left[k].HalfM) + " from the " + left[k].From
			left = slices.Delete(left, k, k+1)
		}
		out = append(out, feet(t.HalfM)+": "+as)
	}
	for _, n := range left {
		out = append(out, "none: "+feet(n.HalfM)+" from the "+n.From)
	}
	return strings.Join(out, "; ")
}

// crop says whether cell i is crop, in the sun or not.
func (d *day) crop(i int) bool {
	c := d.Truth.Class[i]
	return c == invent.Crop || c == invent.Shade || c == invent.Track
}

// within is the acres of a kind of ground inside the boundary, and the part of
// it that is marked; NaN where there is none.
func (d *day) within(marked []bool, kind func(i int) bool) (acres, part float64) {
	n, hit := 0.0, 0.0
	for i, in := range d.Summary.Inside {
		if in && kind(i) {
			n++
			if marked[i] {
				hit++
			}
		}
	}
	return n * d.Summary.Grid.AcresPerCell, hit / n
}

// cause is what most of a suspect's ground really is.
func (d *day) cause(s suspect.Suspect) string {
	t := d.Truth
	count := map[string]int{}
	for _, k := range s.Cells {
		i := int(k)
		switch {
		case d.untreated(i):
			count["untreated check"]++
		case t.Density[i] > 0.004 && t.Patch[i] == invent.SkipPatch:
			count["skip"]++
		case t.Density[i] > 0.004:
			count["escapes"]++
		case t.Killed[i] > 0.02:
			count["killed weeds"]++
		case t.Class[i] == invent.Levee || t.Class[i] == invent.Ditch:
			count["levee"]++
		case t.Class[i] == invent.Track:
			count["wheel track"]++
		case t.Defoliated[i] > 0.02:
			count["eaten leaf"]++
		case t.Short[i] > 0.1:
			count["short of nitrogen"]++
		case t.Odd >= 0 && t.Check[i] == t.Odd:
			count["check without nitrogen"]++
		case t.Trend[i] >= 0.25:
			count["trend"]++
		default:
			count["crop"]++
		}
	}
	names := make([]string, 0, len(count))
	for n := range count {
		names = append(names, n)
	}
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(cmp.Compare(count[b], count[a]), cmp.Compare(a, b)) })
	return names[0]
}

// countPatches counts planted patches that are found at half their area, and
// compares the area of the suspects that lie on them with theirs.
func (r *result) countPatches(d *day, in []bool, f *suspect.Finding) {
	r.bias = math.NaN()
	if d.question != "escapes" {
		return
	}
	all, hit := make([]float64, len(d.Truth.Patches)), make([]float64, len(d.Truth.Patches))
	for i, p := range d.Truth.Patch {
		if p >= 0 && d.Truth.Acting(i) && d.Summary.Inside[i] {
			all[p]++
			if in[i] {
				hit[p]++
			}
		}
	}
	area, told := 0.0, 0.0
	good := make([]bool, len(all))
	for p := range all {
		if good[p] = 2*hit[p] >= all[p] && all[p] > 0; good[p] {
			area += all[p]
		}
		if all[p]*d.Summary.Grid.AcresPerCell < 0.025 {
			continue
		}
		r.patches++
		if good[p] {
			r.found++
		}
	}
	for _, s := range f.Suspects {
		on := 0
		for _, i := range s.Cells {
			if p := d.Truth.Patch[i]; p >= 0 && good[p] {
				on++
			}
		}
		if 2*on >= len(s.Cells) {
			told += float64(len(s.Cells))
		}
	}
	if area > 0 {
		r.bias = told/area - 1
	}
}

// standings counts the checks that are called apart: the odd one, those that the
// water tells from most others, and others.
func (r *result) standings(d *day, l *structure.Layout, dep *norm.Departure) {
	r.checks, r.trueChecks = len(l.Checks), d.Truth.Checks
	held := make([]map[int16]int, len(l.Checks)) // cells of each true check, -1 for banks
	for c := range held {
		held[c] = map[int16]int{}
	}
	for i, c := range l.Check {
		if c >= 0 {
			held[c][d.Truth.Check[i]]++
		}
	}
	for c, m := range dep.Norms {
		if m.Standing == nil || !m.Standing.Apart {
			continue
		}
		most, n := int16(-1), 0
		for t, cells := range held[c] {
			if n += cells; cells > held[c][most] || cells == held[c][most] && t < most {
				most = t
			}
		}
		switch {
		case 2*held[c][most] < n || most < 0:
			r.misnamed++
		case most == d.Truth.Odd:
			r.named++
		case d.wateredApart(most):
			r.watered++
		default:
			r.misnamed++
		}
	}
}

// wateredApart says whether a true check is flooded or drained where at most a
// third of the checks are.
func (d *day) wateredApart(check int16) bool {
	recipe, err := d.scene()
	if err != nil {
		return false
	}
	like := 0
	for c := range d.Truth.Checks {
		if recipe.WaterOn(c) == recipe.WaterOn(int(check)) {
			like++
		}
	}
	return recipe.WaterOn(int(check)) != invent.Shallow && 3*like <= d.Truth.Checks
}

// toleranceM is how far a levee cell may lie from where it is drawn.
const toleranceM = 1.5

// levees measures the inner levees: recall over the cells of a bank, precision
// over the cells called levee or borrow ditch. A bank that is worn down is
// still a levee, and other structure is no mistake.
func (r *result) levees(d *day, l *structure.Layout) {
	size := sizeOf(d)
	g := d.Summary.Grid
	found, either := make([]bool, g.Len()), make([]bool, g.Len())
	outside := make([]bool, g.Len())
	for i, in := range d.Summary.Inside {
		c := d.Truth.Class[i]
		either[i] = in && c != invent.Crop && c != invent.Track && c != invent.Shade
		found[i] = l.Reason[i] == structure.Levee || l.Reason[i] == structure.BorrowDitch
		outside[i] = !in
	}
	for _, line := range d.Truth.Levees {
		markLine(line, g.CellM/2, func(p geo.Point) {
			c, row := int((p.X-g.OriginX)/g.CellM), int((g.OriginY-p.Y)/g.CellM)
			if c >= 0 && row >= 0 && c < g.Cols && row < g.Rows {
				either[g.Index(c, row)] = true
			}
		})
	}
	depth := stat.Distance(outside, size)
	nearTruth, nearFound := stat.Grow(either, size, toleranceM/g.CellM), stat.Grow(found, size, toleranceM/g.CellM)
	truth, hit, n, right, all := 0.0, 0.0, 0.0, 0.0, 0.0
	for i, in := range d.Summary.Inside {
		if !in {
			continue
		}
		all++
		if float64(depth[i])*g.CellM <= l.PerimeterM+2 {
			continue
		}
		if d.Truth.Class[i] == invent.Levee {
			truth++
			hit += one(nearFound[i])
		}
		if found[i] {
			n++
			right += one(nearTruth[i])
		}
	}
	r.leveeRecall, r.leveePrecision, r.leveeGround = hit/truth, right/n, n/all
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// markLine calls mark along a line, every step metres.
func markLine(l geo.Line, step float64, mark func(p geo.Point)) {
	for k := 1; k < len(l); k++ {
		a, b := l[k-1], l[k]
		n := int(math.Hypot(b.X-a.X, b.Y-a.Y)/step) + 1
		for i := range n {
			t := float64(i) / float64(n)
			mark(geo.Point{X: a.X + t*(b.X-a.X), Y: a.Y + t*(b.Y-a.Y)})
		}
	}
}
