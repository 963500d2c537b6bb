package invent

import (
	"math"

	"bittern/internal/geo"
)

// levees' nearness on the sharp nodes.
type near struct {
	dist []float32 // m, to the nearest levee's centre, up to nearReach
	who  []int16   // which levee, -1 for none
	left []bool    // on the left of its line
}

// nearReach is how far from a levee anything of it is drawn, in metres.
const nearReach = 12

// nearLevees finds each node's nearest levee.
func (f *Field) nearLevees() near {
	l := f.newSharp()
	n := near{dist: make([]float32, len(l.v)), who: make([]int16, len(l.v)), left: make([]bool, len(l.v))}
	for i := range n.dist {
		n.dist[i], n.who[i] = nearReach, -1
	}
	for k, b := range f.banks {
		for i := 1; i < len(b.line); i++ {
			f.markNear(&n, l, k, b.line[i-1], b.line[i])
		}
	}
	return n
}

// markNear enters one piece of levee k.
func (f *Field) markNear(n *near, l *layer, k int, a, b geo.Point) {
	ac, ar := f.place.toPixel(f.place.ground(a))
	bc, br := f.place.toPixel(f.place.ground(b))
	nodeM := float64(l.step) * f.place.pixelM
	reach := nearReach / nodeM
	s := float64(l.step)
	i0, i1 := int(max(0, min(ac, bc)/s+1-reach)), int(min(float64(l.cols-1), max(ac, bc)/s+1+reach))
	j0, j1 := int(max(0, min(ar, br)/s+1-reach)), int(min(float64(l.rows-1), max(ar, br)/s+1+reach))
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			p := f.place.fromPixel(l.pixel(i, j))
			d := float32(math.Sqrt(segDist2(p, a, b)))
			if at := j*l.cols + i; d < n.dist[at] {
				n.dist[at], n.who[at] = d, int16(k)
				n.left[at] = (b.X-a.X)*(p.Y-a.Y)-(b.Y-a.Y)*(p.X-a.X) > 0
			}
		}
	}
}

// drawStructure fills the sharp layers of banks, ditches, roads, ponds, trees
// and shade.
func (f *Field) drawStructure(n near) {
	f.bank, f.ditch, f.road, f.pond = f.newSharp(), f.newSharp(), f.newSharp(), f.newSharp()
	f.tree, f.shade, f.seen = f.newSharp(), f.newSharp(), f.newSharp()
	if len(f.trails) > 0 {
		f.trail = f.newSharp()
	}
	eachRow(f.bank.rows, func(j int) {
		for i := range f.bank.cols {
			at := j*f.bank.cols + i
			p := f.place.fromPixel(f.bank.pixel(i, j))
			ins := inset(f.ring, p)
			bankV, ditchV := f.innerLevee(p, n, at)
			b2, d2, road, water := f.edgeProfile(p, ins)
			if ins < insideM {
				bankV, ditchV = 0, 0
			}
			f.bank.v[at] = float32(max(bankV, b2))
			f.ditch.v[at] = float32(max(ditchV*(1-b2), d2) * (1 - bankV))
			f.road.v[at] = float32(max(road, f.padAt(p)))
			f.pond.v[at] = float32(max(water, f.openWater(p)))
			f.crowns(p, at)
			if f.trail != nil {
				f.trail.v[at] = float32(f.trodden(p))
			}
			f.seen.v[at] = float32(clamp(ins+13+float64(4*bumps(sub(f.scene.Seed, 26), p.X/17, p.Y/17)), -3, 3))
		}
	})
}

// innerLevee is how much of the ground at p is bank and how much is ditch.
func (f *Field) innerLevee(p geo.Point, n near, at int) (bankV, ditchV float64) {
	if n.who[at] < 0 {
		return 0, 0
	}
	s, b, d := f.scene, f.banks[n.who[at]], float64(n.dist[at])
	half := b.halfM * (1 + float64(0.16*hills(sub(s.Seed, 20), p.X, p.Y, 6, 2, 0.7)))
	if d > half+3 {
		return 0, 0
	}
	// Above 1 more of the bank is gone, not more than all of it.
	more := 0.4 * max(0, s.BrokenLevees-1)
	worn := 0.95 * min(1, s.BrokenLevees) * step(0.42-more, 0.68-more, bumps(sub(s.Seed, 21), p.X/15, p.Y/15))
	bankV = (1 - step(half-0.35, half+0.35, d)) * (1 - worn)
	w := b.ditchR
	if n.left[at] {
		w = b.ditchL
	}
	if w == 0 || s.BorrowDitches == 0 {
		return bankV, 0
	}
	deep := 0.62 + float64(0.55*hills(sub(s.Seed, 22), p.X, p.Y, 18, 3, 0.7))
	ditchV = within(half+0.2, half+0.2+w, 0.3, d) * clamp(deep, 0, 1) * min(1, s.BorrowDitches)
	return bankV, ditchV
}

