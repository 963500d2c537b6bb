package block

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"bittern/internal/grid"
	"bittern/internal/unit"
)

// Ground is what runs are cut on. Slices are row-major on Grid.
type Ground struct {
	Grid                  grid.Grid
	WonDollars            []float32 // per cell: dollars won by treating it; below 0 where treating harms
	Inside                []bool    // inside the boundary: the valve opens only while the middle of the swath is there
	Barred                []bool    // do-not-spray ground, or a levee that a rig cannot cross: no part of the swath touches it; nil for none
	ProductDollarsPerAcre float64   // product and carrier, for each acre with the valve open; 0 when not known
	GallonsPerAcre        float64   // carrier, for the number of loads; 0 when not known, then one load is reckoned
	FieldAcres            float64   // the field's own acres, for the bill of the whole field; 0: Inside is counted
	Headings              []float64 // degrees from true north, tried beside the round of 36
	OnlyHeadings          bool      // only Headings are tried: the tracks of a rig
}

// A Plan is one way to treat the ground.
type Plan struct {
	Applicator   string
	Kind         Kind
	HeadingDeg   float64 // clockwise from true north, 0 to 180; 0 by hand
	Runs         []Run   // in one possible order of work: there and back, from one side
	Blocks       []Block // from the north-west
	Passes       int     // passes with at least one run
	ValveOnAcres float64
	BlockAcres   float64 // of the blocks' outlines
	TreatedAcres float64 // of ground worth treating that the runs cover at the full rate
	Treated      []int32 // that ground: cells, ascending
	OutsideAcres float64 // of valve-on ground beyond Inside: a swath's half at the boundary
	BilledAcres  float64
	Bill         Bill
	Cost         unit.Cents // of the bill
	Won          float64    // dollars, if everything is as bad as WonDollars says
	Net          float64    // dollars won less the cost, before rounding
	ShortDollars float64    // what a better plan at this heading and placing could win more at most; 0 when proven best
	Minutes      *float64   // work, turns and ferry; nil when the speed is not given
	Loads        int        // tankfuls; 0 when tank or carrier is not given

	frame frame
}

// Proven tells whether no other set of runs on these passes wins a cent more.
func (p Plan) Proven() bool { return p.ShortDollars == 0 }

// Errors of the caller, not of an input.
var (
	errGrid   = errors.New("the grid has no cells or no area")
	errLength = errors.New("a slice does not have the grid's length")
)

// A Planner cuts runs for one applicator on one piece of ground.
type Planner struct {
	g     Ground
	a     Applicator
	spots []spot
	rim   []spot // of those to treat, the first and last of each row of cells
	harms bool   // some cell wins less than nothing
	may   []bool // the valve may be open while the middle of the swath is in this cell
	m     measures
}

// A spot is a cell that treating changes.
type spot struct {
	x, y float64 // m from the grid's north-west corner, east and north
	won  float64 // dollars
	cell int32
}

// measures are an applicator's figures on the grid.
type measures struct {
	swath, step  float64 // grid metres
	perPart      float64 // parts of a swath to a grid metre
	perStep      float64 // steps to a grid metre
	ground       float64 // ground metres to a grid metre
	parts        int     // placings of the passes that are tried within a swath
	acresPerStep float64
	stepS        float64 // seconds to a step; 0 when the speed is not given
	limits       limits
	margin       int // steps beside the ground to treat that a run could need
	terms        terms
	ferryS       float64 // seconds there and back, once
	turnS        float64
}

// leastPrice is charged for each step beside all others, in dollars, so that
// the valve is not opened where it neither costs nor wins.
const leastPrice = 1e-9

// mostEntries bounds the exact search of the minimum at one heading: 28 bytes
// an entry.
const mostEntries = 8 << 20

// New prepares to cut runs for a on g. It keeps g's slices and does not change
// them. The error names what a lacks, or a slice that does not fit its grid.
func New(g Ground, a Applicator) (*Planner, error) {
	n := g.Grid.Len()
	if n <= 0 || !(g.Grid.AcresPerCell > 0) || !(g.Grid.CellM > 0) {
		return nil, errGrid
	}
	if len(g.WonDollars) != n || len(g.Inside) != n || (g.Barred != nil && len(g.Barred) != n) {
		return nil, errLength
	}
	if err := a.Check(); err != nil {
		return nil, err
	}
	p := &Planner{g: g, a: a}
	for row := range g.Grid.Rows {
		p.scan(row)
	}
	if a.Kind != ByHand {
		p.m = measure(g, a)
		p.may = clearOf(g, p.m.swath/2)
	}
	return p, nil
}

