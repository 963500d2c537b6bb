package invent

import (
	"math"

	"bittern/internal/geo"
)

// footM is the international foot in metres (NIST SP 811, B.8).
const footM = 0.3048

// paddies are the field's true checks on a lattice of one metre in the own
// frame.
type paddies struct {
	x0, y0     float64
	cols, rows int
	label      []int16 // -1 on banks and outside
	cells      []int   // of each check
}

// bankCells and outsideCells mark what belongs to no check.
const (
	noCheck  int16 = -1
	bankCell int16 = -2
	unseen   int16 = -3
)

// newPaddies fills the ground between the levees as they were built, worn
// stretches closed.
func newPaddies(ring geo.Ring, banks []bank) *paddies {
	lo, hi := extent(ring, func(p geo.Point) geo.Point { return p })
	q := &paddies{x0: lo.X - 2, y0: lo.Y - 2, cols: int(hi.X-lo.X) + 5, rows: int(hi.Y-lo.Y) + 5}
	q.label = make([]int16, q.cols*q.rows)
	eachRow(q.rows, func(j int) {
		for i := range q.cols {
			q.label[j*q.cols+i] = noCheck
			if inset(ring, q.point(i, j)) >= 3 {
				q.label[j*q.cols+i] = unseen
			}
		}
	})
	for _, b := range banks {
		for k := 1; k < len(b.line); k++ {
			q.bar(b.line[k-1], b.line[k])
		}
	}
	for at := range q.label {
		if q.label[at] == unseen {
			q.fill(at, int16(len(q.cells)))
		}
	}
	q.spread(bankCell, 2)
	return q
}

func (q *paddies) point(i, j int) geo.Point {
	return geo.Point{X: q.x0 + float64(i) + 0.5, Y: q.y0 + float64(j) + 0.5}
}

// bar closes the lattice along a piece of levee.
func (q *paddies) bar(a, b geo.Point) {
	for j := max(0, floor(min(a.Y, b.Y)-q.y0)-1); j <= min(q.rows-1, floor(max(a.Y, b.Y)-q.y0)+1); j++ {
		for i := max(0, floor(min(a.X, b.X)-q.x0)-1); i <= min(q.cols-1, floor(max(a.X, b.X)-q.x0)+1); i++ {
			if q.label[j*q.cols+i] == unseen && segDist2(q.point(i, j), a, b) <= 1 {
				q.label[j*q.cols+i] = bankCell
			}
		}
	}
}

// fill numbers the ground that hangs together with cell at.
func (q *paddies) fill(at int, as int16) {
	todo := []int{at}
	q.label[at] = as
	n := 0
	for len(todo) > 0 {
		k := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		n++
		for _, to := range [4]int{k - 1, k + 1, k - q.cols, k + q.cols} {
			if to >= 0 && to < len(q.label) && q.label[to] == unseen {
				q.label[to] = as
				todo = append(todo, to)
			}
		}
	}
	q.cells = append(q.cells, n)
}

// spread lets the checks grow n cells over cells of one kind.
func (q *paddies) spread(over int16, n int) {
	for range n {
		old := append([]int16(nil), q.label...)
		for k, v := range old {
			if v != over {
				continue
			}
			for _, to := range [4]int{k - 1, k + 1, k - q.cols, k + q.cols} {
				if to >= 0 && to < len(old) && old[to] >= 0 {
					q.label[k] = old[to]
					break
				}
			}
		}
	}
}

// at is the check at p, -1 for none.
func (q *paddies) at(p geo.Point) int16 {
	i, j := floor(p.X-q.x0), floor(p.Y-q.y0)
	if i < 0 || j < 0 || i >= q.cols || j >= q.rows {
		return noCheck
	}
	return max(q.label[j*q.cols+i], noCheck)
}

// fair lists the checks of a tenth of an acre and more.
func (q *paddies) fair() (out []int16) {
	for k, n := range q.cells {
		if n >= 400 {
			out = append(out, int16(k))
		}
	}
	return out
}

// isOdd says whether p lies in the check that is wholly untreated or without
// nitrogen.
func (f *Field) isOdd(p geo.Point) bool { return f.odd >= 0 && f.checks.at(p) == f.odd }

// planTroubles plans what needs the checks and nothing of the structure.
func (f *Field) planTroubles() {
	s := f.scene
	if s.Untreated > 0 || s.NoNitrogen > 0 {
		f.odd = f.pickCheck()
	}
	f.planStrips()
	if s.Drift > 0 {
		f.planDrift()
	}
	if s.Fan > 0 {
		f.planFan()
	}
	if s.Hogs > 0 {
		f.planTrails()
	}
}

