package sheet

import (
	"fmt"
	"strings"

	"bittern/internal/doubt"
)

// Sizes of a field sheet, in points: large enough to be read in a truck.
const (
	answerSize = 20.0
	bodySize   = 10.5
	smallSize  = 9.0
	labelWidth = 104.0
	doubtsAtop = 3 // doubts on the first page; the rest follow
)

// layField sets a field sheet on pages.
func layField(f FieldSheet, faces *typefaces) []*page {
	w := &flow{faces: faces, left: 36, width: pageW - 72, top: 40, bottom: pageH - 44}
	w.next()
	w.y = 30
	fieldHead(w, f)
	fieldFacts(w, f)
	fieldDoubts(w, f.Doubts[:min(len(f.Doubts), doubtsAtop)], "Doubt")
	fieldMaps(w, f)
	fieldSuspects(w, f)
	fieldMoney(w, f)
	fieldGround(w, f)
	fieldHints(w, f)
	if len(f.Doubts) > doubtsAtop {
		w.heading("More doubts", 30)
		fieldDoubts(w, f.Doubts[doubtsAtop:], "Doubt")
	}
	fieldPlantings(w, f)
	fieldProvenance(w, f)
	fieldFeet(w, f)
	return w.pages
}

func fieldHead(w *flow, f FieldSheet) {
	st := style{regular, bodySize, black}
	tag := "Field sheet"
	if f.Question != "" {
		tag += ": " + f.Question
	}
	w.writeRight(w.right(), w.y+8, tag, style{regular, smallSize, quiet})
	where := f.Where
	if where == "" {
		where = f.Field
	}
	w.paraIn(where, st, w.left, w.width-110)
	w.y += 3
	w.p.rule(pen{ink: black, width: 1}, w.left, w.y, w.right(), w.y)
	w.y += 5
	answer := style{bold, answerSize, black}
	text := strings.Join(f.Answer, " ")
	for answer.size > 14 && len(w.faces.wrap(text, answer, w.width)) > 4 {
		answer.size--
	}
	w.para(text, answer)
	w.y += 3
}

func fieldFacts(w *flow, f FieldSheet) {
	st := style{regular, bodySize, black}
	for _, fact := range [...]struct{ label, text string }{
		{"How sure", f.HowSure},
		{"Could be missed", f.Missed},
		{"What it costs", f.Cost},
	} {
		if fact.text != "" {
			w.labelled(fact.label, fact.text, st, labelWidth)
			w.y += 1.5
		}
	}
}

// fieldDoubts sets doubts in ochre behind a bar, so that a photocopy shows
// them too.
func fieldDoubts(w *flow, doubts []doubt.Doubt, label string) {
	st := style{regular, bodySize - 0.5, ochre}
	for _, d := range doubts {
		text := strings.TrimSpace(d.Says + " " + d.Settle)
		if text == "" {
			continue
		}
		h := float64(len(w.faces.wrap(text, st, w.width-labelWidth))) * st.lead()
		w.need(min(h, 60))
		top, p := w.y, w.p
		name := label
		if d.About != "" {
			name += ": " + d.About
		}
		w.left, w.width = w.left+7, w.width-7
		w.labelled(name, text, st, labelWidth-7)
		w.left, w.width = w.left-7, w.width+7
		if w.p == p {
			w.p.box(ochre, rect{w.left, top + 1, 2.5, w.y - top - 2})
		}
		w.y += 1.5
	}
}

// fieldSuspects sets the table of lettered suspects, and one row for the small
// ones.
func fieldSuspects(w *flow, f FieldSheet) {
	if len(f.Suspects) == 0 && f.Small.Count == 0 {
		return
	}
	t := suspectTable(w, f.Units)
	rows := suspectRows(w, f)
	w.heading("What stands out, and what to do", t.height(rows[0])+20)
	t.titles()
	for _, r := range rows {
		t.row(r, false)
	}
	w.y += 2
}

