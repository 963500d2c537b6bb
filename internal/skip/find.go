package skip

import (
	"context"
	"fmt"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/progress"
	"bittern/internal/stat"
	"bittern/internal/structure"
	"bittern/internal/unit"
)

const (
	foot = unit.MetersPerFoot

	seekFromFt, seekToFt = 40.0, 90.0 // spacings that are sought when the swath is not given

	blindLeast   = 4.5  // spreads, a line told without knowing the passes
	givenLeast   = 3.0  // spreads, a line at a place where a pass's edge is due
	blindDeg     = 0.5  // degrees between the headings at which lines are sought
	givenDeg     = 0.25 // and about one that was given
	scaleEvery   = 3    // of the headings that the ground is summed along, one tells what is usual
	givenOrder   = 6.0  // n R^2 that the votes must have for a swath that was given
	blindOrder   = 15.0 // and when it was sought among all spacings and headings
	headingOff   = 3.0  // degrees that passes may lie off the heading given
	spacingOff   = 0.03 // of the swath that spacing may differ
	besideStripM = 3.0  // m from a strip's middle, where its weeds and not the camera change the brightness
	leastPoints  = 1600 // squares of ground, about half an acre, without which nothing is sought
)

// Find seeks strips in d. It needs s, l and d on one grid.
func Find(ctx context.Context, s *cells.Summary, l *structure.Layout, d *norm.Departure, p Parameters) (*Finding, error) {
	if n := s.Grid.Len(); len(d.Evidence) != n || len(l.Reason) != n {
		return nil, fmt.Errorf("the summary has %d cells, the layout %d, the departure %d", n, len(l.Reason), len(d.Evidence))
	}
	p.Progress.Report(progress.Event{Stage: "looking for skips", Total: 2})
	w := &work{s: s, l: l, d: d, p: p, scale: groundPerGrid(s)}
	w.use = usable(s, l)
	w.ground = newGround(s, l, d, w.use)
	out := &Finding{Verdict: None, HeadingDeg: math.NaN(), SpacingM: math.NaN()}
	if len(w.ground.points) < leastPoints {
		out.Why = "There is too little open ground in which a strip could be seen."
		return out, ctx.Err()
	}
	if err := w.seek(ctx); err != nil {
		return nil, err
	}
	p.Progress.Report(progress.Event{Stage: "looking for skips", Done: 1, Total: 2})
	w.settle()
	var strips []Strip
	var beside []bool
	if len(w.even.fit) > 0 {
		strips = w.raise(w.gather())
		beside = w.beside()
	}
	w.camera(beside)
	w.judge(out, strips)
	p.Progress.Report(progress.Event{Stage: "looking for skips", Done: 2, Total: 2})
	return out, ctx.Err()
}

// groundPerGrid is ground metres to a metre of the grid's zone.
func groundPerGrid(s *cells.Summary) float64 {
	if a := float64(unit.Acres(s.Grid.AcresPerCell).SquareMeters()); a > 0 && s.Grid.CellM > 0 {
		return math.Sqrt(a) / s.Grid.CellM
	}
	return 1
}

// work is what the steps of Find share. Lengths are metres of the grid.
type work struct {
	s      *cells.Summary
	l      *structure.Layout
	d      *norm.Departure
	p      Parameters
	scale  float64
	use    []bool
	ground *ground
	usual  float64 // spread of what lines stand out by, at most headings

	found bundle  // the lines of the best heading
	even  lattice // the spacing that they have
	votes []float64
	order float64
	lens  *lens
}

// givenRad is the heading given as a line's, radians from grid north.
func (w *work) givenRad() float64 {
	return math.Mod(w.p.HeadingDeg, 180)*deg - w.s.Grid.ConvergenceDeg*deg
}

func (w *work) swathGiven() bool   { return w.p.SwathM > 0 }
func (w *work) headingGiven() bool { return !math.IsNaN(w.p.HeadingDeg) }

// spans are the spacings that are looked for.
func (w *work) spans() []span {
	if !w.swathGiven() {
		return []span{{seekFromFt * foot / w.scale, seekToFt * foot / w.scale}}
	}
	s := w.p.SwathM / w.scale
	return []span{{s * (1 - spacingOff), s * (1 + spacingOff)}, {2 * s * (1 - spacingOff), 2 * s * (1 + spacingOff)}}
}

// allowed says whether a spacing is one that is looked for.
func (w *work) allowed(spacing float64) bool {
	return slices.ContainsFunc(w.spans(), func(s span) bool { return spacing >= s.from && spacing <= s.to })
}

// seek finds the heading and the spacing at which the most lines stand out.
func (w *work) seek(ctx context.Context) error {
	first, last, fine := 0.0, (180-baseDeg)*deg, blindDeg*deg
	least, enough := blindLeast, 3
	if w.headingGiven() {
		at := w.givenRad()
		first, last, fine = at-(headingOff-baseDeg/2)*deg, at+(headingOff-baseDeg/2)*deg, givenDeg*deg
		least, enough = givenLeast, 2
	}
	if w.swathGiven() {
		enough = 2
	}
	spans, bases := w.spans(), headings(first, last, baseDeg*deg)
	var usual []float64
	for k := 0; k < len(bases); k += scaleEvery {
		f := w.ground.along(bases[k])
		f.measure(0)
		usual = append(usual, f.unit.spread)
	}
	w.usual = stat.Median(usual)
	for _, rad := range bases {
		if err := ctx.Err(); err != nil {
			return err
		}
		f := w.along(rad)
		for _, by := range headings(-baseDeg/2*deg, baseDeg/2*deg-fine/2, fine) {
			p := f.turned(by)
			b := bundle{rad: p.rad, lines: p.lines(least)}
			l := fitLattice(b.lines, spans, enough)
			if len(l.fit) > 0 && l.score > w.even.score {
				w.found, w.even = b, l
			}
		}
	}
	return nil
}

// along sums the ground along a heading.
func (w *work) along(rad float64) *sheaf {
	f := w.ground.along(rad)
	f.measure(w.usual)
	return f
}

// settle sharpens heading and spacing, takes in the lines that are due at a
// place of the lattice, and counts the votes.
func (w *work) settle() {
	if len(w.even.fit) == 0 {
		return
	}
	spans := []span{{w.even.spacing * (1 - offLattice), w.even.spacing * (1 + offLattice)}}
	for _, step := range [...]float64{0.1, 0.03} {
		base, lines := w.found.rad, w.onLattice()
		f := w.along(base)
		best, at := math.Inf(-1), base
		for by := -6 * step; by <= 6.5*step; by += step {
			p := f.turned(by * deg)
			if sum := p.sumAt(lines); sum > best {
				best, at = sum, base+by*deg
			}
		}
		p := w.along(at).turned(0)
		w.found = bundle{rad: at, lines: p.due(w.even, givenLeast)}
		if l := fitLattice(w.found.lines, spans, 2); len(l.fit) > 0 {
			w.even = l
		} else {
			w.even.fit = nil
			return
		}
		w.votes = p.votes()
	}
	w.order = order(w.votes, w.even.spacing)
}

// onLattice are the places of the lines that lie on the lattice.
func (w *work) onLattice() []float64 {
	var out []float64
	for _, i := range w.even.fit {
		out = append(out, w.found.lines[i].across)
	}
	return out
}

// beside marks the cells in and next to the lines found.
func (w *work) beside() []bool {
	out := make([]bool, len(w.use))
	lines := w.onLattice()
	w.eachNear(lines, func(i, k int, across, _ float64) {
		out[i] = math.Abs(across-lines[k]) <= besideStripM
	})
	return out
}
