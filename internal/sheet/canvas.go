package sheet

import (
	"image"
	"math"
)

// A letter page, in points.
const (
	pageW = 612.0
	pageH = 792.0
)

// An ink is a colour in print, 0xRRGGBB.
type ink uint32

// The inks are the project's, on white paper: print has no ground colour.
// Everything that one of them says is also said by a shape or a word.
const (
	black  ink = 0x1c1b19
	quiet  ink = 0x4a4843
	dim    ink = 0x86827a // hatches and levees: never text
	hair   ink = 0xb0aca2 // rules
	plum   ink = 0x6b1e5e
	teal   ink = 0x0b5a5c
	ochre  ink = 0x6e4700
	white  ink = 0xffffff
	shaded ink = 0xece9e1 // the ground of a chosen row
)

func (k ink) rgb() (r, g, b uint8) { return uint8(k >> 16), uint8(k >> 8), uint8(k) }

// A pt is a place on a page.
type pt struct{ x, y float64 }

// A rect is an upright rectangle on a page: its top left corner and its size.
type rect struct{ x, y, w, h float64 }

func (r rect) right() float64  { return r.x + r.w }
func (r rect) bottom() float64 { return r.y + r.h }

func (r rect) overlaps(o rect) bool {
	return r.x < o.right() && o.x < r.right() && r.y < o.bottom() && o.y < r.bottom()
}

func (r rect) contains(o rect) bool {
	return o.x >= r.x && o.y >= r.y && o.right() <= r.right() && o.bottom() <= r.bottom()
}

func (r rect) grown(d float64) rect { return rect{r.x - d, r.y - d, r.w + 2*d, r.h + 2*d} }

// A pen is how a line is drawn. Lines have round ends and corners.
type pen struct {
	ink   ink
	width float64   // points
	dash  []float64 // points on, off, on, ...; nil is solid
}

// A mark is one thing drawn on a page. Exactly one of the kinds below; the
// backends draw them in order, later ones over earlier ones.
type mark interface{ isMark() }

// filled is an area within rings, even-odd.
type filled struct {
	rings [][]pt
	ink   ink
}

// stroked are lines; dashes are already cut.
type stroked struct {
	lines [][]pt
	width float64
	ink   ink
}

// written is one line of text from its baseline's left end.
type written struct {
	at    pt
	text  string
	style style
}

// pictured is an image in a box.
type pictured struct {
	box   rect
	image image.Image // opaque
	photo bool        // may be stored with small losses
}

func (filled) isMark()   {}
func (stroked) isMark()  {}
func (written) isMark()  {}
func (pictured) isMark() {}

// A page is a list of marks.
type page struct{ marks []mark }

func (p *page) add(m mark) { p.marks = append(p.marks, m) }

// fill paints the inside of rings.
func (p *page) fill(k ink, rings ...[]pt) {
	if len(rings) > 0 {
		p.add(filled{rings, k})
	}
}

// box paints a rectangle.
func (p *page) box(k ink, r rect) {
	p.fill(k, []pt{{r.x, r.y}, {r.right(), r.y}, {r.right(), r.bottom()}, {r.x, r.bottom()}})
}

// stroke draws lines; dashes are cut here, so that both backends draw the same.
func (p *page) stroke(pn pen, lines ...[]pt) {
	if len(pn.dash) > 0 {
		var cut [][]pt
		for _, l := range lines {
			cut = append(cut, dashed(l, pn.dash)...)
		}
		lines = cut
	}
	if len(lines) > 0 {
		p.add(stroked{lines, pn.width, pn.ink})
	}
}

// rule draws a straight line.
func (p *page) rule(pn pen, x1, y1, x2, y2 float64) { p.stroke(pn, []pt{{x1, y1}, {x2, y2}}) }

// frame draws the edge of a rectangle.
func (p *page) frame(pn pen, r rect) {
	p.stroke(pn, []pt{{r.x, r.y}, {r.right(), r.y}, {r.right(), r.bottom()}, {r.x, r.bottom()}, {r.x, r.y}})
}

// disc returns a ring of 24 corners that looks round at the sizes used here.
func disc(c pt, radius float64) []pt {
	const corners = 24
	out := make([]pt, corners)
	for i := range out {
		s, co := math.Sincos(2 * math.Pi * float64(i) / corners)
		out[i] = pt{c.x + radius*co, c.y + radius*s}
	}
	return out
}