// edgeProfile is what runs round the field: the perimeter levee and its ditch
// inside, verge, road or ditch outside.
func (f *Field) edgeProfile(p geo.Point, ins float64) (bankV, ditchV, road, water float64) {
	s := f.scene
	if ins > 8 || ins < -14 {
		return 0, 0, 0, 0
	}
	wob := float64(0.35 * hills(sub(s.Seed, 23), p.X, p.Y, 9, 2, 0.7))
	bankV = within(0.1, 3.1+wob, 0.35, ins)
	if s.BorrowDitches > 0 {
		ditchV = within(3.4+wob, 4.9+wob, 0.35, ins) * clamp(0.6+float64(0.6*hills(sub(s.Seed, 24), p.X, p.Y, 20, 3, 0.7)), 0, 1)
	}
	if ins > 0.5 {
		return bankV, ditchV, 0, 0
	}
	// Outside, a side at a time.
	side := f.side(p)
	verge := within(-1.6+wob, 0.1, 0.3, ins)
	switch {
	case s.Road && side%2 == 0:
		road = within(-6.4, -1.6+wob, 0.35, ins)
		verge = max(verge, within(-8.2, -6.4, 0.4, ins))
	case s.Ditch:
		water = within(-3.6, -1.9, 0.4, ins)
		verge = max(verge, within(-6, -3.6, 0.5, ins), within(-1.9, 0.1, 0.3, ins))
	}
	return max(bankV, verge), ditchV, road, water
}

// side numbers the sides of the field as seen from its middle: 0 east, 1
// north, 2 west, 3 south, turned by the seed.
func (f *Field) side(p geo.Point) int {
	turn := int(f.scene.Seed % 2)
	u, v := p.X/f.halfW, p.Y/f.halfH
	switch {
	case math.Abs(u) >= math.Abs(v) && u > 0:
		return turn
	case math.Abs(u) >= math.Abs(v):
		return 2 + turn
	case v > 0:
		return 1 + turn
	}
	return 3 + turn
}

// padAt is 2 on a pump pad, falling to 0 round it: up to 1 counts as gravel,
// what is above as concrete, in [Field.buildOver].
func (f *Field) padAt(p geo.Point) float64 {
	best := 0.0
	for _, q := range f.pads {
		d := max(math.Abs(p.X-q.X), math.Abs(p.Y-q.Y))
		best = max(best, 2*(1-step(1.6, 3.2, d)))
	}
	return best
}

// openWater is how much of the ground at p is pond.
func (f *Field) openWater(p geo.Point) float64 {
	best := 0.0
	for _, w := range f.ponds {
		d := math.Hypot(p.X-w.x, p.Y-w.y)
		if d < 2*w.r {
			ragged := w.r * (1 + float64(0.3*hills(w.seed, p.X, p.Y, w.r, 3, 0.6)))
			best = max(best, 1-step(ragged-0.5, ragged+0.5, d))
		}
	}
	return best
}

// crowns enters trees and their shade at a node.
func (f *Field) crowns(p geo.Point, at int) {
	crown, shade := 0.0, 0.0
	for _, t := range f.trees {
		dx, dy := p.X-t.x, p.Y-t.y
		if math.Abs(dx) > 4*t.h || math.Abs(dy) > 4*t.h {
			continue
		}
		ragged := t.r * (1 + float64(0.25*bumps(sub(f.scene.Seed, 25), p.X/1.7, p.Y/1.7)))
		crown = max(crown, 1-step(ragged-0.4, ragged+0.4, math.Hypot(dx, dy)))
		for k := 1.0; k <= 8; k++ {
			fall := t.h * k / 8 * (0.7 + 1.1*f.scene.TreeShade)
			d := math.Hypot(dx-float64(shadeX*fall), dy-float64(shadeY*fall))
			shade = max(shade, 1-step(ragged-0.5, ragged+0.5, d))
		}
	}
	f.tree.v[at] = float32(crown)
	f.shade.v[at] = float32(clamp(shade, 0, 1) * 0.95)
}

