package app

import (
	"context"

	"bittern/internal/block"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/job"
	"bittern/internal/reckon"
	"bittern/internal/structure"
	"bittern/internal/typed"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// given is what the typed files and the files of places held.
type given struct {
	levees, marks *vector.Layer
	strips        *vector.Layer
	leveeLines    []geo.Line
	leveeAreas    geo.MultiPolygon
	pinned        []mark

	prices      reckon.Prices
	applicators []block.Applicator
	mix         job.Mix
	sightings   []typed.Sighting
}

// The words that a suspect's row ends with.
const (
	verdictWalk  = string(reckon.Walk)
	verdictWorth = string(reckon.WorthIt)
	verdictNot   = string(reckon.NotWorthIt)
)

// productDollarsPerAcre is what the mix costs, nil when it is not known.
func (g given) productDollarsPerAcre() *float64 {
	if v, ok := g.mix.DollarsPerAcre(); ok {
		return &v
	}
	return nil
}

// treat reckons what treating costs and saves, and cuts the blocks.
func (r *run) treat(ctx context.Context) error {
	if !r.ask.Priced {
		r.notPriced()
		return nil
	}
	return r.timed("blocks and reckoning", func() error {
		out, doubts, err := reckon.Of(ctx, reckon.Case{
			Ground:      r.ground(),
			Walls:       r.walls(),
			Suspects:    r.finding.Suspects,
			Prices:      r.given.prices,
			Applicators: r.given.applicators,

			ProductDollarsPerAcre: r.given.productDollarsPerAcre(),
			GallonsPerAcre:        r.given.mix.CarrierGallonsPerAcre,
		})
		if err != nil {
			return err
		}
		r.doubt(doubts...)
		r.reckoning = out
		if out != nil {
			r.plan = out.Best()
		}
		r.order()
		return nil
	})
}

// notPriced says that what was typed for treating is of no use to the question.
func (r *run) notPriced() {
	if len(r.Applicators) == 0 && r.Prices == "" && r.Products == "" {
		return
	}
	r.doubt(doubt.Doubt{
		About: "prices", Weight: 0.4,
		Says:   "Prices, products and applicators were not used: this question treats nothing.",
		Settle: "Ask escapes, insects or nitrogen for blocks and costs.",
	})
}

// ground is what runs are cut on: the field, less what was marked to be left
// dry, with the typed heading tried beside the others.
func (r *run) ground() block.Ground {
	g := block.Ground{Grid: r.grid, Inside: r.inside, FieldAcres: acresOf(r.lonLat)}
	if r.SprayHeadingDeg != nil {
		g.Headings = []float64{*r.SprayHeadingDeg}
	}
	for _, d := range r.doNotSpray() {
		if g.Barred == nil {
			g.Barred = make([]bool, r.grid.Len())
		}
		for i, in := range r.grid.Inside(d.Outline) {
			g.Barred[i] = g.Barred[i] || in
		}
	}
	return g
}

// walls are the cells that a rig cannot cross.
func (r *run) walls() []bool {
	walls := make([]bool, r.grid.Len())
	for i, reason := range r.layout.Reason {
		walls[i] = reason == structure.Levee || reason == structure.BorrowDitch || reason == structure.Water
	}
	return walls
}

// fillMoney turns reckoning and blocks into plain data.
func (r *run) fillMoney() {
	d := r.day
	d.Blocks, d.Headings = []Block{}, []Heading{}
	if r.reckoning == nil {
		return
	}
	for i, v := range r.reckoning.Verdicts {
		words := string(v.Words)
		d.Suspects[i].Verdict = &words
		d.Suspects[i].BreakEvenChance = v.BreakEvenChance
	}
	r.fillReckoning()
	for _, o := range r.reckoning.Offers {
		for _, p := range o.Plans {
			d.Headings = append(d.Headings, heading(p, r.costOf(p)))
		}
	}
	if r.plan == nil {
		return
	}
	for _, b := range r.plan.Blocks {
		d.Blocks = append(d.Blocks, Block{
			ID: b.ID, Applicator: r.plan.Applicator, Acres: b.Acres, ValveOnAcres: b.ValveOnAcres,
			Runs: len(b.Runs), HeadingDeg: b.HeadingDeg, LongestRunFt: float64(unit.Meters(b.LongestRunM).Feet()),
			ShortestOpenS: b.ShortestOpenS, WindNotFromDeg: [][2]float64{},
		})
	}
	r.fillJob()
}

// costOf is what a plan costs, nil where neither a charge nor a product's price
// was typed.
func (r *run) costOf(p block.Plan) *float64 {
	for _, a := range r.given.applicators {
		if a.Name == p.Applicator && (a.Charge.Given() || r.given.productDollarsPerAcre() != nil) {
			cost := p.Cost.Dollars()
			return &cost
		}
	}
	return nil
}

func heading(p block.Plan, cost *float64) Heading {
	return Heading{
		Applicator: p.Applicator, HeadingDeg: p.HeadingDeg, Runs: len(p.Runs), ValveOnAcres: p.ValveOnAcres,
		CostDollars: cost, Minutes: p.Minutes,
	}
}

func (r *run) fillReckoning() {
	out := &Reckoning{Alternatives: []Alternative{}, Flips: []Flip{}, Choice: &r.reckoning.Choice}
	for _, a := range r.reckoning.Alternatives {
		low, high := a.Loss.Low.Dollars(), a.Loss.High.Dollars()
		out.Alternatives = append(out.Alternatives, Alternative{
			BilledAcres: billed(a.Plan), ID: a.ID, Name: a.Name, TreatedAcres: a.TreatedAcres, CostDollars: dollarsOf(a.Cost),
			LossDollars: LossDollars{Low: &low, High: &high}, Minutes: a.Minutes, Proven: a.Proven,
		})
	}
	for _, f := range r.reckoning.Flips {
		out.Flips = append(out.Flips, Flip{What: f.What, At: round(f.At, 4), From: f.From, To: f.To})
	}
	r.day.Reckoning = out
}

// billed is the acres that a plan's charge is made out for, nil without a plan.
func billed(p *block.Plan) *float64 {
	if p == nil {
		return nil
	}
	return &p.Bill.BilledAcres
}

func dollarsOf(c *unit.Cents) *float64 {
	if c == nil {
		return nil
	}
	v := c.Dollars()
	return &v
}
