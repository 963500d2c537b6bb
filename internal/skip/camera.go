package skip

import (
	"math"

	"bittern/internal/stat"
)

const (
	lightM     = 4.0  // m, side of the squares that brightness is read on
	lightRound = 30.0 // m, half the square whose brightness is taken off: clouds and soils are wider
)

// A light is the brightness of the ground in every band, as points.
type light struct {
	x, y  []float32   // m from the middle
	all   []float32   // ln, mean over bands
	bands [][]float32 // [band][point] ln
	spanM float64
}

// newLight reads the brightness of the cells in use, but for those in without:
// less the mean of the check, since levees run straight too and a check may be
// darker than the next, and less that of the ground round about.
func (w *work) newLight(without []bool) *light {
	g := w.s.Grid
	fold := max(1, int(math.Round(lightM/g.CellM)))
	size := stat.Size{Cols: (g.Cols + fold - 1) / fold, Rows: (g.Rows + fold - 1) / fold}
	count := make([]float32, size.Len())
	check := make([]int32, size.Len())
	sums := make([][]float32, len(w.s.Bands))
	for b := range sums {
		sums[b] = make([]float32, size.Len())
	}
	// Every second cell of every second row is plenty: a square has 16 of them.
	for row := 0; row < g.Rows; row += 2 {
		base := row / fold * size.Cols
		for col := 0; col < g.Cols; col += 2 {
			i, at := row*g.Cols+col, base+col/fold
			if !w.use[i] || without != nil && without[i] {
				continue
			}
			count[at]++
			check[at] = w.l.Check[i]
			for b, m := range w.s.Mean {
				sums[b][at] += m[i]
			}
		}
	}
	in := make([]bool, size.Len())
	for at, n := range count {
		in[at] = n >= float32(fold*fold)/16
		for b := range sums {
			v := math.Log(float64(sums[b][at] / n))
			if in[at] = in[at] && !math.IsNaN(v) && !math.IsInf(v, 0); in[at] {
				sums[b][at] = float32(v)
			}
		}
	}
	round := make([]float32, size.Len())
	for b := range sums {
		lessChecks(sums[b], in, check)
		stat.Box(round, sums[b], in, size, int(math.Round(lightRound/lightM)))
		for at := range round {
			sums[b][at] -= round[at]
		}
	}
	l := &light{bands: make([][]float32, len(sums))}
	side := float64(fold) * g.CellM
	for at, ok := range in {
		if !ok {
			continue
		}
		x := (float64(at%size.Cols)+0.5)*side - float64(g.Cols)/2*g.CellM
		y := float64(g.Rows)/2*g.CellM - (float64(at/size.Cols)+0.5)*side
		l.x, l.y = append(l.x, float32(x)), append(l.y, float32(y))
		sum := float32(0)
		for b := range sums {
			v := max(-0.3, min(0.3, sums[b][at]))
			l.bands[b] = append(l.bands[b], v)
			sum += v
		}
		l.all = append(l.all, sum/float32(len(sums)))
		l.spanM = max(l.spanM, math.Hypot(x, y))
	}
	return l
}

// lessChecks takes the mean of each check off.
func lessChecks(v []float32, in []bool, check []int32) {
	var sum, n []float64
	each := func(do func(at, k int)) {
		for at, ok := range in {
			if k := int(check[at]); ok && k >= 0 {
				do(at, k)
			}
		}
	}
	each(func(at, k int) {
		for k >= len(n) {
			sum, n = append(sum, 0), append(n, 0)
		}
		sum[k] += float64(v[at])
		n[k]++
	})
	each(func(at, k int) { v[at] -= float32(sum[k] / n[k]) })
}

// across is the mean of v by the place across a heading, in bins of bin metres;
// n is how many points each bin holds.
func (l *light) across(v []float32, rad, bin float64) (mean, n []float32) {
	half := l.spanM + bin
	bins := int(math.Ceil(2*half/bin)) + 2
	mean, n = make([]float32, bins), make([]float32, bins)
	sin, cos := math.Sincos(rad)
	ax, ay, d0 := float32(cos/bin), float32(-sin/bin), float32(half/bin)
	for i, x := range l.x {
		d := x*ax + l.y[i]*ay + d0
		at := int(d)
		part := d - float32(at)
		mean[at] += v[i] * (1 - part)
		n[at] += 1 - part
		mean[at+1] += v[i] * part
		n[at+1] += part
	}
	for at := range mean {
		if n[at] > 0 {
			mean[at] /= n[at]
		}
	}
	return mean, n
}

// common is what profiles of all bands share: where they all rise or all fall,
// the least of them. A camera's line raises every band by one ratio; a pale strip
// or a thin stand raises one band and lowers another.
func common(bands [][]float32) []float32 {
	out := make([]float32, len(bands[0]))
	for at := range out {
		least, up, down := float32(math.Inf(1)), true, true
		for _, m := range bands {
			v := m[at]
			up, down = up && v > 0, down && v < 0
			least = min(least, float32(math.Abs(float64(v))))
		}
		switch {
		case up:
			out[at] = least
		case down:
			out[at] = -least
		}
	}
	return out
}

// lit is the common brightness across a heading and how many points each place
// rests on.
func (l *light) lit(rad, bin float64) (mean, n []float32) {
	var all [][]float32
	for _, v := range l.bands {
		var m []float32
		m, n = l.across(v, rad, bin)
		all = append(all, m)
	}
	return common(all), n
}

