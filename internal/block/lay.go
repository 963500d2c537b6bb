package block

import (
	"cmp"
	"slices"
	"strconv"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// A strip is a run in the frame's own terms.
type strip struct {
	pass       int
	open, shut int // steps of the frame
	a, b       int // its core, both included
	block      int
}

// plan lays out the best runs of one heading and placing.
func (p *Planner) plan(w *work, r tried) Plan {
	f := p.bin(w, r.deg)
	f.phase = r.phase
	lanes := p.lanes(w, f)
	a := w.table.best(lanes, p.m.terms)
	out := Plan{
		Applicator: p.a.Name, Kind: p.a.Kind, HeadingDeg: r.deg,
		Net: a.net, ShortDollars: a.short, frame: f,
	}
	var strips []strip
	for i, runs := range a.runs {
		at := w.kept[i]
		for _, s := range runs {
			strips = append(strips, strip{pass: at.pass, open: at.from + s.open, shut: at.from + s.shut, a: at.from + s.a, b: at.from + s.b})
		}
		out.Won += won(lanes[i], runs)
	}
	p.cover(&out, strips)
	p.time(&out, strips)
	p.cost(&out)
	p.layBlocks(&out, strips)
	return out
}

// won is what the runs of a lane win: their cores whole, lead and trail only
// the harm.
func won(l lane, runs []span) float64 {
	sum := 0.0
	for _, s := range runs {
		for i := s.open; i < s.shut; i++ {
			switch {
			case i >= s.a && i <= s.b:
				sum += l.value[i]
			case l.harm != nil:
				sum += l.harm[i]
			}
		}
	}
	return sum
}

// cover finds the ground that the strips treat, and what of them lies outside.
func (p *Planner) cover(out *Plan, strips []strip) {
	byPass := make(map[int][]strip)
	steps := 0
	for _, s := range strips {
		byPass[s.pass] = append(byPass[s.pass], s)
		steps += s.shut - s.open
	}
	out.Passes = len(byPass)
	out.ValveOnAcres = float64(steps) * p.m.acresPerStep
	for _, s := range p.spots {
		if s.won > 0 && p.treats(out.frame, byPass, s) {
			out.Treated = append(out.Treated, s.cell)
		}
	}
	out.TreatedAcres = float64(len(out.Treated)) * p.g.Grid.AcresPerCell
	outside := 0
	for _, s := range strips {
		outside += p.outside(out.frame, s)
	}
	out.OutsideAcres = float64(outside) / float64(p.m.parts) * p.m.acresPerStep
}

// treats tells whether a cell lies in the core of a strip.
func (p *Planner) treats(f frame, byPass map[int][]strip, s spot) bool {
	part, step, ok := p.binOf(f, s)
	if !ok {
		return false
	}
	for _, r := range byPass[(part+f.phase)/p.m.parts] {
		if step >= r.a && step <= r.b {
			return true
		}
	}
	return false
}

// outside counts the parts of a strip, step by step, that lie beyond Inside.
func (p *Planner) outside(f frame, s strip) int {
	n := 0
	left := p.middle(f, s.pass) - p.m.swath/2
	for step := s.open; step < s.shut; step++ {
		v := f.v0 + (float64(step)+0.5)*p.m.step
		for part := range p.m.parts {
			x, y := f.back(left+(float64(part)+0.5)*p.m.swath/float64(p.m.parts), v)
			if i, ok := cellAt(p.g.Grid, x, y); !ok || !p.g.Inside[i] {
				n++
			}
		}
	}
	return n
}

// time adds up work, turns and ferry. A turn is counted for each pass, the one
// that lines up the first included.
func (p *Planner) time(out *Plan, strips []strip) {
	out.Loads = loads(out.ValveOnAcres, p.g.GallonsPerAcre, or(p.a.TankGallons))
	if p.m.stepS == 0 {
		return
	}
	seconds := float64(out.Passes) * p.m.turnS
	for i, s := range strips {
		from := s.open
		if i > 0 && strips[i-1].pass == s.pass {
			from = strips[i-1].shut
		}
		seconds += float64(float64(s.shut-from) * p.m.stepS)
	}
	seconds += float64(float64(max(1, out.Loads)) * p.m.ferryS)
	minutes := seconds / 60
	out.Minutes = &minutes
}

// cost makes out the bill of a plan.
func (p *Planner) cost(out *Plan) {
	out.Bill = p.a.Charge.Bill(Work{
		Acres: out.ValveOnAcres, ProductDollarsPerAcre: p.g.ProductDollarsPerAcre, Minutes: out.Minutes,
	})
	out.BilledAcres, out.Cost = out.Bill.BilledAcres, out.Bill.Total
}

// loads is the number of tankfuls for so many acres; 0 where it is not known.
//
// Source: docs/references.md T8.8, loads = ceil(acres * gallons per acre / tank).
func loads(acres, gallonsPerAcre, tank float64) int {
	if gallonsPerAcre <= 0 || tank <= 0 {
		return 0
	}
	n := int(acres * gallonsPerAcre / tank)
	if float64(n)*tank < acres*gallonsPerAcre*(1-1e-12) {
		n++
	}
	return n
}

// layBlocks joins strips to blocks and puts runs into their order.
func (p *Planner) layBlocks(out *Plan, strips []strip) {
	chains := chain(strips, p.least())
	blocks := make([]Block, len(chains))
	for i, c := range chains {
		blocks[i] = p.outline(out.frame, strips, c)
	}
	order := fromNorthWest(blocks)
	for rank, i := range order {
		for _, s := range chains[i] {
			strips[s].block = rank
		}
	}
	out.Blocks = make([]Block, len(blocks))
	for rank, i := range order {
		out.Blocks[rank] = blocks[i]
		out.Blocks[rank].ID = strconv.Itoa(rank + 1)
	}
	out.Runs = p.runs(out.frame, strips)
	for _, r := range out.Runs {
		rank, _ := strconv.Atoi(r.Block)
		b := &out.Blocks[rank-1]
		b.Runs = append(b.Runs, r)
		b.LongestRunM = max(b.LongestRunM, r.LengthM)
		if len(b.Runs) == 1 || r.OpenS < b.ShortestOpenS {
			b.ShortestOpenS = r.OpenS
		}
	}
	for i := range out.Blocks {
		out.BlockAcres += out.Blocks[i].Acres
		slices.SortFunc(out.Blocks[i].Runs, func(x, y Run) int { return cmp.Compare(x.Pass, y.Pass) })
	}
}

// least is the shortest side, in steps, along which two strips of neighbouring
// passes must lie together to be one block: half a swath.
func (p *Planner) least() int { return max(1, int(p.m.swath/2/p.m.step)) }

// chain joins each strip to at most one of the pass before and one of the next,
// those that lie together longest first. A chain has one strip in each of its
// passes, so that its outline has one part and no hole. Strips are in the
// order of passes; chains come in the order of their first strip.
func chain(strips []strip, least int) [][]int {
	type pair struct{ i, j, together int }
	var pairs []pair
	for i, s := range strips {
		for j := i + 1; j < len(strips) && strips[j].pass <= s.pass+1; j++ {
			if strips[j].pass != s.pass+1 {
				continue
			}
			t := min(s.shut, strips[j].shut) - max(s.open, strips[j].open)
			short := min(s.shut-s.open, strips[j].shut-strips[j].open)
			if t >= max(1, min(least, short/2)) {
				pairs = append(pairs, pair{i, j, t})
			}
		}
	}
	slices.SortStableFunc(pairs, func(x, y pair) int { return cmp.Compare(y.together, x.together) })
	next, taken := make(map[int]int), make(map[int]bool)
	for _, q := range pairs {
		if _, ok := next[q.i]; !ok && !taken[q.j] {
			next[q.i] = q.j
			taken[q.j] = true
		}
	}
	var out [][]int
	for i := range strips {
		if taken[i] {
			continue
		}
		c := []int{i}
		for j, ok := next[i]; ok; j, ok = next[j] {
			c = append(c, j)
		}
		out = append(out, c)
	}
	return out
}

// outline draws the strips of a chain as one ring: up their right ends' side
// and back down the left.
func (p *Planner) outline(f frame, strips []strip, c []int) Block {
	b := Block{HeadingDeg: f.deg}
	var far, near geo.Ring // the ends ahead, and behind from the last pass back
	steps := 0
	for _, i := range c {
		s := strips[i]
		steps += s.shut - s.open
		left := p.middle(f, s.pass) - p.m.swath/2
		far = append(far, p.point(f, left, p.along(f, s.shut)), p.point(f, left+p.m.swath, p.along(f, s.shut)))
	}
	for k := len(c) - 1; k >= 0; k-- {
		s := strips[c[k]]
		left := p.middle(f, s.pass) - p.m.swath/2
		near = append(near, p.point(f, left+p.m.swath, p.along(f, s.open)), p.point(f, left, p.along(f, s.open)))
	}
	b.Outline = geo.Polygon{Outer: straightened(append(far, near...))}
	b.ValveOnAcres = float64(steps) * p.m.acresPerStep
	b.Acres = b.ValveOnAcres
	return b
}

// along is the v of the beginning of a step.
func (p *Planner) along(f frame, step int) float64 { return f.v0 + float64(step)*p.m.step }

// straightened drops points that repeat the one before or lie on a straight
// side, to a millimetre.
func straightened(r geo.Ring) geo.Ring {
	for again := true; again; {
		again = false
		out := make(geo.Ring, 0, len(r))
		for i, q := range r {
			before, after := r[(i+len(r)-1)%len(r)], r[(i+1)%len(r)]
			if len(out) > 0 {
				before = out[len(out)-1]
			}
			ax, ay := q.X-before.X, q.Y-before.Y
			bx, by := after.X-q.X, after.Y-q.Y
			if ax*ax+ay*ay < 1e-6 || abs(ax*by-ay*bx) < 1e-3*(abs(ax)+abs(ay)) {
				again = true
				continue
			}
			out = append(out, q)
		}
		if len(out) < 4 {
			return r
		}
		r = out
	}
	return r
}

func abs(v float64) float64 { return max(v, -v) }

// fromNorthWest orders blocks by how far their middle lies from the north-west.
func fromNorthWest(blocks []Block) []int {
	key := make([]float64, len(blocks))
	order := make([]int, len(blocks))
	for i, b := range blocks {
		order[i] = i
		lo, hi := b.Outline.Outer[0], b.Outline.Outer[0]
		for _, q := range b.Outline.Outer {
			lo.X, lo.Y = min(lo.X, q.X), min(lo.Y, q.Y)
			hi.X, hi.Y = max(hi.X, q.X), max(hi.Y, q.Y)
		}
		key[i] = (lo.X + hi.X) - (lo.Y + hi.Y)
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(key[i], key[j]) })
	return order
}

// runs puts strips into the order of work: pass by pass from one side, there
// and back.
func (p *Planner) runs(f frame, strips []strip) []Run {
	var out []Run
	forth := true
	for i := 0; i < len(strips); {
		j := i
		for j < len(strips) && strips[j].pass == strips[i].pass {
			j++
		}
		for k := i; k < j; k++ {
			s := strips[k]
			if !forth {
				s = strips[i+j-1-k]
			}
			out = append(out, p.run(f, s, forth, len(out)+1))
		}
		i, forth = j, !forth
	}
	return out
}

// run is a strip as it is flown.
func (p *Planner) run(f frame, s strip, forth bool, order int) Run {
	u := p.middle(f, s.pass)
	from, to := p.point(f, u, p.along(f, s.open)), p.point(f, u, p.along(f, s.shut))
	if !forth {
		from, to = to, from
	}
	n := float64(s.shut - s.open)
	return Run{
		Block: strconv.Itoa(s.block + 1), Order: order, From: from, To: to,
		LengthM: n * p.m.step * p.m.ground, OpenS: n * p.m.stepS,
		ValveOnM2: float64(unit.Acres(n * p.m.acresPerStep).SquareMeters()), Pass: s.pass + 1,
	}
}
