package norm

import (
	"math"
	"slices"

	"bittern/internal/geo"
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A Trend is crop that changes with the distance from an edge or from where water
// comes in, halving over HalfM. It stays in the departure.
type Trend struct {
	From  string    // "west edge", "inlet"
	Inlet bool      // it fades round a point, else from an edge
	At    geo.Point // m, grid zone: the point that it fades round; zero of an edge
	Look  Look
	HalfM float64 // m of the grid's zone over which it halves
	Acres float64 // looked-at ground where it is beyond one spread
}

const (
	trendBlockM      = 8.0   // m, side of the squares that trends from an edge are fitted on
	fanBlockM        = 4.0   // m, the same for those round a point
	besideEdgeM      = 6.0   // m, ground beside the edge that is not fitted
	leastNear        = 20    // blocks where a trend has a fifth of its strength and more
	fanReachM        = 120.0 // m round a point
	leastTrendBlocks = 60
	trendReachM      = 250  // m, how far into the field an edge is looked for
	trendStepM       = 4.0  // m, step towards the edge
	edgeSpreads      = 2.5  // spreads at the edge from which a trend is told
	edgeParts        = 5    // stretches of an edge, each of which must show the trend
	fanParts         = 3    // sectors of a fan
	partLeast        = 0.40 // of the whole trend, what each must show
	trendExplain     = 0.50 // of the departure near it, what a trend must explain
	weedsInTrend     = -1.5 // evidence at half of a fan's strength from which it is a patch of weeds
	mostTrends       = 3    // one from an edge: what is left of it looks like others
)

// halves are the half-distances that are tried, m.
var halves = [...]float64{6, 8, 11, 15, 20, 27, 36, 48, 64, 85}

// A fit is one place that a trend may come from, and how well it explains a
// quantity of the blocks.
type fit struct {
	from      source
	halfM     float64
	amount    float64 // ln units where it comes from
	explained float64 // sum of squares
}

// A source is where a trend may come from: an edge that lies in direction toward
// (radians clockwise from grid north), or a point of a check.
type source struct {
	point  bool
	at     [2]float64 // pool cells
	check  int32
	toward float64
}

// A plane is the crop in blocks: coarse ones for edges, finer ones round the points
// that fans are tried at.
type plane struct {
	w      *work
	side   int // pool cells
	size   stat.Size
	check  []int32              // of each block, -1 without looked-at ground
	values map[string][]float64 // medians of a quantity, by need
	ground []int                // blocks with ground
	list   []int                // those of them that are fitted: not beside the field's edge, which has troubles of its own
	found  []found              // trends that were taken off
	edge   [][]float64          // by direction that is tried: how far the edge is from the fitted blocks; nil until it is asked for
}

// findTrends fits trends before anything else is made of the quantities. They stay
// in them: a trend is a departure, and none of what makes a suspect.
func (w *work) findTrends() {
	if w.p.Given != nil || w.p.NoTrends {
		return
	}
	coarse := w.newPlane(trendBlockM, nil)
	points := w.points(coarse)
	fine := w.newPlane(fanBlockM, points)
	for range mostTrends {
		f, ok := best(coarse, fine, points)
		if !ok {
			return
		}
		w.tell(&f)
		coarse.found, fine.found = append(coarse.found, f), append(fine.found, f)
		clear(coarse.values)
		clear(fine.values)
	}
}

// trendQuantities are those that trends are looked for in, the first known one
// being what decides.
var trendQuantities = [...]string{Infrared, RatioPixel}

// newPlane lays blocks of sideM metres over the pool, all of them or those near
// points.
func (w *work) newPlane(sideM float64, near []source) *plane {
	p := &plane{w: w, side: w.reach(sideM), values: map[string][]float64{}}
	p.size = stat.Size{Cols: (w.pool.size.Cols + p.side - 1) / p.side, Rows: (w.pool.size.Rows + p.side - 1) / p.side}
	p.check = slices.Repeat([]int32{-1}, p.size.Len())
	for k := range p.check {
		if sideM == fanBlockM && !p.isNear(k, near) {
			continue
		}
		n, least := 0, p.side*p.side/16
		p.eachSample(k, func(at int) {
			if w.pool.cells[at] > 0 && w.pool.check[at] >= 0 && !w.inShade(at) {
				p.check[k] = w.pool.check[at]
				n++
			}
		})
		if n < max(least, 1) {
			p.check[k] = -1
		}
		if p.check[k] < 0 {
			continue
		}
		p.ground = append(p.ground, k)
		if !p.beside(k) {
			p.list = append(p.list, k)
		}
	}
	return p
}

// beside says whether the field's edge lies within besideEdgeM of block k.
func (p *plane) beside(k int) bool {
	g, fold := p.w.s.Grid, float64(p.w.pool.fold)
	x, y := p.middle(k)
	for turn := range 8 {
		sin, cos := math.Sincos(float64(turn) * math.Pi / 4)
		c := int(math.Floor(x*fold + float64(sin*besideEdgeM/g.CellM)))
		r := int(math.Floor(y*fold - float64(cos*besideEdgeM/g.CellM)))
		if c < 0 || r < 0 || c >= g.Cols || r >= g.Rows || !p.w.s.Inside[r*g.Cols+c] {
			return true
		}
	}
	return false
}

func (p *plane) isNear(k int, points []source) bool {
	x, y := p.middle(k)
	return slices.ContainsFunc(points, func(s source) bool {
		return math.Hypot(x-s.at[0], y-s.at[1])*p.w.poolM() <= fanReachM
	})
}

// value is the medians of a quantity, less the trends that were taken off.
func (p *plane) value(name string) []float64 {
	if v, ok := p.values[name]; ok {
		return v
	}
	v := p.medians(p.w.of[name].v)
	for i := range p.found {
		f := &p.found[i]
		d := p.distances(f.from)
		for j, k := range p.list {
			v[k] -= float64(f.amounts[name] * math.Exp2(-d[j]/f.halfM))
		}
	}
	p.values[name] = v
	return v
}

// distances are those of the listed blocks from a source.
func (p *plane) distances(s source) []float64 {
	if s.point {
		return p.pointDistance(s)
	}
	return p.edgeDistance(p.list, s.toward)
}

// eachSample visits every second pool cell of block k in either direction.
func (p *plane) eachSample(k int, fn func(at int)) {
	pool := p.w.pool
	for r := k / p.size.Cols * p.side; r < min((k/p.size.Cols+1)*p.side, pool.size.Rows); r += 2 {
		for c := k % p.size.Cols * p.side; c < min((k%p.size.Cols+1)*p.side, pool.size.Cols); c += 2 {
			fn(r*pool.size.Cols + c)
		}
	}
}

func (p *plane) medians(v []float32) []float64 {
	out := make([]float64, p.size.Len())
	var xs []float32
	for _, k := range p.list {
		xs = xs[:0]
		p.eachSample(k, func(at int) {
			if x := v[at]; p.w.pool.cells[at] > 0 && x == x && !p.w.inShade(at) {
				xs = append(xs, x)
			}
		})
		out[k] = stat.Median(xs)
	}
	return out
}

// middle is the place of block k in pool cells.
func (p *plane) middle(k int) (x, y float64) {
	return (float64(k%p.size.Cols) + 0.5) * float64(p.side), (float64(k/p.size.Cols) + 0.5) * float64(p.side)
}

// poolM is the side of a pool cell in metres.
func (w *work) poolM() float64 { return float64(w.pool.fold) * w.s.Grid.CellM }

// edgeDistance is how far it is from each block of a list to the edge in a
// direction, in metres; infinite beyond the reach.
func (p *plane) edgeDistance(list []int, toward float64) []float64 {
	w := p.w
	sin, cos := math.Sincos(toward)
	stepCells := trendStepM / w.s.Grid.CellM
	east, north := float64(stepCells*sin), float64(stepCells*cos)
	inside, cols, rows := w.s.Inside, w.s.Grid.Cols, w.s.Grid.Rows
	out := make([]float64, len(list))
	for j, k := range list {
		x, y := p.middle(k)
		x, y = x*float64(w.pool.fold), y*float64(w.pool.fold)
		d := 0.0
		for ; d < trendReachM; d += trendStepM {
			x += east
			y -= north
			if c, r := int(x), int(y); x < 0 || y < 0 || c >= cols || r >= rows || !inside[r*cols+c] {
				break
			}
		}
		if out[j] = d; d >= trendReachM {
			out[j] = math.Inf(1)
		}
	}
	return out
}

// pointDistance is the distance of each listed block from a point, in metres;
// infinite in other checks.
func (p *plane) pointDistance(s source) []float64 {
	out := make([]float64, len(p.list))
	for j, k := range p.list {
		out[j] = math.Inf(1)
		if p.check[k] == s.check {
			x, y := p.middle(k)
			out[j] = math.Hypot(x-s.at[0], y-s.at[1]) * p.w.poolM()
		}
	}
	return out
}

// best returns the trend that explains most, if one holds.
func best(coarse, fine *plane, points []source) (found, bool) {
	var all []found
	for _, name := range trendQuantities {
		if coarse.w.of[name] == nil {
			continue
		}
		if !slices.ContainsFunc(coarse.found, func(f found) bool { return !f.from.point }) {
			all = append(all, coarse.edges(name)...)
		}
		all = append(all, fine.fans(name, points)...)
	}
	slices.SortStableFunc(all, func(a, b found) int { return compare(b.strength(), a.strength()) })
	for _, f := range all {
		if f.plane.holds(&f) {
			f.amounts = f.plane.amounts(&f)
			return f, true
		}
	}
	return found{}, false
}

// A found trend: its fit in the quantity that showed it.
type found struct {
	fit
	plane    *plane
	name     string
	sd       float64 // ln units, spread of the crop, at least the floor
	distance []float64
	amounts  map[string]float64 // in every quantity, ln units where it comes from
}

// strength is how much of the sum of squares a trend explains, in spreads, for blocks
// of one size.
func (f *found) strength() float64 {
	side := float64(f.plane.side)
	return f.explained / (f.sd * f.sd) * side * side
}

// group is what a block shares its level with: its check, for a fan that lies in
// one check; all blocks, for a trend from an edge, which may fill a check.
func (p *plane) group(k int, point bool) int32 {
	if point {
		return p.check[k]
	}
	return 0
}

// flat is a quantity of the listed blocks less the median of their group, and its
// spread.
func (p *plane) flat(name string, point bool) (y []float64, sd float64) {
	v := p.value(name)
	by := make([][]float64, max(len(p.w.l.Checks), 1))
	for _, k := range p.list {
		if x := v[k]; x == x {
			by[p.group(k, point)] = append(by[p.group(k, point)], x)
		}
	}
	center := make([]float64, len(by))
	for c, xs := range by {
		center[c] = stat.Median(xs)
	}
	y = make([]float64, len(p.list))
	var known []float64
	for j, k := range p.list {
		if y[j] = v[k] - center[p.group(k, point)]; y[j] == y[j] {
			known = append(known, y[j])
		}
	}
	return y, max(stat.Spread(known, 0), p.w.p.Floor)
}

// edges tries every direction and half-distance.
func (p *plane) edges(name string) []found {
	const directions = 16
	if len(p.list) < leastTrendBlocks {
		return nil
	}
	if p.edge == nil {
		p.edge = make([][]float64, directions)
	}
	y, sd := p.flat(name, false)
	out := make([]found, directions)
	raster.Bands(p.w.p.Workers, directions, func(from, to int) {
		for k := from; k < to; k++ {
			s := source{toward: 2 * math.Pi * float64(k) / directions}
			if p.edge[k] == nil {
				p.edge[k] = p.edgeDistance(p.list, s.toward)
			}
			d := p.edge[k]
			out[k] = found{fit: p.over(s, d, y), plane: p, name: name, sd: sd, distance: d}
		}
	})
	return out
}

// fans tries the field's corners, or the inlets that were given.
func (p *plane) fans(name string, points []source) []found {
	if len(p.list) < leastTrendBlocks {
		return nil
	}
	y, sd := p.flat(name, true)
	var out []found
	for _, s := range points {
		d := p.pointDistance(s)
		out = append(out, found{fit: p.over(s, d, y), plane: p, name: name, sd: sd, distance: d})
	}
	return out
}

// over fits all half-distances.
func (p *plane) over(s source, d, y []float64) fit {
	best := fit{from: s}
	b, fades := make([]float64, len(y)), make([]float64, trendReachM+1)
	for _, h := range halves {
		for m := range fades {
			fades[m] = math.Exp2(-float64(m) / h)
		}
		for j := range b {
			b[j] = 0
			if d[j] < trendReachM {
				b[j] = fades[int(d[j])]
			}
		}
		amount, explained := p.regress(b, y, s.point)
		if explained > best.explained {
			best.halfM, best.amount, best.explained = h, amount, explained
		}
	}
	return best
}

// refine finds the half-distance beside f's that leaves least, blocks that stand
// far off counting little (Huber, Annals of Mathematical Statistics 35 (1964), 73-101).
func (p *plane) refine(f *found, y []float64) {
	best := math.Inf(1)
	b, pulled := make([]float64, len(y)), make([]float64, len(y))
	from, amount := f.halfM, f.amount
	for h := from / 1.5; h <= from*1.5; h *= 1.04 {
		for j := range b {
			b[j] = math.Exp2(-f.distance[j] / h)
		}
		a := amount
		for range 3 {
			g := found{fit: fit{from: f.from, halfM: h, amount: a}, distance: f.distance}
			level := p.levels(&g, y)
			for j, k := range p.list {
				want := level[p.group(k, f.from.point)] + float64(a*b[j])
				pulled[j] = want + held(y[j]-want, -1.5*f.sd, 1.5*f.sd)
				if y[j] != y[j] {
					pulled[j] = y[j]
				}
			}
			a, _ = p.regress(b, pulled, f.from.point)
		}
		g := found{fit: fit{from: f.from, halfM: h, amount: a}, distance: f.distance}
		level := p.levels(&g, y)
		loss := 0.0
		for j, k := range p.list {
			if d := math.Abs(y[j]-level[p.group(k, f.from.point)]-float64(a*b[j])) / f.sd; d <= 1.5 {
				loss += d * d / 2
			} else if d == d {
				loss += 1.5*d - 1.125
			}
		}
		if loss < best {
			best, f.halfM, f.amount = loss, h, a
		}
	}
}

// regress fits y by b and a level for each check; what it explains beyond the
// levels is a sum of squares.
func (p *plane) regress(b, y []float64, point bool) (amount, explained float64) {
	n, sb, sy := make([]float64, max(len(p.w.l.Checks), 1)), make([]float64, max(len(p.w.l.Checks), 1)), make([]float64, max(len(p.w.l.Checks), 1))
	for j, k := range p.list {
		if y[j] == y[j] {
			c := p.group(k, point)
			n[c]++
			sb[c] += b[j]
			sy[c] += y[j]
		}
	}
	for c, of := range n {
		sb[c] /= of
		sy[c] /= of
	}
	bb, by := 0.0, 0.0
	for j, k := range p.list {
		if y[j] == y[j] {
			c := p.group(k, point)
			db := b[j] - sb[c]
			bb += float64(db * db)
			by += float64(db * (y[j] - sy[c]))
		}
	}
	if bb < 1e-9 {
		return 0, 0
	}
	return by / bb, by * by / bb
}

// points are the inlets that were given, those that lie near ground of a check. No
// other place is tried: a thin spot in any corner looks like a fan.
func (w *work) points(p *plane) []source {
	var out []source
	for _, q := range w.p.Inlets {
		if s, ok := p.inlet(q); ok {
			out = append(out, s)
		}
	}
	return out
}

// inlet is a given place, with the check that is nearest.
func (p *plane) inlet(q geo.Point) (source, bool) {
	g, fold := p.w.s.Grid, float64(p.w.pool.fold)*p.w.s.Grid.CellM
	s := source{point: true, at: [2]float64{(q.X - g.OriginX) / fold, (g.OriginY - q.Y) / fold}}
	best := math.Inf(1)
	for _, k := range p.list {
		x, y := p.middle(k)
		if d := math.Hypot(x-s.at[0], y-s.at[1]); d < best {
			best, s.check = d, p.check[k]
		}
	}
	return s, best*p.w.poolM() < 60
}

// holds says whether a trend is one: strong, believable in every part, no patch of weeds.
func (p *plane) holds(f *found) bool {
	least, parts := edgeSpreads, edgeParts
	if f.from.point {
		parts = fanParts
	}
	if f.halfM == 0 || f.halfM == halves[len(halves)-1] || math.Abs(f.amount) < 0.7*least*f.sd {
		return false
	}
	y, _ := p.flat(f.name, f.from.point)
	p.refine(f, y)
	if !f.from.point && levelsOff*f.halfM > f.depth() {
		return false
	}
	if math.Abs(f.amount) < least*f.sd || f.halfM > halves[len(halves)-1] || f.halfM < halves[0] {
		return false
	}
	level := p.levels(f, y)
	shows, explains := p.parts(f, y, level, parts)
	return shows >= partLeast && explains >= trendExplain && (!f.from.point || p.weeds(f) < weedsInTrend)
}

// levelsOff is how many half-distances deep the field must be behind an edge: a trend
// must be seen to end, or it is a slope of the whole field.
const levelsOff = 5.0

// depth is how far the field reaches from the edge, m.
func (f *found) depth() float64 {
	deep := 0.0
	for _, d := range f.distance {
		if !math.IsInf(d, 1) {
			deep = max(deep, d)
		}
	}
	return deep
}

// levels are the checks' levels beside the trend: medians of what it leaves.
func (p *plane) levels(f *found, y []float64) []float64 {
	by := make([][]float64, max(len(p.w.l.Checks), 1))
	for j, k := range p.list {
		if y[j] == y[j] {
			by[p.group(k, f.from.point)] = append(by[p.group(k, f.from.point)], y[j]-float64(f.amount*math.Exp2(-f.distance[j]/f.halfM)))
		}
	}
	out := make([]float64, len(by))
	for c, xs := range by {
		out[c] = stat.Median(xs)
	}
	return out
}

// parts cuts the ground near the source into stretches or sectors of as many
// blocks, and returns the least that one shows of the whole trend, and how much
// of the absolute departure near the source the trend explains.
func (p *plane) parts(f *found, y, level []float64, parts int) (least, explains float64) {
	type near struct{ along, b, y float64 }
	var all []near
	sin, cos := math.Sincos(f.from.toward)
	left, whole := 0.0, 0.0
	for j, k := range p.list {
		b := math.Exp2(-f.distance[j] / f.halfM)
		if y[j] != y[j] || b < 0.2 {
			continue
		}
		x, yy := p.middle(k)
		along := x*cos + yy*sin
		if f.from.point {
			along = math.Atan2(yy-f.from.at[1], x-f.from.at[0])
		}
		v := y[j] - level[p.group(k, f.from.point)]
		all = append(all, near{along, b, v})
		left += math.Abs(v - float64(f.amount*b))
		whole += math.Abs(v)
	}
	if len(all) < leastNear {
		return 0, 0
	}
	if f.from.point {
		// Angles are cut where the ground has its widest gap.
		slices.SortStableFunc(all, func(a, b near) int { return compare(a.along, b.along) })
		gap, at := all[0].along+2*math.Pi-all[len(all)-1].along, 0
		for i := 1; i < len(all); i++ {
			if g := all[i].along - all[i-1].along; g > gap {
				gap, at = g, i
			}
		}
		for i := range at {
			all[i].along += 2 * math.Pi
		}
	}
	slices.SortStableFunc(all, func(a, b near) int { return compare(a.along, b.along) })
	least = math.Inf(1)
	for k := range parts {
		bb, by := 0.0, 0.0
		for _, a := range all[len(all)*k/parts : len(all)*(k+1)/parts] {
			bb += a.b * a.b
			by += a.b * a.y
		}
		least = min(least, by/bb/f.amount)
	}
	return least, 1 - left/whole
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// amounts fits every quantity by the trend's shape.
func (p *plane) amounts(f *found) map[string]float64 {
	b := make([]float64, len(p.list))
	for j := range b {
		b[j] = math.Exp2(-f.distance[j] / f.halfM)
	}
	out := map[string]float64{}
	for name := range p.w.of {
		y, sd := p.flat(name, f.from.point)
		for j := range y {
			y[j] = held(y[j], -12*sd, 12*sd)
		}
		out[name], _ = p.regress(b, y, f.from.point)
	}
	return out
}

// weeds is the evidence that the trend's amounts at half of its strength come to.
func (p *plane) weeds(f *found) float64 {
	w := p.w
	like := &work{s: w.s, p: w.p, near: w.near, of: map[string]*quantity{}, pool: &pool{check: []int32{-1}}, bright: make([]float32, 1)}
	for name, a := range f.plane.amounts(f) {
		var xs []float64
		for _, k := range p.list {
			if p.check[k] == f.from.check {
				xs = append(xs, p.value(name)[k])
			}
		}
		base := stat.Median(xs)
		like.of[name] = &quantity{v: []float32{float32(base + 0.5*a)}, center: []float64{base}, spread: []float64{1}}
	}
	like.read()
	return like.evidence(like.balance(), 0)
}

// tell writes the trend down.
func (w *work) tell(f *found) {
	p, amounts := f.plane, f.amounts
	r := reading{distance: distance{brighter: amounts[Brightness]}, fall: amounts[Infrared]}
	for _, name := range trendQuantities {
		if a, ok := amounts[name]; ok {
			z := a / w.p.Floor
			if name == Infrared {
				r.infrared = z
			} else {
				r.ratio = z
			}
		}
	}
	t := Trend{From: called(f.from), Inlet: f.from.point, Look: r.look(), HalfM: f.halfM, Acres: float64(p.beyond(f)) * w.s.Grid.AcresPerCell}
	if f.from.point {
		g := w.s.Grid
		t.At = geo.Point{X: g.OriginX + f.from.at[0]*w.poolM(), Y: g.OriginY - f.from.at[1]*w.poolM()}
	}
	w.out.Trends = append(w.out.Trends, t)
}

// beyond is how many cells lie beyond one spread: as far from the source as the
// trend has come down to that, where the ground is looked at.
func (p *plane) beyond(f *found) int {
	w := p.w
	reach := f.halfM * math.Log2(math.Abs(f.amount)/f.sd)
	at := make([]float64, p.size.Len())
	if !f.from.point {
		for j, d := range p.edgeDistance(p.ground, f.from.toward) {
			at[p.ground[j]] = d
		}
	}
	sin, cos := math.Sincos(f.from.toward)
	cells := 0
	for i, n := range w.pool.cells {
		c, r := i%w.pool.size.Cols, i/w.pool.size.Cols
		k := r/p.side*p.size.Cols + c/p.side
		if n == 0 || p.check[k] < 0 {
			continue
		}
		x, y := float64(c)+0.5, float64(r)+0.5
		mx, my := p.middle(k)
		d := at[k] - float64(((x-mx)*sin-(y-my)*cos)*w.poolM())
		if f.from.point {
			if d = math.Hypot(x-f.from.at[0], y-f.from.at[1]) * w.poolM(); w.pool.check[i] != f.from.check {
				continue
			}
		}
		if d <= reach {
			cells += int(n)
		}
	}
	return cells
}

var compass = [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}

func toCompass(rad float64) string {
	return compass[int(math.Round(math.Mod(rad+2*math.Pi, 2*math.Pi)/(math.Pi/4)))%8]
}

// called names a source.
func called(s source) string {
	if s.point {
		return "inlet"
	}
	return toCompass(s.toward) + " edge"
}
