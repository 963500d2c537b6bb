package reckon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"bittern/internal/block"
	"bittern/internal/doubt"
	"bittern/internal/suspect"
	"bittern/internal/unit"
)

// A Case is what is reckoned.
type Case struct {
	Ground                block.Ground // all but WonDollars and what products cost, which are filled in here
	Walls                 []bool       // per cell: levees and the like that a ground rig cannot cross; nil for none
	Tracks                []float64    // headings that a ground rig keeps to, degrees from true north; none: it tries all
	Suspects              []suspect.Suspect
	Prices                Prices
	ProductDollarsPerAcre *float64 // the whole mix and its carrier; nil when products or their prices were not typed
	GallonsPerAcre        *float64
	Applicators           []block.Applicator
	Headings              int // how many headings are offered for each applicator; 3 when 0
}

// A Loss is what is still lost under an alternative. Until a chance is earned
// by walking, Low holds if no suspect is real, High if all are, and Mid is not
// known.
type Loss struct {
	Low, High unit.Cents
	Mid       *unit.Cents
}

// An Alternative is one thing to do.
type Alternative struct {
	ID           string      // "leave", "blocks-plane", "whole-plane"
	Name         string      // "leave it", "blocks, plane", "whole field, plane"
	Applicator   string      // empty for leave
	TreatedAcres float64     // that get product: with the valve open; of the field for the whole
	SuspectAcres float64     // of suspects that are treated at the full rate
	Cost         *unit.Cents // nil when neither a charge nor a product's price was typed
	Loss         Loss
	Minutes      *float64
	Proven       bool        // no other runs at this heading win a cent more; true where there is nothing to prove
	Plan         *block.Plan // nil for leave
}

// A Flip is a figure at which the choice changes from one alternative to
// another.
type Flip struct {
	What     string // "chance that the suspects are real"
	At       float64
	From, To string // ids of alternatives: below and above
}

// An Offer is the good headings of one applicator, best first.
type Offer struct {
	Applicator string
	Plans      []block.Plan
}

// A Reckoning is the money beside the choices.
type Reckoning struct {
	Alternatives []Alternative // leave, then blocks and whole field of each applicator as typed
	Choice       string        // id: cheapest in cost and loss together if every suspect is real
	Depends      bool          // if none is real, another is cheaper: the choice hangs on the walk
	Flips        []Flip        // of the chance from 0 to 1, in rising order
	Offers       []Offer       // as applicators were typed; empty plans where nothing pays
	Verdicts     []Verdict     // one for each suspect, in their order

	doubts []doubt.Doubt
}

// Best is the plan of the cheapest blocks, cost and remaining loss together if
// every suspect is real; one whose cost is not known comes behind all others.
// It is nil when no blocks pay.
func (r *Reckoning) Best() *block.Plan {
	var best *Alternative
	for i, a := range r.Alternatives {
		if strings.HasPrefix(a.ID, "blocks-") && (best == nil || a.before(*best)) {
			best = &r.Alternatives[i]
		}
	}
	if best == nil {
		return nil
	}
	return best.Plan
}

// before tells whether a is cheaper than b if every suspect is real.
func (a Alternative) before(b Alternative) bool {
	switch {
	case a.Cost == nil:
		return b.Cost == nil && a.Loss.High < b.Loss.High
	case b.Cost == nil:
		return true
	}
	return *a.Cost+a.Loss.High < *b.Cost+b.Loss.High
}

