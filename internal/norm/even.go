package norm

import (
	"math"
	"slices"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

// An Even is what of a crop's own variation is taken off before a search: streaks
// along the passes of drill and spreader, and slow waves of soil and stand.
type Even struct {
	StreakM float64 // m, half the length along a pass that a streak is read from
	SlowM   float64 // m, standard deviation of the mean that slow waves are taken from
	Departs float64 // effect from which ground is no part of that mean: a patch is not its own norm

	// ByItself holds an effect to so many times what the band that a target changes most
	// shows of it against the middle of the field, before anything was taken off; 0 for no
	// bound. Taking a dark wave off raises ground that is like the rest of the field.
	ByItself float64
}

const (
	evenRounds  = 6   // of telling what departs from what is slow
	evenOpenM   = 2.0 // m, half the width of ground that departs
	evenGrowM   = 3.0 // m, what is left out of the mean about it
	evenBlockM  = 4.0 // m, side of the blocks that the mean is taken from
	streakWideM = 8.0 // m, standard deviation of the mean that a streak stands out against
	streakHolds = 6.0 // spreads that a cell counts with, so that no thin spot makes a streak
	streakTurns = 30  // headings tried, 6 degrees apart; then single degrees
	streakLeast = 2.0 // times the variance along the middle heading that streaks show at least
)

// even takes the crop's own variation off the features; what it takes off is kept
// for parts of the field.
func (k *seeker) even() {
	if k.p.Even == nil || len(k.names) == 0 {
		return
	}
	k.keepWhole()
	if k.p.Given != nil {
		for j, off := range k.p.Given.Own {
			k.takeOff(j, off)
		}
		return
	}
	whole := k.x
	k.x = k.withoutStreaks()
	k.levelChecks()
	k.levelSlow()
	for j, v := range k.x {
		off := *k.newRound(0)
		off.V = make([]float32, len(v))
		for at := range v {
			if d := whole[j][at] - v[at]; d-d == 0 {
				off.V[at] = d
			}
		}
		k.own = append(k.own, off)
	}
}

func (k *seeker) takeOff(j int, off Round) {
	for at, g := range k.group {
		if g >= 0 && !k.kept(g) {
			x, y := k.place(at)
			k.x[j][at] -= float32(off.at(x, y))
		}
	}
}

// withoutStreaks are the features without the streaks at the heading that they show
// at, smoothed. A pass is as long as the field, and so is what it did; a patch is not.
func (k *seeker) withoutStreaks() [][]float32 {
	main := k.mainFeature()
	in := k.known(k.raw[main])
	heading, ok := k.streakHeading(k.standsOut(k.raw[main], in), in)
	if !ok {
		return k.x
	}
	out := make([][]float32, len(k.raw))
	for j, v := range k.raw {
		in := k.known(v)
		streak := alongLines(k.standsOut(v, in), in, k.w.pool.size, heading, k.cells(k.p.Even.StreakM))
		flat := make([]float32, len(v))
		for at := range v {
			flat[at] = v[at]
			if s := streak[at]; s == s {
				flat[at] -= s
			}
		}
		out[j] = k.smooth(flat)
	}
	return out
}

// keepWhole keeps what the main feature shows before anything is taken off.
func (k *seeker) keepWhole() {
	if k.p.Even.ByItself == 0 {
		return
	}
	main := k.mainFeature()
	by := float32(k.p.Even.ByItself / k.p.Targets[0].Adds[k.names[main]])
	k.whole = make([]float32, len(k.group))
	for at, v := range k.x[main] {
		k.whole[at] = by * v
	}
}

// middles are what whole is in the middle of the field's crop, by check and, last, for
// ground in none; where the checks are of several kinds (two varieties, two
// planting dates) that of the check's own kind. Nil where no effect is held to it.
func (k *seeker) middles() []float64 {
	if k.whole == nil {
		return nil
	}
	in := k.known(k.whole)
	middle := func(kind int) float64 {
		of := make([]bool, len(in))
		for at, c := range k.w.pool.check {
			of[at] = in[at] && c >= 0 && k.w.kindOf[c] == kind
		}
		return stat.Median(stat.Sample(k.whole, of, sampleMost))
	}
	field := stat.Median(stat.Sample(k.whole, in, sampleMost))
	out := slices.Repeat([]float64{field}, len(k.w.l.Checks)+1)
	ofKind := map[int]float64{-1: field}
	for c, kind := range k.w.kindOf {
		if _, ok := ofKind[kind]; !ok {
			ofKind[kind] = middle(kind)
		}
		out[c] = ofKind[kind]
	}
	return out
}

// byItself is the most that is believed of an effect at a pool cell, by what its ground
// shows without anything taken off.
func (k *seeker) byItself(m *Matched, at int) float64 {
	if k.whole == nil || k.kept(k.group[at]) {
		return math.Inf(1)
	}
	c := int(k.w.pool.check[at])
	if c < 0 {
		c = len(m.Middles) - 1
	}
	return float64(k.whole[at]) - m.Middles[c]
}

// cells is a length in pool cells.
func (k *seeker) cells(m float64) float64 { return m / (k.w.s.Grid.CellM * float64(k.w.pool.fold)) }

// mainFeature is the one that the first target changes most.
func (k *seeker) mainFeature() int {
	best := 0
	for j, name := range k.names {
		if math.Abs(k.p.Targets[0].Adds[name]) > math.Abs(k.p.Targets[0].Adds[k.names[best]]) {
			best = j
		}
	}
	return best
}

func (k *seeker) known(v []float32) []bool {
	in := make([]bool, len(v))
	for at, g := range k.group {
		in[at] = g >= 0 && !k.kept(g) && v[at]-v[at] == 0
	}
	return in
}

// standsOut is v against the ground round about, held within a few spreads.
func (k *seeker) standsOut(v []float32, in []bool) []float32 {
	out := make([]float32, len(v))
	stat.Gauss(out, v, in, k.w.pool.size, k.cells(streakWideM))
	for at, ok := range in {
		if ok {
			out[at] = v[at] - out[at]
		} else {
			out[at] = 0
		}
	}
	center, spread := stat.CenterSpread(stat.Sample(out, in, sampleMost))
	hold := float32(streakHolds * spread)
	for at := range out {
		out[at] = min(max(out[at]-float32(center), -hold), hold)
	}
	return out
}

// streakHeading is the heading, radians from the rows of the grid, along which
// means of v vary most, and whether it stands out among the headings.
func (k *seeker) streakHeading(v []float32, in []bool) (float64, bool) {
	half, ok, size := halved(v, in, k.w.pool.size)
	reach := k.cells(k.p.Even.StreakM) / 2
	strength := func(turns []float64) []float64 {
		out := make([]float64, len(turns))
		raster.Bands(k.w.p.Workers, len(turns), func(from, to int) {
			for t := from; t < to; t++ {
				out[t] = meanSquare(alongLines(half, ok, size, turns[t], reach))
			}
		})
		return out
	}
	const step = math.Pi / streakTurns
	turns := make([]float64, streakTurns)
	for t := range turns {
		turns[t] = step * float64(t)
	}
	first := strength(turns)
	best := stat.Largest(first)
	at, top := turns[best], first[best]
	var near []float64
	for d := -5.0; d <= 5; d++ {
		near = append(near, at+d*math.Pi/180)
	}
	if fine := strength(near); fine[stat.Largest(fine)] > top {
		at, top = near[stat.Largest(fine)], fine[stat.Largest(fine)]
	}
	return at, top > streakLeast*stat.Median(first)
}

// meanSquare is that of the known values.
func meanSquare(v []float32) float64 {
	sum, n := 0.0, 0.0
	for _, x := range v {
		if x == x {
			sum += float64(float64(x) * float64(x))
			n++
		}
	}
	return sum / max(n, 1)
}

// halved is the mean of v over squares of two cells where it is known.
func halved(v []float32, in []bool, s stat.Size) ([]float32, []bool, stat.Size) {
	to := stat.Size{Cols: (s.Cols + 1) / 2, Rows: (s.Rows + 1) / 2}
	sum, n := make([]float32, to.Len()), make([]float32, to.Len())
	for i, ok := range in {
		if ok {
			b := i/s.Cols/2*to.Cols + i%s.Cols/2
			sum[b] += v[i]
			n[b]++
		}
	}
	known := make([]bool, to.Len())
	for b := range sum {
		if known[b] = n[b] > 0; known[b] {
			sum[b] /= n[b]
		}
	}
	return sum, known, to
}

// alongLines is the mean of v on the straight line at a heading through each cell,
// reach cells to both sides; NaN where under half of that is known. Lines are
// stepped cell by cell along the axis that they run nearer to.
func alongLines(v []float32, in []bool, s stat.Size, heading, reach float64) []float32 {
	out := nans(len(v))
	sin, cos := math.Sincos(heading)
	long, wide := s.Cols, s.Rows
	at := func(i, j int) int { return j*s.Cols + i }
	if math.Abs(sin) > math.Abs(cos) {
		sin, cos = cos, sin
		long, wide = s.Rows, s.Cols
		at = func(i, j int) int { return i*s.Cols + j }
	}
	slope, r := sin/cos, int(math.Round(reach*math.Abs(cos)))
	fall := make([]int, long)
	low, high := 0, 0
	for i := range fall {
		fall[i] = int(math.Floor(float64(slope*float64(i)) + 0.5))
		low, high = min(low, fall[i]), max(high, fall[i])
	}
	sum, n := make([]float64, long+1), make([]int, long+1)
	for b := -high; b < wide-low; b++ {
		for i, f := range fall {
			sum[i+1], n[i+1] = sum[i], n[i]
			if j := b + f; j >= 0 && j < wide {
				if k := at(i, j); in[k] {
					sum[i+1] += float64(v[k])
					n[i+1]++
				}
			}
		}
		for i, f := range fall {
			j := b + f
			if j < 0 || j >= wide {
				continue
			}
			lo, hi := max(i-r, 0), min(i+r+1, long)
			if c := n[hi] - n[lo]; c > r {
				out[at(i, j)] = float32((sum[hi] - sum[lo]) / float64(c))
			}
		}
	}
	return out
}

// levelChecks takes off how far the crop of each check lies from the field's: a
// check of matchTrust cells half of it.
func (k *seeker) levelChecks() {
	values := make([][]float64, len(k.w.l.Checks))
	count := make([]float64, len(values))
	each := func(do func(at, c int)) {
		for at, c := range k.w.pool.check {
			if c >= 0 && k.group[at] >= 0 && !k.kept(k.group[at]) {
				do(at, int(c))
			}
		}
	}
	each(func(_, c int) { count[c]++ })
	seen := make([]int, len(values))
	each(func(at, c int) {
		if step := int(count[c])/matchSample + 1; seen[c]%step == 0 {
			for _, v := range k.x {
				values[c] = append(values[c], float64(v[at]))
			}
		}
		seen[c]++
	})
	var all []float64
	for _, v := range values {
		all = append(all, v...)
	}
	field, err := k.crop(all)
	if err != nil {
		return
	}
	off := make([][]float64, len(values))
	for c, v := range values {
		off[c] = make([]float64, len(k.x))
		if own, err := k.crop(v); err == nil {
			for j := range k.x {
				off[c][j] = count[c] / (count[c] + matchTrust) * (own.Center[j] - field.Center[j])
			}
		}
	}
	each(func(at, c int) {
		for j := range k.x {
			k.x[j][at] -= float32(off[c][j])
		}
	})
}

// levelSlow takes slow waves off: means over SlowM of ground that does not depart
// from them itself.
func (k *seeker) levelSlow() {
	size := k.w.pool.size
	departs := make([]bool, len(k.group))
	base := k.x
	for range evenRounds {
		k.x = make([][]float32, len(base))
		for j, v := range base {
			r := k.newRound(evenBlockM)
			b := k.blocks(r, func(at int, _ int32) float64 {
				if departs[at] {
					return math.NaN()
				}
				return float64(v[at])
			})
			in := make([]bool, len(b))
			for i, x := range b {
				in[i] = x == x
			}
			r.V = make([]float32, len(b))
			stat.Gauss(r.V, b, in, r.Size, k.p.Even.SlowM/r.BlockM)
			for i, x := range r.V {
				if x-x != 0 {
					r.V[i] = 0
				}
			}
			k.x[j] = append([]float32(nil), v...)
			k.takeOff(j, *r)
		}
		values, _ := k.gather(groupCount(k.w.l))
		var all []float64
		for g, xs := range values {
			if !k.kept(int32(g)) {
				all = append(all, xs...)
			}
		}
		crop, err := k.crop(all)
		if err != nil {
			return
		}
		crop = k.varied(crop)
		f := k.filter(k.p.Targets[0], &crop)
		if f.spread == 0 {
			return
		}
		for at, g := range k.group {
			departs[at] = g >= 0 && !k.kept(g) && k.effect(&f, at) > k.p.Even.Departs
		}
		departs = stat.Grow(stat.Open(departs, size, k.cells(evenOpenM)), size, k.cells(evenGrowM))
	}
}
