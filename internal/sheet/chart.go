package sheet

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// A chart is a map on a page: a window of the ground in a box of the page, grid
// north up.
type chart struct {
	p       *page
	faces   *typefaces
	box     rect
	window  Bounds  // m, grid zone; has the box's proportions
	scale   float64 // points per metre
	taken   []rect  // where labels already stand, and what they must not hide
	numbers []rect  // where the numbers of blocks stand
}

// tolerance is how far, in points, an outline may be drawn from where it is.
const tolerance = 0.3

// boundsOf is the ground that polygons cover.
func boundsOf(shapes ...geo.MultiPolygon) Bounds {
	b := Bounds{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, mp := range shapes {
		for _, p := range mp {
			for _, q := range p.Outer {
				b = b.with(q)
			}
		}
	}
	return b
}

func (b Bounds) with(q geo.Point) Bounds {
	return Bounds{min(b.MinX, q.X), min(b.MinY, q.Y), max(b.MaxX, q.X), max(b.MaxY, q.Y)}
}

func (b Bounds) known() bool {
	return b.MaxX >= b.MinX && b.MaxY >= b.MinY && !math.IsInf(b.MaxX-b.MinX, 0) && !math.IsInf(b.MaxY-b.MinY, 0)
}

func (b Bounds) width() float64  { return b.MaxX - b.MinX }
func (b Bounds) height() float64 { return b.MaxY - b.MinY }

// framed is the ground to be drawn so that content has a margin round it. A
// field too small to have an extent is given a metre.
func (b Bounds) framed() Bounds {
	if !b.known() {
		return Bounds{0, 0, 1, 1}
	}
	m := 0.03*max(b.width(), b.height()) + 0.5
	return Bounds{b.MinX - m, b.MinY - m, b.MaxX + m, b.MaxY + m}
}

// newChart fits the ground into box, in its middle.
func newChart(p *page, faces *typefaces, box rect, ground Bounds) *chart {
	scale := min(box.w/ground.width(), box.h/ground.height())
	cx, cy := (ground.MinX+ground.MaxX)/2, (ground.MinY+ground.MaxY)/2
	dx, dy := box.w/scale/2, box.h/scale/2
	return &chart{p: p, faces: faces, box: box, scale: scale, window: Bounds{cx - dx, cy - dy, cx + dx, cy + dy}}
}

// at is where a place on the ground lies on the page.
func (c *chart) at(q geo.Point) pt {
	return pt{c.box.x + (q.X-c.window.MinX)*c.scale, c.box.y + (c.window.MaxY-q.Y)*c.scale}
}

// line is a line on the page, simplified for drawing and cut to the box.
func (c *chart) line(l geo.Line) [][]pt {
	return clipLine(simplify(c.points(l), tolerance), c.box)
}

// points are places on the page; a place that is no number is dropped.
func (c *chart) points(qs []geo.Point) []pt {
	out := make([]pt, 0, len(qs))
	for _, q := range qs {
		if p := c.at(q); !math.IsNaN(p.x-p.x) && !math.IsNaN(p.y-p.y) { // also false for infinities
			out = append(out, p)
		}
	}
	return out
}

// rings are the rings of polygons on the page, simplified for drawing and cut
// to the box.
func (c *chart) rings(shapes ...geo.MultiPolygon) [][]pt {
	var out [][]pt
	for _, mp := range shapes {
		for _, p := range mp {
			out = c.ring(out, p.Outer)
			for _, h := range p.Holes {
				out = c.ring(out, h)
			}
		}
	}
	return out
}

func (c *chart) ring(out [][]pt, r geo.Ring) [][]pt {
	ring := clipRing(simplifyRing(c.points(r), tolerance), c.box)
	if len(ring) < 3 || math.Abs(signedArea(ring)) < 0.02 {
		return out // too small to be seen
	}
	return append(out, ring)
}

// outline strokes rings.
func (c *chart) outline(pn pen, rings [][]pt) {
	closed := make([][]pt, len(rings))
	for i, r := range rings {
		closed[i] = append(r[:len(r):len(r)], r[0])
	}
	c.p.stroke(pn, closed...)
}

// picture draws the part of a picture that lies in the window, at no more than
// dpi pixels to the inch. It says whether there was anything to draw.
func (c *chart) picture(p Picture, dpi float64, ramp bool) bool {
	img, ground := crop(p, c.window)
	if img == nil {
		return false
	}
	nw, se := c.at(geo.Point{X: ground.MinX, Y: ground.MaxY}), c.at(geo.Point{X: ground.MaxX, Y: ground.MinY})
	box := rect{nw.x, nw.y, se.x - nw.x, se.y - nw.y}
	cols := min(img.Rect.Dx(), max(1, int(math.Ceil(box.w*dpi/72))))
	rows := min(img.Rect.Dy(), max(1, int(math.Ceil(box.h*dpi/72))))
	img = shrink(img, cols, rows)
	if ramp {
		c.p.add(pictured{box, onRamp(img, plum), false})
	} else {
		c.p.add(pictured{box, img, true})
	}
	return true
}

// free says whether a label may stand at r.
func (c *chart) free(r rect) bool { return c.clear(r, c.taken) }

// clear says whether r lies in the map and on none of others.
func (c *chart) clear(r rect, others []rect) bool {
	return c.box.contains(r) && !slices.ContainsFunc(others, r.overlaps)
}

// A flag is a label that is tied to a place by a line when it can't stand on it.
type flag struct {
	text string
	at   pt
	size float64 // of the letter
	ink  ink
	from float64 // least distance from the place, points; 0 may stand on it
	// shape is what the flag names: its line ends at the nearest corner of it.
	shape [][]pt
}

// plant sets a flag in a plain disc, as near to its place as there is room,
// and takes the room.
func (c *chart) plant(w *flow, f flag) {
	r := max(f.size*0.72, (c.faces[bold].width(f.text, f.size)+5)/2)
	center, found := c.room(f, r, c.taken)
	if !found {
		center = pt{min(max(f.at.x, c.box.x+r), c.box.right()-r), min(max(f.at.y, c.box.y+r), c.box.bottom()-r)}
	}
	c.taken = append(c.taken, rect{center.x - r, center.y - r, 2 * r, 2 * r})
	foot := f.foot(center)
	if d := math.Hypot(center.x-foot.x, center.y-foot.y); d > r {
		c.p.stroke(pen{ink: f.ink, width: 0.9}, []pt{foot, center})
	}
	c.p.fill(white, disc(center, r+0.8))
	c.outline(pen{ink: f.ink, width: 0.9}, [][]pt{disc(center, r)})
	w.writeMiddle(center.x, center.y+f.size*0.36, f.text, style{bold, f.size, f.ink})
}

// foot is where the flag's line ends: the corner of its shape that is nearest
// to the disc, or the place itself.
func (f flag) foot(center pt) pt {
	best, far := f.at, math.Inf(1)
	for _, ring := range f.shape {
		for _, p := range ring {
			if d := math.Hypot(center.x-p.x, center.y-p.y); d < far {
				best, far = p, d
			}
		}
	}
	return best
}

// room looks round a place, nearest first, for where a disc of radius r is
// clear of others.
func (c *chart) room(f flag, r float64, others []rect) (pt, bool) {
	for d := f.from; d < 150; d += 4 {
		steps := 1
		if d > 0 {
			steps = 16
		}
		for i := range steps {
			s, co := math.Sincos(2 * math.Pi * (float64(i) + 14) / 16) // north-east first
			p := pt{f.at.x + d*co, f.at.y + d*s}
			if c.clear(rect{p.x - r - 1, p.y - r - 1, 2*r + 2, 2*r + 2}, others) {
				return p, true
			}
		}
	}
	return pt{}, false
}

// inside returns places well inside rings, the widest first: the middles of
// the longest stretches across, at seven heights.
func inside(rings [][]pt) []pt {
	box := extent(rings)
	type stretch struct {
		at pt
		w  float64
	}
	var all []stretch
	for i := 1; i <= 7; i++ {
		y := box.y + box.h*float64(i)/8
		var xs []float64
		for _, ring := range rings {
			for k, a := range ring {
				b := ring[(k+1)%len(ring)]
				if (a.y > y) != (b.y > y) {
					xs = append(xs, a.x+(y-a.y)/(b.y-a.y)*(b.x-a.x))
				}
			}
		}
		slices.Sort(xs)
		for k := 0; k+1 < len(xs); k += 2 {
			middle := 1 - math.Abs(float64(i)-4)/8 // prefer the middle height
			all = append(all, stretch{pt{(xs[k] + xs[k+1]) / 2, y}, (xs[k+1] - xs[k]) * middle})
		}
	}
	slices.SortStableFunc(all, func(a, b stretch) int { return cmp.Compare(b.w, a.w) })
	out := make([]pt, len(all))
	for i, s := range all {
		out[i] = s.at
	}
	return out
}

// scaleAndNorth draws an arrow to true north and a scale bar of about a
// third of the map's width, in a strip 17 points high under the map.
func (c *chart) scaleAndNorth(w *flow, u Units, convergence float64) {
	const share = 0.35
	y := c.box.bottom() + 3
	perUnit, name := unit.MetersPerFoot, " ft"
	if u == Metric {
		perUnit, name = 1, " m"
	}
	length := niceBelow(c.box.w * share / c.scale / perUnit)
	width := length * perUnit * c.scale
	st := style{regular, 8.5, black}
	x, base := c.box.x+18, y+11
	north(c.p, pt{c.box.x + 6, y + 8}, convergence)
	w.write(c.box.x+10, y+7.5, "N", style{bold, 7.5, black})
	x += 4
	half := x + width/2
	c.p.box(black, rect{x, base - 3, width / 2, 3})
	c.p.frame(pen{ink: black, width: 0.5}, rect{x, base - 3, width, 3})
	c.p.rule(pen{ink: black, width: 0.5}, half, base-3, half, base)
	label := whole(length) + name
	if length < 10 {
		label = trimmed(length) + name
	}
	w.write(x+width+4, base+0.5, label, st)
}

// north draws an arrow that points to true north: convergence is how far grid
// north, which is up, lies clockwise from it.
func north(p *page, middle pt, convergence float64) {
	s, co := math.Sincos(-convergence * math.Pi / 180)
	turn := func(x, y float64) pt { return pt{middle.x + x*co - y*s, middle.y + x*s + y*co} }
	p.stroke(pen{ink: black, width: 0.9}, []pt{turn(0, 6.5), turn(0, -2)})
	p.fill(black, []pt{turn(0, -7.5), turn(2.8, -0.5), turn(0, -2), turn(-2.8, -0.5)})
}

// niceBelow is the largest of 1, 2 and 5 times a power of ten that is at most v.
func niceBelow(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range [...]float64{5, 2} {
		if m*p <= v {
			return m * p
		}
	}
	return p
}
