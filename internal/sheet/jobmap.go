package sheet

import (
	"math"

	"bittern/internal/geo"
)

// jobMap draws what is to be flown in black on white: boundary, blocks hatched
// along their heading with their numbers, levees thin, marks, the entry; north
// and a scale below. Nothing else.
func jobMap(w *flow, j JobSheet, box rect) {
	if len(j.Boundary) == 0 && len(j.Blocks) == 0 {
		return
	}
	c := newChart(w.p, w.faces, box, jobGround(j))
	levees(c, j.Levees, dim)
	noSpray := c.rings(j.NoSpray)
	c.p.stroke(pen{ink: quiet, width: 0.5}, append(
		hatch(noSpray, hatching{angle: 45, gap: 5}), hatch(noSpray, hatching{angle: 135, gap: 5})...)...)
	c.outline(pen{ink: quiet, width: 0.7}, noSpray)
	c.outline(pen{ink: black, width: 1.5}, c.rings(j.Boundary))
	for _, b := range j.Blocks {
		if rings := jobBlock(c, b, j.ConvergenceDeg); len(rings) > 0 {
			c.taken = append(c.taken, extent(rings))
		}
	}
	for _, b := range j.Blocks {
		if rings := c.rings(geo.MultiPolygon{b.Outline}); len(rings) > 0 {
			numberBlock(w, c, flag{text: b.ID, size: numberSize(len(j.Blocks)), ink: black, shape: rings})
		}
	}
	for _, m := range j.Marks {
		drawMark(w, c, m)
	}
	c.scaleAndNorth(w, j.Units, j.ConvergenceDeg)
	key := &flow{faces: w.faces, p: w.p, left: box.x, width: box.w, y: box.bottom() + 20, bottom: pageH}
	jobMapKey(j).draw(key)
}

// jobGround is the ground that a job's map shows.
func jobGround(j JobSheet) Bounds {
	shapes := []geo.MultiPolygon{j.Boundary}
	for _, b := range j.Blocks {
		shapes = append(shapes, geo.MultiPolygon{b.Outline})
	}
	field := boundsOf(shapes...)
	if !field.known() {
		return field.framed()
	}
	return withMarks(field, j.Marks).framed()
}

// withMarks widens the ground to marks that lie near the field: within a third
// of its size. Those further off are only listed.
func withMarks(field Bounds, marks []Mark) Bounds {
	reach := max(field.width(), field.height()) / 3
	near := Bounds{field.MinX - reach, field.MinY - reach, field.MaxX + reach, field.MaxY + reach}
	out := field
	for _, m := range marks {
		for _, q := range m.places() {
			if q.X >= near.MinX && q.X <= near.MaxX && q.Y >= near.MinY && q.Y <= near.MaxY {
				out = out.with(q)
			}
		}
	}
	return out
}

// places are all corners of a mark.
func (m Mark) places() []geo.Point {
	var out []geo.Point
	for _, p := range m.Outline {
		out = append(out, p.Outer...)
	}
	for _, l := range m.Lines {
		out = append(out, l...)
	}
	if m.At != nil {
		out = append(out, *m.At)
	}
	return out
}

// jobBlock hatches a block along its heading, so that paper in black and white
// shows which way it is flown; the runs themselves are the hatch where they
// are far enough apart to be seen. It returns the block's outline.
func jobBlock(c *chart, b JobBlock, convergence float64) [][]pt {
	rings := c.rings(geo.MultiPolygon{b.Outline})
	// On the page, grid north is up: a heading of h degrees from true north is
	// h less the convergence from up, clockwise.
	angle := 90 - (b.HeadingDeg - convergence)
	lines := c.runs(b, rings)
	if lines == nil {
		lines = hatch(rings, hatching{angle: angle, gap: 3.4})
	}
	c.p.stroke(pen{ink: teal, width: 0.7}, lines...)
	c.outline(pen{ink: teal, width: 1.5}, rings)
	return rings
}

