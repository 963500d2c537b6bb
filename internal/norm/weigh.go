package norm

import "math"

const (
	lowQuantile  = 0.20 // of the ratio's pixels: the green end, which weeds leave alone
	highQuantile = 0.90 // the brown end, which they move
)

// A balance weighs how a place departs from its norm. Brown specks over a
// living canopy move the brown end of the pixels and not the green one, and make
// the green band speckled. A thin stand, washed or killed ground moves the green
// end too, and shows dark gaps in the near infrared, where a living weed is as
// bright as the crop.
type balance struct {
	brown, green, speck, open, bright, red float64
	bias                                   float64
}

// Ground that is clearly open weighs more than the regression's straight line
// gives it: dead weeds are as brown and as speckled as living ones.
const (
	openFrom   = 0.12 // ln units of contrast in the near infrared above the norm
	openMore   = 40.0 // evidence taken off for each ln unit beyond
	greenFrom  = 0.12 // ln units of the green end above the norm
	greenMore  = 30.0
	brownFrom  = 0.10 // ln units of the brown end above the norm, below which specks alone say little
	brownMore  = 20.0
	mostGround = 0.5 // ln units, where both are held
)

// The weights are those of a logistic regression of ground worth acting on
// against all other crop on invented fields (odd seeds, four sensors), rounded,
// with the bias moved to where patches begin. docs/methods/norm.md says what each rests on.
var (
	withInfrared = balance{brown: 16, green: 0, speck: 21, open: 9, red: 1.5, bias: 3.9}
	colourOnly   = balance{brown: 5, green: 2, speck: 20, bright: 12, red: 5.5, bias: 7.2}
)

// weigh sets the evidence of every cell.
func (w *work) weigh() {
	n := w.pool.size.Len()
	e := nans(n)
	b := colourOnly
	if w.of[InfraredContrast] != nil {
		b = withInfrared
	}
	w.below = readings{w.of[BrownEnd], w.of[GreenEnd], w.of[GreenContrast], w.of[RedContrast], w.of[InfraredContrast]}
	if w.s.Ratio != "" {
		inBands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
			for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
				if w.pool.cells[at] > 0 {
					e[at] = float32(w.evidence(&b, at))
				}
			}
		})
	}
	w.out.Evidence = w.spreadOut(e)
}

// readings are the quantities below the cell; nil where the flight lacks them.
type readings struct{ brown, green, speck, red, open *quantity }

// leastEvidence is that of ground where nothing can be weighed.
const leastEvidence = -20

// evidence is the weighed sum at a pool cell. Each term is held where the
// regression had data, so that no one of them outvotes the rest.
func (w *work) evidence(b *balance, at int) float64 {
	brown, green := w.away(w.below.brown, at), w.away(w.below.green, at)
	speck := held(w.away(w.below.speck, at), -0.3, 0.25)
	sum := float64(b.brown*held(brown, -1, 0.5)) - float64(b.green*held(green, -0.05, 1)) + float64(b.speck*speck)
	sum -= float64(brownMore * held(brownFrom-brown, 0, mostGround))
	sum -= float64(greenMore * held(green-greenFrom, 0, mostGround))
	if b.open != 0 {
		open := w.away(w.below.open, at)
		sum -= float64(b.open*held(open, -0.1, mostGround)) + float64(openMore*held(open-openFrom, 0, mostGround))
	}
	if b.bright != 0 && w.bright[at] == w.bright[at] {
		sum += float64(b.bright * held(float64(w.bright[at]), -0.15, 0.15))
	}
	if b.red != 0 {
		sum += float64(b.red * held(w.away(w.below.red, at), -0.5, 0.6))
	}
	return max(sum-b.bias, leastEvidence)
}

// away is how far a quantity lies from its norm at a pool cell, in ln units; 0
// where not known.
func (w *work) away(q *quantity, at int) float64 { return q.size(at, w.pool.check[at]) }

// spreadOut interpolates a pool quantity to the looked-at cells, between the
// middles of the pool cells that have it; NaN elsewhere.
func (w *work) spreadOut(v []float32) []float32 {
	out := nans(len(w.look))
	fine, size, fold := w.pool.fine, w.pool.size, float32(w.pool.fold)
	inBands(w.p.Workers, fine.Rows, func(from, to int) {
		for row := from; row < to; row++ {
			y := (float32(row)+0.5)/fold - 0.5
			for col := range fine.Cols {
				if i := row*fine.Cols + col; w.look[i] {
					out[i] = between(v, size.Cols, size.Rows, (float32(col)+0.5)/fold-0.5, y)
				}
			}
		}
	})
	return out
}

// between interpolates v at (x, y), passing over what is NaN.
func between(v []float32, cols, rows int, x, y float32) float32 {
	c, r := int(math.Floor(float64(x))), int(math.Floor(float64(y)))
	fx, fy := x-float32(c), y-float32(r)
	sum, weight := float32(0), float32(0)
	for k, w := range [4]float32{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy} {
		cc, rr := c+k%2, r+k/2
		if cc < 0 || rr < 0 || cc >= cols || rr >= rows {
			continue
		}
		if a := v[rr*cols+cc]; a == a {
			sum += float32(w * a)
			weight += w
		}
	}
	return sum / weight // 0/0 is NaN
}