// checkOf numbers the terrace that p lies on, for the stand's sake.
func (f *Field) checkOf(p geo.Point) int {
	if f.scene.Levees == NoLevees {
		return 0
	}
	if f.scene.Levees == Contour {
		return int(math.Floor(f.land.at(p) / leveeFallM))
	}
	k := 0
	for _, b := range f.banks {
		a, c := b.line[0], b.line[len(b.line)-1]
		if (c.X-a.X)*(p.Y-a.Y)-(c.Y-a.Y)*(p.X-a.X) > 0 {
			k++
		}
	}
	return k
}

// drawSmooth fills the smooth layers.
func (f *Field) drawSmooth(n near) {
	f.stand, f.tone, f.wet, f.litter = f.newSmooth(), f.newSmooth(), f.newSmooth(), f.newSmooth()
	f.gaps, f.grass, f.cloud, f.across, f.track = f.newSmooth(), f.newSmooth(), f.newSmooth(), f.newSmooth(), f.newSmooth()
	if f.scene.HazeGradient > 0 {
		f.veil = f.newSmooth()
	}
	sharp := f.newSharp()
	eachRow(f.stand.rows, func(j int) {
		for i := range f.stand.cols {
			at := j*f.stand.cols + i
			col, row := f.stand.pixel(i, j)
			p := f.place.fromPixel(col, row)
			si := int(clamp(col/float64(sharp.step)+1, 0, float64(sharp.cols-1)))
			sj := int(clamp(row/float64(sharp.step)+1, 0, float64(sharp.rows-1)))
			f.ground(p, at, float64(n.dist[sj*sharp.cols+si]))
		}
	})
}

// ground fills one node of the smooth layers; levee is the distance to the
// nearest levee in metres.
func (f *Field) ground(p geo.Point, at int, levee float64) {
	s := f.scene
	ins := inset(f.ring, p)
	v := s.StandVariation
	noise := func(part int, scale float64, octaves int) float64 {
		return hills(sub(s.Seed, part), p.X, p.Y, scale, octaves, 0.7)
	}
	check := dice{seed: sub(s.Seed, 4000+f.checkOf(p))}
	q := f.acrossDrill(p)
	thin := f.thinness(p, q)
	stand := 0.93 - 0.07*s.BareSoil + v*(0.075*noise(30, 70, 3)+0.05*noise(31, 9, 3)+check.u(-0.03, 0.03)) - 0.42*thin
	tone := 0.35 + v*(0.34*noise(32, 90, 3)+0.16*noise(33, 14, 3)+check.u(-0.12, 0.12)) + s.PaleStrips*f.paleness(p, q)
	wet := 0.45 + 0.35*noise(34, 35, 3)
	if s.Seep > 0 {
		seep := s.Seep * step(0.1, 0.55, noise(35, 38, 3)) * (1 - step(4, 11, levee))
		stand -= 0.22 * seep
		wet += 0.9 * seep
	}
	if k, which := strongest(f.killed, p); which >= 0 && !s.Before {
		// Dead weeds sink under the rice and leave the ground open and wet.
		stand -= 0.45 * min(1, 2*k)
		wet += 0.35 * min(1, 2*k)
	}
	t := f.troubleAt(p)
	stand, tone, wet = stand*t.leaf+t.stand, tone+t.tone, wet+t.wet
	if s.Before {
		stand -= 0.05 // younger by the days between the flights
	}
	if ins < -1 {
		stand, tone, wet = f.neighbour(p, ins)
	}
	f.stand.v[at] = float32(clamp(stand, 0.02, 0.97))
	f.tone.v[at] = float32(clamp(tone, 0, 1.4))
	f.wet.v[at] = float32(clamp(wet, 0, 1.7))
	f.litter.v[at] = float32(s.DeadLeaf*clamp(0.006+0.012*noise(36, 30, 3), 0.001, 0.03)) + float32(t.litter)
	f.gaps.v[at] = float32(s.BareSoil*(0.012*clamp(0.5+noise(37, 20, 3), 0.1, 2)+0.12*thin)) + float32(t.gaps)
	f.grass.v[at] = float32(f.greenBank(p))
	f.cloud.v[at] = float32(f.cloudLight(p) * t.light)
	if f.veil != nil {
		f.veil.v[at] = float32(s.HazeGradient * f.downwind(p))
	}
	f.across.v[at] = float32(q)
	if s.Tracks > 0 && ins > 0 {
		f.track.v[at] = float32(s.Tracks * clamp(0.55+0.7*noise(38, 45, 2), 0, 1))
	}
}