// runs are a block's runs on the page; nil when there are none, or when they
// would lie closer than lines can be told apart.
func (c *chart) runs(b JobBlock, rings [][]pt) [][]pt {
	const apart = 2.2
	var out [][]pt
	length, area := 0.0, 0.0
	for _, l := range b.RunLines {
		for _, part := range c.line(l) {
			out = append(out, part)
			for i := 1; i < len(part); i++ {
				length += math.Hypot(part[i].x-part[i-1].x, part[i].y-part[i-1].y)
			}
		}
	}
	for _, r := range rings {
		area += math.Abs(signedArea(r))
	}
	if length == 0 || area/length < apart {
		return nil
	}
	return out
}

// numberSize is how large blocks are numbered, in points, when there are n.
func numberSize(n int) float64 {
	switch {
	case n <= 12:
		return 12
	case n <= 25:
		return 10
	}
	return 7.5
}

// numberBlock sets a block's number in a plain square: on the block when it
// has the room, beside it when not.
func numberBlock(w *flow, c *chart, f flag) {
	id, size, rings := f.text, f.size, f.shape
	half := max(size*0.62, c.faces[bold].width(id, size)/2+size*0.2)
	center, on := c.onBlock(rings, half, size*0.62)
	if !on {
		f.at, f.from = center, half
		spot, found := c.room(f, half, c.taken)
		if !found { // rather over a neighbouring block than over its number
			spot, found = c.room(f, half, c.numbers)
		}
		if found {
			center = spot
			c.p.stroke(pen{ink: black, width: 0.7}, []pt{f.foot(center), center})
		}
	}
	r := rect{center.x - half, center.y - size*0.62, 2 * half, size * 1.24}
	c.numbers, c.taken = append(c.numbers, r), append(c.taken, r)
	c.taken = append(c.taken, r)
	c.p.box(white, r)
	c.p.frame(pen{ink: black, width: 0.6}, r)
	w.writeMiddle(center.x, center.y+size*0.36, id, style{bold, size, black})
}

// onBlock is where a number of the given half size may stand on its block, and
// whether it may: on a block that is large enough, clear of other numbers.
func (c *chart) onBlock(rings [][]pt, halfW, halfH float64) (pt, bool) {
	box := extent(rings)
	places := append(inside(rings), pt{box.x + box.w/2, box.y + box.h/2})
	if box.w < 3*halfW || box.h < 3*halfW {
		return places[0], false
	}
	for _, p := range places {
		r := rect{p.x - halfW, p.y - halfH, 2 * halfW, 2 * halfH}
		if c.clear(r, c.numbers) {
			return p, true
		}
	}
	return places[0], false
}

// drawMark draws a fixed thing with a symbol of its own shape and its label.
func drawMark(w *flow, c *chart, m Mark) {
	switch {
	case len(m.Outline) > 0:
		c.outline(pen{ink: black, width: 0.8, dash: []float64{1, 2}}, c.rings(m.Outline))
	case len(m.Lines) > 0:
		for _, l := range m.Lines {
			markLine(c, m.Kind, c.line(l))
		}
	}
	at, ok := markPlace(c, m)
	if !ok {
		return
	}
	if len(m.Outline) == 0 && len(m.Lines) == 0 {
		symbol(c.p, m.Kind, at)
		c.taken = append(c.taken, rect{at.x - 4.5, at.y - 4.5, 9, 9})
	}
	labelMark(w, c, m.Label, at)
}

// markPlace is where on the map a mark's label belongs.
func markPlace(c *chart, m Mark) (pt, bool) {
	for _, q := range m.places() {
		if p := c.at(q); c.box.contains(rect{p.x, p.y, 0, 0}) {
			return p, true
		}
	}
	return pt{}, false
}

// labelMark sets a mark's label beside it where there is room; a label that
// finds none is left to the list of hazards.
func labelMark(w *flow, c *chart, label string, at pt) {
	const size = 8.5
	label, st := w.faces.fit(label, style{bold, size, black}, 110, 7)
	width := w.faces[bold].width(label, st.size)
	if width == 0 {
		return
	}
	for _, d := range []pt{{6, 3}, {-6 - width, 3}, {-width / 2, -7}, {-width / 2, 14}, {6, 14}, {-6 - width, 14}, {6, -8}, {-6 - width, -8}} {
		r := rect{at.x + d.x - 1, at.y + d.y - size, width + 2, size + 2}
		if c.free(r) {
			c.taken = append(c.taken, r)
			c.p.box(white, rect{r.x + 0.5, r.y + 1, r.w - 1, r.h - 1.5})
			w.write(at.x+d.x, at.y+d.y, label, st)
			return
		}
	}
}

