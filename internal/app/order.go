package app

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"bittern/internal/block"
	"bittern/internal/geo"
	"bittern/internal/job"
	"bittern/internal/sheet"
	"bittern/internal/unit"
)

// revision is the number of an order that no record keeps.
const revision = 1

// order makes the job of the cheapest blocks.
func (r *run) order() {
	if r.plan == nil {
		return
	}
	j := job.Make(job.Order{
		Plan: *r.plan, Applicator: r.applicator(), Mix: r.given.mix, Revision: revision,
		Known:     job.Known{Hazards: r.hazardsEntered(), Neighbours: len(r.sensitive()) > 0},
		Sensitive: r.sensitive(), ConvergenceDeg: r.grid.ConvergenceDeg,
	})
	r.job = &j
}

// applicator is the one that the cheapest blocks are cut for.
func (r *run) applicator() block.Applicator {
	for _, a := range r.given.applicators {
		if a.Name == r.plan.Applicator {
			return a
		}
	}
	return block.Applicator{Name: r.plan.Applicator}
}

func (r *run) hazardsEntered() bool {
	for _, m := range r.given.pinned {
		if m.hazard() {
			return true
		}
	}
	return false
}

// hazard tells whether a machine can hit the mark.
func (m mark) hazard() bool { return m.what == "wire" || m.what == "pole" || m.what == "tree" }

// sensitiveMark tells whether nothing may drift onto the mark.
func (m mark) sensitiveMark() bool { return m.what == "home" || m.what == "neighbour" }

// sensitive is the ground that winds must not carry to, as it was entered.
func (r *run) sensitive() []job.Sensitive {
	var out []job.Sensitive
	for _, m := range r.given.pinned {
		if m.sensitiveMark() {
			out = append(out, job.Sensitive{Name: m.called(), Ground: m.polygons, Lines: m.lines, Points: m.points})
		}
	}
	return out
}

// kind is how the sheet draws the mark: a gate is where one enters.
func (m mark) kind() sheet.MarkKind {
	if m.what == "gate" {
		return sheet.MarkEntry
	}
	return sheet.MarkKind(m.what)
}

// called is the mark's name, or what it is.
func (m mark) called() string {
	if m.name == "" {
		return m.what
	}
	return m.name
}

// fillJob turns the order into plain data.
func (r *run) fillJob() {
	if r.job == nil {
		return
	}
	out := &Job{
		State: string(r.job.State), WhyDraft: orEmpty(r.job.WhyDraft), Revision: r.job.Revision, Code: r.job.Code,
		Products: []Product{}, Gallons: r.job.Gallons, Limits: []string{},
	}
	if l := r.job.Loads; l != nil {
		out.Loads = &Loads{Count: l.Count, GallonsPerLoad: l.Gallons, AcresPerLoad: l.Acres}
	}
	for _, l := range r.job.Products {
		p := Product{Name: l.Product.Name, Registration: l.Product.Registration, Rate: l.Product.Rate, RateUnit: l.Product.RateUnit}
		p.Total, p.TotalUnit = amount(l.Total)
		p.PerLoad, _ = amount(l.PerLoad)
		out.Products = append(out.Products, p)
	}
	for _, l := range r.job.Limits {
		out.Limits = append(out.Limits, l.Product+": "+l.Says)
	}
	for i, w := range r.job.Winds {
		for _, arc := range w.NotFrom {
			r.day.Blocks[i].WindNotFromDeg = append(r.day.Blocks[i].WindNotFromDeg, arc)
		}
	}
	r.day.Job = out
}

func amount(a *job.Amount) (*float64, string) {
	if a == nil {
		return nil, ""
	}
	return &a.Value, a.Unit
}

// jobSheet fills the job sheet. It is the same for paper and for the picture.
func (r *run) jobSheet() sheet.JobSheet {
	d, j := r.day, r.job
	center := r.grid.LonLat(r.boundary.Bounds().Center())
	s := sheet.JobSheet{
		State: string(j.State), WhyDraft: j.WhyDraft, Revision: j.Revision, Code: j.Code, Date: r.paperDate(),
		Unpinned: "The picture was not pinned to the ground: hold the field's corners against the files before flying.",
		Field:    d.Field.Name, Center: sheet.Position{Lon: center.X, Lat: center.Y}, Entry: r.entry(),
		BlockAcres: r.plan.BlockAcres, ValveOnAcres: r.plan.ValveOnAcres, FieldAcres: d.Field.Acres,
		Units: sheet.Units(r.Units), ConvergenceDeg: r.grid.ConvergenceDeg, Boundary: r.boundary,
		Inputs: d.sheetInputs(), Program: d.Program, Cautions: r.jobCautions(),
		Products: r.sheetProducts(), Blocks: r.sheetBlocks(), Headings: r.sheetHeadings(),
		Machine: machine(r.applicator()),
	}
	if r.plan.BilledAcres > 0 {
		s.BilledAcres = &r.plan.BilledAcres
	}
	weeds := 0.0
	for _, one := range d.Suspects {
		weeds += one.Acres
	}
	s.WeedsAcres = &weeds
	if c := r.given.mix.CarrierGallonsPerAcre; c != nil {
		s.Carrier = number(*c) + " gal/ac"
	}
	if j.Gallons != nil {
		s.Gallons = unit.Number(*j.Gallons, 0) + " gal in all"
	}
	if l := j.Loads; l != nil {
		s.Loads = fmt.Sprintf("%s of %s gal", plural(l.Count, "load", "loads"), unit.Number(l.Gallons, 0))
		s.Balance = fmt.Sprintf("%s each", r.units.Area(unit.Acres(l.Acres)))
	}
	for _, l := range r.layout.Levees {
		s.Levees = append(s.Levees, l.Line)
	}
	for _, d := range r.doNotSpray() {
		s.NoSpray = append(s.NoSpray, d.Outline...)
	}
	r.sheetMarks(&s)
	if r.Printed != nil {
		s.Stamp = *r.Printed
	}
	return s
}

