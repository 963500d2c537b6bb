package structure

import (
	"math"
	"slices"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/stat"
	"bittern/internal/unit"
)

// leveeShape is what the filter takes for a levee on cells of the given side in
// metres: 20 m of a line 3 m wide, with ground like the crop from 4 m on.
func leveeShape(cell float64) lineShape {
	return lineShape{Half: 10 / cell, Core: 1.5 / cell, From: 4 / cell, To: 7.5 / cell}
}

// leveeHeadings is the number of headings of the filter.
const leveeHeadings = 16

// A leveePath is a levee on the day's cells.
type leveePath struct {
	path  []geo.Point // the middle of the bank
	width float64     // m
}

// findLevees draws the grower's levees, or finds them in the picture.
func (f *finder) findLevees() error {
	f.levee = make([]Reason, len(f.ok))
	f.barrier = make([]bool, len(f.ok))
	if f.opt.handDrawn() {
		return f.growersLevees()
	}
	ts := f.traceLevees()
	f.out.Found = NoneFound
	if len(ts) == 0 {
		return nil
	}
	f.out.Found = FromPicture
	f.doubtOpen(ts)
	for _, t := range ts {
		f.lines = append(f.lines, leveePath{path: smooth(f.toFine(t.pts), 3)})
	}
	f.measureWidths()
	for i := range f.lines {
		f.drawLevee(&f.lines[i])
	}
	return nil
}

// doubtOpen says how many levees were lost in the middle of a check.
func (f *finder) doubtOpen(ts []trace) {
	n := 0
	for _, t := range ts {
		if t.ends[0].lost() || t.ends[1].lost() {
			n++
		}
	}
	if n == 0 {
		return
	}
	says := "One levee is lost before it comes to another levee or to the perimeter, so the checks beside it count as one."
	if n > 1 {
		says = unit.Sentence(unit.Count(n)) + " levees are lost before they come to another levee or to the perimeter, so the checks beside them count as one."
	}
	f.doubt(doubt.Doubt{About: "levees", Says: says, Settle: "Draw the levees once and give them with --levees.", Weight: min(0.6, 0.1*float64(n))})
}

// traceLevees follows the crests of the line filter on coarse cells and keeps
// those that behave like levees.
func (f *finder) traceLevees() []trace {
	w, depth, rim := f.follower()
	ts := f.followed(w, depth, seedStrength, nil)
	kept, strips := f.accept(ts, depth)
	ts = append(kept, f.palePaths(w, depth, append(slices.Clone(kept), strips...))...)
	ts = w.lead(ts, depth, rim)
	w.owner = w.owners(ts)
	for i := range ts {
		w.extend(&ts[i], depth, rim)
	}
	if !f.hasTracks {
		ts = slices.DeleteFunc(ts, func(t trace) bool {
			lost := t.ends[0] == openEnd || t.ends[1] == openEnd
			return lost && (t.strength < lostStrength || pathLength(t.pts)*w.cell < leveeLongM)
		})
	}
	return ts
}

// followed follows lines and links those that face each other.
func (f *finder) followed(w *follower, depth []float32, seed float64, known []trace) []trace {
	ts := w.follow(seed, known)
	for i := range ts {
		f.trim(&ts[i], depth)
	}
	return link(ts, w.cell, w.evidence)
}

// palePaths are the pale banks that are too weak to be followed among all lines, beside those that are known.
func (f *finder) palePaths(w *follower, depth []float32, known []trace) []trace {
	if !f.hasTracks {
		return nil
	}
	return slices.DeleteFunc(f.followed(w, depth, paleSeed, known), func(t trace) bool { return f.hugsEdge(t, depth) || !f.isPale(t) })
}

// follower runs the line filter for levees. depth is each coarse cell's
// distance from the boundary, rim how deep the perimeter strip is, in cells.
func (f *finder) follower() (w *follower, depth []float32, rim float32) {
	c, cell := f.coarse, f.coarseCell()
	depth = f.coarseDepth()
	rim = float32(f.out.PerimeterM/cell + 0.5)
	allowed := make([]bool, c.size.Len())
	seen := make([]bool, len(allowed))
	for i := range allowed {
		allowed[i] = c.inside[i] && depth[i] > rim
		seen[i] = allowed[i] && c.known[i]
	}
	shape := leveeShape(cell)
	v := outward(f.step, seen, c.size, int(shape.Half+shape.To))
	angles := headings(leveeHeadings)
	field := findLines(v, c.size, shape, angles, f.opt.Workers)
	for i := range field.Strength {
		field.Strength[i] /= stepsPer
	}
	return &follower{
		size: c.size, cell: cell, f: field, angle: angles, allowed: allowed, partners: map[end]end{},
		broad: broadly(v, allowed, c.size, int(broadM/cell)),
	}, depth, rim
}