// pickCheck takes a check of a twentieth to a fifth of the field, or the one
// that is nearest to that.
func (f *Field) pickCheck() int16 {
	d := dice{seed: sub(f.scene.Seed, 600)}
	total := 0.0
	for _, n := range f.checks.cells {
		total += float64(n)
	}
	best, off := int16(-1), math.Inf(1)
	for _, k := range f.checks.fair() {
		part := float64(f.checks.cells[k]) / total
		if v := max(0, 0.05-part) + max(0, part-0.2) + d.u(0, 0.01); v < off {
			best, off = k, v
		}
	}
	return best
}

// planFresh lays the weeds that came up after the treatment.
func (f *Field) planFresh(free func(geo.Point) bool) {
	s := f.scene
	if s.NewAcres == 0 || s.Before {
		return
	}
	open := func(p geo.Point) bool {
		c, _ := strongest(f.killed, p)
		return c == 0 && free(p)
	}
	for _, b := range planBlobs(sub(s.Seed, 610), s.NewAcres, max(1, int(s.NewAcres*6)), 0.15, 0.4, f.ring, open) {
		b.fresh, b.burn = true, 0.08
		f.weeds = append(f.weeds, b)
	}
}

// planPatches lays the patches of poor crop.
func (f *Field) planPatches() {
	s := f.scene
	counts := func(p geo.Point) bool { return f.isCrop(p) && !f.isOdd(p) }
	beside := func(p geo.Point) bool {
		return counts(p) && (inset(f.ring, p) < 14 || f.leveeM(p) < 9)
	}
	f.chewed = planAbove(ChewedShare, sub(s.Seed, 620), s.Defoliation, f.ring, beside, counts)
	f.short = planAbove(ShortShare, sub(s.Seed, 621), s.NitrogenShort, f.ring, counts, counts)
	f.lodged = planAbove(0.3, sub(s.Seed, 622), Trouble{s.Lodged, max(1, int(s.Lodged*5)), 0.7, 1}, f.ring, counts, counts)
}

// leveeM is the distance of p from the nearest inner levee's line in metres.
func (f *Field) leveeM(p geo.Point) float64 {
	best := math.Inf(1)
	for _, b := range f.banks {
		for k := 1; k < len(b.line); k++ {
			best = min(best, segDist2(p, b.line[k-1], b.line[k]))
		}
	}
	return math.Sqrt(best)
}

// A strip is ground that a pass missed: along + t times the heading for t from
// to to.
type strip struct {
	at       geo.Point // own frame, the foot of the perpendicular from the middle
	cos, sin float64   // along the pass
	from, to float64   // m
	halfM    float64
	peak     float64
	burn     float64 // the tails of both neighbours' swaths burn its leaves
	pass     int
	seed     uint64
}

// planStrips lays strips on the joints between passes.
func (f *Field) planStrips() {
	s := f.scene
	if s.Skips.Strips == 0 {
		return
	}
	d := dice{seed: sub(s.Seed, 630)}
	sin, cos := math.Sincos(f.place.angle(s.Skips.HeadingDeg))
	swath := s.Skips.SwathFt * footM
	reach := math.Hypot(f.halfW, f.halfH)
	phase := d.u(0, swath)
	n := int(reach/swath) + 1
	// Passes in an order of chance; those too short to be worth a strip are out.
	order := make([]int, 0, 2*n+1)
	for k := -n; k <= n; k++ {
		order = append(order, k)
	}
	for i := len(order) - 1; i > 0; i-- {
		j := int(d.u(0, float64(i+1)))
		order[i], order[j] = order[j], order[i]
	}
	longest := 0.0
	chords := map[int][2]float64{}
	for _, k := range order {
		a, b := f.chord(sin, cos, phase+float64(k)*swath, reach)
		chords[k] = [2]float64{a, b}
		longest = max(longest, b-a)
	}
	for _, k := range order {
		if len(f.strips) == s.Skips.Strips {
			return
		}
		a, b := chords[k][0], chords[k][1]
		if b-a < 0.6*longest {
			continue
		}
		q := phase + float64(k)*swath + d.u(-0.25, 0.25)
		long := (b - a) * d.u(0.6, 1)
		a += d.u(0, b-a-long)
		f.strips = append(f.strips, strip{
			at: geo.Point{X: -q * sin, Y: q * cos}, cos: cos, sin: sin, from: a, to: a + long,
			halfM: d.u(5, 9) / 2 * footM, peak: d.u(0.28, 0.5), burn: d.u(0.3, 0.55), pass: k, seed: sub(s.Seed, 6300+k),
		})
	}
}

