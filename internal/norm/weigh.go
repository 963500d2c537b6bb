package norm

import (
	"math"
	"slices"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

const (
	lowQuantile  = 0.10 // of the ratio's pixels: the green end, which weeds leave alone
	midQuantile  = 0.50 // the middle
	highQuantile = 0.90 // the brown end, which they move
)

// A balance weighs how a place departs from its norm. Brown specks over a
// living canopy raise the pixel-to-pixel contrast of red and of green and the
// middle and the brown end of the ratio. A paler stand moves all pixels alike
// and raises no contrast; open soil is dark in green, so it raises that of red
// only.
type balance struct {
	red, green   float64 // red contrast, ln units; excess of the green one, of the mean
	middle, high float64 // quantiles of the ratio, ln units
	infrared     float64 // fall of ln(nir/green), ln units: burnt leaf is paler in green and darker in near infrared
	bright       float64 // green brightness against the ground round about, ln units
	deadFrom     float64 // deadness from which evidence is taken off: dead weeds are as brown and as speckled as living ones
	dead         float64 // deadness beyond that
	bias         float64
}

// The weights are those of a logistic regression of ground worth acting on
// against all other crop on the fields of two generators that were written
// apart, rounded; docs/methods/norm.md says what each rests on.
var (
	withInfrared = balance{red: 9.5, green: 14, high: 2, infrared: 4, deadFrom: 1.0, dead: 20, bias: 6}
	colourOnly   = balance{red: 6, green: 26, middle: 5, bright: 4, deadFrom: 0.45, dead: 10, bias: 5}
)

// weigh sets the evidence of every cell.
func (w *work) weigh() {
	n := w.pool.size.Len()
	e := nans(n)
	b := w.balance()
	w.read()
	w.from, w.step = nil, nil // not asked for again
	for name, q := range w.of {
		if name != RatioPixel && name != Infrared && name != Brightness {
			q.v = nil // it is asked how far it lies off, or no more
		}
	}
	if w.s.Ratio != "" {
		raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
			for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
				if w.pool.cells[at] > 0 {
					e[at] = float32(w.evidence(b, at))
				}
			}
		})
	}
	w.pooledEvidence = w.smooth(e)
	w.scale(w.pooledEvidence, -b.bias)
	base := slices.Clone(w.pooledEvidence)
	fitted := w.fit(base)
	join(w.pooledEvidence, fitted.browned)
	w.addBrown(&fitted)
	w.dropUnbrowned()
	alike := w.teach(w.pooledEvidence, base, fitted.of)
	w.dropUnbrowned()
	w.weighPair()
	w.addLeafy(fitted.coarse)
	killed := w.findKilled()
	if alike != nil && killed != nil && w.near && w.died == nil { // in colour alone the soil between plants is alike, too
		w.grow(w.pooledEvidence, alike, killed)
	}
	w.below = readings{}
	for _, q := range w.of {
		q.off, q.excess = nil, nil
	}
	w.out.Evidence = w.spreadOut(w.pooledEvidence)
}

// balance is what the flight's bands allow.
func (w *work) balance() *balance {
	b := colourOnly
	if w.near {
		b = withInfrared
	}
	return &b
}

// read takes the quantities that evidence rests on.
func (w *work) read() {
	w.below = readings{
		low: w.of[GreenEnd], middle: w.of[Middle], high: w.of[BrownEnd],
		green: w.of[GreenContrast], red: w.of[RedContrast], infrared: w.of[Infrared], open: w.of[InfraredContrast],
	}
	for _, q := range [...]*quantity{w.below.green, w.below.open} {
		w.findExcess(q)
	}
	w.calm(w.below.red)
	for _, q := range [...]*quantity{w.below.low, w.below.middle, w.below.high, w.below.red, w.below.infrared} {
		w.findOff(q)
	}
}

// leastContrast is the part of its mean by which a crop's red is taken to vary from pixel
// to pixel where it varies less, as it does where no texture shows.
const leastContrast = 0.06

