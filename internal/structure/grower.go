package structure

import (
	"fmt"
	"math"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/stat"
)

// growersLevees draws the lines and areas that the grower gave: the lines where
// they lie, as wide as the picture shows there or, where it shows nothing,
// typedWidthM.
func (f *finder) growersLevees() error {
	f.out.Found = FromGrower
	for _, l := range f.opt.Levees {
		for _, part := range f.insideParts(l) {
			f.lines = append(f.lines, leveePath{path: f.raster(part)})
		}
	}
	meets := len(f.lines) > 0
	for i := range f.lines {
		f.lines[i].width = f.seenWidth(f.lines[i].path)
		f.drawLevee(&f.lines[i])
	}
	for i, in := range f.rasterize(f.opt.LeveeAreas) {
		if in && f.fine.inside[i] {
			meets = true
			f.levee[i], f.barrier[i] = Levee, true
		}
	}
	if !meets {
		return &doubt.Problem{What: "the levee lines do not meet the field", Remedy: "check that they were drawn for this field and in the coordinate system that the file names"}
	}
	f.areaLines()
	f.doubtUndrawn()
	return nil
}

// A bank of the picture counts as drawn where it runs within drawnM of the grower's,
// and is spoken of when more than half of it does not (common practice, no source).
const (
	drawnM      = 5.0
	undrawnPart = 0.5
)

// doubtUndrawn says when the picture shows banks that the grower did not draw: they
// are then taken for crop.
func (f *finder) doubtUndrawn() {
	drawn := make([]bool, len(f.levee))
	for i, r := range f.levee {
		drawn[i] = r != LookedAt
	}
	near := stat.Grow(drawn, f.fine.size, drawnM/f.cell())
	n := 0
	for _, t := range f.traceLevees() {
		off, all := 0, 0
		for _, p := range f.toFine(t.pts) {
			x, y := int(math.Round(p.X)), int(math.Round(p.Y))
			if x < 0 || y < 0 || x >= f.fine.size.Cols || y >= f.fine.size.Rows {
				continue
			}
			all++
			if !near[y*f.fine.size.Cols+x] {
				off++
			}
		}
		if float64(off) > undrawnPart*float64(all) {
			n++
		}
	}
	if n == 0 {
		return
	}
	says := fmt.Sprintf("The picture shows %d banks that the given levees do not have; they were looked at as crop, so grass on them may stand among the suspects.", n)
	if n == 1 {
		says = "The picture shows a bank that the given levees do not have; it was looked at as crop, so grass on it may stand among the suspects."
	}
	f.doubt(doubt.Doubt{About: "levees", Weight: 0.6, Says: says, Settle: "Draw every levee, or leave --levees out."})
}

// insideParts cuts a line at the boundary.
func (f *finder) insideParts(l geo.Line) []geo.Line {
	var out []geo.Line
	for i := 1; i < len(l); i++ {
		for _, piece := range f.boundary.Polygon.Clip(l[i-1], l[i]) {
			if n := len(out); n > 0 && out[n-1][len(out[n-1])-1].Distance(piece[0]) < 1e-6 {
				out[n-1] = append(out[n-1], piece[1])
			} else {
				out = append(out, piece)
			}
		}
	}
	return out
}

// seenWidth is the width of a typed line in metres: both ways as far as the
// farther side that the picture shows, since a line drawn by hand need not lie in
// the middle.
func (f *finder) seenWidth(path []geo.Point) float64 {
	p := profileOf([][]geo.Point{path}, f.fineBank, f.ok, f.fine.size, f.cell(), 0.5)
	left, right, rise := p.extent()
	if rise < seenRise {
		return typedWidthM
	}
	return max(widthLeast, min(2*typedWidthM, 2*max(left, right)))
}

// areaLines adds a centre line for each of the grower's areas.
func (f *finder) areaLines() {
	for _, p := range f.opt.LeveeAreas {
		mid := midLine(p.Outer)
		if len(mid) < 2 {
			continue
		}
		for _, part := range f.insideParts(mid) {
			f.areaMids = append(f.areaMids, LeveeLine{Line: part, WidthM: p.Area() / mid.Length()})
		}
	}
}

// midLine is the line midway between the two long sides of a ring: it is cut at
// its two tips, the points farthest apart, and the sides are averaged step by
// step.
func midLine(r geo.Ring) geo.Line {
	a, b := tips(r)
	if a == b {
		return nil
	}
	var there, back geo.Line
	for i := a; ; i = (i + 1) % len(r) {
		there = append(there, r[i])
		if i == b {
			break
		}
	}
	for i := a; ; i = (i + len(r) - 1) % len(r) {
		back = append(back, r[i])
		if i == b {
			break
		}
	}
	n := max(2, int(math.Ceil(there.Length()/2)))
	out := make(geo.Line, 0, n+1)
	for k := range n + 1 {
		t := float64(k) / float64(n)
		p, q := along(there, t), along(back, t)
		out = append(out, geo.Point{X: (p.X + q.X) / 2, Y: (p.Y + q.Y) / 2})
	}
	return out
}

func tips(r geo.Ring) (a, b int) {
	far := 0.0
	for i := range r {
		for j := i + 1; j < len(r); j++ {
			if d := r[i].Distance(r[j]); d > far {
				far, a, b = d, i, j
			}
		}
	}
	return a, b
}

// along is the point at share t of a line's length.
func along(l geo.Line, t float64) geo.Point {
	left := t * l.Length()
	for i := 1; i < len(l); i++ {
		d := l[i-1].Distance(l[i])
		if left <= d && d > 0 {
			u := left / d
			return geo.Point{X: l[i-1].X + float64(u*(l[i].X-l[i-1].X)), Y: l[i-1].Y + float64(u*(l[i].Y-l[i-1].Y))}
		}
		left -= d
	}
	return l[len(l)-1]
}