// chord is the stretch of the line at q metres across the heading that lies
// inside the field, in metres along it.
func (f *Field) chord(sin, cos, q, reach float64) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for t := -reach; t <= reach; t += 2 {
		p := geo.Point{X: float64(t*cos) - float64(q*sin), Y: float64(t*sin) + float64(q*cos)}
		if inset(f.ring, p) >= 5 {
			from, to = min(from, t), max(to, t)
		}
	}
	if from > to {
		return 0, 0
	}
	return from, to
}

// stripCover is the cover of live weeds on strips between passes at p, and
// their burnt share.
func (f *Field) stripCover(p geo.Point) (cover, burn float64) {
	for i := range f.strips {
		s := &f.strips[i]
		dx, dy := p.X-s.at.X, p.Y-s.at.Y
		q := float64(dy*s.cos) - float64(dx*s.sin)
		t := float64(dx*s.cos) + float64(dy*s.sin)
		if math.Abs(q) > s.halfM+1 || t < s.from-1 || t > s.to+1 {
			continue
		}
		half := s.halfM * (1 + float64(0.18*hills(s.seed, p.X, p.Y, 7, 2, 0.7)))
		patchy := clamp(0.66+float64(0.55*hills(s.seed+3, p.X, p.Y, 12, 3, 0.7)), 0, 1.2)
		c := s.peak * patchy * within(-half, half, 0.35, q) * within(s.from, s.to, 0.5, t)
		if c > cover {
			cover, burn = c, s.burn
		}
	}
	return cover, burn
}

// A trend is poor ground that fades from an edge or from an inlet.
type trend struct {
	inlet bool
	at    geo.Point // own frame: the inlet, or the middle of the edge
	from  float64   // angle of the direction that it comes from, own frame
	halfM float64
	sides [][2]geo.Point // of the edge
	check int16          // an inlet's check
	seed  uint64
}

// planDrift lets something drift in over one edge.
func (f *Field) planDrift() {
	d := dice{seed: sub(f.scene.Seed, 650)}
	turn := math.Floor(d.u(0, 4)) * math.Pi / 2
	t := trend{from: turn, halfM: d.u(22, 50), seed: sub(f.scene.Seed, 651)}
	sin, cos := math.Sincos(turn)
	n := 0.0
	for i, a := range f.ring {
		b := f.ring[(i+1)%len(f.ring)]
		nx, ny := b.Y-a.Y, a.X-b.X
		if float64(nx*cos)+float64(ny*sin) > 0.8*math.Hypot(nx, ny) {
			t.sides = append(t.sides, [2]geo.Point{a, b})
			t.at.X += (a.X + b.X) / 2
			t.at.Y += (a.Y + b.Y) / 2
			n++
		}
	}
	t.at.X, t.at.Y = t.at.X/n, t.at.Y/n
	f.trends = append(f.trends, t)
}

// planFan lets cold water in at the highest corner.
func (f *Field) planFan() {
	d := dice{seed: sub(f.scene.Seed, 660)}
	best, top := geo.Point{}, math.Inf(-1)
	for _, p := range f.ring {
		if z := f.land.at(p); z > top {
			best, top = p, z
		}
	}
	inside := along(best, geo.Point{}, 14)
	f.trends = append(f.trends, trend{
		inlet: true, at: along(best, geo.Point{}, 5), from: math.Atan2(best.Y, best.X),
		halfM: d.u(13, 26), check: f.checks.at(inside), seed: sub(f.scene.Seed, 661),
	})
}

// effect is what a trend does at p: 1 where it comes from, halving.
func (f *Field) effect(t trend, p geo.Point) float64 {
	var d float64
	if t.inlet {
		if c := f.checks.at(p); c >= 0 && c != t.check {
			return 0
		}
		d = max(0, math.Hypot(p.X-t.at.X, p.Y-t.at.Y)-5)
		d *= 1 + float64(0.3*hills(t.seed, p.X, p.Y, 18, 2, 0.6))
	} else {
		d = math.Inf(1)
		for _, s := range t.sides {
			d = min(d, math.Sqrt(segDist2(p, s[0], s[1])))
		}
		d *= 1 + float64(0.12*hills(t.seed, p.X, p.Y, 40, 2, 0.6))
	}
	return math.Pow(0.5, max(d, 0)/t.halfM)
}

