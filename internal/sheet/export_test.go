package sheet

// A TextBox is one line of text as it stands on a page, in points.
type TextBox struct {
	Text       string
	X, Y, W, H float64
	Size       float64
}

// FieldText lists the text of each page of a field sheet.
func FieldText(f FieldSheet) [][]TextBox {
	faces := newTypefaces()
	return textBoxes(layField(f, faces), faces)
}

// JobText lists the text of each page of a job sheet.
func JobText(j JobSheet) [][]TextBox {
	faces := newTypefaces()
	return textBoxes(layJob(j, faces), faces)
}

func textBoxes(pages []*page, faces *typefaces) [][]TextBox {
	out := make([][]TextBox, len(pages))
	for i, p := range pages {
		for _, m := range p.marks {
			if t, ok := m.(written); ok {
				s := t.style.size
				out[i] = append(out[i], TextBox{
					Text: t.text, X: t.at.x, Y: t.at.y - 0.72*s,
					W: faces[t.style.font].width(t.text, s), H: 0.74 * s, Size: s,
				})
			}
		}
	}
	return out
}

// Width is the length of s in the regular or the bold font, in points.
func Width(s string, isBold bool, size float64) float64 {
	f := regular
	if isBold {
		f = bold
	}
	return newTypefaces()[f].width(s, size)
}

// Clean is what is printed of s.
func Clean(s string) string { return newTypefaces().clean(s) }

// HatchLength is the length of all lines that hatch a ring, and their count.
func HatchLength(ring [][2]float64, angle, gap float64) (length float64, lines int) {
	r := make([]pt, len(ring))
	for i, p := range ring {
		r[i] = pt{p[0], p[1]}
	}
	for _, l := range hatch([][]pt{r}, hatching{angle: angle, gap: gap}) {
		length += distance(l[0], l[1], l[1])
		lines++
	}
	return length, lines
}

// The formats of figures.
var (
	Dollars = dollars
	Whole   = whole
)

// Area is a figure in acres or hectares.
func Area(u Units, acres float64) string { return u.area(acres) }

// Areas is a figure with its unit.
func Areas(u Units, acres float64) string { return u.areas(acres) }