// calm holds what a contrast has above its norm against leastContrast where the norm
// is less: on a crop without any texture two stray leaves would else be as many times
// as rough as a patch of weeds is on an ordinary one.
func (w *work) calm(q *quantity) {
	if q == nil {
		return
	}
	least := math.Log(leastContrast)
	raster.Bands(w.p.Workers, len(q.v), func(from, to int) {
		for at := from; at < to; at++ {
			norm := q.centerAt(w.pool.check[at])
			if a := float64(q.v[at]) - norm; a > 0 && norm < least {
				part := math.Exp(norm) / leastContrast
				q.v[at] = float32(norm + 0.5*math.Log1p(float64(part*part)*math.Expm1(2*a)))
			}
		}
	})
}

// findOff keeps how far a quantity lies from its norm in every pool cell, which is asked
// for many times: in ln units, 0 where not known.
func (w *work) findOff(q *quantity) {
	if q == nil {
		return
	}
	q.off = make([]float64, len(q.v))
	raster.Bands(w.p.Workers, len(q.v), func(from, to int) {
		off, check := q.off[from:to], w.pool.check[from:to]
		for i, x := range q.v[from:to] {
			if d := float64(x) - q.centerAt(check[i]); d-d == 0 { // neither NaN nor infinite
				off[i] = d
			}
		}
	})
}

// findExcess keeps what a contrast holds above its norm in every pool cell, as a part
// of the band's mean: the root of the difference of the squares, below 0 for less than the
// norm. In this unit the same specks weigh the same in a quiet picture and in a noisy one.
func (w *work) findExcess(q *quantity) {
	if q == nil {
		return
	}
	base := make([]float64, len(q.center))
	for c, m := range q.center {
		base[c] = math.Exp(2 * m)
	}
	q.excess = make([]float64, len(q.v))
	raster.Bands(w.p.Workers, len(q.v), func(from, to int) {
		for at := from; at < to; at++ {
			c := int(w.pool.check[at])
			if c < 0 {
				c = len(base) - 1
			}
			if d := q.size(at, int32(c)); d != 0 {
				v := base[c] * (math.Exp(2*d) - 1)
				q.excess[at] = math.Copysign(math.Sqrt(math.Abs(v)), v)
			}
		}
	})
}

// smooth takes the mean of evidence over 3 m, so that the chance of single
// plants does not fray a patch.
func (w *work) smooth(e []float32) []float32 {
	in, out := make([]bool, len(e)), make([]float32, len(e))
	for i, x := range e {
		in[i] = w.pool.cells[i] > 0 && x == x
	}
	stat.Box(out, e, in, w.pool.size, w.reach(nearM))
	for i := range out {
		if !in[i] {
			out[i] = float32(math.NaN())
		}
	}
	return out
}

// readings are the quantities that evidence rests on; nil where the flight lacks them.
type readings struct{ low, middle, high, green, red, infrared, open *quantity }

// open is how much more the near infrared is speckled than leaf of any kind
// makes it, as a part of its mean: leaf speckles the green too, while the dark
// gaps of open ground show in the near infrared most. 0 without near infrared.
func (w *work) open(at int) float64 {
	return max(0, w.excess(w.below.open, at)-float64(leafOpen*max(w.excess(w.below.green, at), 0)))
}

const (
	leafOpen   = 1.4  // contrast in the near infrared for each 1 in green that burnt leaf among green makes
	openFrom   = 0.02 // open from which evidence is taken off
	openWeight = 36.0 // evidence for each 1 beyond
)

// leastEvidence is that of ground where nothing can be weighed.
const leastEvidence = -20

// evidence is the weighed sum at a pool cell. Each term is held where the
// regression had data, so that no one of them outvotes the rest.
func (w *work) evidence(b *balance, at int) float64 {
	sum := float64(b.red * held(w.away(w.below.red, at), -0.5, 1.2))
	sum += float64(b.green * held(w.excess(w.below.green, at), -0.08, 0.12))
	sum += float64(b.high * held(w.away(w.below.high, at), -0.3, 0.6))
	if b.middle != 0 {
		sum += float64(b.middle * held(w.away(w.below.middle, at), -0.3, 0.5))
	}
	if b.infrared != 0 {
		sum -= float64(b.infrared * held(w.away(w.below.infrared, at), -0.4, 0.3))
	}
	if b.bright != 0 {
		sum += float64(b.bright * held(w.brightness(at), -0.12, 0.12))
	}
	sum -= float64(openWeight * held(w.open(at)-openFrom, 0, 0.25))
	return max(sum-w.dying(b, at)-b.bias, leastEvidence)
}