// planTrails lets hogs in from an edge: crooked trails, and ground rooted up
// at their ends.
func (f *Field) planTrails() {
	d := dice{seed: sub(f.scene.Seed, 670)}
	a := f.ring[int(d.u(0, float64(len(f.ring))))]
	for range 2 + int(4*f.scene.Hogs) {
		p := along(a, geo.Point{}, d.u(3, 8))
		dir := math.Atan2(-p.Y, -p.X) + d.u(-0.9, 0.9)
		l := geo.Line{p}
		for range 12 + int(d.u(0, 22)) {
			dir += d.u(-0.55, 0.55)
			p = geo.Point{X: p.X + 4*math.Cos(dir), Y: p.Y + 4*math.Sin(dir)}
			if inset(f.ring, p) < 4 {
				break
			}
			l = append(l, p)
		}
		f.trails = append(f.trails, l)
	}
}

// trodden is how much of the ground at p hogs have trodden or rooted up.
func (f *Field) trodden(p geo.Point) float64 {
	best := 0.0
	for k, l := range f.trails {
		end := l[len(l)-1]
		r := 2.2 + float64(1.8*unit01(mix(sub(f.scene.Seed, 671), k, 0)))
		d := math.Hypot(p.X-end.X, p.Y-end.Y)
		if d > 150 {
			continue
		}
		if d < 2*r {
			ragged := r * (1 + float64(0.45*hills(sub(f.scene.Seed, 672), p.X, p.Y, 3, 3, 0.7)))
			best = max(best, 1-step(ragged-0.6, ragged+0.6, d))
		}
		for i := 1; i < len(l); i++ {
			if s := math.Sqrt(segDist2(p, l[i-1], l[i])); s < 1 {
				best = max(best, 1-step(0.3, 0.6, s))
			}
		}
	}
	return best
}

// effects are what troubles do to a piece of crop: its leaf is multiplied, the
// rest added.
type effects struct{ leaf, stand, tone, wet, gaps, litter, light float64 }

// troubleAt is what the planned troubles do to the crop at p.
func (f *Field) troubleAt(p geo.Point) effects {
	s := f.scene
	e := effects{leaf: 1, light: 1}
	if c, which := strongest(f.chewed, p); which >= 0 && !s.Before {
		// What is left of the leaf is ribs: thinner, and a little paler.
		e.leaf *= 1 - 0.75*c
		e.tone += 0.3 * c
		e.gaps += 0.05 * c
	}
	if c, which := strongest(f.short, p); which >= 0 {
		e.tone += 0.6 * c
		e.stand -= 0.06 * c
	}
	if s.NoNitrogen > 0 && f.isOdd(p) {
		e.tone += 0.6 * s.NoNitrogen
		e.stand -= 0.06 * s.NoNitrogen
	}
	for _, t := range f.trends {
		v := f.effect(t, p)
		if t.inlet {
			e.stand -= 0.34 * s.Fan * v
			e.tone += 0.3 * s.Fan * v
			e.wet += 0.5 * s.Fan * v
			continue
		}
		if !s.Before {
			e.tone += 0.6 * s.Drift * v
			e.stand -= 0.1 * s.Drift * v
			e.litter += 0.03 * s.Drift * v
		}
	}
	if s.Flooding > 0 {
		if c := f.checks.at(p); c >= 0 {
			switch s.WaterOn(int(c)) {
			case Flooded:
				e.wet += 0.85 * s.Flooding
				e.stand -= 0.05 * s.Flooding
			case Drained:
				e.wet -= 0.35 * s.Flooding
			case Shallow:
			}
		}
	}
	if s.TwoVarieties > 0 {
		d := dice{seed: sub(s.Seed, 681)}
		half := f.halfW
		if !f.rowsAlong {
			half = f.halfH
		}
		if f.acrossDrill(p) > half*d.u(-0.4, 0.4) {
			e.tone += 0.3 * s.TwoVarieties * d.u(0.6, 1)
			e.stand += 0.02 * s.TwoVarieties
			e.light *= 1 - 0.05*s.TwoVarieties
		}
	}
	if c, which := strongest(f.lodged, p); which >= 0 && !s.Before {
		b := &f.lodged[which]
		dx, dy := p.X-b.x, p.Y-b.y
		turn := math.Atan2(dy, dx) + float64(2.2*hills(b.seed+9, p.X, p.Y, 9, 2, 0.6))
		e.light *= 1 + float64(0.24*c*math.Sin(2*turn+math.Hypot(dx, dy)/2.6))
		e.tone += 0.3 * c
	}
	return e
}

