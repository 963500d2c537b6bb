package skip

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/stat"
)

const (
	corridorM = 9.0  // m on either side of a line that is looked at cell by cell
	stepM     = 0.5  // m, across it
	stretchM  = 10.0 // m, along it
	coreM     = 1.5  // m, half of what counts as the line's middle
	rimM      = 4.5  // m, from which the ground beside it counts
	slackDeg  = 1.0  // degrees by which the heading may still be wrong
	slackStep = 0.05
)

// A corridor is the ground along one line, cell by cell: stretches of stretchM
// along it, by steps of stepM across it.
type corridor struct {
	stretches, steps int
	v, n             []float32 // [stretch*steps + step]
}

// sharp is how speckled a cell is: a band's deviation over its mean, red and
// green together. Nothing has been averaged over its neighbours, as in the
// evidence, so that it shows where a strip ends.
func (w *work) sharp() func(i int) float32 {
	var mean, spread [][]float32
	var unit []float32
	for _, name := range [...]string{"red", "green"} {
		m, sd := w.s.Band(name)
		if m == nil {
			continue
		}
		ratio := make([]float32, 0, 5000)
		for i := 0; i < len(m); i += max(1, len(m)/5000) {
			if w.use[i] && m[i] > 0 {
				ratio = append(ratio, sd[i]/m[i])
			}
		}
		if at := stat.Median(ratio); at > 0 {
			mean, spread, unit = append(mean, m), append(spread, sd), append(unit, float32(at))
		}
	}
	if len(mean) == 0 {
		return func(i int) float32 { return w.d.Evidence[i] }
	}
	return func(i int) float32 {
		sum := float32(0)
		for b, m := range mean {
			sum += min(spread[b][i]/m[i]/unit[b], 4)
		}
		return sum
	}
}

// frame turns the grid into metres along and across the heading.
type frame struct {
	sin, cos float64
	x0, y0   float64 // m east and north of the middle: the first cell's
	cell     float64
	cols     int
}

func (w *work) frame(rad float64) frame {
	g := w.s.Grid
	sin, cos := math.Sincos(rad)
	return frame{sin, cos, -(float64(g.Cols) - 1) / 2 * g.CellM, (float64(g.Rows) - 1) / 2 * g.CellM, g.CellM, g.Cols}
}

// place is where cell (col, row) lies, m across to the right and m along.
func (f frame) place(col, row int) (across, along float64) {
	x, y := f.x0+float64(col)*f.cell, f.y0-float64(row)*f.cell
	return float64(x*f.cos) - float64(y*f.sin), float64(x*f.sin) + float64(y*f.cos)
}

// corridors gathers the ground along each line of the lattice.
func (w *work) corridors(lines []float64) []corridor {
	half := w.ground.spanM + stretchM
	out := make([]corridor, len(lines))
	for i := range out {
		c := corridor{stretches: int(2*half/stretchM) + 1, steps: int(2*corridorM/stepM) + 1}
		c.v, c.n = make([]float32, c.stretches*c.steps), make([]float32, c.stretches*c.steps)
		out[i] = c
	}
	sharp := w.sharp()
	w.eachNear(lines, func(i, k int, across, along float64) {
		v := sharp(i)
		if v != v {
			return
		}
		c := &out[k]
		at := int((along+half)/stretchM)*c.steps + int((across-lines[k]+corridorM)/stepM+0.5)
		c.v[at] += v
		c.n[at]++
	})
	return out
}

// eachNear calls do for the cells in use that lie in the corridor of a line: the
// cell, the line, and the cell's place across and along the heading, m.
func (w *work) eachNear(lines []float64, do func(i, k int, across, along float64)) {
	f, cols := w.frame(w.found.rad), w.s.Grid.Cols
	reach := min(corridorM, 0.45*w.even.spacing) - 0.25 // so that no cell is in two corridors
	for row := range w.s.Grid.Rows {
		across0, along0 := f.place(0, row)
		for k, at := range lines {
			from, to := span{at - reach, at + reach}.columns(across0, f.cell*f.cos, cols)
			for col := from; col < to; col++ {
				if i := row*cols + col; w.use[i] {
					do(i, k, across0+float64(float64(col)*f.cell*f.cos), along0+float64(float64(col)*f.cell*f.sin))
				}
			}
		}
	}
}

