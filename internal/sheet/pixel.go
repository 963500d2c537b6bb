package sheet

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/vector"
)

// A pixels draws pages into pictures. It is the backend for a sheet that is
// texted.
type pixels struct {
	img   *image.RGBA
	scale float64 // pixels per point
	faces *typefaces
	// glyphs that were already read, by font and glyph index.
	glyphs [2]map[int][][]knot
	raster *vector.Rasterizer
}

// drawPages draws pages one under the other, dpi pixels to the inch, with a
// line between them.
func drawPages(pages []*page, faces *typefaces, dpi float64) *image.RGBA {
	scale := dpi / 72
	w, h := int(math.Round(pageW*scale)), int(math.Round(pageH*scale))
	all := image.NewRGBA(image.Rect(0, 0, w, h*len(pages)))
	draw.Draw(all, all.Bounds(), image.White, image.Point{}, draw.Src)
	d := &pixels{
		scale: scale, faces: faces, raster: vector.NewRasterizer(1, 1),
		glyphs: [2]map[int][][]knot{{}, {}},
	}
	for i, p := range pages {
		sheet := image.NewRGBA(image.Rect(0, 0, w, h))
		draw.Draw(sheet, sheet.Bounds(), image.White, image.Point{}, draw.Src)
		d.img = sheet
		for _, m := range p.marks {
			d.draw(m)
		}
		draw.Draw(all, image.Rect(0, i*h, w, (i+1)*h), sheet, image.Point{}, draw.Src)
	}
	return all
}

// withoutTail cuts off the white rows at the end of a picture, but for margin
// rows.
func withoutTail(img *image.RGBA, margin int) *image.RGBA {
	n := len(img.Pix)
	for n > 0 && img.Pix[n-1] == 255 {
		n--
	}
	last := min(n/img.Stride+1+margin, img.Rect.Dy())
	return &image.RGBA{Pix: img.Pix[:last*img.Stride], Stride: img.Stride, Rect: image.Rect(0, 0, img.Rect.Dx(), last)}
}

// writeGreys stores img as a PNG of sixteen greys.
func writeGreys(w io.Writer, img *image.RGBA) error {
	palette := make(color.Palette, 16)
	for i := range palette {
		palette[i] = color.Gray{Y: uint8(17 * i)}
	}
	out := image.NewPaletted(img.Bounds(), palette)
	for i := range out.Pix {
		p := img.Pix[4*i : 4*i+3 : 4*i+3]
		y := (19595*uint32(p[0]) + 38470*uint32(p[1]) + 7471*uint32(p[2]) + 1<<15) >> 16
		out.Pix[i] = uint8((y*15 + 127) / 255)
	}
	return writePNG(w, out)
}

func writePNG(w io.Writer, img image.Image) error {
	enc := png.Encoder{CompressionLevel: png.DefaultCompression}
	if err := enc.Encode(w, img); err != nil {
		return fmt.Errorf("writing the sheet as a picture: %w", err)
	}
	return nil
}

func (d *pixels) draw(m mark) {
	switch m := m.(type) {
	case filled:
		d.fill(oriented(m.rings), m.ink)
	case stroked:
		for _, line := range m.lines {
			d.fill(stretch(line, max(m.width, 0.7/d.scale)), m.ink)
		}
	case written:
		d.text(m)
	case pictured:
		d.picture(m)
	}
}

// oriented turns rings so that the inside by the even-odd rule is also the
// inside by the winding rule, which is what the rasterizer knows: a ring that
// lies in an odd number of others turns the other way.
func oriented(rings [][]pt) [][]pt {
	out := make([][]pt, 0, len(rings))
	for i, ring := range rings {
		if len(ring) < 3 {
			continue
		}
		others := make([][]pt, 0, len(rings))
		box := extent([][]pt{ring})
		for k, o := range rings {
			if k != i && extent([][]pt{o}).grown(0.01).contains(box) {
				others = append(others, o)
			}
		}
		hole := within(others, ring[0])
		if (signedArea(ring) < 0) != hole {
			ring = reversed(ring)
		}
		out = append(out, ring)
	}
	return out
}

func reversed(ring []pt) []pt {
	out := make([]pt, len(ring))
	for i, p := range ring {
		out[len(ring)-1-i] = p
	}
	return out
}

