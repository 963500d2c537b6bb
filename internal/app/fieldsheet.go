package app

import (
	"fmt"
	"io"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/question"
	"bittern/internal/sheet"
	"bittern/internal/structure"
	"bittern/internal/unit"
)

// cautions stand at the foot of every sheet.
var cautions = [...]string{
	"A suspect is a place to walk to, not a diagnosis.",
	"Do not enter treated ground before its re-entry interval has ended.",
}

// writeFieldSheet writes the field sheet.
func (r *run) writeFieldSheet(w io.Writer) error { return sheet.Field(w, r.fieldSheet()) }

// writeFieldPicture writes the field sheet's pages as one picture.
func (r *run) writeFieldPicture(w io.Writer) error {
	const dpi = 150 // as fine as a page printer needs for the smallest print
	return sheet.FieldPNG(w, r.fieldSheet(), dpi)
}

// fieldSheet fills the field sheet from the day.
func (r *run) fieldSheet() sheet.FieldSheet {
	d := r.day
	f := sheet.FieldSheet{
		Field: d.Field.Name, Where: d.whereAndWhen(), Question: d.words().Called,
		Answer: d.Answer, HowSure: d.howSure(), Missed: d.missed(r.units), Cost: d.cost(),
		Units: sheet.Units(r.Units), ConvergenceDeg: r.grid.ConvergenceDeg,
		Boundary: r.boundary, Plain: sheet.Picture{Image: r.plain(), Bounds: bounds(r.grid)}, Departure: departurePicture(r.grid, r.norm.Spreads),
		Killed: r.finding.Killed, KilledSays: d.killedWords(r.units),
		Acres: d.Field.Acres, LookedAt: d.LookedAt.Acres, KilledAcres: d.Killed.Acres,
		LeftOut: r.leftOutShapes(), Cautions: cautions[:], Program: d.Program,
		Inputs: d.sheetInputs(), Notes: d.notes(r.units),
	}
	for _, w := range d.Warnings {
		f.Doubts = append(f.Doubts, doubt.Doubt{About: w.About, Says: w.Says, Settle: w.Settle})
	}
	f.Skips = r.skipLines()
	r.sheetGround(&f)
	r.sheetSuspects(&f)
	d.sheetMoney(&f)
	if d.SmallestSeen != nil {
		for _, p := range d.SmallestSeen.Table {
			f.Plantings = append(f.Plantings, sheet.Planting(p))
		}
		f.PlantedAs = fmt.Sprintf(d.words().Planted, "that share")
	}
	if r.Printed != nil {
		f.Stamp = *r.Printed
	}
	return f
}

func (r *run) sheetGround(f *sheet.FieldSheet) {
	for _, l := range r.layout.Levees {
		f.Levees = append(f.Levees, l.Line)
	}
	for i, c := range r.layout.Checks {
		m := sheet.CheckMark{ID: c.ID, Outline: c.Outline}
		if s := r.day.Checks[i].Standing; s != nil && s.Apart {
			m.Apart = deref(s.Look) + " against its peers"
		}
		f.Checks = append(f.Checks, m)
	}
}

// leftOutShapes are the left-out grounds by reason, as day.json counts them,
// with their outlines.
func (r *run) leftOutShapes() []sheet.LeftOut {
	var out []sheet.LeftOut
	for _, l := range r.day.LeftOut {
		out = append(out, sheet.LeftOut{Reason: l.Reason, Acres: l.Acres, Outline: r.reasonOutline(l.Reason)})
	}
	return out
}

func (r *run) reasonOutline(word string) geo.MultiPolygon {
	for reason := structure.Levee; reason <= structure.ByHand; reason++ {
		if reasonWord(reason) == word {
			return r.grid.TraceMask(func(cell int) bool { return r.layout.Reason[cell] == reason })
		}
	}
	return nil
}

func (r *run) sheetSuspects(f *sheet.FieldSheet) {
	for i, s := range r.day.Suspects {
		found := r.finding.Suspects[i]
		if s.Letter == nil {
			f.Small.Count++
			f.Small.Acres += s.Acres
			f.Small.Outlines = append(f.Small.Outlines, found.Outline)
			continue
		}
		row := sheet.FieldSuspect{
			Letter: *s.Letter, Acres: s.Acres, Look: s.Look, Severity: s.Severity, State: s.State,
			Where: "check " + s.Check + ", " + s.Place, Verdict: verdictWalk,
			Outline: found.Outline, Center: found.Center,
		}
		if s.Verdict != nil {
			row.Verdict = *s.Verdict
		}
		if s.BreakEvenChance != nil {
			row.Chance = chanceWords(*s.BreakEvenChance)
		}
		for _, h := range s.Hints {
			row.Hints = append(row.Hints, sheet.Hint(h))
		}
		f.Suspects = append(f.Suspects, row)
	}
}