// columns are those of a row that lie in the span: column 0 lies at start, and
// each next one step farther.
func (s span) columns(start, step float64, cols int) (from, to int) {
	if math.Abs(step)*float64(cols) < 1e-6 {
		if start > s.from && start < s.to {
			return 0, cols
		}
		return 0, 0
	}
	a, b := (s.from-start)/step, (s.to-start)/step
	if a > b {
		a, b = b, a
	}
	if b < 0 || a > float64(cols) {
		return 0, 0
	}
	return max(0, int(math.Ceil(a))), min(cols, int(math.Floor(b))+1)
}

// turned is the mean over the stretches, each moved by what a turn of the
// heading moves it, less what lies at the rim.
func (c *corridor) turned(by float64) []float64 {
	out, weight := make([]float64, c.steps), make([]float64, c.steps)
	tan := math.Tan(by)
	for s := range c.stretches {
		shift := (float64(s) + 0.5 - float64(c.stretches)/2) * stretchM * tan / stepM
		whole := int(math.Floor(shift))
		part := shift - math.Floor(shift)
		for b := range out {
			for o, share := range [2]float64{1 - part, part} {
				if at := b + whole + o; at >= 0 && at < c.steps {
					out[b] += share * float64(c.v[s*c.steps+at])
					weight[b] += share * float64(c.n[s*c.steps+at])
				}
			}
		}
	}
	rim, n := 0.0, 0.0
	for b := range out {
		if math.Abs(c.off(b)) >= rimM {
			rim += out[b]
			n += weight[b]
		}
	}
	for b := range out {
		out[b] = (out[b]/weight[b] - rim/n) // NaN where no ground is
	}
	return out
}

// off is how far a step lies from the line, m.
func (c *corridor) off(b int) float64 { return (float64(b) - float64(c.steps-1)/2) * stepM }

// middle is where in a profile the mean over the width of a narrow strip is
// largest, m from the line, and that mean; NaN when nothing is known.
func (c *corridor) middle(p []float64) (at, height float64) {
	const width = 2 // m
	r := max(1, int(math.Round(width/2/stepM)))
	mean := make([]float64, len(p))
	best := -1
	for b := range p {
		mean[b] = math.NaN()
		if b < r || b+r >= len(p) || math.Abs(c.off(b)) > 3 {
			continue
		}
		sum := 0.0
		for o := -r; o <= r; o++ {
			sum += p[b+o]
		}
		mean[b] = sum / float64(2*r+1)
		if best < 0 && mean[b] == mean[b] || best >= 0 && mean[b] > mean[best] {
			best = b
		}
	}
	if best < 0 {
		return math.NaN(), math.NaN()
	}
	at = c.off(best)
	l, v, h := mean[max(0, best-1)], mean[best], mean[min(len(p)-1, best+1)]
	if bend := l - 2*v + h; bend < 0 {
		at += stepM * (l - h) / (2 * bend)
	}
	return at, mean[best]
}

// width is how wide the profile is at half its height about its middle, m;
// NaN when it has no sides.
func (c *corridor) width(p []float64) float64 {
	at, _ := c.middle(p)
	if at != at {
		return at
	}
	b := int(math.Round(at/stepM + float64(c.steps-1)/2))
	top := (p[b-1] + p[b] + p[b+1]) / 3
	side := func(step int) float64 {
		for k := b; k > 0 && k < len(p)-1; k += step {
			if p[k+step] < top/2 {
				return math.Abs(float64(k-b))*stepM + stepM*(p[k]-top/2)/(p[k]-p[k+step])
			}
		}
		return math.NaN()
	}
	return side(1) + side(-1)
}

