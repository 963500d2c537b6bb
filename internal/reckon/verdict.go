package reckon

import (
	"context"
	"fmt"
	"math"

	"bittern/internal/block"
	"bittern/internal/suspect"
)

// Words says whether the answer on foot would change the choice.
type Words string

// The words that a suspect's paragraph ends with.
const (
	Walk        Words = "walk"
	WorthIt     Words = "same either way: worth it"
	NotWorthIt  Words = "same either way: not worth it"
	surelyWorth       = 0.05
)

// A Verdict is what a suspect comes to before anybody walked it.
type Verdict struct {
	Suspect         string   // id
	BreakEvenChance *float64 // how likely it must be real to be worth treating; above 1: not even for sure; nil when not known
	Applicator      string   // by which it is treated at that chance
	Words           Words
}

// A weigher is an applicator's plan, ready to be asked about suspects.
type weigher struct {
	applicator string
	of         *block.Weigher
}

// judge gives each suspect its break-even chance, by the applicator that needs
// the least of one, and its words.
func (r *Reckoning) judge(ctx context.Context, c Case, weighers []weigher) error {
	for _, s := range c.Suspects {
		if err := ctx.Err(); err != nil {
			return err
		}
		v := Verdict{Suspect: s.ID, Words: Walk}
		if avoided, ok := c.Prices.Avoided(s.Look); ok && avoided > 0 && c.priced() {
			chance, by, err := c.chance(ctx, s, weighers)
			if err != nil {
				return err
			}
			v.Words = wordsFor(chance, s.Severity)
			if !math.IsInf(chance, 0) {
				v.BreakEvenChance, v.Applicator = &chance, by
			}
		}
		r.Verdicts = append(r.Verdicts, v)
	}
	return nil
}

// priced tells whether some applicator has a known cost.
func (c Case) priced() bool {
	for _, a := range c.Applicators {
		if c.costs(a) {
			return true
		}
	}
	return false
}

// chance is the least break-even chance of a suspect over the applicators.
// Where the blocks of none pay, it is what treating the suspect alone costs
// over what that would prevent.
func (c Case) chance(ctx context.Context, s suspect.Suspect, weighers []weigher) (float64, string, error) {
	least, by := math.Inf(1), ""
	for _, w := range weighers {
		if chance := w.of.BreakEven(s.Cells); chance < least {
			least, by = chance, w.applicator
		}
	}
	if len(weighers) > 0 {
		return least, by, nil
	}
	for _, a := range c.Applicators {
		if !c.costs(a) {
			continue
		}
		chance, err := c.alone(ctx, s, a)
		if unready(err) != nil {
			continue
		}
		if err != nil {
			return 0, "", err
		}
		if chance < least {
			least, by = chance, a.Name
		}
	}
	return least, by, nil
}

// alone is what treating one suspect and nothing else costs, over what that
// prevents if it is real. The ground is made so dear that some plan treats it.
func (c Case) alone(ctx context.Context, s suspect.Suspect, a block.Applicator) (float64, error) {
	const dear = 1e6
	g := c.groundFor(a)
	g.WonDollars = make([]float32, len(c.Ground.WonDollars))
	for _, cell := range s.Cells {
		g.WonDollars[cell] = c.Ground.WonDollars[cell] * dear
	}
	plans, err := block.Best(ctx, g, a, 1)
	if err != nil {
		return 0, fmt.Errorf("cutting blocks for one suspect: %w", err)
	}
	if len(plans) == 0 || plans[0].Won <= 0 {
		return math.Inf(1), nil
	}
	return plans[0].Cost.Dollars() / (plans[0].Won / dear), nil
}

// wordsFor says what a break-even chance comes to before there is a track
// record: nobody knows a chance then, so that only the ends are the same either
// way. At 1 and above treating does not pay even for sure. At 0.05 and below
// it pays unless 19 in 20 are wrong. A faint suspect is always walked unless
// it cannot pay.
func wordsFor(chance float64, severity suspect.Severity) Words {
	switch {
	case chance >= 1:
		return NotWorthIt
	case severity != suspect.Faint && chance <= surelyWorth:
		return WorthIt
	}
	return Walk
}