// dying is what is taken off the evidence where the brown is of dead weeds.
func (w *work) dying(b *balance, at int) float64 {
	k := w.killing()
	return float64(b.dead*held(w.deadness(at)-b.deadFrom, 0, 0.5)) + float64(k.took*max(w.decay(&k.weeds, at)-k.from, 0))
}

// excess is what a contrast holds above its norm at a pool cell; 0 where not known.
func (w *work) excess(q *quantity, at int) float64 {
	if q == nil {
		return 0
	}
	return q.excess[at]
}

// away is how far a quantity lies from its norm at a pool cell, in ln units; 0
// where not known.
func (w *work) away(q *quantity, at int) float64 {
	if q == nil {
		return 0
	}
	return q.off[at]
}

// spreadOut interpolates a pool quantity to the looked-at cells, between the
// middles of the pool cells that have it; NaN elsewhere.
func (w *work) spreadOut(v []float32) []float32 {
	out, nan := make([]float32, len(w.look)), float32(math.NaN())
	fine, size, fold := w.pool.fine, w.pool.size, w.pool.fold
	across := make([]place, fine.Cols)
	for col := range across {
		across[col] = placeOf(col, fold)
	}
	raster.Bands(w.p.Workers, fine.Rows, func(from, to int) {
		for row := from; row < to; row++ {
			down := placeOf(row, fold)
			looked, line := w.look[row*fine.Cols:(row+1)*fine.Cols], out[row*fine.Cols:(row+1)*fine.Cols]
			inner := down.first >= 0 && down.first+1 < size.Rows
			for col, is := range looked {
				if !is {
					line[col] = nan
					continue
				}
				if x := across[col]; inner && x.first >= 0 && x.first+1 < size.Cols {
					line[col] = x.between(v[down.first*size.Cols+x.first:], size.Cols, down.part)
				} else {
					line[col] = x.betweenSome(v, size, down)
				}
			}
		}
	})
	return out
}

// A place of a cell along one side of the grid: between the middles of two pool cells,
// the first and the next, and how far on the way.
type place struct {
	first int
	part  float32
}

func placeOf(cell, fold int) place {
	x := (float32(cell)+0.5)/float32(fold) - 0.5
	first := math.Floor(float64(x))
	return place{int(first), x - float32(first)}
}

// between interpolates between the four cells from v[0] on, of rows of so many
// cells, passing over what is NaN; NaN when all are.
func (x place) between(v []float32, cols int, down float32) float32 {
	v, next := v[:2], v[cols:cols+2]
	here, right, below, across := (1-x.part)*(1-down), x.part*(1-down), (1-x.part)*down, x.part*down
	if sum := float32(here*v[0]) + float32(right*v[1]) + float32(below*next[0]) + float32(across*next[1]); sum == sum {
		return sum / (here + right + below + across)
	}
	sum, weight := float32(0), float32(0)
	add := func(a, w float32) {
		if a == a {
			sum, weight = sum+float32(w*a), weight+w
		}
	}
	add(v[0], here)
	add(v[1], right)
	add(next[0], below)
	add(next[1], across)
	return sum / weight // 0/0 is NaN
}

// betweenSome is between where some of the four cells may lie off the raster.
func (x place) betweenSome(v []float32, s stat.Size, down place) float32 {
	four := [4]float32{}
	for k := range four {
		col, row := x.first+k%2, down.first+k/2
		four[k] = float32(math.NaN())
		if col >= 0 && row >= 0 && col < s.Cols && row < s.Rows {
			four[k] = v[row*s.Cols+col]
		}
	}
	return x.between(four[:], 2, down.part)
}