// thinness is how thin the stand is at p: ragged areas, and strips where the
// drill ran empty.
func (f *Field) thinness(p geo.Point, q float64) float64 {
	s := f.scene
	if s.ThinStand == 0 {
		return 0
	}
	area := step(0.74, 1.2, hills(sub(s.Seed, 40), p.X, p.Y, 48, 4, 0.6))
	pass := int(math.Floor(q / 6.1))
	along := p.Y + p.X - q
	strip := 0.0
	if unit01(mix(sub(s.Seed, 41), pass, 0)) < 0.07 {
		mid := (float64(pass) + 0.5) * 6.1
		on := step(0.05, 0.3, bumps(sub(s.Seed, 42)+uint64(pass), along/60, 0.5))
		strip = 0.8 * on * within(-1.1, 1.1, 0.6, q-mid)
	}
	return s.ThinStand * max(area, strip)
}

// paleness is how much paler the crop is at p by the spreader's passes.
func (f *Field) paleness(p geo.Point, q float64) float64 {
	on := step(-0.2, 0.5, hills(sub(f.scene.Seed, 43), p.X, p.Y, 150, 2, 0.7))
	wave := math.Sin(2*math.Pi*q/21.3 + 1.1)
	return 0.38 * on * wave * math.Abs(wave)
}

// neighbour is what lies outside the field: fallow ground or another crop, a
// side at a time.
func (f *Field) neighbour(p geo.Point, ins float64) (stand, tone, wet float64) {
	d := dice{seed: sub(f.scene.Seed, 50+f.side(p)%4)}
	stand, tone, wet = d.u(0.75, 0.93), d.u(0.2, 1), d.u(0.2, 0.8)
	if d.chance(0.4) {
		stand, wet = d.u(0.03, 0.25), d.u(0, 0.5)
	}
	stand += float64(0.08 * hills(sub(f.scene.Seed, 55), p.X, p.Y, 20, 3, 0.7))
	return stand * step(-1, -3, ins), tone, wet
}

// greenBank is the share of a bank at p that green grass covers.
func (f *Field) greenBank(p geo.Point) float64 {
	s := f.scene
	if s.GrassyLevees == 0 {
		return 1.6
	}
	return clamp(0.42+float64(0.62*hills(sub(s.Seed, 44), p.X, p.Y, 38, 3, 0.75)), 0.02, 0.95)
}

// cloudLight is the share of sunlight that clouds let through.
func (f *Field) cloudLight(p geo.Point) float64 {
	s := f.scene
	if s.CloudShade == 0 {
		return 1
	}
	size := 0.55 * math.Sqrt(s.Acres*sqMPerAcre)
	return 1 - 0.38*min(1, s.CloudShade)*step(-0.1, 0.6, hills(sub(f.day, 45), p.X, p.Y, size, 2, 0.5))
}

// drawPlants fills the layers of what stands in clumps: weeds, dead weeds,
// tufts on banks, weeds in ditches.
func (f *Field) drawPlants() {
	f.dens, f.burn, f.weed = f.newSharp(), f.newSharp(), f.newSharp()
	eachRow(f.dens.rows, func(j int) {
		for i := range f.dens.cols {
			f.plants(i, j)
		}
	})
}