// trace sharpens heading and places of the lines cell by cell, and returns the
// corridors about the lines as they lie then.
func (w *work) trace() []corridor {
	lines := w.onLattice()
	cs := w.corridors(lines)
	best, by := math.Inf(-1), 0.0
	for turn := -slackDeg; turn <= slackDeg+1e-9; turn += slackStep {
		sum := 0.0
		for i := range cs {
			if _, h := cs[i].middle(cs[i].turned(turn * deg)); h == h {
				sum += h
			}
		}
		if sum > best {
			best, by = sum, turn
		}
	}
	for i, k := range w.even.fit {
		if at, _ := cs[i].middle(cs[i].turned(by * deg)); at == at {
			w.found.lines[k].across = (lines[i] + at) * math.Cos(by*deg)
		}
	}
	w.found.rad += by * deg
	spans := []span{{w.even.spacing * (1 - offLattice), w.even.spacing * (1 + offLattice)}}
	if l := fitLattice(w.found.lines, spans, 2); len(l.fit) > 0 {
		w.even = l
	}
	return w.corridors(w.onLattice())
}

const (
	weakLeast = 2.0 // spreads, a line that is due at a place which is known to a foot
	weakOn    = 0.5 // share of its pieces that stand out
	dueBins   = 3   // bins to either side of that place
	weakPart  = 0.5 // of what the other lines stand out by cell by cell, that it must have too
)

// gather traces the lines, takes in the weaker ones that are due at the
// lattice's other places, traces again and counts the votes.
func (w *work) gather() []corridor {
	cs := w.trace()
	heights := func() []float64 {
		var out []float64
		for i := range cs {
			_, h := cs[i].middle(cs[i].turned(0))
			out = append(out, h)
		}
		return out
	}
	usual := stat.Median(heights())
	known := len(w.even.fit)
	w.addDue()
	if len(w.even.fit) > known {
		cs = w.trace()
		w.drop(heights(), weakPart*usual)
	}
	if !w.allowed(w.even.spacing) {
		w.even.fit, w.even.steps = nil, nil
		return nil
	}
	p := w.along(w.found.rad).turned(0)
	w.votes = p.votes()
	w.order = order(w.votes, w.even.spacing)
	return w.corridors(w.onLattice())
}

// addDue adds a line at each place of the lattice that has none yet and where
// the profile stands out a little.
func (w *work) addDue() {
	p := w.along(w.found.rad).turned(0)
	taken := map[int]bool{}
	for _, k := range w.even.steps {
		taken[k] = true
	}
	lines := w.latticeLines()
	far := int(w.ground.spanM/w.even.spacing) + 1
	for k := -2 * far; k <= 2*far; k++ {
		if taken[k] {
			continue
		}
		best := -1
		middle := int(math.Round(p.sheaf.bin(w.even.phase + float64(k)*w.even.spacing)))
		for b := max(0, middle-dueBins); b <= min(len(p.l)-1, middle+dueBins); b++ {
			if p.l[b] == p.l[b] && (best < 0 || p.l[b] > p.l[best]) {
				best = b
			}
		}
		if best < 0 || p.l[best] < weakLeast {
			continue
		}
		if l := p.line(best); l.on >= weakOn {
			lines = append(lines, l)
		}
	}
	slices.SortFunc(lines, func(a, b line) int { return cmp.Compare(a.across, b.across) })
	w.found.lines = lines
	w.even = settle(lines, w.even, span{0, math.Inf(1)})
}

// drop takes the weak lines off that are lower than least.
func (w *work) drop(heights []float64, least float64) {
	var kept []line
	for i, h := range heights {
		if l := w.found.lines[w.even.fit[i]]; l.stands >= givenLeast || h >= least {
			kept = append(kept, l)
		}
	}
	w.found.lines = kept
	w.even = settle(kept, w.even, span{0, math.Inf(1)})
}

// latticeLines are the lines that lie on the lattice.
func (w *work) latticeLines() []line {
	var out []line
	for _, i := range w.even.fit {
		out = append(out, w.found.lines[i])
	}
	return out
}
