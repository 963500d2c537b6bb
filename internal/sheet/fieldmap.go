package sheet

import (
	"slices"

	"bittern/internal/geo"
)

const (
	mapGap   = 12.0 // between the two maps
	mapTitle = 14.0 // above each map
	mapFoot  = 20.0 // scale and north below each map
	leastMap = 215.0
	mostMap  = 380.0
	mapDPI   = 200.0
)

// An arrangement is where the two maps of a field sheet stand.
type arrangement struct {
	w, h    float64 // of each map's box
	stacked bool
}

// arrange gives the two maps, which have one size and show the same ground,
// the larger scale of side by side and one above the other, in at most height.
func arrange(ground Bounds, width, height float64) arrangement {
	half := (width - mapGap) / 2
	each := height - mapTitle - mapFoot
	stackedEach := (height - 2*(mapTitle+mapFoot)) / 2
	side := min(half/ground.width(), each/ground.height())
	stack := min(width/ground.width(), stackedEach/ground.height())
	const leastSide = 70
	if stack > side {
		return arrangement{width, min(stackedEach, max(ground.height()*stack, leastSide)), true}
	}
	return arrangement{half, min(each, max(ground.height()*side, leastSide)), false}
}

func (a arrangement) height() float64 {
	h := mapTitle + a.h + mapFoot
	if a.stacked {
		return 2 * h
	}
	return h
}

// fieldMaps draws what stands out, and the flight in plain colour beside or
// below it at the same size; then the key.
func fieldMaps(w *flow, f FieldSheet) {
	ground := boundsOf(f.Boundary)
	if !ground.known() {
		return
	}
	ground = ground.framed()
	w.y += 4
	key := mapKey(f)
	a := arrange(ground, w.width, mapRoom(w, f, key))
	w.need(a.height())
	first := rect{w.left, w.y + mapTitle, a.w, a.h}
	second := rect{w.left + a.w + mapGap, first.y, a.w, a.h}
	if a.stacked {
		second = rect{w.left, first.bottom() + mapFoot + mapTitle, a.w, a.h}
	}
	suspectMap(w, f, newChart(w.p, w.faces, first, ground))
	plainMap(w, f, newChart(w.p, w.faces, second, ground))
	st := style{bold, 10, black}
	w.write(first.x, first.y-4, "What stands out", st)
	w.write(second.x, second.y-4, "The flight in plain colour", st)
	w.y += a.height()
	key.draw(w)
	w.firstOfAPage = false
}

// mapRoom is how high the maps may be, so that the tables that belong to them
// stay on the same page where that leaves maps worth looking at.
func mapRoom(w *flow, f FieldSheet, key keyed) float64 {
	free := w.bottom - w.y - key.height(w) - 4
	least := leastMap + mapTitle + mapFoot
	height := func(part func(*flow, FieldSheet)) float64 {
		return w.measure(func(s *flow) { part(s, f) })
	}
	suspects, money, rest := height(fieldSuspects), height(fieldMoney), height(fieldRest)
	for i, below := range [...]float64{suspects + money + rest, suspects + money, suspects, money, 0} {
		if i == 0 && free-below >= least-45 || free-below >= least {
			return min(free-below, mostMap)
		}
	}
	return least
}

// leftOutHatch is how ground of one reason is hatched: grey slant lines, at an
// angle and a distance of its own.
func leftOutHatch(reason string, place int) hatching {
	known := map[string]hatching{
		"levee":        {angle: 45, gap: 2.2, width: 0.5},
		"borrow ditch": {angle: 135, gap: 2.2, width: 0.5},
		"water":        {angle: 20, gap: 2.6, width: 0.5},
		"road":         {angle: 160, gap: 2.6, width: 0.7},
		"track":        {angle: 70, gap: 4.6, width: 0.4},
		"edge":         {angle: 110, gap: 2.6, width: 0.5},
		"shade":        {angle: 45, gap: 4.4, width: 0.8},
		"tree":         {angle: 135, gap: 3.4, width: 1},
		"no data":      {angle: 135, gap: 5, width: 0.5},
		"by hand":      {angle: 45, gap: 4, width: 0.6, dash: []float64{5, 3}},
	}
	if h, ok := known[reason]; ok {
		return h
	}
	return hatching{angle: float64(30 + 50*(place%3)), gap: 3.2 + float64(place%4), width: 0.5}
}

// killedHatch is short upright ticks, like stubble.
func killedHatch() hatching {
	return hatching{angle: 90, gap: 3, width: 0.6, dash: []float64{2, 2.6}}
}

func suspectMap(w *flow, f FieldSheet, c *chart) {
	c.picture(f.Departure, mapDPI, true)
	c.p.stroke(pen{ink: dim, width: killedHatch().width}, hatch(c.rings(f.Killed), killedHatch())...)
	for i, l := range f.LeftOut {
		h := leftOutHatch(l.Reason, i)
		c.p.stroke(pen{ink: dim, width: h.width}, hatch(c.rings(l.Outline), h)...)
	}
	levees(c, f.Levees, dim)
	for _, l := range f.Skips {
		c.p.stroke(skipPen(), c.line(l)...)
	}
	c.outline(pen{ink: black, width: 1.1}, c.rings(f.Boundary))
	for _, o := range f.Small.Outlines {
		c.outline(pen{ink: plum, width: 0.6}, c.rings(o))
	}
	shapes := make([][][]pt, len(f.Suspects))
	for i, s := range f.Suspects {
		shapes[i] = c.rings(s.Outline)
		suspectOutline(c, s, shapes[i])
		if len(shapes[i]) > 0 {
			c.taken = append(c.taken, extent(shapes[i]))
		}
	}
	checkNumbers(w, c, f.Checks)
	for i, s := range f.Suspects {
		c.plant(w, flag{text: s.Letter, at: c.at(s.Center), size: 10, ink: plum, from: 9, shape: shapes[i]})
	}
	c.scaleAndNorth(w, f.Units, f.ConvergenceDeg)
}