// scan lists the cells of a row that treating changes.
func (p *Planner) scan(row int) {
	g := p.g.Grid
	first, last := -1, -1 // of those to treat
	for col := range g.Cols {
		i := g.Index(col, row)
		w := p.g.WonDollars[i]
		if w == 0 || w != w {
			continue
		}
		if w < 0 {
			p.harms = true
		} else {
			last = len(p.spots)
			if first < 0 {
				first = last
			}
		}
		p.spots = append(p.spots, spot{(float64(col) + 0.5) * g.CellM, -(float64(row) + 0.5) * g.CellM, float64(w), int32(i)})
	}
	if first >= 0 {
		p.rim = append(p.rim, p.spots[first], p.spots[last])
	}
}

// measure turns what was typed into steps on the grid and dollars a step.
func measure(g Ground, a Applicator) measures {
	groundM2 := g.Grid.AcresPerCell * unit.SquareMetersPerAcre
	m := measures{ground: math.Sqrt(groundM2) / g.Grid.CellM, step: max(1, g.Grid.CellM)}
	m.swath = float64(unit.Feet(*a.SwathFt).Meters()) / m.ground
	switch m.parts = 8; {
	case m.swath < 2:
		m.parts = 1
	case m.swath < 8:
		m.parts = 4
	}
	m.perPart, m.perStep = float64(m.parts)/m.swath, 1/m.step
	m.acresPerStep = m.swath * m.step / (g.Grid.CellM * g.Grid.CellM) * g.Grid.AcresPerCell
	speed := 0.0
	if v := or(a.SpeedMph); v > 0 {
		speed = float64(unit.MilesPerHour(v).MetersPerSec())
		m.stepS = m.step * m.ground / speed
		m.ferryS = 2 * float64(unit.Miles(or(a.FerryMiles)).Meters()) / speed
	}
	m.turnS = or(a.TurnS)
	inSteps := func(meters float64) int { return int(math.Ceil(meters/(m.step*m.ground) - 1e-9)) }
	m.limits = limits{
		lead:    inSteps(float64(unit.Feet(or(a.LeadFt)).Meters())),
		trail:   inSteps(float64(unit.Feet(or(a.TrailFt)).Meters())),
		minOpen: max(1, inSteps(or(a.MinimumOpenS)*speed)),
		gap:     max(1, inSteps(or(a.BridgeGapS)*speed)),
	}
	// No run needs more room than the grid is wide: beyond it the valve is shut.
	across := int(math.Hypot(float64(g.Grid.Cols), float64(g.Grid.Rows))*g.Grid.CellM/m.step) + 1
	m.margin = min(across, m.limits.lead+m.limits.trail+m.limits.minOpen+1)
	m.terms = price(g, a.Charge, m)
	return m
}

// price is what the work costs, step by step.
func price(g Ground, c Charge, m measures) terms {
	t := terms{limits: m.limits, mostEntries: mostEntries}
	perSecond := 0.0
	if m.stepS > 0 {
		perSecond = or(c.PerHourDollars) / 3600
	}
	t.step = float64(g.ProductDollarsPerAcre*m.acresPerStep) + leastPrice
	t.flown = perSecond * m.stepS
	t.pass = perSecond * m.turnS
	t.charge = or(c.PerAcreDollars) * m.acresPerStep
	t.minimum = or(c.MinimumAcres) / m.acresPerStep
	t.fixed = or(c.CallOutDollars) + float64(perSecond*m.ferryS)
	return t
}

// apart is the least angle between two headings that are offered as different,
// in degrees.
const apart = 15

// A tried is the result at one heading.
type tried struct {
	deg   float64
	phase int
	net   float64
}