// stretch returns rings that cover a line of the given width with round ends
// and corners. All turn the same way, so that they add up by the winding rule.
func stretch(line []pt, width float64) [][]pt {
	r := width / 2
	var out [][]pt
	for i, b := range line {
		if width > 0.8 || len(line) == 1 {
			out = append(out, disc(b, r))
		}
		if i == 0 {
			continue
		}
		a := line[i-1]
		n := math.Hypot(b.x-a.x, b.y-a.y)
		if n == 0 {
			continue
		}
		ox, oy := -(b.y-a.y)/n*r, (b.x-a.x)/n*r
		out = append(out, []pt{{a.x - ox, a.y - oy}, {b.x - ox, b.y - oy}, {b.x + ox, b.y + oy}, {a.x + ox, a.y + oy}})
	}
	return out
}

// fill paints rings by the winding rule, smoothed at their edges.
func (d *pixels) fill(rings [][]pt, k ink) {
	box := d.begin(extent(rings))
	if box.Empty() {
		return
	}
	for _, ring := range rings {
		for i, p := range ring {
			x, y := float32(p.x*d.scale)-float32(box.Min.X), float32(p.y*d.scale)-float32(box.Min.Y)
			if i == 0 {
				d.raster.MoveTo(x, y)
			} else {
				d.raster.LineTo(x, y)
			}
		}
		d.raster.ClosePath()
	}
	d.raster.Draw(d.img, box, uniform(k), image.Point{})
}

// begin readies the rasterizer for what lies in r, and returns the pixels that
// it covers; empty when there are none.
func (d *pixels) begin(r rect) image.Rectangle {
	box := image.Rect(
		int(math.Floor(r.x*d.scale)), int(math.Floor(r.y*d.scale)),
		int(math.Ceil(r.right()*d.scale))+1, int(math.Ceil(r.bottom()*d.scale))+1)
	if box.Intersect(d.img.Bounds()).Empty() {
		return image.Rectangle{}
	}
	d.raster.Reset(box.Dx(), box.Dy())
	return box
}

func uniform(k ink) image.Image {
	r, g, b := k.rgb()
	return image.NewUniform(color.RGBA{r, g, b, 255})
}

func (d *pixels) text(m written) {
	f := d.faces[m.style.font]
	x := m.at.x
	for _, r := range m.text {
		g := f.glyph(r)
		d.glyph(m.style, g, pt{x, m.at.y})
		x += f.advance(g) * m.style.size
	}
}

// glyph paints one character from its baseline's left end.
func (d *pixels) glyph(st style, g int, at pt) {
	contours, ok := d.glyphs[st.font][g]
	if !ok {
		contours = d.faces[st.font].outline(g)
		d.glyphs[st.font][g] = contours
	}
	if len(contours) == 0 {
		return
	}
	em := st.size / d.faces[st.font].unitsPerEm
	box := d.begin(rect{at.x - st.size*0.3, at.y - st.size, st.size * 1.8, st.size * 1.35})
	if box.Empty() {
		return
	}
	place := func(x, y float64) (float32, float32) {
		return float32((at.x+x*em)*d.scale - float64(box.Min.X)), float32((at.y-y*em)*d.scale - float64(box.Min.Y))
	}
	for _, c := range contours {
		d.contour(c, place)
	}
	d.raster.Draw(d.img, box, uniform(st.ink), image.Point{})
}

// contour traces one closed TrueType contour: between two control points lies
// an implied point half way.
func (d *pixels) contour(c []knot, place func(x, y float64) (float32, float32)) {
	n := len(c)
	start := c[0]
	if !start.on {
		if last := c[n-1]; last.on {
			start = last
		} else {
			start = knot{(start.x + last.x) / 2, (start.y + last.y) / 2, true}
		}
	}
	x, y := place(start.x, start.y)
	d.raster.MoveTo(x, y)
	for i := range n {
		k, next := c[i], c[(i+1)%n]
		if k.on {
			x, y = place(k.x, k.y)
			d.raster.LineTo(x, y)
			continue
		}
		end := next
		if !next.on {
			end = knot{(k.x + next.x) / 2, (k.y + next.y) / 2, true}
		}
		cx, cy := place(k.x, k.y)
		x, y = place(end.x, end.y)
		d.raster.QuadTo(cx, cy, x, y)
	}
	d.raster.ClosePath()
}

func (d *pixels) picture(m pictured) {
	box := image.Rect(
		int(math.Round(m.box.x*d.scale)), int(math.Round(m.box.y*d.scale)),
		int(math.Round(m.box.right()*d.scale)), int(math.Round(m.box.bottom()*d.scale)))
	if box.Empty() {
		return
	}
	img := shrink(asRGBA(m.image), box.Dx(), box.Dy())
	draw.Draw(d.img, box, img, image.Point{}, draw.Src)
}