// paperDate is the date that stands on the order: that of SOURCE_DATE_EPOCH,
// or a blank to write on.
func (r *run) paperDate() string {
	if r.Printed == nil {
		return ""
	}
	return r.Printed.Format("2 January 2006")
}

// entry is the first gate that was marked.
func (r *run) entry() *sheet.Position {
	for _, m := range r.given.pinned {
		if m.what == "gate" && len(m.points) > 0 {
			at := r.grid.LonLat(m.points[0])
			return &sheet.Position{Lon: at.X, Lat: at.Y}
		}
	}
	return nil
}

func (r *run) jobCautions() []string {
	var out []string
	if h := r.job.REIHours; h != nil {
		out = append(out, "Re-entry interval, the longest of the mix: "+number(*h)+" hours from the end of the application.")
	}
	if p := r.job.PHIDays; p != nil {
		out = append(out, "Pre-harvest interval, the longest of the mix: "+number(*p)+" days.")
	}
	return out
}

func (r *run) sheetProducts() []sheet.Product {
	var out []sheet.Product
	for i, l := range r.job.Products {
		p := sheet.Product{Name: l.Product.Name, Registration: l.Product.Registration, Season: r.job.Limits[i].Says}
		if l.Product.Rate != nil {
			p.Rate = number(*l.Product.Rate) + " " + l.Product.RateUnit
		}
		p.Total, p.PerLoad = amountWords(l.Total), amountWords(l.PerLoad)
		if l.Product.REIHours != nil {
			p.REI = number(*l.Product.REIHours) + " h"
		}
		if l.Product.PHIDays != nil {
			p.PHI = number(*l.Product.PHIDays) + " days"
		}
		out = append(out, p)
	}
	return out
}

func amountWords(a *job.Amount) string {
	if a == nil {
		return ""
	}
	return unit.Number(a.Value, 1) + " " + a.Unit
}

// number prints a typed figure as short as it is exact.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (r *run) sheetBlocks() []sheet.JobBlock {
	var out []sheet.JobBlock
	for i, b := range r.plan.Blocks {
		at := r.grid.LonLat(geo.MultiPolygon{b.Outline}.Centroid())
		row := sheet.JobBlock{
			ID: b.ID, Acres: b.Acres, ValveOnAcres: b.ValveOnAcres, Outline: b.Outline,
			Center: sheet.Position{Lon: at.X, Lat: at.Y}, Runs: len(b.Runs), HeadingDeg: b.HeadingDeg,
			LongestRunFt: r.day.Blocks[i].LongestRunFt, ShortestOpen: b.ShortestOpenS,
		}
		for _, run := range b.Runs {
			row.RunLines = append(row.RunLines, geo.Line{run.From, run.To})
		}
		var arcs []string
		for _, arc := range r.day.Blocks[i].WindNotFromDeg {
			arcs = append(arcs, fmt.Sprintf("%.0f to %.0f", arc[0], arc[1]))
		}
		row.WindNotFrom = strings.Join(arcs, ", ")
		out = append(out, row)
	}
	return out
}

func (r *run) sheetHeadings() []sheet.HeadingChoice {
	var out []sheet.HeadingChoice
	for _, h := range r.day.Headings {
		if h.Applicator != r.plan.Applicator {
			continue
		}
		out = append(out, sheet.HeadingChoice{
			HeadingDeg: h.HeadingDeg, Acres: h.ValveOnAcres, Runs: h.Runs, Cost: h.CostDollars, Minutes: h.Minutes,
			Chosen: h.HeadingDeg == r.plan.HeadingDeg,
		})
	}
	return out
}

// machine is the applicator in words.
func machine(a block.Applicator) string {
	s := a.Name
	if a.SwathFt != nil {
		s += ", " + number(*a.SwathFt) + " ft swath"
	}
	if a.SpeedMph != nil {
		s += ", " + number(*a.SpeedMph) + " mph"
	}
	return s
}

// sheetMarks draws and lists what was pinned on the field.
func (r *run) sheetMarks(s *sheet.JobSheet) {
	for _, m := range r.given.pinned {
		label := m.called()
		if m.heightFt > 0 {
			label += ", " + unit.Number(m.heightFt, 0) + " ft"
		}
		if len(m.polygons)+len(m.lines) > 0 {
			s.Marks = append(s.Marks, sheet.Mark{Kind: m.kind(), Label: label, Outline: m.polygons, Lines: m.lines})
		}
		for i := range m.points {
			s.Marks = append(s.Marks, sheet.Mark{Kind: m.kind(), Label: label, At: &m.points[i]})
		}
		listed := sheet.Listed{What: label, Entered: m.entered, By: m.by}
		if m.phone != "" {
			listed.What += ", phone " + m.phone
		}
		switch {
		case m.hazard():
			s.Hazards = append(s.Hazards, listed)
		case m.sensitiveMark():
			s.Neighbours = append(s.Neighbours, listed)
		}
	}
}

func (r *run) writeJobSheet(w io.Writer) error   { return sheet.Job(w, r.jobSheet()) }
func (r *run) writeJobPicture(w io.Writer) error { return sheet.JobPNG(w, r.jobSheet()) }