// Best returns up to n plans of different headings, at least 15 degrees apart,
// best first. It tries the 36 headings of a 5-degree round, the one along the
// ground to treat, and g.Headings, at up to eight placings of the passes each;
// for every one of these the runs are the best there are (see Plan.Proven).
// No plan is returned where nothing pays, even if all of it is real. By hand
// there is one plan without runs.
func Best(ctx context.Context, g Ground, a Applicator, n int) ([]Plan, error) {
	p, err := New(g, a)
	if err != nil {
		return nil, err
	}
	return p.Best(ctx, n)
}

// Best is the method that the function Best calls.
func (p *Planner) Best(ctx context.Context, n int) ([]Plan, error) {
	if p.a.Kind == ByHand {
		return p.byHand(), nil
	}
	headings := p.headings()
	if len(headings) == 0 {
		return nil, fmt.Errorf("applicator %q: %w", p.a.Name, ErrNoHeading)
	}
	results, err := p.try(ctx, headings)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(results, func(x, y tried) int {
		return cmp.Or(cmp.Compare(y.net, x.net), cmp.Compare(x.deg, y.deg))
	})
	var plans []Plan
	w := new(work)
	for _, r := range results {
		if len(plans) == n || r.net <= 0 {
			break
		}
		if slices.ContainsFunc(plans, func(q Plan) bool { return between(q.HeadingDeg, r.deg) < apart }) {
			continue
		}
		plans = append(plans, p.plan(w, r))
	}
	return plans, nil
}

// between is the angle between two lines, 0 to 90 degrees.
func between(a, b float64) float64 {
	d := math.Mod(math.Abs(a-b), 180)
	return min(d, 180-d)
}

// headings lists what is tried, ascending, without those that are not flown.
func (p *Planner) headings() []float64 {
	var all []float64
	for _, h := range p.g.Headings {
		all = append(all, math.Mod(turn(h), 180))
	}
	if !p.g.OnlyHeadings {
		for deg := 0; deg < 180; deg += 5 {
			all = append(all, float64(deg))
		}
		if h, ok := p.axis(); ok {
			all = append(all, h)
		}
	}
	slices.Sort(all)
	all = slices.Compact(all)
	return slices.DeleteFunc(all, func(h float64) bool { return !p.a.flies(h) })
}

// axis is the heading along the ground to treat: that of its greatest spread,
// weighted by the dollars won, to a tenth of a degree.
func (p *Planner) axis() (float64, bool) {
	var sum, sx, sy float64
	for _, s := range p.spots {
		if s.won > 0 {
			sum += s.won
			sx += float64(s.won * s.x)
			sy += float64(s.won * s.y)
		}
	}
	if sum == 0 {
		return 0, false
	}
	var xx, xy, yy float64
	for _, s := range p.spots {
		if s.won > 0 {
			dx, dy := s.x-sx/sum, s.y-sy/sum
			xx += float64(s.won * dx * dx)
			xy += float64(s.won * dx * dy)
			yy += float64(s.won * dy * dy)
		}
	}
	if xx+yy == 0 {
		return 0, false
	}
	// Azimuth of the main axis, from grid north: x is sin, y is cos.
	deg := math.Atan2(2*xy, yy-xx)/2*180/math.Pi + p.g.Grid.ConvergenceDeg
	return math.Mod(math.Round(math.Mod(turn(deg), 180)*10)/10, 180), true
}

// try finds the best placing of the passes at every heading.
func (p *Planner) try(ctx context.Context, headings []float64) ([]tried, error) {
	results := make([]tried, len(headings))
	workers := min(runtime.GOMAXPROCS(0), len(headings))
	var wg sync.WaitGroup
	for first := range workers {
		wg.Go(func() {
			w := new(work)
			for i := first; i < len(headings) && ctx.Err() == nil; i += workers {
				results[i] = p.at(w, headings[i])
			}
		})
	}
	wg.Wait()
	return results, ctx.Err()
}

// at tries every placing of the passes at one heading.
func (p *Planner) at(w *work, deg float64) tried {
	best := tried{deg: deg}
	f := p.bin(w, deg)
	for phase := range p.m.parts {
		f.phase = phase
		m := p.m.terms
		m.atLeast = best.net
		if a := w.table.best(p.lanes(w, f), m); a.net > best.net {
			best.net, best.phase = a.net, phase
		}
	}
	return best
}