// power is the variance of a profile between its places.
func power(mean, n []float32) float64 {
	sum, weight := 0.0, 0.0
	for at, m := range mean {
		if n[at] >= 8 {
			sum += float64(n[at]) * float64(m) * float64(m)
			weight += float64(n[at])
		}
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

const (
	lensDeg   = 3.0  // degrees between the headings at which lines of the camera are sought
	lensEvery = 5    // of those headings, one is read for comparison
	lensFine  = 0.25 // and then, about the best
	lensTimes = 3.0  // times the usual power that the best heading must have
)

// A lens is what the mapping lines left in the brightness.
type lens struct {
	rad   float64 // radians clockwise from grid north
	swing float64 // ln units
	steps []float64
	bin   float64
	at    float64 // m, the spacing of the steps; 0 when they have none
	top   float64 // the highest comb of all spacings
}

// camera reads the mapping lines from the ground outside the strips.
func (w *work) camera(without []bool) {
	l := w.newLight(without)
	if len(l.x) < leastPoints/16 || len(l.bands) < 2 {
		return
	}
	// Where the mean of all bands varies most from place to place is sought first;
	// what the bands share is read there, and at a few headings for comparison.
	coarse := headings(0, (180-lensDeg)*deg, lensDeg*deg)
	rough := make([]float64, len(coarse))
	var usual []float64
	for k, h := range coarse {
		rough[k] = power(l.across(l.all, h, lightM))
		if k%lensEvery == 0 {
			usual = append(usual, power(l.lit(h, lightM)))
		}
	}
	best, at := 0.0, 0.0
	for k, h := range coarse {
		before, after := rough[(k+len(rough)-1)%len(rough)], rough[(k+1)%len(rough)]
		if rough[k] < before || rough[k] < after || rough[k] < stat.Median(rough) {
			continue
		}
		if p := power(l.lit(h, lightM)); p > best {
			best, at = p, h
		}
	}
	for _, h := range headings(at-lensDeg*deg, at+lensDeg*deg, lensFine*deg) {
		if p := power(l.lit(h, lightM)); p > best {
			best, at = p, h
		}
	}
	middle := stat.Median(usual)
	if !(best > 0 && best >= lensTimes*middle) {
		return
	}
	w.lens = &lens{rad: at, swing: math.Sqrt(best), bin: 1}
	w.lens.read(l.lit(at, w.lens.bin))
	w.lens.at, w.lens.top = w.lens.apart()
}

// read takes the steps of brightness from place to place, squared.
func (l *lens) read(mean, n []float32) {
	const reach = 3
	l.steps = make([]float64, len(mean))
	for i := reach; i+reach < len(mean); i++ {
		left, right, known := 0.0, 0.0, true
		for o := 1; o <= reach; o++ {
			left += float64(mean[i-o])
			right += float64(mean[i+o])
			known = known && n[i-o] >= 2 && n[i+o] >= 2
		}
		if known {
			l.steps[i] = (left - right) * (left - right)
		}
	}
}

// comb is how well the steps lie on places evenly apart, 0 to 1: the mean
// resultant length of the steps' phases for the spacing and for half of it, as a
// geometric mean. Even steps have both; at twice the true spacing the first is
// missing.
func (l *lens) comb(spacing float64) float64 {
	return math.Sqrt(l.resultant(spacing) * l.resultant(spacing/2))
}

func (l *lens) resultant(spacing float64) float64 {
	// The angle from place to place is the same, so a rotation stands for sine and cosine.
	turnS, turnC := math.Sincos(2 * math.Pi * l.bin / spacing)
	re, im, total, s, c := 0.0, 0.0, 0.0, 0.0, 1.0
	for _, v := range l.steps {
		re, im, total = re+float64(v*c), im+float64(v*s), total+v
		s, c = float64(s*turnC)+float64(c*turnS), float64(c*turnC)-float64(s*turnS)
	}
	if total == 0 {
		return 0
	}
	return math.Hypot(re, im) / total
}

const (
	lensFromM, lensToM = 8.0, 55.0 // m, spacings of mapping lines that are looked at
	lensFar            = 1.005     // from one spacing to the next
	lensLeast          = 0.3       // the comb of even steps at least; steps of no order have up to that by chance
	lensNear           = 0.8       // of the highest comb: even steps have high ones at multiples of their spacing too
)

// apart is the spacing of the steps, the least whose comb is nearly as high as
// the highest, and that highest comb; 0 when they have none.
func (l *lens) apart() (spacing, top float64) {
	var at, combs []float64
	for d := lensFromM; d <= lensToM; d *= lensFar {
		v := l.comb(d)
		at, combs = append(at, d), append(combs, v)
		top = max(top, v)
	}
	for i := 1; i+1 < len(combs); i++ {
		if combs[i] >= lensNear*top && combs[i] >= combs[i-1] && combs[i] >= combs[i+1] {
			return at[i], top
		}
	}
	return 0, top
}

// fits says whether steps at the spacing, within a share of it, could be there:
// it is theirs, or their comb is least or more.
func (l *lens) fits(spacing, within, least float64) bool {
	if l.top == 0 {
		return false
	}
	if math.Abs(spacing/l.at-1) <= within {
		return true
	}
	for d := spacing * (1 - within); d <= spacing*(1+within); d *= lensFar {
		if l.comb(d) >= least {
			return true
		}
	}
	return false
}