// broadly says of cells whether round about them, out to radius cells, nearly all ground stands out: weeds do so over
// their whole patch, a bank along a line. Few cells are asked for.
func broadly(v []uint8, allowed []bool, s stat.Size, radius int) func(x, y int) bool {
	return func(x, y int) bool {
		stands, n := 0, 0
		for row := max(y-radius, 0); row <= min(y+radius, s.Rows-1); row++ {
			for i := row*s.Cols + max(x-radius, 0); i <= row*s.Cols+min(x+radius, s.Cols-1); i++ {
				if allowed[i] {
					n++
					if v[i] >= broadStep {
						stands++
					}
				}
			}
		}
		return n > 0 && float32(stands)/float32(n) >= broadShare
	}
}

// outward fills the cells that are not seen from their nearest neighbours that
// are, up to so many steps away: behind a wheel track, and beyond the edge, where
// a levee that runs out of the field goes on.
func outward(v []uint8, seen []bool, s stat.Size, steps int) []uint8 {
	out := make([]uint8, len(v))
	done := make([]bool, len(v))
	var ring []int32
	for i, ok := range seen {
		if ok {
			out[i], done[i] = v[i], true
		}
	}
	for i, ok := range seen {
		if x := i % s.Cols; ok && (x > 0 && !seen[i-1] || x+1 < s.Cols && !seen[i+1] || i >= s.Cols && !seen[i-s.Cols] || i+s.Cols < len(seen) && !seen[i+s.Cols]) {
			ring = append(ring, int32(i))
		}
	}
	sum, n := make([]uint16, len(v)), make([]uint8, len(v))
	for range steps {
		var next []int32
		for _, at := range ring {
			eachNeighbour(int(at), s, func(j int) {
				if done[j] {
					return
				}
				if n[j] == 0 {
					next = append(next, int32(j))
				}
				sum[j] += uint16(out[at])
				n[j]++
			})
		}
		for _, k := range next {
			out[k], done[k] = uint8((sum[k]+uint16(n[k])/2)/uint16(n[k])), true
		}
		ring = next
	}
	return out
}

// coarseDepth is each coarse cell's distance from the boundary, in cells.
func (f *finder) coarseDepth() []float32 {
	if f.coarseDepths == nil {
		f.coarseDepths = depths(f.coarse.inside, f.coarse.size, edgeInnerM/f.coarseCell())
	}
	return f.coarseDepths
}

// evidence is the mean strength from a to b.
func (w *follower) evidence(a, b geo.Point) float64 {
	n := max(int(a.Distance(b)), 1)
	sum := 0.0
	for k := range n + 1 {
		t := float64(k) / float64(n)
		sum += max(w.at(geo.Point{X: a.X + float64(t*(b.X-a.X)), Y: a.Y + float64(t*(b.Y-a.Y))}), -2)
	}
	return sum / float64(n+1)
}

