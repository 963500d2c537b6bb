package block

import "math"

// sure is what a piece of ground is made worth, many times over, to see what
// treating it would take.
const sure = 1000

// A Weigher answers for one plan how likely a piece of its ground must be to
// be worth treating.
type Weigher struct {
	p      *Planner
	plan   Plan
	w      *work
	place  map[int32]int // cell -> its spot
	chosen map[int32]bool
}

// Weigh prepares to answer for plan, which is one of p's own, from Best.
func (p *Planner) Weigh(plan Plan) *Weigher {
	e := &Weigher{p: p, plan: plan, w: new(work), place: map[int32]int{}, chosen: map[int32]bool{}}
	for i, s := range p.spots {
		e.place[s.cell] = i
	}
	for _, c := range plan.Treated {
		e.chosen[c] = true
	}
	if plan.Kind != ByHand {
		p.bin(e.w, plan.frame.deg)
	}
	return e
}

// BreakEven is the chance of being real at which treating the given cells
// costs as much as it wins, while all other ground is held to be real. It
// compares the plan with the best plan, on the same passes, that gives those
// cells up:
//
//	chance = (net without - net with + won on them) / (won on them with - without)
//
// with the net and what is won on them taken as if they were real. It is 0
// where they lie under runs that would be flown anyway. Above 1 it says that
// the cells are not worth treating even for sure; it is infinite where the
// applicator cannot reach them.
func (e *Weigher) BreakEven(cells []int32) float64 {
	if e.plan.Kind == ByHand {
		return e.byHand(cells)
	}
	with := e.wonOn(cells, e.chosen)
	if with <= 0 {
		return e.unchosen(cells)
	}
	a, treated := e.again(cells, 0)
	without := e.wonOn(cells, treated)
	if with-without <= 1e-9 {
		return 0
	}
	return max(0, (a.net-e.plan.Net+with)/(with-without))
}

// unchosen is BreakEven for cells that the plan leaves out: what it would take
// more to treat them, over what that wins.
func (e *Weigher) unchosen(cells []int32) float64 {
	a, treated := e.again(cells, sure)
	with := e.wonOn(cells, treated)
	if with <= 0 {
		return math.Inf(1)
	}
	return (e.plan.Net - (a.net - float64(sure*with))) / with
}

// again solves the plan's own passes with the given cells worth times their
// dollars.
func (e *Weigher) again(cells []int32, times float64) (answer, map[int32]bool) {
	e.scale(cells, times-1)
	f := e.plan.frame
	lanes := e.p.lanes(e.w, f)
	a := e.w.table.best(lanes, e.p.m.terms)
	byPass := make(map[int][]strip)
	for i, runs := range a.runs {
		at := e.w.kept[i]
		for _, s := range runs {
			byPass[at.pass] = append(byPass[at.pass], strip{pass: at.pass, a: at.from + s.a, b: at.from + s.b})
		}
	}
	treated := map[int32]bool{}
	for _, c := range cells {
		if i, ok := e.place[c]; ok && e.p.treats(f, byPass, e.p.spots[i]) {
			treated[c] = true
		}
	}
	e.scale(cells, 1-times)
	return a, treated
}

// scale adds times the dollars of the cells to their bins.
func (e *Weigher) scale(cells []int32, times float64) {
	for _, c := range cells {
		i, ok := e.place[c]
		if !ok || e.p.spots[i].won <= 0 {
			continue
		}
		if part, step, ok := e.p.binOf(e.plan.frame, e.p.spots[i]); ok {
			e.w.value[part*e.plan.frame.steps+step] += float64(times * e.p.spots[i].won)
		}
	}
}

// wonOn is what treating those of the cells wins that are in treated.
func (e *Weigher) wonOn(cells []int32, treated map[int32]bool) float64 {
	sum := 0.0
	for _, c := range cells {
		if i, ok := e.place[c]; ok && treated[c] && e.p.spots[i].won > 0 {
			sum += e.p.spots[i].won
		}
	}
	return sum
}

// byHand is BreakEven where cells cost by the acre alone.
func (e *Weigher) byHand(cells []int32) float64 {
	won := 0.0
	for _, c := range cells {
		if i, ok := e.place[c]; ok {
			won += max(0, e.p.spots[i].won)
		}
	}
	if won <= 0 {
		return math.Inf(1)
	}
	perAcre := e.p.g.ProductDollarsPerAcre + or(e.p.a.Charge.PerAcreDollars)
	return float64(len(cells)) * e.p.g.Grid.AcresPerCell * perAcre / won
}
