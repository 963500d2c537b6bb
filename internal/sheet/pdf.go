package sheet

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/liberation/liberationsansbold"
	"github.com/go-fonts/liberation/liberationsansregular"
)

// properties are what a PDF says of itself.
type properties struct {
	title, subject, program string
	stamp                   time.Time
}

// fixedStamp is the time in a PDF's properties when none was given, so that
// the same sheet has the same bytes.
func (p properties) fixedStamp() time.Time {
	if p.stamp.IsZero() {
		return time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return p.stamp.UTC()
}

// cleaned drops characters that a sheet could not print.
func (p properties) cleaned(faces *typefaces) properties {
	p.title, p.subject, p.program = faces.clean(p.title), faces.clean(p.subject), faces.clean(p.program)
	return p
}

// writePDF draws pages into a PDF.
func writePDF(w io.Writer, pages []*page, about properties) error {
	doc := fpdf.NewCustom(&fpdf.InitType{
		OrientationStr: "P", UnitStr: "pt", Size: fpdf.SizeType{Wd: pageW, Ht: pageH},
	})
	doc.SetCatalogSort(true)
	doc.SetCreationDate(about.fixedStamp())
	doc.SetModificationDate(about.fixedStamp())
	doc.SetTitle(about.title, true)
	doc.SetSubject(about.subject, true)
	doc.SetCreator(about.program, true)
	doc.SetProducer("bittern", true)
	doc.SetLang("en-US")
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.SetLineCapStyle("round")
	doc.SetLineJoinStyle("round")
	doc.AddUTF8FontFromBytes(pdfFont(regular), "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes(pdfFont(bold), "", liberationsansbold.TTF)
	out := &pdfPages{doc: doc, widths: map[int]bool{}}
	for _, p := range pages {
		doc.AddPage()
		for _, m := range p.marks {
			out.draw(m)
		}
	}
	if err := doc.Output(w); err != nil {
		return fmt.Errorf("writing the sheet: %w", err)
	}
	return nil
}

func pdfFont(f fontID) string {
	if f == bold {
		return "LiberationSansBold"
	}
	return "LiberationSans"
}

// pdfPages is the PDF backend. Colours, widths and fonts are set before every
// mark: they leak from one call of the library to the next.
type pdfPages struct {
	doc    *fpdf.Fpdf
	images int
	widths map[int]bool // of the images so far, pixels
}

func (d *pdfPages) draw(m mark) {
	switch m := m.(type) {
	case filled:
		d.setFill(m.ink)
		for _, ring := range m.rings {
			d.path(ring)
			d.doc.ClosePath()
		}
		d.doc.DrawPath("F*")
	case stroked:
		r, g, b := m.ink.rgb()
		d.doc.SetDrawColor(int(r), int(g), int(b))
		d.doc.SetLineWidth(m.width)
		for _, line := range m.lines {
			d.path(line)
		}
		d.doc.DrawPath("D")
	case written:
		r, g, b := m.style.ink.rgb()
		d.doc.SetTextColor(int(r), int(g), int(b))
		d.doc.SetFont(pdfFont(m.style.font), "", m.style.size)
		d.doc.Text(m.at.x, m.at.y, m.text)
	case pictured:
		d.image(m)
	}
}

func (d *pdfPages) setFill(k ink) {
	r, g, b := k.rgb()
	d.doc.SetFillColor(int(r), int(g), int(b))
}

func (d *pdfPages) path(points []pt) {
	for i, p := range points {
		if i == 0 {
			d.doc.MoveTo(p.x, p.y)
		} else {
			d.doc.LineTo(p.x, p.y)
		}
	}
}

func (d *pdfPages) image(m pictured) {
	// The library puts images in the order of their widths, and those of one
	// width in no order at all: no two may have the same.
	for d.widths[m.image.Bounds().Dx()] {
		m = widened(m)
	}
	d.widths[m.image.Bounds().Dx()] = true
	var buf bytes.Buffer
	kind, err := encode(&buf, m.image, m.photo)
	if err != nil {
		d.doc.SetError(fmt.Errorf("storing a picture: %w", err))
		return
	}
	d.images++
	name := fmt.Sprintf("picture-%d", d.images)
	opts := fpdf.ImageOptions{ImageType: kind}
	d.doc.RegisterImageOptionsReader(name, opts, &buf)
	d.doc.ImageOptions(name, m.box.x, m.box.y, m.box.w, m.box.h, false, opts, 0, "")
}

// widened repeats the last column of an image beyond its box.
func widened(m pictured) pictured {
	b := m.image.Bounds()
	out := image.NewRGBA(image.Rect(0, 0, b.Dx()+1, b.Dy()))
	draw.Draw(out, out.Rect, m.image, b.Min, draw.Src)
	for y := range b.Dy() {
		out.Set(b.Dx(), y, m.image.At(b.Max.X-1, b.Min.Y+y))
	}
	m.box.w *= float64(b.Dx()+1) / float64(b.Dx())
	m.image = out
	return m
}

// encode stores a photograph as JPEG and a drawing as PNG.
func encode(buf *bytes.Buffer, img image.Image, photo bool) (kind string, err error) {
	if photo {
		return "JPG", jpeg.Encode(buf, img, &jpeg.Options{Quality: 88})
	}
	return "PNG", (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(buf, img)
}