// Settings of what counts as a levee. Lengths in metres.
const (
	leveeRise      = 2.5          // spreads, least rise of the median profile's middle over its flanks
	leveeMost      = 7.5          // wider is a strip of something else
	leveeStrength  = 1.9          // mean strength of a line that need not reach the perimeter
	leveeLongM     = 80.0         // and its length
	alongEdgeM     = 4.0          // so near to the perimeter strip
	alongEdgeLongM = 16.0         // for so long, a line has turned along it
	adoptStrength  = 1.6          // of a line that is kept for its neighbour's sake
	adoptBright    = 0.5          // and at least so much of the brightness of those, for the banks of a field are alike
	alongTracks    = 8.0          // degrees; nearer to the heading of the tracks a line must be
	alongStraight  = 0.975        // this much less straight than its chord,
	alongLongM     = 120.0        // or this long, and of one material:
	bowM           = 2.0          // a line across the tracks that machines leave keeps so near to its chord,
	bowShare       = 0.01         // and so much of its length more
	bankBright     = 0.07         // ln(green), a bank is so much brighter than the crop beside it,
	apartBright    = 0.12         // or is so much brighter,
	apartStrength  = 3.6          // or, when straight, stands out so strongly
	apartRise      = 6.0          // spreads, or rises so much over its flanks,
	plainStrength  = 4.0          // and a line so strong
	plainRise      = 5.0          // that rises so much is no strip of a stand at any heading,
	acrossStrength = 2.4          // or so strongly from one side of the field to the other
	lostStrength   = 2.9          // spreads, of a line that is lost in a check where no tracks tell the drill's heading
	shortM         = 40.0         // a line that is shorter, though it comes to the perimeter,
	shortStrength  = 2.2          // must be so strong
	broadM         = 4.0          // out to so far round about
	broadStep      = 3 * stepsPer // ground that stands out by three spreads
	broadShare     = 0.75         // and makes up so much is no line: a way that leads through it was not seen
	alongRise      = 1.5          // spreads, least rise of the lower quartile's middle
	paleM          = 35.0         // a line across the tracks that is so long
	paleRise       = 1.8          // needs no more than to rise so much over its flanks
	paleStrength   = 1.2          // and to be so strong when it is apartBright
	palerM         = 2 * paleM    // or, when it is so long and bankBright,
	palerRise      = 2.0          // to rise so much
)

// accept keeps the traces that behave like levees, and those that begin or end
// at one that was kept. Strips are what machines left.
func (f *finder) accept(ts []trace, depth []float32) (out, strips []trace) {
	kept := make([]bool, len(ts))
	fair := make([]bool, len(ts))
	for i, t := range ts {
		if f.hugsEdge(t, depth) {
			continue
		}
		if f.isPale(t) {
			fair[i], kept[i] = true, true
			continue
		}
		strip := f.isStrip(t, depth)
		if strip {
			strips = append(strips, t)
		}
		fair[i] = f.isBank(t) && !strip
		length := pathLength(t.pts) * f.coarseCell()
		reaches := f.endDepth(t, depth) < acceptEdgeM+f.out.PerimeterM
		kept[i] = fair[i] && (reaches && (length >= shortM || t.strength >= shortStrength) || length >= leveeLongM && t.strength >= leveeStrength)
	}
	least := adoptBright * f.usualBright(ts, kept)
	for again := true; again; {
		again = false
		for i, t := range ts {
			if fair[i] && !kept[i] && t.strength >= adoptStrength && f.brighter(t) >= least && nearKept(t, ts, kept, acceptNearM/f.coarseCell()) {
				kept[i], again = true, true
			}
		}
	}
	for i, t := range ts {
		if kept[i] {
			out = append(out, t)
		}
	}
	return out, strips
}

// usualBright is how much brighter than the ground beside them the kept traces mostly are; 0 for none.
func (f *finder) usualBright(ts []trace, kept []bool) float64 {
	var of []float64
	for i, t := range ts {
		if kept[i] {
			of = append(of, f.brighter(t))
		}
	}
	if len(of) == 0 {
		return 0
	}
	return stat.Median(of)
}

// trim cuts off the end of a trace that turned along the perimeter.
func (f *finder) trim(t *trace, depth []float32) {
	limit := float32((f.out.PerimeterM + alongEdgeM) / f.coarseCell())
	by := func(p geo.Point) bool { return depth[int(p.Y+0.5)*f.coarse.size.Cols+int(p.X+0.5)] < limit }
	most := int(alongEdgeLongM / stepM)
	lead, tail := 0, 0
	for lead < len(t.pts) && by(t.pts[lead]) {
		lead++
	}
	for tail < len(t.pts) && by(t.pts[len(t.pts)-1-tail]) {
		tail++
	}
	if lead+tail >= len(t.pts) {
		return // hugsEdge sees to it
	}
	if tail > most {
		t.pts, t.ends[1] = t.pts[:len(t.pts)-tail+1], atEdge
	}
	if lead > most {
		t.pts, t.ends[0] = t.pts[lead-1:], atEdge
	}
}

// isBank says that what lies across a trace has the shape of a levee.
func (f *finder) isBank(t trace) bool {
	p := f.across(t, 0.5)
	left, right, rise := p.extent()
	return rise >= leveeRise && left+right <= leveeMost
}

