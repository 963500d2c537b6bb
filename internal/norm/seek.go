package norm

import (
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/raster"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A Search is what a question looks for in the colour of whole cells, where
// escapes are told by what lies below the cell. Each cell is held against the
// crop of its check by a matched filter,
//
//	effect = d'S⁻¹(x-m) / d'S⁻¹d
//
// with x the logarithms of the bands over green, m and S the crop's robust
// centre and covariance, and d what a target adds in full (Robinson, "Matched
// filter", in any text on detection; the form that estimates an amount is the
// least-squares one of generalised least squares). So an effect of 0.1 is a
// tenth of the full one, and a direction in which the crop itself varies counts
// little.
type Search struct {
	Targets []Target
	SmoothM float64 // m, standard deviation of the smoothing before
	Floor   float64 // ln units, least spread of the crop in any direction
	Share   float64 // of a check's cells that its norm rests on, 0.5 to 1
	Least   float64 // spreads of the crop, below which no effect is believed
	From    float64 // effect from which a cell has the target's look
	Field   bool    // the whole field has one norm, for what a check can be all over

	// Varies are directions in which any crop varies, whatever its norm rests on shows
	// of it: little is believed of an effect that one of them explains.
	Varies []Variation

	// Even is what of the crop's own variation is taken off first; nil for nothing.
	Even *Even

	// Quiet are kept reasons in whose ground nothing is sought: a levee is dry by
	// rights.
	Quiet []structure.Reason

	// Then is an earlier flight of the same field, laid on the day's; nil without
	// one. Its bands stand beside the day's, and a target adds nothing to them: what
	// ground looked like then says what it should look like now. Alone is the search
	// for ground that Then does not show; its effects are scaled so that both mean
	// the same at From.
	Then  *cells.Summary
	Alone *Search

	// Given is what an earlier search of the same field found: a part of a field
	// is held against the norms of the whole.
	Given *Matched
}

// A Target is one kind of ground that a search tells.
type Target struct {
	Look Look
	// Adds is what the full effect adds to ln(band/green), ln units, by band, and
	// under Brightness to ln(green) against the ground round about. Bands that the
	// flight lacks, and those that a target does not name, say nothing.
	Adds map[string]float64
}

// A Variation is a direction, as a target's, and the part of it by which a crop
// varies (a standard deviation).
type Variation struct {
	Adds map[string]float64
	Part float64
}

// Matched is what a search goes by: one crop for each group of ground. Ground
// that the question looks at although structure would have left it out has
// groups of its own, by its reason: an edge is held against edges.
type Matched struct {
	Features []string         // bands whose ln over green is used, and Brightness last where it is
	Crops    []stat.Ellipsoid // by group; no Center where too little ground is
	Light    *Round           // ln(green) of the ground round about; nil when no target asks for it
	Own      []Round          // by feature: what Even took off; nil without it
	Middles  []float64        // by check, and last for ground in none: the zero of what the main feature allows an effect to be; nil where no effect is held to it
	Effects  [][]float64      // [target][group] spread of the effect over the crop
	Alone    *Matched         // of the search for ground that the earlier flight does not show; nil without one
}

// Round is what the ground round about is like, on blocks of the field: blocks,
// so that a part of the field that is cut out is held against the whole.
type Round struct {
	WestX, NorthY, BlockM float64 // m, grid zone
	Size                  stat.Size
	V                     []float32 // by block; 0 where not known
}

// at is the value at a place; 0 off the field.
func (r *Round) at(x, y float64) float64 {
	col, row := int((x-r.WestX)/r.BlockM), int((r.NorthY-y)/r.BlockM)
	if col < 0 || row < 0 || col >= r.Size.Cols || row >= r.Size.Rows {
		return 0
	}
	return float64(r.V[row*r.Size.Cols+col])
}

// groups of ground: the checks, ground in none, and the kept reasons.
func groupCount(l *structure.Layout) int { return len(l.Checks) + 1 + int(structure.ByHand) + 1 }

func (k *seeker) groupOf(i int) int32 {
	l := k.w.l
	if l.Kept != nil && l.Kept[i] != structure.LookedAt {
		return int32(len(l.Checks) + 1 + int(l.Kept[i]))
	}
	if k.p.Field || l.Check[i] < 0 {
		return int32(len(l.Checks))
	}
	return l.Check[i]
}

// seek replaces evidence, spreads and directions by those of the search; nil
// without one.
func (w *work) seek() {
	if w.p.Search == nil {
		return
	}
	k := newSeeker(w, w.p.Search)
	m := k.p.Given
	if m == nil {
		m = k.match()
	}
	w.out.Matched = m
	e := k.effects(m)
	k.fillAlone(e, m)
	k.apply(e)
	w.evidenceOfSearch(m)
}

// nothing is the departure in which no cell departs: where norms are given, a
// search needs nothing of what lies below the cell.
func (w *work) nothing() {
	n := len(w.look)
	w.out.Norms = w.p.Given
	w.out.Looks = append([]Look(nil), looks[:]...)
	w.out.Share, w.out.Spreads, w.out.Toward, w.out.Killed = nans(n), nans(n), make([]uint8, n), make([]bool, n)
}

// evidenceOfSearch puts the spread of the effect beside the norms, for strengths.
func (w *work) evidenceOfSearch(m *Matched) {
	if w.p.Given != nil {
		return
	}
	for c := range w.out.Norms {
		g := c
		if w.p.Search.Field {
			g = len(w.l.Checks)
		}
		w.out.Norms[c].Center[Weight], w.out.Norms[c].Spread[Weight] = 0, 0
		if len(m.Effects) > 0 {
			w.out.Norms[c].Spread[Weight] = m.Effects[0][g]
		}
	}
}

// A seeker is a search at work on the pool's cells.
type seeker struct {
	w     *work
	p     *Search
	group []int32     // pool cell; -1 where nothing is looked at
	names []string    // of the features
	x     [][]float32 // [feature][pool cell], smoothed; NaN where not known
	raw   [][]float32 // the same before smoothing, where Even asks for it
	whole []float32   // what the main feature shows before Even, as the effect that it allows, from any zero; nil where no effect is held to it
	light *Round
	own   []Round
}

func newSeeker(w *work, p *Search) *seeker {
	k := &seeker{w: w, p: p}
	k.assign()
	green := k.fold(w.s, "green")
	if green == nil {
		return k
	}
	for _, name := range k.wanted(w.s.Bands) {
		v := k.lnOver(green, nil)
		if name == Brightness {
			k.takeLight(v)
		} else {
			v = k.lnOver(k.fold(w.s, name), green)
		}
		k.add(name, v)
	}
	k.addThen()
	k.even()
	return k
}

// thenOf names a band of the earlier flight.
func thenOf(band string) string { return band + " then" }

// addThen adds the earlier flight's bands, and takes them off the same ones of the
// day: with little to go by, ground is expected to look as it did.
func (k *seeker) addThen() {
	s := k.p.Then
	if s == nil {
		return
	}
	green := k.fold(s, "green")
	if green == nil {
		return
	}
	for _, name := range k.wanted(s.Bands) {
		if name == Brightness {
			continue
		}
		now := slices.Index(k.names, name)
		k.add(thenOf(name), k.lnOver(k.fold(s, name), green))
		if now >= 0 {
			for at, then := range k.x[len(k.x)-1] {
				k.x[now][at] -= then
			}
		}
	}
}

func (k *seeker) add(name string, v []float32) {
	k.names = append(k.names, name)
	k.x = append(k.x, k.smooth(v))
	if k.p.Even != nil {
		k.raw = append(k.raw, v)
	}
}

// wanted are the features that a target names, bands in their flight's order.
func (k *seeker) wanted(bands []string) []string {
	var out []string
	for _, name := range append(slices.Clone(bands), Brightness) {
		for _, t := range k.p.Targets {
			if _, ok := t.Adds[name]; ok && name != "green" {
				out = append(out, name)
				break
			}
		}
	}
	return out
}

// assign gives each pool cell the group of its first cell that is looked at.
func (k *seeker) assign() {
	k.group = make([]int32, k.w.pool.size.Len())
	for at := range k.group {
		k.group[at] = -1
	}
	k.w.pool.each(k.w.look, k.w.p.Workers, func(at, i int) {
		if k.group[at] < 0 {
			k.group[at] = k.groupOf(i)
		}
	})
}

// kept says whether a group is of ground that is looked at for this question
// only.
func (k *seeker) kept(group int32) bool { return int(group) > len(k.w.l.Checks) }

// quiet says whether nothing is sought in a group.
func (k *seeker) quiet(group int32) bool {
	return k.kept(group) && slices.Contains(k.p.Quiet, structure.Reason(int(group)-len(k.w.l.Checks)-1))
}

// fold is the mean of a band of s over each pool cell; nil when s lacks it. The
// day's cells may be a part of those of s.
func (k *seeker) fold(s *cells.Summary, band string) []float32 {
	mean, _ := s.Band(band)
	if mean == nil {
		return nil
	}
	g, whole := k.w.s.Grid, s.Grid
	col, row := int(math.Round((g.OriginX-whole.OriginX)/g.CellM)), int(math.Round((whole.OriginY-g.OriginY)/g.CellM))
	sum, n := make([]float32, len(k.group)), make([]float32, len(k.group))
	k.w.pool.each(k.w.look, k.w.p.Workers, func(at, i int) {
		from := (i/g.Cols+row)*whole.Cols + i%g.Cols + col
		if v := mean[from]; v-v == 0 && s.Pixels[from] > 0 && k.group[at] == k.groupOf(i) {
			sum[at] += v
			n[at]++
		}
	})
	for at := range sum {
		sum[at] /= n[at] // 0/0 is NaN: not known
	}
	return sum
}

// darkShare of a band's middle is added before the logarithm, so that the ratio of
// dark pixels in few counts does not run away.
const darkShare = 0.02

func (k *seeker) lnOver(a, b []float32) []float32 {
	out := k.w.lnOf(k.lifted(a), nil)
	if b != nil {
		for i, g := range k.w.lnOf(k.lifted(b), nil) {
			out[i] -= g
		}
	}
	return out
}

func (k *seeker) lifted(v []float32) []float32 {
	in := make([]bool, len(v))
	for at, g := range k.group {
		in[at] = g >= 0
	}
	add := float32(darkShare * stat.Median(stat.Sample(v, in, 5000)))
	if !(add > 0) {
		add = 0
	}
	out := make([]float32, len(v))
	for i, x := range v {
		out[i] = x + add
	}
	return out
}

// smooth takes ground of the crop and ground kept for the question apart, so that
// a levee's grass does not colour the crop beside it.
func (k *seeker) smooth(v []float32) []float32 {
	sigma := k.p.SmoothM / (k.w.s.Grid.CellM * float64(k.w.pool.fold))
	out := nans(len(v))
	for _, kept := range [...]bool{false, true} {
		in, some := make([]bool, len(v)), false
		for at, g := range k.group {
			in[at] = g >= 0 && k.kept(g) == kept && v[at]-v[at] == 0
			some = some || in[at]
		}
		if !some {
			continue
		}
		part := make([]float32, len(v))
		stat.Gauss(part, v, in, k.w.pool.size, sigma)
		for at, ok := range in {
			if ok {
				out[at] = part[at]
			}
		}
	}
	return out
}

const (
	matchSample = 4000 // values that a group's crop is taken from
	matchSteps  = 8
	matchTrust  = 400 // pool cells at which a group rests half on itself and half on the field
)

// match finds the crop of every group.
func (k *seeker) match() *Matched {
	n := groupCount(k.w.l)
	m := &Matched{Features: k.names, Light: k.light, Own: k.own, Middles: k.middles(), Crops: make([]stat.Ellipsoid, n)}
	if len(k.names) == 0 {
		return m
	}
	values, count := k.gather(n)
	var all []float64
	for g, xs := range values {
		if !k.kept(int32(g)) {
			all = append(all, xs...)
		}
	}
	field, err := k.crop(all)
	for g := range n {
		if own, few := k.crop(values[g]); few == nil {
			m.Crops[g] = own
			if err == nil && !k.kept(int32(g)) {
				m.Crops[g] = lean2(own, field, count[g]/(count[g]+matchTrust))
			}
		} else if err == nil {
			m.Crops[g] = field
		}
	}
	for g := range m.Crops {
		m.Crops[g] = k.varied(m.Crops[g])
	}
	k.findSpreads(m)
	return m
}

// varied is a crop that varies in the search's own directions, too.
func (k *seeker) varied(crop stat.Ellipsoid) stat.Ellipsoid {
	p := len(crop.Center)
	if p == 0 || len(k.p.Varies) == 0 {
		return crop
	}
	cov := slices.Clone(crop.Cov)
	for _, v := range k.p.Varies {
		for i, a := range k.names {
			for j, b := range k.names {
				cov[i*p+j] += float64(v.Part * v.Part * v.Adds[a] * v.Adds[b])
			}
		}
	}
	return stat.NewEllipsoid(crop.Center, cov)
}

// roundBlockM is the side of the blocks that the ground round about is taken
// from: a little under what can be treated.
const roundBlockM = 4.0

// newRound is a raster of blocks of about a side; of pool cells for 0.
func (k *seeker) newRound(blockM float64) *Round {
	g, pool := k.w.s.Grid, k.w.pool
	side := g.CellM * float64(pool.fold)
	per := max(1, int(math.Round(blockM/side)))
	return &Round{
		WestX: g.OriginX, NorthY: g.OriginY, BlockM: side * float64(per),
		Size: stat.Size{Cols: (pool.size.Cols + per - 1) / per, Rows: (pool.size.Rows + per - 1) / per},
	}
}

// takeLight takes the brightness of the ground round about off v: what cloud, haze
// and the camera make of it.
func (k *seeker) takeLight(v []float32) {
	if k.p.Given != nil {
		k.light = k.p.Given.Light
	}
	if k.light == nil {
		r := k.newRound(roundBlockM)
		b := k.blocks(r, func(at int, _ int32) float64 { return float64(v[at]) })
		in := make([]bool, len(b))
		for i, x := range b {
			in[i] = x == x
		}
		mean := make([]float32, len(b))
		stat.Box(mean, b, in, r.Size, max(1, int(math.Round(roundM/r.BlockM))))
		r.V = mean
		k.light = r
	}
	for at := range v {
		x, y := k.place(at)
		v[at] -= float32(k.light.at(x, y))
	}
}

// place is the middle of a pool cell, m in the grid's zone.
func (k *seeker) place(at int) (x, y float64) {
	g := k.w.s.Grid
	side := g.CellM * float64(k.w.pool.fold)
	cols := k.w.pool.size.Cols
	return g.OriginX + (float64(at%cols)+0.5)*side, g.OriginY - (float64(at/cols)+0.5)*side
}

// blocks are the means of what of says over the blocks of r, of the crop's ground
// only; NaN where there is none.
func (k *seeker) blocks(r *Round, of func(at int, g int32) float64) []float32 {
	sum, n := make([]float32, r.Size.Len()), make([]float32, r.Size.Len())
	cols := k.w.pool.size.Cols
	per := int(math.Round(r.BlockM / (k.w.s.Grid.CellM * float64(k.w.pool.fold))))
	for at, g := range k.group {
		if g < 0 || k.kept(g) {
			continue
		}
		if a := of(at, g); a == a {
			b := at/cols/per*r.Size.Cols + at%cols/per
			sum[b] += float32(a)
			n[b]++
		}
	}
	for b := range sum {
		sum[b] /= n[b]
	}
	return sum
}

// findSpreads sets, for every target and group, the spread of its effect over the
// crop.
func (k *seeker) findSpreads(m *Matched) {
	for _, target := range k.p.Targets {
		spreads := make([]float64, len(m.Crops))
		for g, f := range k.filters(target, m) {
			spreads[g] = f.spread
		}
		m.Effects = append(m.Effects, spreads)
	}
}

// filters are a target's filters, by group.
func (k *seeker) filters(t Target, m *Matched) []filter {
	out := make([]filter, len(m.Crops))
	for g := range m.Crops {
		out[g] = k.filter(t, &m.Crops[g])
	}
	return out
}

func (k *seeker) crop(x []float64) (stat.Ellipsoid, error) {
	return stat.Concentrate(x, len(k.names), stat.Concentration{Share: k.p.Share, Steps: matchSteps, Floor: k.p.Floor})
}

// gather collects the features of each group, row-major, at most about
// matchSample rows of each.
func (k *seeker) gather(groups int) (values [][]float64, count []float64) {
	values, count = make([][]float64, groups), make([]float64, groups)
	for _, g := range k.group {
		if g >= 0 {
			count[g]++
		}
	}
	seen := make([]int, groups)
	for at, g := range k.group {
		if g < 0 {
			continue
		}
		if step := int(count[g])/matchSample + 1; seen[g]%step == 0 {
			for _, v := range k.x {
				values[g] = append(values[g], float64(v[at]))
			}
		}
		seen[g]++
	}
	return values, count
}

// lean2 mixes a group's crop with the field's: its centre and covariance count
// part, the field's the rest.
func lean2(own, field stat.Ellipsoid, part float64) stat.Ellipsoid {
	p := len(own.Center)
	center, cov := make([]float64, p), make([]float64, p*p)
	for j := range center {
		center[j] = float64(part*own.Center[j]) + float64((1-part)*field.Center[j])
	}
	for j := range cov {
		cov[j] = float64(part*own.Cov[j]) + float64((1-part)*field.Cov[j])
	}
	return stat.NewEllipsoid(center, cov)
}

// A filter is a target's matched filter in one group.
type filter struct {
	weight []float64 // by feature: effect = weight . (x - center)
	center []float64
	spread float64 // of the effect over the crop
}

// filter returns a target's filter against a crop; a zero one where either says
// nothing.
func (k *seeker) filter(t Target, crop *stat.Ellipsoid) filter {
	if len(crop.Center) == 0 {
		return filter{}
	}
	d := make([]float64, len(k.names))
	for j, name := range k.names {
		d[j] = t.Adds[name]
	}
	return newFilter(d, crop)
}

func newFilter(d []float64, crop *stat.Ellipsoid) filter {
	weight, norm := crop.Solve(d), 0.0
	for j := range d {
		norm += float64(d[j] * weight[j])
	}
	if !(norm > 0) {
		return filter{}
	}
	for j := range weight {
		weight[j] /= norm
	}
	return filter{weight, crop.Center, 1 / math.Sqrt(norm)}
}

// effect is the filter's answer at a pool cell; NaN where a feature is not known.
func (k *seeker) effect(f *filter, at int) float64 {
	sum := 0.0
	for j, w := range f.weight {
		sum += float64(w * (float64(k.x[j][at]) - f.center[j]))
	}
	return sum
}

// effects are what a search finds in every pool cell: the largest believed effect
// of any target, its size in spreads, and its look.
type effects struct {
	size, spreads []float32 // NaN where not known
	look          []uint8
}

func (k *seeker) effects(m *Matched) effects {
	filters := make([][]filter, len(k.p.Targets))
	for t, target := range k.p.Targets {
		filters[t] = k.filters(target, m)
	}
	n := len(k.group)
	e := effects{nans(n), nans(n), make([]uint8, n)}
	raster.Bands(k.w.p.Workers, k.w.pool.size.Rows, func(from, to int) {
		for at := from * k.w.pool.size.Cols; at < to*k.w.pool.size.Cols; at++ {
			if g := k.group[at]; g >= 0 && k.quiet(g) {
				e.size[at], e.spreads[at] = 0, 0
			} else if g >= 0 {
				e.size[at], e.spreads[at], e.look[at] = k.best(filters, m, at)
			}
		}
	})
	return e
}

// fillAlone fills in the ground that the earlier flight does not show.
func (k *seeker) fillAlone(e effects, m *Matched) {
	lacks := func(at int) bool { return k.group[at] >= 0 && e.size[at] != e.size[at] }
	first := 0
	for first < len(k.group) && !lacks(first) {
		first++
	}
	if k.p.Alone == nil || first == len(k.group) || k.p.Given != nil && m.Alone == nil {
		return
	}
	alone := newSeeker(k.w, k.p.Alone)
	if m.Alone == nil {
		m.Alone = alone.match()
	}
	of, by := alone.effects(m.Alone), float32(k.p.From/k.p.Alone.From)
	for at := first; at < len(k.group); at++ {
		if lacks(at) {
			e.size[at], e.spreads[at], e.look[at] = by*of.size[at], of.spreads[at], of.look[at]
		}
	}
}

// apply writes effects and looks into the departure.
func (k *seeker) apply(e effects) {
	w := k.w
	w.out.Evidence = w.spreadOut(e.size)
	size := w.spreadOut(e.spreads)
	for i, ok := range w.look {
		w.out.Killed[i] = false
		if !ok {
			continue
		}
		w.out.Spreads[i], w.out.Toward[i] = size[i], 0
		if float64(w.out.Evidence[i]) >= k.p.From {
			w.out.Toward[i] = e.look[w.pool.of(i)]
		}
	}
}

// best is the largest believed effect at a pool cell, its size in spreads, and its
// look.
func (k *seeker) best(filters [][]filter, m *Matched, at int) (effect, spreads float32, look uint8) {
	effect, spreads = float32(math.NaN()), float32(math.NaN())
	for t := range filters {
		f := &filters[t][k.group[at]]
		if f.spread == 0 {
			continue
		}
		a := min(k.effect(f, at), k.byItself(m, at))
		if a != a {
			continue
		}
		z := a / f.spread
		if z < k.p.Least {
			a = min(a, 0)
		}
		if a := float32(a); effect != effect || a > effect {
			effect, spreads, look = a, float32(max(z, 0)), lookIndex(k.p.Targets[t].Look)
		}
	}
	return effect, spreads, look
}