func suspectTable(w *flow, u Units) table {
	return table{w: w, size: 10, head: smallSize, gap: 7, lines: 3, pad: 3, columns: []column{
		{title: "", width: 24},
		{title: u.areaName(), width: 42, right: true},
		{title: "look", width: 92},
		{title: "where", width: 132},
		{title: "what to do", width: 130},
		{title: "consistent with", width: 120},
	}}
}

func suspectRows(w *flow, f FieldSheet) [][]cell {
	rows := make([][]cell, 0, len(f.Suspects)+1)
	for _, s := range f.Suspects {
		verdict := s.Verdict
		if s.Chance != "" {
			verdict += "; " + s.Chance
		}
		causes := make([]string, len(s.Hints))
		for i, h := range s.Hints {
			causes[i] = h.Cause
		}
		look := joined(", ", s.Look, s.Severity)
		if s.State != "" && s.State != "suspect" {
			look = joined(", ", look, s.State)
		}
		rows = append(rows, []cell{
			{draw: letterDisc(w, s)},
			{text: f.Units.area(s.Acres), font: bold},
			{text: look},
			{text: s.Where},
			{text: verdict, font: bold},
			{text: strings.Join(causes, "; "), ink: quiet},
		})
	}
	if f.Small.Count > 0 {
		rows = append(rows, []cell{
			{text: ""},
			{text: f.Units.area(f.Small.Acres), font: bold},
			{text: f.Small.Look},
			{text: fmt.Sprintf("%s small ones together", number(f.Small.Count))},
			{text: f.Small.Verdict},
			{text: ""},
		})
		if f.Small.Count == 1 {
			rows[len(rows)-1][3].text = "one small one"
		}
	}
	return rows
}