// isPale says that a trace is brighter than the ground beside it, as dry earth and dry grass are, and runs across the
// drill, as nothing does that machines leave. Where a crop varies much a bank hardly stands out in spreads, however plain it
// is to the eye.
func (f *finder) isPale(t trace) bool {
	if !f.hasTracks || f.offTracks(t) <= alongTracks || t.strength < paleStrength {
		return false
	}
	p := f.across(t, 0.5)
	left, right, rise := p.extent()
	length, bright := pathLength(t.pts)*f.coarseCell(), f.brighter(t)
	return left+right <= leveeMost &&
		(bright >= apartBright && length >= paleM && rise >= paleRise || bright >= bankBright && length >= palerM && rise >= palerRise)
}

// offTracks is the angle between a trace's chord and the wheel tracks, degrees.
func (f *finder) offTracks(t trace) float64 {
	a, b := t.pts[0], t.pts[len(t.pts)-1]
	return math.Abs(angle(2*(math.Atan2(b.Y-a.Y, b.X-a.X)+f.heading))) / 2 * 180 / math.Pi
}

func (f *finder) across(t trace, q float64) profile {
	return profileOf([][]geo.Point{f.toFine(t.pts)}, f.fineBank, f.ok, f.fine.size, f.cell(), q)
}

// isStrip says that a trace is more likely what machines leave along the
// drill: a strip of thin or pale stand, a missed pass, a pair of wheel tracks. It
// is straight; and it is either of crop and wet soil, no brighter than the ground
// beside it, as a bank's dry earth and dry grass are, or it runs with the tracks
// and is short without being both bright and strong, or weak in places.
func (f *finder) isStrip(t trace, depth []float32) bool {
	a, b := t.pts[0], t.pts[len(t.pts)-1]
	length := pathLength(t.pts)
	along := f.hasTracks && f.offTracks(t) <= alongTracks
	most := bowM / f.coarseCell()
	if !f.hasTracks {
		most *= 2 // what heading machines went is not known
	}
	if a.Distance(b) < alongStraight*length || !along && bow(t.pts) > most+float64(bowShare*length) {
		return false
	}
	green := f.brighter(t)
	stands, bright := green >= apartBright || f.standsOut(t, depth), green >= bankBright
	if !stands && !bright {
		return true
	}
	if !along || f.isPlain(t) {
		return false
	}
	quartile := f.across(t, 0.25)
	_, _, rise := quartile.extent()
	return length*f.coarseCell() < alongLongM && !(stands && bright) || rise < alongRise
}

// isPlain says that a trace is as strong as nothing that grows.
func (f *finder) isPlain(t trace) bool {
	p := f.across(t, 0.5)
	_, _, rise := p.extent()
	return t.strength >= plainStrength && rise >= plainRise
}

// bow is how far a line runs from its chord at most.
func bow(pts []geo.Point) float64 {
	a, b := pts[0], pts[len(pts)-1]
	most := 0.0
	for _, p := range pts {
		most = max(most, math.Abs(float64((b.X-a.X)*(p.Y-a.Y))-float64((b.Y-a.Y)*(p.X-a.X))))
	}
	return most / max(a.Distance(b), 1)
}

// standsOut says that a trace is too strong for a strip of thin stand.
func (f *finder) standsOut(t trace, depth []float32) bool {
	p := f.across(t, 0.5)
	_, _, rise := p.extent()
	through := f.farDepth(t, depth) < acceptEdgeM+f.out.PerimeterM
	return t.strength >= apartStrength || rise >= apartRise || through && t.strength >= acrossStrength
}

// brighter is how much the ln(green) of a trace's middle stands above that of
// the ground 5 to 7 m to both sides.
func (f *finder) brighter(t trace) float64 {
	var sum, n [2]float64
	c := f.coarse
	eachStation(t.pts, 1, func(p geo.Point, h float64) {
		for off := -7; off <= 7; off++ {
			side := 0
			if off < -4 || off > 4 {
				side = 1
			} else if off < -1 || off > 1 {
				continue
			}
			q := ahead(p, h+math.Pi/2, float64(off)/f.coarseCell())
			x, y := int(q.X+0.5), int(q.Y+0.5)
			if i := y*c.size.Cols + x; x >= 0 && y >= 0 && x < c.size.Cols && y < c.size.Rows && c.known[i] {
				sum[side] += float64(c.bright[i])
				n[side]++
			}
		}
	})
	return sum[0]/max(n[0], 1) - sum[1]/max(n[1], 1)
}