// Of reckons a case and says what it doubts. Without the crop's prices there is
// no reckoning: nil, and a doubt that names what is missing. An applicator
// that runs cannot be cut for is a doubt. Errors are those of ctx, and of
// ground that does not fit its grid.
func Of(ctx context.Context, c Case) (*Reckoning, []doubt.Doubt, error) {
	if missing := c.Prices.Missing(); len(missing) > 0 {
		return nil, []doubt.Doubt{{
			About: "prices", Weight: 0.6,
			Says:   "Nothing is reckoned in money, because " + list(missing) + " " + isAre(len(missing)) + " not typed.",
			Settle: "Type it in the prices file (bittern blank prices).",
		}}, nil
	}
	r := &Reckoning{doubts: c.doubts()}
	c.Ground.WonDollars = c.won()
	c.Ground.ProductDollarsPerAcre = value(c.ProductDollarsPerAcre)
	c.Ground.GallonsPerAcre = value(c.GallonsPerAcre)
	r.Alternatives = []Alternative{c.leave()}
	var weighers []weigher
	for _, a := range c.Applicators {
		w, err := r.add(ctx, c, a)
		if why := unready(err); why != nil {
			r.doubts = append(r.doubts, doubt.Doubt{
				About: a.Called(), Weight: 0.5,
				Says:   "No blocks are cut for the " + a.Called() + ", because " + why.Error() + ".",
				Settle: "Complete the applicator's file.",
			})
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		if w != nil {
			weighers = append(weighers, *w)
		}
	}
	r.uniqueIDs()
	r.choose()
	if err := r.judge(ctx, c, weighers); err != nil {
		return nil, nil, err
	}
	return r, r.doubts, nil
}

// doubts says what was not given and what follows.
func (c Case) doubts() []doubt.Doubt {
	var out []doubt.Doubt
	if c.ProductDollarsPerAcre == nil {
		out = append(out, doubt.Doubt{
			About: "products", Weight: 0.5,
			Says:   "The product's cost is missing from every figure, because no products with prices were typed.",
			Settle: "Copy the products and their prices into the products file.",
		})
	}
	if len(c.Applicators) == 0 {
		out = append(out, doubt.Doubt{
			About: "applicator", Weight: 0.5,
			Says:   "No blocks are cut, because no applicator was typed.",
			Settle: "Type one in an applicator file.",
		})
	}
	for _, s := range c.Suspects {
		if _, ok := c.Prices.Loss(s.Look); !ok {
			out = append(out, doubt.Doubt{
				About: "loss", Weight: 0.4,
				Says:   "No loss was typed for ground that is " + string(s.Look) + ", so it is reckoned as losing nothing.",
				Settle: "Type loss_percent, or the loss for that look.",
			})
			break
		}
	}
	for _, a := range c.Applicators {
		out = append(out, a.Doubts()...)
	}
	return out
}

// won is the dollars that treating each cell wins if its suspect is real.
func (c Case) won() []float32 {
	won := make([]float32, c.Ground.Grid.Len())
	for _, s := range c.Suspects {
		avoided, ok := c.Prices.Avoided(s.Look)
		if !ok {
			continue
		}
		for _, cell := range s.Cells {
			won[cell] = float32(float64(avoided) * c.Ground.Grid.AcresPerCell)
		}
	}
	return won
}

// leave is the alternative of doing nothing.
func (c Case) leave() Alternative {
	total := 0.0
	for _, s := range c.Suspects {
		if loss, ok := c.Prices.Loss(s.Look); ok {
			total += float64(loss) * (float64(len(s.Cells)) * c.Ground.Grid.AcresPerCell)
		}
	}
	none := unit.Cents(0)
	minutes := 0.0
	return Alternative{
		ID: "leave", Name: "leave it", Cost: &none, Minutes: &minutes, Proven: true,
		Loss: Loss{High: unit.FromDollars(total)},
	}
}

// add reckons the blocks and the whole field of one applicator. The weigher is
// nil where its blocks do not pay or cost nobody knows what.
func (r *Reckoning) add(ctx context.Context, c Case, a block.Applicator) (*weigher, error) {
	g := c.groundFor(a)
	p, err := block.New(g, a)
	if err != nil {
		return nil, fmt.Errorf("cutting blocks: %w", err)
	}
	plans, err := p.Best(ctx, cmp.Or(c.Headings, 3))
	if err != nil {
		return nil, fmt.Errorf("cutting blocks: %w", err)
	}
	var w *weigher
	r.Offers = append(r.Offers, Offer{a.Name, plans})
	if len(plans) > 0 {
		r.alternative(c, a, "blocks", &plans[0])
		if c.costs(a) {
			w = &weigher{a.Name, p.Weigh(plans[0])}
		}
	} else if len(c.Suspects) > 0 {
		r.doubts = append(r.doubts, doubt.Doubt{
			About: a.Called(), Weight: 0.2,
			Says:   "No run of the " + a.Called() + " would pay, even if every suspect is real.",
			Settle: "Nothing, unless a price changes.",
		})
	}
	if a.Kind == block.ByHand {
		return w, nil
	}
	whole, err := block.Whole(ctx, g, a)
	if err != nil {
		return nil, fmt.Errorf("reckoning the whole field: %w", err)
	}
	r.alternative(c, a, "whole", &whole)
	return w, nil
}

// groundFor is the ground as an applicator meets it: a rig has walls and keeps
// to its tracks.
func (c Case) groundFor(a block.Applicator) block.Ground {
	g := c.Ground
	if a.Kind != block.GroundRig {
		return g
	}
	if len(c.Tracks) > 0 {
		g.Headings, g.OnlyHeadings = c.Tracks, true
	}
	switch {
	case c.Walls == nil:
	case g.Barred == nil:
		g.Barred = c.Walls
	default:
		g.Barred = make([]bool, len(c.Walls))
		for i, wall := range c.Walls {
			g.Barred[i] = wall || c.Ground.Barred[i]
		}
	}
	return g
}

// unready is what keeps an applicator from being reckoned, or nil.
func unready(err error) error {
	for _, why := range []error{block.ErrNoSwath, block.ErrNoKind, block.ErrNoHeading} {
		if errors.Is(err, why) {
			return why
		}
	}
	return nil
}

// costs tells whether anything was typed that a's work costs.
func (c Case) costs(a block.Applicator) bool {
	return a.Charge.Given() || c.ProductDollarsPerAcre != nil
}

// alternative adds a plan as one.
func (r *Reckoning) alternative(c Case, a block.Applicator, what string, p *block.Plan) {
	name := map[string]string{"blocks": "blocks, ", "whole": "whole field, "}[what] + a.Called()
	out := Alternative{
		ID: what + "-" + slug(a.Called()), Name: name, Applicator: a.Name,
		TreatedAcres: p.ValveOnAcres, Minutes: p.Minutes, Proven: p.Proven(), Plan: p,
		SuspectAcres: float64(len(p.Treated)) * c.Ground.Grid.AcresPerCell,
		Loss:         Loss{High: max(0, r.Alternatives[0].Loss.High-unit.FromDollars(p.Won))},
	}
	if c.costs(a) {
		cost := p.Cost
		out.Cost = &cost
	}
	r.Alternatives = append(r.Alternatives, out)
}

// choose finds the cheapest alternative for every chance from 0 to 1: the lower
// edge of the straight lines cost + chance * loss.
func (r *Reckoning) choose() {
	now, at := 0, 0.0 // leave costs nothing when nothing is real
	r.Choice = r.Alternatives[0].ID
	for {
		next, when := -1, 1.0
		for i, a := range r.Alternatives {
			saved := float64(r.Alternatives[now].Loss.High - a.Loss.High)
			if a.Cost == nil || saved <= 0 {
				continue
			}
			chance := float64(*a.Cost-*r.Alternatives[now].Cost) / saved
			if chance < when || (chance == when && next >= 0 && a.Loss.High < r.Alternatives[next].Loss.High) {
				next, when = i, max(chance, at)
			}
		}
		if next < 0 {
			break
		}
		r.Flips = append(r.Flips, Flip{
			What: "chance that the suspects are real", At: when,
			From: r.Alternatives[now].ID, To: r.Alternatives[next].ID,
		})
		now, at = next, when
		r.Choice = r.Alternatives[now].ID
	}
	r.Depends = len(r.Flips) > 0
}

// uniqueIDs numbers the ids of applicators that have one name.
func (r *Reckoning) uniqueIDs() {
	seen := map[string]int{}
	for i := range r.Alternatives {
		id := r.Alternatives[i].ID
		if seen[id]++; seen[id] > 1 {
			r.Alternatives[i].ID = fmt.Sprintf("%s-%d", id, seen[id])
		}
	}
}

// slug is a name in lower-case letters, digits and hyphens.
func slug(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < '0' || c > '9')
	})
	return cmp.Or(strings.Join(words, "-"), "applicator")
}

// list joins words: "a, b and c".
func list(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// value is *p, or 0 when p is nil.
func value(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}