func joined(sep string, parts ...string) string {
	kept := parts[:0:0]
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

// letterDisc draws a suspect's letter as the map does.
func letterDisc(w *flow, s FieldSuspect) func(rect) {
	return func(r rect) {
		c := pt{r.x + 8, r.y + r.h/2}
		pn := pen{ink: plum, width: 1}
		if s.Severity == "faint" {
			pn.dash = []float64{2, 1.6}
		}
		ring := disc(c, 6.6)
		w.p.stroke(pn, append(ring, ring[0]))
		w.writeMiddle(c.x, c.y+3.4, s.Letter, style{bold, 9.5, plum})
	}
}

// fieldMoney sets the alternatives as rows with their cost and what may still
// be lost as a bar.
func fieldMoney(w *flow, f FieldSheet) {
	if len(f.Alternatives) == 0 {
		if f.NoMoney != "" {
			w.heading("The money", 30)
			w.para(f.NoMoney, style{regular, bodySize, black})
		}
		return
	}
	t := moneyTable(w, f.Units)
	w.heading("The money", moneyHeight(w, f)-30)
	t.titles()
	axis := 0.0
	for _, a := range f.Alternatives {
		axis = max(axis, known(a.Cost)+max(known(a.LossHigh), known(a.LossLow)))
	}
	for _, a := range f.Alternatives {
		t.row(moneyRow(w, f.Units, a, axis), a.Chosen)
	}
	st := style{regular, smallSize, quiet}
	w.para("Bars: solid is what it costs, open is the least that may still be lost, hatched is from the least to the most. The shaded row is the choice at the prices typed.", st)
	for _, flip := range f.Flips {
		w.para("Would flip it: "+flip, style{regular, bodySize - 0.5, black})
	}
	w.y += 2
}

func moneyTable(w *flow, u Units) table {
	return table{w: w, size: 10, head: smallSize, gap: 8, lines: 2, pad: 3, columns: []column{
		{title: "", width: 158},
		{title: u.areaName(), width: 48, right: true},
		{title: "cost", width: 62, right: true},
		{title: "still lost, from \u2013 to", width: 100, right: true},
		{title: "minutes", width: 50, right: true},
		{title: "", width: 122},
	}}
}

func moneyHeight(w *flow, f FieldSheet) float64 {
	t := moneyTable(w, f.Units)
	h := 60.0
	for _, a := range f.Alternatives {
		h += t.height(moneyRow(w, f.Units, a, 1))
	}
	return h + 13*float64(len(f.Flips))
}

func known(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func moneyRow(w *flow, u Units, a Alternative, axis float64) []cell {
	font := regular
	if a.Chosen {
		font = bold
	}
	name := a.Name
	if a.Note != "" {
		name += ", " + a.Note
	}
	loss := "not known"
	switch {
	case a.LossLow != nil && a.LossHigh != nil && dollars(*a.LossLow) != dollars(*a.LossHigh):
		loss = dollars(*a.LossLow) + " \u2013 " + dollars(*a.LossHigh)
	case a.LossHigh != nil:
		loss = dollars(*a.LossHigh)
	case a.LossLow != nil:
		loss = "from " + dollars(*a.LossLow)
	}
	return []cell{
		{text: name, font: font},
		{text: orUnknown(a.Acres, u.area), font: font},
		{text: orUnknown(a.Cost, dollars), font: font},
		{text: loss, font: font},
		{text: orUnknown(a.Minutes, whole), font: font},
		{draw: moneyBar(w, a, axis)},
	}
}

func orUnknown(v *float64, show func(float64) string) string {
	if v == nil {
		return "not known"
	}
	return show(*v)
}

// moneyBar draws what an alternative costs, and after it what may still be lost.
func moneyBar(w *flow, a Alternative, axis float64) func(rect) {
	return func(r rect) {
		if !(axis > 0) || a.Cost == nil {
			return
		}
		per := r.w / axis
		y, h := r.y+3, 7.0
		cost, low, high := *a.Cost*per, known(a.LossLow)*per, known(a.LossHigh)*per
		edge := pen{ink: black, width: 0.5}
		w.p.rule(edge, r.x, y-1.5, r.x, y+h+1.5)
		if cost > 0 {
			w.p.box(black, rect{r.x, y, cost, h})
		}
		if low > 0.5 {
			w.p.frame(edge, rect{r.x + cost, y, low, h})
		}
		if high > low {
			b := rect{r.x + cost + low, y, high - low, h}
			ring := []pt{{b.x, b.y}, {b.right(), b.y}, {b.right(), b.bottom()}, {b.x, b.bottom()}}
			w.p.stroke(pen{ink: quiet, width: 0.6}, hatch([][]pt{ring}, hatching{angle: 60, gap: 2.4})...)
			w.p.frame(edge, b)
		}
	}
}

// fieldGround says what was looked at and what was left out, by reason.
func fieldGround(w *flow, f FieldSheet) {
	w.heading("The ground, and what was left out", 50)
	st := style{regular, bodySize, black}
	u := f.Units
	text := fmt.Sprintf("Looked at %s of %s.", u.area(f.LookedAt), u.areas(f.Acres))
	if len(f.LeftOut) > 0 {
		parts := make([]string, len(f.LeftOut))
		total := 0.0
		for i, l := range f.LeftOut {
			parts[i] = l.Reason + " " + u.area(l.Acres)
			total += l.Acres
		}
		text += fmt.Sprintf(" Left out %s: %s. No answer speaks of that ground.", u.area(total), strings.Join(parts, ", "))
	} else {
		text += " Nothing was left out."
	}
	w.para(text, st)
	if f.KilledSays != "" {
		w.para(f.KilledSays, st)
	}
	for _, n := range f.Notes {
		w.para(n, st)
	}
}

// fieldHints says for every suspect what it is consistent with, and what to
// look for on foot.
func fieldHints(w *flow, f FieldSheet) {
	first := true
	for _, s := range f.Suspects {
		for i, h := range s.Hints {
			if first {
				w.heading("What to look for on foot", 50)
				w.para("Consistent with is not a diagnosis: colour alone can't tell. Walk to be sure.", style{regular, smallSize, quiet})
				w.y += 2
				first = false
			}
			label := ""
			if i == 0 {
				label = s.Letter + ", " + f.Units.areas(s.Acres)
			}
			w.labelled(label, hintText(h), style{regular, 10, black}, 84)
		}
		if len(s.Hints) > 0 {
			w.y += 2
		}
	}
}

func hintText(h Hint) string {
	text := sentence(h.Cause) + "."
	if len(h.For) > 0 {
		text += " For: " + strings.Join(h.For, "; ") + "."
	}
	if len(h.Against) > 0 {
		text += " Against: " + strings.Join(h.Against, "; ") + "."
	}
	if h.LookFor != "" {
		text += " Look for: " + strings.TrimSuffix(h.LookFor, ".") + "."
	}
	return text
}

// fieldPlantings sets what planted patches showed: a row for each size, a
// column for each strength.
func fieldPlantings(w *flow, f FieldSheet) {
	var sizes, strengths []float64
	got := map[[2]float64]string{}
	for _, p := range f.Plantings {
		sizes, strengths = withValue(sizes, p.Acres), withValue(strengths, p.Strength)
		got[[2]float64{p.Acres, p.Strength}] = fmt.Sprintf("%d of %d", p.Found, p.Planted)
	}
	if len(sizes) == 0 || len(strengths) > 6 {
		return
	}
	cols := []column{{title: "patch planted in the picture", width: 150}}
	for _, s := range strengths {
		cols = append(cols, column{title: trimmed(s) + " spreads strong", width: 90 - 5*float64(max(0, len(strengths)-4)), right: true})
	}
	t := table{w: w, columns: cols, size: 10, head: smallSize, gap: 8, lines: 1, pad: 3}
	w.heading("What this flight would have shown", 40+16*float64(min(len(sizes), 6)))
	t.titles()
	for _, a := range sizes {
		row := []cell{{text: f.Units.areas(a)}}
		for _, s := range strengths {
			row = append(row, cell{text: got[[2]float64{a, s}]})
		}
		t.row(row, false)
	}
}

func withValue(vs []float64, v float64) []float64 {
	for _, have := range vs {
		if have == v {
			return vs
		}
	}
	return append(vs, v)
}

// fieldProvenance says which files and which program the sheet rests on, and
// the cautions.
func fieldProvenance(w *flow, f FieldSheet) {
	st := style{regular, smallSize, quiet}
	if len(f.Inputs) > 0 || f.Program != "" {
		w.heading("What this rests on", 30)
		w.para(inputsText(f.Inputs, f.Program), st)
	}
	if len(f.Cautions) > 0 {
		w.heading("Cautions", 14*float64(min(len(f.Cautions), 5)))
		for _, c := range f.Cautions {
			w.para(c, style{regular, 10, black})
		}
	}
}

// inputsText names files with the first twelve digits of their SHA-256.
func inputsText(inputs []Input, program string) string {
	parts := make([]string, 0, len(inputs)+1)
	for _, in := range inputs {
		s := joined(" ", in.Role, in.Name)
		if in.SHA256 != "" {
			s += " (" + in.SHA256[:min(12, len(in.SHA256))] + ")"
		}
		parts = append(parts, s)
	}
	text := strings.Join(parts, "; ")
	if text != "" {
		text = "Files, with the start of their SHA-256: " + text + "."
	}
	if program != "" {
		text = joined(" ", text, "Made by "+program+".")
	}
	return text
}

// fieldFeet numbers the pages.
func fieldFeet(w *flow, f FieldSheet) {
	st := style{regular, 8.5, quiet}
	for i, p := range w.pages {
		w.p = p
		y := pageH - 26.0
		p.rule(pen{ink: hair, width: 0.5}, w.left, y-11, w.right(), y-11)
		w.writeFit(w.left, y, joined(" \u00b7 ", f.Field, "The label is the law; a licensed applicator decides; local rules come first."), st, w.width-70, 7)
		w.writeRight(w.right(), y, fmt.Sprintf("page %d of %d", i+1, len(w.pages)), st)
	}
}
