package sheet

import "math"

// A flow sets text and tables down a page and goes on to the next one when a
// page is full.
type flow struct {
	faces        *typefaces
	pages        []*page
	p            *page
	y            float64 // where the next thing starts
	top, bottom  float64 // of every page's writing
	left, width  float64
	firstOfAPage bool
}

func (w *flow) right() float64 { return w.left + w.width }

// next begins a new page.
func (w *flow) next() {
	w.p = &page{}
	w.pages = append(w.pages, w.p)
	w.y = w.top
	w.firstOfAPage = true
}

// need begins a new page unless h points are left on this one.
func (w *flow) need(h float64) {
	if w.y+h > w.bottom {
		w.next()
	}
}

// measure is how high something is when it is set on a page without end.
func (w *flow) measure(set func(*flow)) float64 {
	p := &page{}
	scratch := &flow{faces: w.faces, pages: []*page{p}, p: p, bottom: math.Inf(1), left: w.left, width: w.width}
	set(scratch)
	return scratch.y
}

// write sets one line with its baseline at y, cleaned; it returns its width.
func (w *flow) write(x, y float64, s string, st style) float64 {
	s = w.faces.clean(s)
	if s == "" {
		return 0
	}
	w.p.add(written{pt{x, y}, s, st})
	return w.faces[st.font].width(s, st.size)
}

// writeRight sets one line that ends at x.
func (w *flow) writeRight(x, y float64, s string, st style) {
	s = w.faces.clean(s)
	w.write(x-w.faces[st.font].width(s, st.size), y, s, st)
}

// writeMiddle sets one line about x.
func (w *flow) writeMiddle(x, y float64, s string, st style) {
	s = w.faces.clean(s)
	w.write(x-w.faces[st.font].width(s, st.size)/2, y, s, st)
}

// writeFit sets one line in at most width, smaller or cut short if it must be.
func (w *flow) writeFit(x, y float64, s string, st style, width, least float64) {
	s, st = w.faces.fit(s, st, width, least)
	w.write(x, y, s, st)
}

// lines sets lines one under the other from the top edge y and returns the
// bottom edge.
func (w *flow) lines(x, y float64, lines []string, st style) float64 {
	for _, l := range lines {
		w.write(x, y+0.95*st.size, l, st)
		y += st.lead()
	}
	return y
}

// para sets a paragraph over the whole width; a long one may run over to the
// next page.
func (w *flow) para(s string, st style) { w.paraIn(s, st, w.left, w.width) }

func (w *flow) paraIn(s string, st style, x, width float64) {
	lines := w.faces.wrap(s, st, width)
	if len(lines) <= 3 {
		w.need(float64(len(lines)) * st.lead())
	}
	for _, l := range lines {
		w.need(st.lead())
		w.y = w.lines(x, w.y, []string{l}, st)
		w.firstOfAPage = false
	}
}

// labelled sets a short bold label in a column and a paragraph beside it.
func (w *flow) labelled(label, s string, st style, column float64) {
	lines := w.faces.wrap(s, st, w.width-column)
	if len(lines) == 0 {
		return
	}
	w.need(min(float64(len(lines)), 3) * st.lead())
	labels, ls := w.faces.short(label, style{bold, st.size - 0.5, st.ink}, column-8, 2, 7)
	under := w.lines(w.left, w.y, labels, ls)
	for _, l := range lines {
		w.need(st.lead())
		w.y = w.lines(w.left+column, w.y, []string{l}, st)
		w.firstOfAPage = false
	}
	if under-w.y < 40 { // both still on this page
		w.y = max(w.y, under)
	}
}

// headingHeight is what a section's title takes with the rule above it.
const headingHeight = 8 + 1.24*11 + 1

// heading sets a section's title with a hairline above it, and keeps it on one
// page with the first keep points of what follows.
func (w *flow) heading(s string, keep float64) {
	st := style{bold, 11, black}
	w.need(headingHeight + keep)
	if !w.firstOfAPage {
		w.y += 5
		w.p.rule(pen{ink: hair, width: 0.5}, w.left, w.y, w.right(), w.y)
		w.y += 3
	}
	w.y = w.lines(w.left, w.y, []string{s}, st) + 1
	w.firstOfAPage = false
}