func (d *Day) sheetMoney(f *sheet.FieldSheet) {
	if d.Reckoning == nil {
		return
	}
	for _, a := range d.Reckoning.Alternatives {
		f.Alternatives = append(f.Alternatives, sheet.Alternative{
			Name: a.Name, Acres: &a.TreatedAcres, Cost: a.CostDollars,
			LossLow: a.LossDollars.Low, LossHigh: a.LossDollars.High, Minutes: a.Minutes,
			Chosen: d.Reckoning.Choice != nil && *d.Reckoning.Choice == a.ID, Note: a.note(),
		})
	}
	for _, p := range d.Reckoning.Flips {
		f.Flips = append(f.Flips, d.Reckoning.flipWords(p))
	}
}

// note says what the bill does not show: acres that are paid for and not treated.
func (a Alternative) note() string {
	if a.BilledAcres == nil || *a.BilledAcres <= a.TreatedAcres {
		return ""
	}
	return fmt.Sprintf("billed as %s, the least that is charged for", unit.US.Area(unit.Acres(*a.BilledAcres)))
}

// flipWords is one sentence: what would change the choice.
func (r *Reckoning) flipWords(p Flip) string {
	return fmt.Sprintf("If %s of the suspects are real, %q is cheaper than %q.", oddsWords(p.At), r.name(p.To), r.name(p.From))
}

// name is an alternative's name.
func (r *Reckoning) name(id string) string {
	for _, a := range r.Alternatives {
		if a.ID == id {
			return a.Name
		}
	}
	return id
}

func (d *Day) sheetInputs() []sheet.Input {
	var out []sheet.Input
	for _, in := range d.Inputs {
		out = append(out, sheet.Input{Role: in.Role, Name: in.Name, SHA256: in.SHA256})
	}
	return out
}

// howSure says how far the answer can be trusted.
func (d *Day) howSure() string {
	w := d.words()
	if len(d.Suspects) == 0 && w.Unchanged == "" {
		return "Nobody can be sure from colour alone."
	}
	if s := d.since(); s != "" {
		return joinSentences(s, w.Unchanged)
	}
	return joinSentences(w.Sure, w.Unchanged)
}

// cost says in a sentence or two what it costs.
func (d *Day) cost() string {
	r := d.Reckoning
	if q, _ := question.Named(d.Question); !q.Priced {
		return "This question treats nothing, so nothing is said of cost."
	}
	if r == nil {
		return "Prices are not typed, so nothing is said of cost."
	}
	if len(d.Suspects) == 0 {
		return "Nothing to treat, nothing to pay."
	}
	var leave, best *Alternative
	for i := range r.Alternatives {
		a := &r.Alternatives[i]
		if a.ID == "leave" {
			leave = a
		}
		if r.Choice != nil && a.ID == *r.Choice {
			best = a
		}
	}
	if leave == nil || best == nil || best == leave {
		return "Leaving it costs least: no treatment saves more than it costs."
	}
	return fmt.Sprintf("If all are real, the cheapest is %q: %s, and %s would still be lost; leaving it would lose %s.",
		best.Name, money(best.CostDollars), most(best.LossDollars), most(leave.LossDollars))
}

func most(l LossDollars) string {
	return money(l.High)
}

// killedWords is the good news.
func (d *Day) killedWords(units unit.System) string {
	if d.Killed.Acres <= 0 {
		return ""
	}
	return units.Area(unit.Acres(d.Killed.Acres)) + " of killed weeds: the good news, none of it a suspect."
}

// notes are other findings, a sentence each.
func (d *Day) notes(units unit.System) []string {
	out := d.tableSentences(units)
	if s := d.contextWords(units); s != "" {
		out = append(out, s)
	}
	for _, c := range d.Checks {
		if s := c.apartWords(units); s != "" {
			out = append(out, s)
		}
	}
	if s := d.beforeWords(units); s != "" {
		out = append(out, s)
	}
	if s := d.skipWords(units); s != "" {
		out = append(out, s)
	}
	for _, t := range d.Trends {
		out = append(out, t.words(units))
	}
	if d.Levees.Feet > 0 {
		out = append(out, fmt.Sprintf("Levees %s, %s in all.", d.Levees.Found, units.Length(unit.Feet(d.Levees.Feet).Meters())))
	}
	if s := d.Levees.weedWords(units); s != "" {
		out = append(out, s)
	}
	return out
}