// markLine draws wires as a double line with ticks, roads as a thin double
// line, and anything else as long dashes.
func markLine(c *chart, kind MarkKind, lines [][]pt) {
	switch kind {
	case MarkWire:
		c.p.stroke(pen{ink: black, width: 2.6}, lines...)
		c.p.stroke(pen{ink: white, width: 1.2}, lines...)
		for _, l := range lines {
			ticks := dashed(l, []float64{0.6, 9})
			for _, t := range ticks {
				c.p.fill(black, disc(t[0], 2))
			}
		}
	case MarkRoad:
		c.p.stroke(pen{ink: quiet, width: 2.2}, lines...)
		c.p.stroke(pen{ink: white, width: 1.2}, lines...)
	default:
		c.p.stroke(pen{ink: black, width: 0.9, dash: []float64{6, 3}}, lines...)
	}
}

// symbol draws a mark that is a point.
func symbol(p *page, kind MarkKind, at pt) {
	line := pen{ink: black, width: 0.9}
	switch kind {
	case MarkEntry: // an arrow head that points at the place from above
		p.fill(black, []pt{at, {at.x - 4, at.y - 8}, {at.x + 4, at.y - 8}})
	case MarkPole:
		p.fill(black, []pt{{at.x, at.y - 5}, {at.x + 4, at.y + 3}, {at.x - 4, at.y + 3}})
	case MarkTree:
		p.fill(black, disc(pt{at.x, at.y - 1.5}, 3))
		p.rule(line, at.x, at.y, at.x, at.y+4.5)
	case MarkHome:
		p.fill(black, []pt{{at.x - 3.5, at.y + 3.5}, {at.x - 3.5, at.y - 0.5}, {at.x, at.y - 4}, {at.x + 3.5, at.y - 0.5}, {at.x + 3.5, at.y + 3.5}})
	case MarkNeighbour:
		p.stroke(pen{ink: black, width: 1.2}, []pt{{at.x, at.y - 4.5}, {at.x + 4.5, at.y}, {at.x, at.y + 4.5}, {at.x - 4.5, at.y}, {at.x, at.y - 4.5}})
	case MarkPad:
		p.frame(pen{ink: black, width: 1.2}, rect{at.x - 3.5, at.y - 3.5, 7, 7})
	case MarkWire:
		p.rule(pen{ink: black, width: 1.2}, at.x-4, at.y-4, at.x+4, at.y+4)
		p.rule(pen{ink: black, width: 1.2}, at.x-4, at.y+4, at.x+4, at.y-4)
	case MarkInlet, MarkOutlet, MarkGate, MarkRoad, MarkLandmark:
		ring := disc(at, 3)
		p.stroke(line, append(ring, ring[0]))
	default:
		ring := disc(at, 3)
		p.stroke(line, append(ring, ring[0]))
	}
}

// jobMapKey says below the scale what the map's lines are.
func jobMapKey(j JobSheet) keyed {
	var k keyed
	if len(j.Blocks) > 0 {
		k = append(k, keyEntry{"block, hatched as flown", func(w *flow, r rect) {
			w.p.stroke(pen{ink: teal, width: 0.7}, hatch([][]pt{ringOf(r)}, hatching{angle: 30, gap: 3.4})...)
			w.p.frame(pen{ink: teal, width: 1}, r)
		}})
	}
	if len(j.Levees) > 0 {
		k = append(k, keyEntry{"levee", leveeSwatch})
	}
	if len(j.NoSpray) > 0 {
		k = append(k, keyEntry{"do not spray", func(w *flow, r rect) {
			ring := [][]pt{ringOf(r)}
			w.p.stroke(pen{ink: quiet, width: 0.5}, append(hatch(ring, hatching{angle: 45, gap: 4}), hatch(ring, hatching{angle: 135, gap: 4})...)...)
		}})
	}
	return k
}
