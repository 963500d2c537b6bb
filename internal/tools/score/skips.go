package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/norm"
	"bittern/internal/skip"
	"bittern/internal/structure"
)

// A skipped is what the skip stage made of a scene.
type skipped struct {
	verdict             skip.Verdict
	strips, found       int     // strips of the truth, and those of which half of the ground is named
	wrong               int     // strips named of which under a quarter is a skip
	headingOff, spacing float64 // degrees off; feet as told; NaN unless told
}

// seekSkips runs the stage with the swath and heading of the passes, or blind.
func seekSkips(ctx context.Context, d *day, l *structure.Layout, dep *norm.Departure, given bool) (*skip.Finding, error) {
	p := skip.Parameters{HeadingDeg: math.NaN(), Workers: 1}
	if heading, ok := d.passes(); ok && given {
		p.SwathM, p.HeadingDeg = swathFt*feetM, heading
	}
	f, err := skip.Find(ctx, d.Summary, l, dep, p)
	if err != nil {
		return nil, fmt.Errorf("skips: %w", err)
	}
	return f, nil
}

const (
	swathFt = 65
	feetM   = 0.3048
)

// passes is the heading of the applicator's passes where the scene knows one:
// of its skips, or the mapping lines' when they run along the passes.
func (d *day) passes() (heading float64, ok bool) {
	switch d.class {
	case "skips", "skips-lines":
		return d.Truth.SkipHeadingDeg, true
	case "lines", "lines-clean":
		return d.Truth.LineHeadingDeg, true
	}
	return math.NaN(), false
}

// judgeSkips holds a finding against the strips of the truth.
func judgeSkips(d *day, f *skip.Finding) skipped {
	t, g := d.Truth, d.Summary.Grid
	out := skipped{verdict: f.Verdict, strips: len(t.Strips), headingOff: math.NaN(), spacing: math.NaN()}
	if len(t.Strips) > 0 && !math.IsNaN(f.HeadingDeg) {
		out.headingOff = math.Abs(math.Mod(f.HeadingDeg-t.SkipHeadingDeg+270, 180) - 90)
		out.spacing = f.SpacingM / feetM
	}
	all, hit := make([]float64, len(t.Strips)), make([]float64, len(t.Strips))
	for i, in := range d.Summary.Inside {
		if !in || t.Patch[i] != invent.SkipPatch || !t.Acting(i) {
			continue
		}
		if k := nearestStrip(t.Strips, g.Center(i%g.Cols, i/g.Cols)); k >= 0 {
			all[k]++
			if f.Ground != nil && f.Ground[i] {
				hit[k]++
			}
		}
	}
	for k := range all {
		if all[k] > 0 && 2*hit[k] >= all[k] {
			out.found++
		}
	}
	for _, s := range f.Strips {
		right := 0
		for _, i := range s.Cells {
			if t.Density[i] > 0.004 && t.Patch[i] == invent.SkipPatch {
				right++
			}
		}
		if 4*right < len(s.Cells) {
			out.wrong++
		}
	}
	return out
}

// nearestStrip is the strip whose line p lies nearest to, -1 without strips.
func nearestStrip(strips []invent.Strip, p geo.Point) int {
	best, off := -1, math.Inf(1)
	for k, s := range strips {
		a, b := s.Line[0], s.Line[1]
		dx, dy := b.X-a.X, b.Y-a.Y
		if q := math.Abs((p.X-a.X)*dy-(p.Y-a.Y)*dx) / math.Hypot(dx, dy); q < off {
			best, off = k, q
		}
	}
	return best
}

// printSkips writes what the skip stage says, with the passes given and blind.
func (t table) printSkips(w io.Writer) {
	fmt.Fprint(w, "\n## Skips\n\nWith swath (65 ft) and heading given where the scene has them, and blind. A strip is found when half of its weedy ground is named; a named strip is false when under a quarter of it is a skip.\n\n| scene | sensor | seed | strips | given: verdict | found | false | heading off, deg | spacing, ft | blind: verdict | found | false | heading off, deg | spacing, ft |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n")
	quiet := 0
	for _, l := range t {
		if !l.asked || l.question != "escapes" {
			continue
		}
		a, b := l.given, l.blind
		if a.strips == 0 && a.verdict == skip.None && b.verdict == skip.None {
			quiet++
			continue
		}
		fmt.Fprintf(w, "| %s | %v | %d | %d | %s | %d | %d | %s | %s | %s | %d | %d | %s | %s |\n", l.class, l.sensor, l.seed, a.strips,
			a.verdict, a.found, a.wrong, part(a.headingOff), digits(a.spacing, 1), b.verdict, b.found, b.wrong, part(b.headingOff), digits(b.spacing, 1))
	}
	fmt.Fprintf(w, "\nOn %d other scenes, none of which has skips: none, given or blind.\n", quiet)
}