// suspectOutline draws a suspect in the project's marks: outlined, dashed when
// faint; solid when confirmed; grey dots when cleared.
func suspectOutline(c *chart, s FieldSuspect, rings [][]pt) {
	switch {
	case s.State == "confirmed":
		c.p.fill(plum, rings...)
	case s.State == "cleared":
		c.outline(pen{ink: quiet, width: 1, dash: []float64{0.2, 2.2}}, rings)
	case s.Severity == "faint":
		c.outline(pen{ink: plum, width: 1.3, dash: []float64{3.2, 2.4}}, rings)
	default:
		c.outline(pen{ink: plum, width: 1.4}, rings)
	}
}

// skipPen draws a strip that a pass missed: long dashes, unlike any outline.
func skipPen() pen { return pen{ink: black, width: 1.2, dash: []float64{7, 2.5}} }

func levees(c *chart, lines []geo.Line, k ink) {
	for _, l := range lines {
		c.p.stroke(pen{ink: k, width: 0.6}, c.line(l)...)
	}
}

// checkNumbers sets the checks' ids in quiet figures where there is room.
func checkNumbers(w *flow, c *chart, checks []CheckMark) {
	const size = 8.5
	for _, ck := range checks {
		rings := c.rings(ck.Outline)
		width := c.faces[regular].width(ck.ID, size)
		for _, p := range inside(rings) {
			r := rect{p.x - width/2 - 1.5, p.y - size*0.6, width + 3, size * 1.1}
			if !c.free(r) {
				continue
			}
			c.taken = append(c.taken, r)
			c.p.box(white, r)
			st := style{regular, size, quiet}
			if ck.Apart != "" {
				st.font, st.ink = bold, black
			}
			w.writeMiddle(p.x, p.y+size*0.32, ck.ID, st)
			break
		}
	}
}

func plainMap(w *flow, f FieldSheet, c *chart) {
	if !c.picture(f.Plain, mapDPI, false) {
		w.writeMiddle(c.box.x+c.box.w/2, c.box.y+c.box.h/2, "no picture was given", style{regular, smallSize, quiet})
	}
	c.outline(pen{ink: white, width: 1.6}, c.rings(f.Boundary))
	c.outline(pen{ink: black, width: 0.7}, c.rings(f.Boundary))
	c.scaleAndNorth(w, f.Units, f.ConvergenceDeg)
}

// mapKey lists what the map of suspects holds, and nothing that it does not.
func mapKey(f FieldSheet) keyed { return append(suspectKey(f), groundKey(f)...) }

func suspectKey(f FieldSheet) keyed {
	var k keyed
	add := func(text string, draw func(*flow, rect), holds func(FieldSuspect) bool) {
		if slices.ContainsFunc(f.Suspects, holds) {
			k = append(k, keyEntry{text, draw})
		}
	}
	open := func(s FieldSuspect) bool { return s.State == "" || s.State == "suspect" }
	add("stands out, lettered", frameSwatch(pen{ink: plum, width: 1.4}),
		func(s FieldSuspect) bool { return open(s) && s.Severity != "faint" })
	add("faint: walk it", frameSwatch(pen{ink: plum, width: 1.3, dash: []float64{3.2, 2.4}}),
		func(s FieldSuspect) bool { return open(s) && s.Severity == "faint" })
	add("confirmed on foot", func(w *flow, r rect) { w.p.box(plum, r) },
		func(s FieldSuspect) bool { return s.State == "confirmed" })
	add("cleared on foot", frameSwatch(pen{ink: quiet, width: 1, dash: []float64{0.2, 2.2}}),
		func(s FieldSuspect) bool { return s.State == "cleared" })
	if len(f.Small.Outlines) > 0 {
		k = append(k, keyEntry{"small ones", func(w *flow, r rect) {
			w.p.frame(pen{ink: plum, width: 0.6}, rect{r.x + 6, r.y + 1, 6, 6})
		}})
	}
	if f.Departure.Image != nil {
		k = append(k, keyEntry{"departs from its check's crop: the darker, the more", rampSwatch})
	}
	return k
}

func groundKey(f FieldSheet) keyed {
	var k keyed
	if len(f.Killed) > 0 {
		k = append(k, keyEntry{"killed, " + f.Units.areas(f.KilledAcres), hatchSwatch(killedHatch())})
	}
	if len(f.Skips) > 0 {
		k = append(k, keyEntry{"skip: a strip that a pass missed", func(w *flow, r rect) {
			w.p.rule(skipPen(), r.x, r.y+r.h/2, r.right(), r.y+r.h/2)
		}})
	}
	if len(f.Levees) > 0 {
		k = append(k, keyEntry{"levee", leveeSwatch})
	}
	if len(f.Checks) > 0 {
		k = append(k, keyEntry{"check number", numberSwatch(f.Checks[0].ID, style{regular, keySize, quiet})})
	}
	if i := slices.IndexFunc(f.Checks, func(c CheckMark) bool { return c.Apart != "" }); i >= 0 {
		k = append(k, keyEntry{"check that stands apart", numberSwatch(f.Checks[i].ID, style{bold, keySize, black})})
	}
	for i, l := range f.LeftOut {
		if len(l.Outline) > 0 {
			k = append(k, keyEntry{"left out: " + l.Reason + ", " + f.Units.areas(l.Acres), hatchSwatch(leftOutHatch(l.Reason, i))})
		}
	}
	return k
}
