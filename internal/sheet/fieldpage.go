package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/unit"
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
	if !fieldFits(w, f, fieldSuspects) && fieldFits(w, f, fieldMoney) {
		// What it costs stays on the first page; the table begins there and goes on.
		fieldMoney(w, f)
		fieldSuspects(w, f)
	} else {
		fieldSuspects(w, f)
		fieldMoney(w, f)
	}
	fieldRest(w, f)
	fieldFeet(w, f)
	return w.pages
}

// fieldFits says whether a part has room on this page.
func fieldFits(w *flow, f FieldSheet, part func(*flow, FieldSheet)) bool {
	return w.measure(func(s *flow) { part(s, f) }) <= w.bottom-w.y
}

// fieldRest is what follows the suspects and the money.
func fieldRest(w *flow, f FieldSheet) {
	fieldGround(w, f)
	fieldHints(w, f)
	if len(f.Doubts) > doubtsAtop {
		w.heading("More doubts", 30)
		fieldDoubts(w, f.Doubts[doubtsAtop:], "Doubt")
	}
	fieldPlantings(w, f)
	fieldProvenance(w, f)
}

func fieldHead(w *flow, f FieldSheet) {
	where := f.Where
	if where == "" {
		where = f.Field
	}
	w.para(where, style{regular, bodySize, black})
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
	w.heading("What stands out, and what to do", t.heightOf(rows[:min(len(rows), 2)]))
	t.titles()
	for _, r := range rows {
		t.row(r, false)
	}
	w.y += 2
}

func suspectTable(w *flow, u Units) table {
	return table{w: w, size: 10, head: smallSize, gap: 7, lines: 4, pad: 3, columns: []column{
		{title: "", width: 22},
		{title: u.areaName(), width: 40, right: true},
		{title: "look", width: 86},
		{title: "where", width: 122},
		{title: "what to do", width: 149},
		{title: "consistent with", width: 121},
	}}
}

func suspectRows(w *flow, f FieldSheet) [][]cell {
	rows := make([][]cell, 0, len(f.Suspects)+1)
	for _, s := range f.Suspects {
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
			{text: s.Verdict, note: s.Chance, font: bold},
			{text: strings.Join(causes, "; "), ink: quiet},
		})
	}
	if f.Small.Count > 0 {
		rows = append(rows, []cell{
			{text: ""},
			{text: f.Units.area(f.Small.Acres), font: bold},
			{text: f.Small.Look},
			{text: fmt.Sprintf("%s small ones together", unit.Count(f.Small.Count))},
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
		return
	}
	t := moneyTable(w, f.Units)
	axis := 0.0
	for _, a := range f.Alternatives {
		axis = max(axis, known(a.Cost)+max(known(a.LossHigh), known(a.LossLow)))
	}
	rows := make([][]cell, len(f.Alternatives))
	for i, a := range f.Alternatives {
		rows[i] = moneyRow(w, f.Units, a, axis)
	}
	w.heading("The money", min(t.heightOf(rows)+30, 400))
	t.titles()
	for i, a := range f.Alternatives {
		t.row(rows[i], a.Chosen)
	}
	st := style{regular, smallSize, quiet}
	w.para("Bars: solid is cost, hatched is what may still be lost. Shaded: costs least, loss included, if every suspect is real.", st)
	for _, flip := range f.Flips {
		w.para(wouldFlip+flip, style{regular, bodySize - 0.5, black})
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

// wouldFlip begins a sentence that says what would change the choice.
const wouldFlip = "Would flip it: "

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
		{text: a.Name, note: a.Note, font: font},
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
	if len(f.LeftOut) == 0 {
		text += " Nothing was left out."
	} else {
		text += leftOutText(f)
	}
	w.para(text, st)
	if f.KilledSays != "" {
		w.para(f.KilledSays, st)
	}
	for _, n := range f.Notes {
		w.para(n, st)
	}
}

// leftOutText lists what was left out, and says so when the figures as they are
// printed do not add up to the last place.
func leftOutText(f FieldSheet) string {
	u := f.Units
	parts := make([]string, len(f.LeftOut))
	total, printed := 0.0, asPrinted(u, f.LookedAt)
	for i, l := range f.LeftOut {
		parts[i] = l.Reason + " " + u.area(l.Acres)
		total += l.Acres
		printed += asPrinted(u, l.Acres)
	}
	text := fmt.Sprintf(" Left out %s: %s. No answer speaks of that ground.", u.area(total), strings.Join(parts, ", "))
	if math.Abs(printed-asPrinted(u, f.Acres)) > 0.005 {
		text += " Each figure is rounded."
	}
	return text
}

// asPrinted is an area as it is printed.
func asPrinted(u Units, acres float64) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(u.area(acres), ",", ""), 64)
	if err != nil {
		return 0 // "under 0.01"
	}
	return v
}

// A cause is one cause that suspects are consistent with, and which they are.
type cause struct {
	name, lookFor string
	letters       []string
	reasons       []string // one for each letter: what speaks for and against
}