// A column of a table.
type column struct {
	title string
	width float64
	right bool // figures end at the column's right edge
}

// A cell is what stands in one place of a table.
type cell struct {
	text string
	note string // under the text, smaller
	font fontID
	ink  ink
	draw func(r rect) // draws instead of text, in the cell's first line
}

// A table sets rows under titles. Cells wrap; a row is never torn apart.
type table struct {
	w       *flow
	columns []column
	size    float64 // of the text
	head    float64 // of the titles
	gap     float64 // between columns
	lines   int     // at most, in one cell
	pad     float64 // under each row; the rule stands in its middle
}

// titleLines are a column's name as it is set, in at most two lines.
func (t table) titleLines(c column) ([]string, style) {
	return t.w.faces.short(c.title, style{regular, t.head, quiet}, c.width-t.gap, 2, 6)
}

// titlesHeight is what the names of the columns and their rule take.
func (t table) titlesHeight() float64 {
	h := 0.0
	for _, c := range t.columns {
		lines, st := t.titleLines(c)
		h = max(h, float64(len(lines))*st.lead())
	}
	return h + 3.5
}

// titles sets the names of the columns and a rule under them.
func (t table) titles() {
	x, base := t.w.left, t.w.y+t.titlesHeight()-3.5
	for _, c := range t.columns {
		lines, st := t.titleLines(c)
		y := base - float64(len(lines))*st.lead()
		for _, l := range lines {
			t.set(x, y, l, st, c)
			y += st.lead()
		}
		x += c.width
	}
	t.w.y = base + 1
	t.w.p.rule(pen{ink: quiet, width: 0.6}, t.w.left, t.w.y, t.w.right(), t.w.y)
	t.w.y += 2.5
}

// heightOf is what titles and rows take.
func (t table) heightOf(rows [][]cell) float64 {
	h := t.titlesHeight()
	for _, r := range rows {
		h += t.height(r)
	}
	return h
}

func (t table) set(x, top float64, line string, st style, c column) {
	if c.right {
		t.w.writeRight(x+c.width-t.gap, top+0.95*st.size, line, st)
		return
	}
	t.w.write(x, top+0.95*st.size, line, st)
}

// height is what a row takes.
func (t table) height(cells []cell) float64 {
	h := style{size: t.size}.lead()
	for i, c := range cells {
		lines, st := t.wrapped(i, c)
		notes, ns := t.wrappedNote(i, c)
		h = max(h, float64(len(lines))*st.lead()+float64(len(notes))*ns.lead())
	}
	return h + t.pad
}

func (t table) wrapped(i int, c cell) ([]string, style) {
	st := style{c.font, t.size, c.ink}
	if st.ink == 0 {
		st.ink = black
	}
	return t.w.faces.short(c.text, st, t.columns[i].width-t.gap, t.lines, t.size-2)
}

func (t table) wrappedNote(i int, c cell) ([]string, style) {
	return t.w.faces.short(c.note, style{regular, t.size - 0.5, quiet}, t.columns[i].width-t.gap, t.lines+1, t.size-2)
}

// row sets one row with a hairline under it. Chosen rows have a shaded ground.
func (t table) row(cells []cell, chosen bool) {
	h := t.height(cells)
	if t.w.y+h > t.w.bottom {
		t.w.next()
		t.titles()
	}
	t.w.firstOfAPage = false
	if chosen {
		t.w.p.box(shaded, rect{t.w.left - 3, t.w.y - 0.5*t.pad, t.w.width + 6, h - 0.1*t.pad})
	}
	x := t.w.left
	for i, c := range cells {
		col := t.columns[i]
		if c.draw != nil {
			c.draw(rect{x, t.w.y, col.width - t.gap, style{size: t.size}.lead()})
		}
		lines, st := t.wrapped(i, c)
		y := t.w.y
		for _, l := range lines {
			t.set(x, y, l, st, col)
			y += st.lead()
		}
		notes, ns := t.wrappedNote(i, c)
		for _, l := range notes {
			t.set(x, y, l, ns, col)
			y += ns.lead()
		}
		x += col.width
	}
	t.w.y += h
	y := t.w.y - 0.6*t.pad
	t.w.p.rule(pen{ink: hair, width: 0.3}, t.w.left, y, t.w.right(), y)
}
