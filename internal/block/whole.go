package block

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

// byHand treats the cells that are worth it, for a person with a tank: there
// are no runs. All cells have one area, so the best set of a given number of
// cells is that of the greatest dollars, and every number is tried.
func (p *Planner) byHand() []Plan {
	order := make([]int, 0, len(p.spots))
	for i, s := range p.spots {
		if s.won > 0 && p.g.Inside[s.cell] && (p.g.Barred == nil || !p.g.Barred[s.cell]) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(p.spots[j].won, p.spots[i].won) })
	a := p.g.Grid.AcresPerCell
	c := p.a.Charge
	sum, best, most := 0.0, 0.0, 0
	for n, i := range order {
		sum += p.spots[i].won
		acres := float64(n+1) * a
		net := sum - float64(p.g.ProductDollarsPerAcre*acres) - or(c.CallOutDollars) -
			float64(or(c.PerAcreDollars)*max(acres, or(c.MinimumAcres)))
		if net > best {
			best, most = net, n+1
		}
	}
	if most == 0 {
		return nil
	}
	out := Plan{Applicator: p.a.Name, Kind: ByHand, Net: best}
	for _, i := range order[:most] {
		out.Treated = append(out.Treated, p.spots[i].cell)
		out.Won += p.spots[i].won
	}
	slices.Sort(out.Treated)
	out.TreatedAcres = float64(most) * a
	out.ValveOnAcres = out.TreatedAcres
	out.Loads = loads(out.ValveOnAcres, p.g.GallonsPerAcre, or(p.a.TankGallons))
	p.cost(&out)
	return []Plan{out}
}

// Whole is the plan that treats everything inside and not barred, at the
// heading that takes the least time, or that has the fewest passes when the
// speed is not known. The field's own acres are paid for, as services bill a
// whole field; runs and blocks are not listed.
func Whole(ctx context.Context, g Ground, a Applicator) (Plan, error) {
	p, err := New(g, a)
	if err != nil {
		return Plan{}, err
	}
	out := Plan{Applicator: a.Name, Kind: a.Kind}
	out.ValveOnAcres = g.whole()
	out.TreatedAcres = out.ValveOnAcres
	for _, s := range p.spots {
		if g.Inside[s.cell] && (g.Barred == nil || !g.Barred[s.cell]) {
			out.Won += s.won
			if s.won > 0 {
				out.Treated = append(out.Treated, s.cell)
			}
		}
	}
	out.Loads = loads(out.ValveOnAcres, g.GallonsPerAcre, or(a.TankGallons))
	if a.Kind != ByHand {
		if err := p.longWay(ctx, &out); err != nil {
			return Plan{}, err
		}
	}
	p.cost(&out)
	out.Net = out.Won - out.Cost.Dollars()
	return out, nil
}

// whole is the acres inside and not barred.
func (g Ground) whole() float64 {
	inside, barred := 0, 0
	for i, in := range g.Inside {
		if in {
			inside++
			if g.Barred != nil && g.Barred[i] {
				barred++
			}
		}
	}
	acres := float64(inside) * g.Grid.AcresPerCell
	if g.FieldAcres > 0 {
		acres = g.FieldAcres
	}
	return max(0, acres-float64(float64(barred)*g.Grid.AcresPerCell))
}

// longWay finds the heading of the least time for the whole field.
func (p *Planner) longWay(ctx context.Context, out *Plan) error {
	headings := p.headings()
	if len(headings) == 0 {
		return fmt.Errorf("applicator %q: %w", p.a.Name, ErrNoHeading)
	}
	least := math.Inf(1)
	for _, deg := range headings {
		if err := ctx.Err(); err != nil {
			return err
		}
		passes, steps := p.sweep(deg)
		seconds := float64(steps)*p.m.stepS + float64(passes)*p.m.turnS
		if p.m.stepS == 0 {
			seconds = float64(passes)
		}
		if seconds < least {
			least = seconds
			out.HeadingDeg, out.Passes = deg, passes
		}
	}
	if p.m.stepS > 0 {
		minutes := (least + float64(float64(max(1, out.Loads))*p.m.ferryS)) / 60
		out.Minutes = &minutes
	}
	return nil
}

// sweep is the number of passes over the whole field at a heading, and the
// steps from the first valve-open ground to the last of each. The passes are
// laid from the field's side, and the field is read at every fourth cell.
func (p *Planner) sweep(deg float64) (passes, steps int) {
	f := frame{deg: deg}
	f.sin, f.cos = math.Sincos((deg - p.g.Grid.ConvergenceDeg) * math.Pi / 180)
	g := p.g.Grid
	every := max(1, int(2/g.CellM))
	each := func(visit func(u, v float64)) {
		for row := 0; row < g.Rows; row += every {
			for col := 0; col < g.Cols; col += every {
				if p.g.Inside[g.Index(col, row)] {
					visit(f.turned((float64(col)+0.5)*g.CellM, -(float64(row)+0.5)*g.CellM))
				}
			}
		}
	}
	half := float64(every) * g.CellM / 2
	uMin, uMax := math.Inf(1), minus
	each(func(u, _ float64) { uMin, uMax = min(uMin, u-half), max(uMax, u+half) })
	if uMin > uMax {
		return 0, 0
	}
	passes = int(math.Ceil((uMax-uMin)/p.m.swath - 0.05))
	passes = max(1, passes)
	lo, hi := make([]float64, passes), make([]float64, passes)
	for i := range lo {
		lo[i], hi[i] = math.Inf(1), minus
	}
	each(func(u, v float64) {
		i := min(passes-1, int((u-uMin)/p.m.swath))
		lo[i], hi[i] = min(lo[i], v-half), max(hi[i], v+half)
	})
	for i := range lo {
		if hi[i] > lo[i] {
			steps += int(math.Round((hi[i] - lo[i]) / p.m.step))
		}
	}
	return passes, steps
}