// causesOf gathers the hints of all suspects by cause, in order of appearance,
// so that what to look for on foot is said once.
func causesOf(suspects []FieldSuspect) []cause {
	var out []cause
	for _, s := range suspects {
		for _, h := range s.Hints {
			i := slices.IndexFunc(out, func(c cause) bool { return c.name == h.Cause && c.lookFor == h.LookFor })
			if i < 0 {
				i = len(out)
				out = append(out, cause{name: h.Cause, lookFor: h.LookFor})
			}
			out[i].letters = append(out[i].letters, s.Letter)
			out[i].reasons = append(out[i].reasons, reasons(h))
		}
	}
	return out
}

func reasons(h Hint) string {
	text := strings.Join(h.For, "; ")
	if len(h.Against) > 0 {
		text = joined(". ", text, "Against: "+strings.Join(h.Against, "; "))
	}
	return text
}

// text says which suspects fit a cause and why; suspects with the same reasons
// are named together.
func (c cause) text() string {
	var groups [][]string
	var said []string
	for i, r := range c.reasons {
		k := slices.Index(said, r)
		if k < 0 {
			k = len(said)
			said, groups = append(said, r), append(groups, nil)
		}
		groups[k] = append(groups[k], c.letters[i])
	}
	parts := make([]string, 0, len(said))
	for k, r := range said {
		if r != "" {
			parts = append(parts, strings.Join(groups[k], ", ")+": "+r+".")
		} else {
			parts = append(parts, strings.Join(groups[k], ", ")+".")
		}
	}
	text := strings.Join(parts, " ")
	if c.lookFor != "" {
		text += " Look for " + strings.TrimSuffix(c.lookFor, ".") + "."
	}
	return text
}

// fieldHints says what the suspects are consistent with, and what to look for
// on foot.
func fieldHints(w *flow, f FieldSheet) {
	causes := causesOf(f.Suspects)
	if len(causes) == 0 {
		return
	}
	w.heading("What to look for on foot", 50)
	w.para("Consistent with is not a diagnosis: colour alone can't tell. Walk to be sure.", style{regular, smallSize, quiet})
	w.y += 2
	for _, c := range causes {
		w.labelled(unit.Sentence(c.name), c.text(), style{regular, 10, black}, labelWidth)
		w.y += 1.5
	}
}

// fieldPlantings sets what planted patches showed: a row for each strength, a
// column for each size.
func fieldPlantings(w *flow, f FieldSheet) {
	var sizes, strengths []float64
	covers, got := map[float64]float64{}, map[[2]float64]string{}
	for _, p := range f.Plantings {
		sizes, strengths = withValue(sizes, p.Acres), withValue(strengths, p.Strength)
		covers[p.Strength] = p.Cover
		got[[2]float64{p.Acres, p.Strength}] = fmt.Sprintf("%d of %d", p.Found, p.Planted)
	}
	if len(sizes) == 0 || len(sizes) > 8 {
		return
	}
	const first = 132.0
	cols := []column{{title: "planted patches found", width: first}}
	for _, a := range sizes {
		cols = append(cols, column{title: f.Units.areas(a), width: (w.width - first) / float64(max(len(sizes), 5)), right: true})
	}
	t := table{w: w, columns: cols, size: 10, head: smallSize, gap: 8, lines: 1, pad: 3}
	w.heading("What this flight would have shown", 24+16*float64(len(strengths)))
	t.titles()
	for _, s := range strengths {
		name := "1 spread"
		switch {
		case s != math.Trunc(s): // that of a suspect
			name = unit.Number(s, 1) + " spreads"
		case s != 1:
			name = unit.Number(s, 0) + " spreads"
		}
		if covers[s] > 0 {
			name += " (" + unit.AboutPercent(covers[s]) + ")"
		} else {
			name += " strong"
		}
		row := []cell{{text: name}}
		for _, a := range sizes {
			row = append(row, cell{text: got[[2]float64{a, s}]})
		}
		t.row(row, false)
	}
	w.y += 2
	if f.PlantedAs != "" && covers[strengths[0]] > 0 {
		w.para("In brackets: "+f.PlantedAs+".", style{regular, smallSize, quiet})
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
		w.heading("Cautions", 26)
		w.para(strings.Join(f.Cautions, " "), style{regular, 10, black})
	}
}

// middleCut shortens a file's name to at most n characters, keeping its start
// and its end.
func middleCut(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n/2]) + "\u2026" + string(r[len(r)-n/2+1:])
}

// inputsText names files with the first twelve digits of their SHA-256.
func inputsText(inputs []Input, program string) string {
	parts := make([]string, 0, len(inputs)+1)
	for _, in := range inputs {
		s := joined(" ", in.Role, middleCut(in.Name, 48))
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

// footLaw stands on every page of a field sheet.
const footLaw = "The label is the law. A licensed applicator decides. Local rules first."

// fieldFeet numbers the pages.
func fieldFeet(w *flow, f FieldSheet) {
	st := style{regular, 8.5, quiet}
	for i, p := range w.pages {
		w.p = p
		y := pageH - 26.0
		p.rule(pen{ink: hair, width: 0.5}, w.left, y-11, w.right(), y-11)
		name, ns := w.faces.fit(joined(" \u00b7 ", joined(": ", "Field sheet", f.Question), f.Field), st, 205, 7.5)
		w.write(w.left, y, name, ns)
		w.writeFit(w.left+212, y, footLaw, st, w.width-212-60, 7)
		w.writeRight(w.right(), y, fmt.Sprintf("page %d of %d", i+1, len(w.pages)), st)
	}
}