// endDepth is how far the nearer end lies from the boundary, in metres.
func (f *finder) endDepth(t trace, depth []float32) float64 {
	return min(f.depthAt(t.pts[0], depth), f.depthAt(t.pts[len(t.pts)-1], depth))
}

// farDepth is how far the farther end lies from it.
func (f *finder) farDepth(t trace, depth []float32) float64 {
	return max(f.depthAt(t.pts[0], depth), f.depthAt(t.pts[len(t.pts)-1], depth))
}

func (f *finder) depthAt(p geo.Point, depth []float32) float64 {
	return float64(depth[int(p.Y+0.5)*f.coarse.size.Cols+int(p.X+0.5)]) * f.coarseCell()
}

// hugsEdge says that most of a trace runs along the perimeter.
func (f *finder) hugsEdge(t trace, depth []float32) bool {
	by := 0
	limit := (f.out.PerimeterM + 5) / f.coarseCell()
	for _, p := range t.pts {
		if float64(depth[int(p.Y+0.5)*f.coarse.size.Cols+int(p.X+0.5)]) < limit {
			by++
		}
	}
	return 2*by > len(t.pts)
}

func nearKept(t trace, ts []trace, kept []bool, reach float64) bool {
	for _, p := range [2]geo.Point{t.pts[0], t.pts[len(t.pts)-1]} {
		for j, o := range ts {
			if kept[j] && geo.Line(o.pts).Distance(p) <= reach {
				return true
			}
		}
	}
	return false
}

// extend carries open ends on to the perimeter or to another line.
func (w *follower) extend(t *trace, depth []float32, rim float32) {
	for k := range 2 {
		p, h := end{0, k}.at([]trace{*t})
		more := w.onward(p, h, depth, rim)
		if t.ends[k].lost() && w.mostlyBroad(more) {
			t.ends[k] = hiddenEnd
			continue
		}
		if len(more) > 0 && t.ends[k].lost() {
			t.ends[k] = atEdge
		}
		if k == 0 {
			pts := make([]geo.Point, 0, len(more)+len(t.pts))
			for i := len(more) - 1; i >= 0; i-- {
				pts = append(pts, more[i])
			}
			t.pts = append(pts, t.pts...)
		} else {
			t.pts = append(t.pts, more...)
		}
	}
}

// onward goes straight on from p until the boundary, within reach, or another
// line; nothing when neither comes.
func (w *follower) onward(p geo.Point, h float64, depth []float32, rim float32) []geo.Point {
	var out []geo.Point
	self := w.owner[int(p.Y+0.5)*w.size.Cols+int(p.X+0.5)]
	reach := (reachEdgeM + float64(rim)*w.cell) / w.cell
	for d := 1.0; d <= reach; d++ {
		q := ahead(p, h, d)
		x, y := int(math.Floor(q.X+0.5)), int(math.Floor(q.Y+0.5))
		if !w.on(x, y) {
			return out
		}
		i := y*w.size.Cols + x
		out = append(out, q)
		if depth[i] < 1 {
			return out
		}
		if o := w.owner[i]; o != 0 && o != self && d <= reachLineM/w.cell {
			return out
		}
	}
	return nil
}

// measureWidths takes the width of each line from its own profile, held near to
// the profile of all of them.
func (f *finder) measureWidths() {
	all := make([][]geo.Point, len(f.lines))
	for i, l := range f.lines {
		all[i] = l.path
	}
	both := profileOf(all, f.fineBank, f.ok, f.fine.size, f.cell(), 0.5)
	left, right, _ := both.extent()
	for i := range f.lines {
		l := &f.lines[i]
		one := profileOf(all[i:i+1], f.fineBank, f.ok, f.fine.size, f.cell(), 0.5)
		a, b, rise := one.extent()
		if rise < seenRise {
			a, b = left, right
		}
		// The sides of a single line may differ; beside dense weeds they run away.
		a, b = min(a, max(left, right)+1.5), min(b, max(left, right)+1.5)
		l.path = offset(l.path, (b-a)/2/f.cell())
		l.width = max(widthLeast, min(widthMost, a+b))
	}
}

// drawLevee marks the levee's cells and its barrier.
func (f *finder) drawLevee(l *leveePath) {
	half := l.width / 2 / f.cell()
	drawLine(l.path, half, f.fine.size, func(i int) { f.levee[i] = Levee })
	drawLine(l.path, max(half, 0.75), f.fine.size, func(i int) { f.barrier[i] = true })
}