// CheckWater is what stands on a check in a field whose checks are flooded one by one.
type CheckWater int

// What may stand on a check.
const (
	Shallow CheckWater = iota // or none of its own: the field is flooded as one
	Flooded
	Drained
)

// WaterOn is what stands on a check, counted as in Truth.Check.
func (s Scene) WaterOn(check int) CheckWater {
	if s.Flooding == 0 {
		return Shallow
	}
	switch u := unit01(mix(sub(s.Seed, 680), check, 0)); {
	case u < 0.35:
		return Flooded
	case u > 0.7:
		return Drained
	}
	return Shallow
}

// leveeWeed is how much of a bank at p tall live weeds have taken.
func (f *Field) leveeWeed(p geo.Point) float64 {
	s := f.scene
	if s.LeveeWeeds == 0 {
		return 0
	}
	return s.LeveeWeeds * step(0.12, 0.34, hills(sub(s.Seed, 690), p.X, p.Y, 34, 2, 0.6))
}

// truthOfTroubles fills in what is known of strips, trends, checks and levees.
func (f *Field) truthOfTroubles(t *Truth) {
	g := t.Grid
	for _, s := range f.strips {
		t.Strips = append(t.Strips, Strip{WidthM: 2 * s.halfM, Pass: s.pass, Line: f.groundLine(geo.Line{
			{X: s.at.X + float64(s.from*s.cos), Y: s.at.Y + float64(s.from*s.sin)},
			{X: s.at.X + float64(s.to*s.cos), Y: s.at.Y + float64(s.to*s.sin)},
		})})
	}
	if len(f.strips) > 0 {
		t.SkipHeadingDeg, t.SkipSpacingFt = math.Mod(f.scene.Skips.HeadingDeg+360, 180), f.scene.Skips.SwathFt
	}
	if f.lineSpacing > 0 {
		t.LineHeadingDeg, t.LineSpacingFt = math.Mod(f.place.heading(f.lineAcross+math.Pi/2), 180), f.lineSpacing/footM
	}
	t.Checks = len(f.checks.fair())
	for _, tr := range f.trends {
		t.Trends = append(t.Trends, Trend{Inlet: tr.inlet, At: f.place.ground(tr.at), FromDeg: f.place.heading(tr.from), HalfM: tr.halfM})
	}
	for k, c := range t.Class {
		if c != Crop && c != Track && c != Shade {
			continue
		}
		at := g.Center(k%g.Cols, k/g.Cols)
		col, row := f.place.toPixel(at)
		if c == Shade {
			t.ShadeAcres += g.AcresPerCell
		}
		if f.cloud.at(col, row) < 0.8 {
			t.CloudAcres += g.AcresPerCell
		}
		if t.Trend[k] == 0 && len(t.Strips) == 0 {
			continue
		}
		p := f.place.local(at)
		for i, tr := range f.trends {
			if f.effect(tr, p) >= 0.25 {
				t.Trends[i].Acres += g.AcresPerCell
			}
		}
		if t.Patch[k] == SkipPatch && t.Acting(k) {
			f.addToStrip(t, p)
		}
	}
	for _, b := range f.banks {
		for i := 1; i < len(b.line); i++ {
			m := geo.Point{X: (b.line[i-1].X + b.line[i].X) / 2, Y: (b.line[i-1].Y + b.line[i].Y) / 2}
			if f.leveeWeed(m) >= 0.5 {
				t.LeveeWeedsM += math.Hypot(b.line[i].X-b.line[i-1].X, b.line[i].Y-b.line[i-1].Y)
			}
		}
	}
}

// addToStrip gives one cell at p to the strip that it lies on.
func (f *Field) addToStrip(t *Truth, p geo.Point) {
	best, off := -1, math.Inf(1)
	for i, s := range f.strips {
		q := math.Abs(float64((p.Y-s.at.Y)*s.cos) - float64((p.X-s.at.X)*s.sin))
		if q < off {
			best, off = i, q
		}
	}
	if best >= 0 {
		t.Strips[best].Acres += t.Grid.AcresPerCell
	}
}