// plants fills one node of the plant layers.
func (f *Field) plants(i, j int) {
	s, at := f.scene, j*f.dens.cols+i
	p := f.place.fromPixel(f.dens.pixel(i, j))
	ins := inset(f.ring, p)
	bankV, ditchV := float64(f.bank.v[at]), float64(f.ditch.v[at])
	dens, burn := 0.0, 0.6
	if ins > 1 && f.pond.v[at] < 0.5 {
		c, which, b := f.alive(p)
		if which != -1 {
			burn = b
		}
		c *= (1 - bankV) * (1 - ditchV)
		f.weed.v[at] = float32(c)
		dens = c + s.Weeds.Strays*strayCover*clamp(0.6+hills(sub(s.Seed, 56), p.X, p.Y, 60, 2, 0.7), 0, 2)
		if k, which := strongest(f.killed, p); which >= 0 && k > dens {
			dens, burn = k, 1
			if s.Before {
				burn = 0.05
			}
		}
	}
	if s.GrassyLevees > 0 && bankV > 0.2 {
		dry := clamp(0.45+float64(0.7*hills(sub(s.Seed, 46), p.X, p.Y, 25, 3, 0.7)), 0.05, 0.95)
		tufts := clamp(0.35+float64(0.35*hills(sub(s.Seed, 47), p.X, p.Y, 11, 2, 0.7)), 0.03, 0.8)
		if d := bankV * s.GrassyLevees * tufts; d > dens {
			dens, burn = min(d, 0.85), dry
		}
	}
	if w := f.leveeWeed(p); w > 0 && bankV > 0.2 {
		if d := 0.75 * w * bankV; d > dens {
			dens, burn = d, 0.12
		}
	}
	if s.DitchWeeds > 0 && ditchV > 0.15 {
		in := s.DitchWeeds * ditchV * clamp(0.8*hills(sub(s.Seed, 48), p.X, p.Y, 16, 3, 0.7), 0, 0.6)
		if in > dens {
			dens, burn = in, clamp(0.5+float64(0.6*hills(sub(s.Seed, 49), p.X, p.Y, 20, 2, 0.7)), 0.05, 0.95)
		}
	}
	f.dens.v[at], f.burn.v[at] = float32(dens), float32(burn)
}

// strayCover is the cover of strays: 25 plants an acre of a mean of 0.08 m2.
const strayCover = 25 * clumpArea / sqMPerAcre

// drawGain fills the gain of each stored band: mapping lines and what is left
// of vignetting across them.
func (f *Field) drawGain() {
	s := f.scene
	if s.StripGain == 0 && s.Vignette == 0 && s.WhiteBalance == 0 && s.HotSpot == 0 && s.Glint == 0 {
		return
	}
	d := dice{seed: sub(f.day, 9)}
	heading := d.u(0, math.Pi)
	if d.chance(0.7) {
		heading = math.Round(heading/(math.Pi/2)) * math.Pi / 2
	}
	spacing := d.u(17, 28)
	if s.LineSpacingFt > 0 {
		// The angle of the direction across the lines.
		spacing, heading = s.LineSpacingFt*footM, f.place.angle(s.LineHeadingDeg)-math.Pi/2
	}
	sin, cos := math.Sincos(heading)
	f.lineAcross, f.lineSpacing = heading, spacing
	if s.Glint > 0 {
		f.glint = f.newSmooth()
	}
	for band := range s.Sensor.bands() {
		l := f.newSmooth()
		eachRow(l.rows, func(j int) {
			for i := range l.cols {
				p := f.place.fromPixel(l.pixel(i, j))
				u := (float64(p.X*cos) + float64(p.Y*sin)) / spacing
				u += float64(0.05 * bumps(sub(f.day, 91), p.X/12, p.Y/12))
				g := f.lineGain(band, u)
				if s.WhiteBalance > 0 || s.HotSpot > 0 || f.glint != nil {
					v := (float64(p.Y*cos) - float64(p.X*sin)) / spacing
					g *= f.balance(band, p) * (1 + float64(0.09*s.HotSpot*spot(u, v, 0.78)))
					if f.glint != nil && band == 0 {
						f.glint.v[j*l.cols+i] = float32(s.Glint * spot(u, v, 0.24))
					}
				}
				l.v[j*l.cols+i] = float32(g)
			}
		})
		f.gain = append(f.gain, l)
	}
}

// lineGain is a band's gain at u mapping lines across the field.
func (f *Field) lineGain(band int, u float64) float64 {
	s := f.scene
	one := func(k int) float64 {
		common := 2*unit01(mix(sub(f.day, 92), k, 0)) - 1
		own := 2*unit01(mix(sub(f.day, 93), k, band+1)) - 1
		return 0.03 * s.StripGain * (float64(1.2*common) + float64(0.6*own))
	}
	k := math.Floor(u)
	x := u - k
	g := one(int(k)) + float64((one(int(k)+1)-one(int(k)))*step(0.9, 1, x))
	off := 2*x - 1
	return (1 + g) * (1 - float64(0.05*s.Vignette*off*off) + float64(0.02*s.Vignette*off))
}
