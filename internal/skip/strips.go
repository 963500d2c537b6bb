package skip

import (
	"math"
	"slices"
	"strconv"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

const (
	onPart   = 0.4  // of what a strip usually stands out by, from which a stretch belongs to it
	bridgeM  = 60.0 // m, gaps in a strip that are no break: weeds do not grow everywhere in it
	leastRun = 40.0 // m, the shortest piece of a strip
	toEdgeM  = 15.0 // m, an end this near the field's edge is at the edge
	weakLong = 0.5  // of the field along it, that a weak line must fill
	widestOf = 3.0  // a strip is at most one third of its spacing wide
)

// A reach is a stretch of a line, m along it.
type reach struct{ from, to float64 }

// raise makes strips of the lines on the lattice.
func (w *work) raise(cs []corridor) []Strip {
	lines := w.onLattice()
	width := w.widths(cs)
	runs := make([][]reach, len(lines))
	for i := range cs {
		runs[i] = w.within(lines[i], w.runs(&cs[i]))
		if w.found.lines[w.even.fit[i]].stands < givenLeast && total(runs[i]) < weakLong*total(w.inside(lines[i])) {
			runs[i] = nil
		}
	}
	strips := make([]Strip, len(lines))
	cells := w.cellsOf(lines, width, runs)
	f := w.frame(w.found.rad)
	for i := range strips {
		s := Strip{Cells: cells[i], WidthM: width[i] * w.scale, Acres: float64(len(cells[i])) * w.s.Grid.AcresPerCell}
		for _, r := range runs[i] {
			line := geo.Line{w.point(f, lines[i], r.from), w.point(f, lines[i], r.to)}
			s.Lines = append(s.Lines, line)
			s.LengthM += line.Length() * w.scale
		}
		strips[i] = s
	}
	strips = slices.DeleteFunc(strips, func(s Strip) bool { return len(s.Cells) == 0 })
	for i := range strips {
		strips[i].ID = strconv.Itoa(i + 1)
	}
	return strips
}

// total is the length of reaches together, m.
func total(rs []reach) float64 {
	sum := 0.0
	for _, r := range rs {
		sum += r.to - r.from
	}
	return sum
}

// point is the place on the grid's zone of a place in the frame.
func (w *work) point(f frame, across, along float64) geo.Point {
	return geo.Point{
		X: w.ground.mid[0] + float64(across*f.cos) + float64(along*f.sin),
		Y: w.ground.mid[1] - float64(across*f.sin) + float64(along*f.cos),
	}
}

// widths are the strips' widths, m: each by itself, held near that of all
// together, since one alone is measured in few cells.
func (w *work) widths(cs []corridor) []float64 {
	each := make([]float64, len(cs))
	for i := range cs {
		each[i] = cs[i].width(cs[i].turned(0))
	}
	usual := stat.Quantile(each, 0.35) // a patch beside a strip makes it wider, nothing makes it narrower
	if usual != usual {
		usual = coreBins * binM
	}
	usual = min(max(usual, stepM), w.even.spacing/widestOf)
	for i, v := range each {
		if v != v {
			v = usual
		}
		each[i] = min(max(v, 0.75*usual), 1.25*usual)
	}
	return each
}

// heights is how much each stretch of a corridor stands out in its middle;
// NaN where too little is known.
func (c *corridor) heights() []float64 {
	out := make([]float64, c.stretches)
	for s := range out {
		var core, rim, n, m float64
		for b := range c.steps {
			at, off := s*c.steps+b, math.Abs(c.off(b))
			switch {
			case off <= coreM:
				core, n = core+float64(c.v[at]), n+float64(c.n[at])
			case off >= rimM:
				rim, m = rim+float64(c.v[at]), m+float64(c.n[at])
			}
		}
		out[s] = math.NaN()
		if n >= stretchM && m >= stretchM {
			out[s] = core/n - rim/m
		}
	}
	return out
}

// runs are the stretches along a line that stand out, joined over gaps; m along
// the line from the middle of the field.
func (w *work) runs(c *corridor) []reach {
	h := c.heights()
	smooth := make([]float64, len(h))
	for s := range h {
		smooth[s] = stat.Mean(h[max(0, s-2):min(len(h), s+3)])
	}
	usual := stat.Quantile(smooth, 0.7)
	half := w.ground.spanM + stretchM
	var out []reach
	for s, v := range smooth {
		if !(v >= onPart*usual) || h[s] != h[s] {
			continue
		}
		r := reach{float64(s)*stretchM - half, float64(s+1)*stretchM - half}
		if k := len(out) - 1; k >= 0 && r.from-out[k].to <= bridgeM {
			out[k].to = r.to
		} else {
			out = append(out, r)
		}
	}
	return slices.DeleteFunc(out, func(r reach) bool { return r.to-r.from < leastRun })
}

// within clips runs to the field, and draws ends near its edge out to it.
func (w *work) within(across float64, runs []reach) []reach {
	var out []reach
	for _, in := range w.inside(across) {
		for _, r := range runs {
			r.from, r.to = max(r.from, in.from), min(r.to, in.to)
			if r.to-r.from < leastRun/2 {
				continue
			}
			if r.from-in.from <= toEdgeM {
				r.from = in.from
			}
			if in.to-r.to <= toEdgeM {
				r.to = in.to
			}
			out = append(out, r)
		}
	}
	return out
}

// inside are the stretches of a line that lie in the field.
func (w *work) inside(across float64) []reach {
	f, g := w.frame(w.found.rad), w.s.Grid
	half := w.ground.spanM + 3*stretchM
	var out []reach
	open := false
	for a := -half; a <= half; a += stepM {
		col, row := g.Cell(w.point(f, across, a))
		in := g.Has(col, row) && w.s.Inside[g.Index(col, row)]
		switch {
		case in && !open:
			out = append(out, reach{a, a})
		case in:
			out[len(out)-1].to = a
		}
		open = in
	}
	return out
}

// cellsOf are the looked-at cells of each strip.
func (w *work) cellsOf(lines, width []float64, runs [][]reach) [][]int32 {
	out := make([][]int32, len(lines))
	w.eachNear(lines, func(i, k int, across, along float64) {
		if math.Abs(across-lines[k]) > width[k]/2 {
			return
		}
		if slices.ContainsFunc(runs[k], func(r reach) bool { return along >= r.from && along <= r.to }) {
			out[k] = append(out[k], int32(i))
		}
	})
	return out
}
