package main

import (
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/stat"
)

// What someone would run instead: general-purpose rules on cell means, inside
// the boundary, without structure.
const (
	byRule = iota
	byOtsu
	byRX
	byZ
	byMeans
	baselines
)

// baselineNames are the columns of the baselines, in their order.
var baselineNames = [baselines]string{"one-line rule", "Otsu", "RX", "local z", "k-means"}

// compareBaselines measures all of them on one day.
func compareBaselines(d *day) (out [baselines]measure) {
	out[byRule] = bestRule(d)
	out[byOtsu] = otsu(d)
	v := view(d)
	out[byRX] = d.compare(rx(v))
	out[byZ] = d.compare(localZ(d, v))
	out[byMeans] = kMeans(d, v)
	return out
}

// A pointCloud holds the band means of the cells inside, as logarithms: row k
// of it is cell at[k].
type pointCloud struct {
	bands int
	at    []int
	v     []float64
}

func (p *pointCloud) row(k int) []float64 { return p.v[k*p.bands : (k+1)*p.bands] }

// view collects the cells inside that have a picture.
func view(d *day) *pointCloud {
	s := d.Summary
	p := &pointCloud{bands: len(s.Bands)}
	for i, in := range s.Inside {
		if !in || s.Pixels[i] == 0 {
			continue
		}
		p.at = append(p.at, i)
		for b := range s.Bands {
			p.v = append(p.v, float64(s.Mean[b][i]))
		}
	}
	return p
}

// moments are the mean and the covariance of a cloud.
func (p *pointCloud) moments() (mean []float64, cov [][]float64) {
	n := float64(len(p.at))
	mean = make([]float64, p.bands)
	for k := range p.at {
		for b, v := range p.row(k) {
			mean[b] += v / n
		}
	}
	cov = make([][]float64, p.bands)
	for b := range cov {
		cov[b] = make([]float64, p.bands)
	}
	for k := range p.at {
		r := p.row(k)
		for i := range r {
			for j := range i + 1 {
				cov[i][j] += (r[i] - mean[i]) * (r[j] - mean[j]) / n
			}
		}
	}
	return mean, cov
}

// chi999 is the 0.999 quantile of chi-square with 3, 4 and 5 degrees of freedom
// (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4).
func chi999(bands int) float64 {
	switch bands {
	case 3:
		return 16.266
	case 4:
		return 18.467
	}
	return 20.515
}

// rx marks the cells that the field's own mean and covariance hold for
// anomalies at 0.999 (Reed and Yu, IEEE Transactions on Acoustics, Speech, and
// Signal Processing 38 (1990), 1760-1770).
func rx(p *pointCloud) func(i int) bool {
	limit := chi999(p.bands)
	far := distances(p)
	return func(i int) bool { return far[i] > limit }
}

// distances is each cell's squared Mahalanobis distance from the mean of all;
// cells without a picture have none.
func distances(p *pointCloud) map[int]float64 {
	mean, cov := p.moments()
	low := cholesky(cov)
	out := make(map[int]float64, len(p.at))
	y := make([]float64, p.bands)
	for k, i := range p.at {
		r, sum := p.row(k), 0.0
		for a := range y {
			y[a] = r[a] - mean[a]
			for b := range a {
				y[a] -= low[a][b] * y[b]
			}
			y[a] /= low[a][a]
			sum += y[a] * y[a]
		}
		out[i] = sum
	}
	return out
}

// cholesky is the lower triangle whose product with its transpose is a.
func cholesky(a [][]float64) [][]float64 {
	low := make([][]float64, len(a))
	for i := range a {
		low[i] = make([]float64, len(a))
		for j := range i + 1 {
			sum := a[i][j]
			for k := range j {
				sum -= low[i][k] * low[j][k]
			}
			if i == j {
				low[i][i] = math.Sqrt(max(sum, 1e-18))
			} else {
				low[i][j] = sum / low[j][j]
			}
		}
	}
	return low
}

// localZ marks cells whose greenness lies three standard deviations from the
// mean of the 25 m round about.
func localZ(d *day, p *pointCloud) func(i int) bool {
	z := zScores(d, p)
	return func(i int) bool { return z(i) > 3 }
}

// zScores is how many standard deviations of the 25 m round about each cell's
// greenness lies from their mean; NaN without a picture.
func zScores(d *day, p *pointCloud) func(i int) float64 {
	const half = 25 // cells
	g := d.Summary.Grid
	index := greenness(d.Summary)
	n, sum, sq := newIntegral(g.Cols, g.Rows), newIntegral(g.Cols, g.Rows), newIntegral(g.Cols, g.Rows)
	in := make([]bool, g.Len())
	for _, i := range p.at {
		if in[i] = !math.IsNaN(index[i]); in[i] {
			n.set(i, 1)
			sum.set(i, index[i])
			sq.set(i, index[i]*index[i])
		}
	}
	n.finish()
	sum.finish()
	sq.finish()
	return func(i int) float64 {
		if !in[i] {
			return math.NaN()
		}
		c, r := i%g.Cols, i/g.Cols
		k := n.box(c, r, half)
		mean := sum.box(c, r, half) / k
		sd := math.Sqrt(max(sq.box(c, r, half)/k-mean*mean, 1e-18))
		return math.Abs(index[i]-mean) / sd
	}
}

// An integral is a summed-area table.
type integral struct {
	cols, rows int
	v          []float64
}

func newIntegral(cols, rows int) *integral {
	return &integral{cols, rows, make([]float64, (cols+1)*(rows+1))}
}

func (t *integral) set(i int, v float64) { t.v[(i/t.cols+1)*(t.cols+1)+i%t.cols+1] = v }

func (t *integral) finish() {
	w := t.cols + 1
	for r := 1; r <= t.rows; r++ {
		for c := 1; c <= t.cols; c++ {
			t.v[r*w+c] += t.v[(r-1)*w+c] + t.v[r*w+c-1] - t.v[(r-1)*w+c-1]
		}
	}
}

// box is the sum over the square of cells within half of (col, row).
func (t *integral) box(col, row, half int) float64 {
	c0, c1 := max(0, col-half), min(t.cols, col+half+1)
	r0, r1 := max(0, row-half), min(t.rows, row+half+1)
	w := t.cols + 1
	return t.v[r1*w+c1] - t.v[r0*w+c1] - t.v[r1*w+c0] + t.v[r0*w+c0]
}

// kMeans parts the cells into five classes by their standardised band means
// (Lloyd, IEEE Transactions on Information Theory 28 (1982), 129-137) and marks
// the class that the truth likes best, as someone would who picks it by eye.
func kMeans(d *day, p *pointCloud) measure {
	const classes, turns, sample = 5, 20, 20000
	mean, cov := p.moments()
	z := func(k int, out []float64) []float64 {
		out = out[:0]
		for b, v := range p.row(k) {
			out = append(out, (v-mean[b])/math.Sqrt(max(cov[b][b], 1e-18)))
		}
		return out
	}
	step := max(1, len(p.at)/sample)
	var points [][]float64
	for k := 0; k < len(p.at); k += step {
		points = append(points, z(k, nil))
	}
	// Start from quantiles of the last band, so that every run is the same.
	order := slices.Clone(points)
	slices.SortFunc(order, slices.Compare[[]float64])
	slices.SortStableFunc(order, func(a, b []float64) int {
		return slices.Compare(a[len(a)-1:], b[len(b)-1:])
	})
	centres := make([][]float64, classes)
	for c := range centres {
		centres[c] = slices.Clone(order[(2*c+1)*len(order)/(2*classes)])
	}
	for range turns {
		n := make([]float64, classes)
		sum := make([][]float64, classes)
		for c := range sum {
			sum[c] = make([]float64, p.bands)
		}
		for _, q := range points {
			c := nearest(centres, q)
			n[c]++
			for b, v := range q {
				sum[c][b] += v
			}
		}
		for c := range centres {
			for b := range centres[c] {
				if n[c] > 0 {
					centres[c][b] = sum[c][b] / n[c]
				}
			}
		}
	}
	class := make(map[int]int, len(p.at))
	var q []float64
	for k, i := range p.at {
		q = z(k, q)
		class[i] = nearest(centres, q)
	}
	best, top := measure{}, -1.0
	for c := range classes {
		m := d.compare(func(i int) bool { k, ok := class[i]; return ok && k == c })
		if v := m.iou(); v > top || top < 0 {
			best, top = m, v
		}
	}
	if best.truth == 0 { // nothing to choose by: the smallest class
		for c := range classes {
			m := d.compare(func(i int) bool { k, ok := class[i]; return ok && k == c })
			if m.wrong < best.wrong {
				best = m
			}
		}
	}
	return best
}

func nearest(centres [][]float64, q []float64) int {
	best, at := math.Inf(1), 0
	for c, m := range centres {
		sum := 0.0
		for b, v := range q {
			sum += (v - m[b]) * (v - m[b])
		}
		if sum < best {
			best, at = sum, c
		}
	}
	return at
}

// bestRule applies the one-line rule "share of pixels redder than green above a
// threshold" at the threshold that the truth likes best, out of a hundred.
func bestRule(d *day) measure {
	const steps = 100
	var right, wrong [steps + 1]float64
	all := 0.0
	for i, in := range d.Summary.Inside {
		if !in {
			continue
		}
		k := min(int(d.redder[i]*steps), steps)
		switch {
		case d.acting(i):
			all++
			right[k]++
		case !d.forgiven(i):
			wrong[k]++
		}
	}
	a := d.Summary.Grid.AcresPerCell
	best, hit, miss := measure{truth: all * a}, 0.0, 0.0
	for k := steps; k > 0; k-- {
		hit += right[k]
		miss += wrong[k]
		if m := (measure{all * a, hit * a, miss * a}); m.iou() > best.iou() || all == 0 && k == steps/2 {
			best = m
		}
	}
	return best
}

// otsu applies the threshold that parts the index's histogram best into two
// (Otsu, IEEE Transactions on Systems, Man, and Cybernetics 9 (1979), 62-66) and marks the side
// that is less green: the normalised difference of near infrared and red where
// there is near infrared, else of green and red.
func otsu(d *day) measure {
	index := greenness(d.Summary)
	const bins = 256
	var hist [bins]float64
	for i, in := range d.Summary.Inside {
		if in && !math.IsNaN(index[i]) {
			hist[bin(index[i], bins)]++
		}
	}
	at := otsuBin(hist[:])
	return d.compare(func(i int) bool { return !math.IsNaN(index[i]) && bin(index[i], bins) <= at })
}

func bin(v float64, n int) int { return min(max(int((v+1)/2*float64(n)), 0), n-1) }

// otsuBin returns the last bin of the lower class.
func otsuBin(hist []float64) int {
	total, sum := 0.0, 0.0
	for b, n := range hist {
		total += n
		sum += float64(b) * n
	}
	best, at, w, s := -1.0, 0, 0.0, 0.0
	for b, n := range hist {
		w += n
		s += float64(b) * n
		if w == 0 || w == total {
			continue
		}
		gap := s/w - (sum-s)/(total-w)
		if v := w * (total - w) * gap * gap; v > best {
			best, at = v, b
		}
	}
	return at
}

// greenness is a normalised difference of each cell's means.
func greenness(s *cells.Summary) []float64 {
	over, _ := s.Band("nir")
	red, _ := s.Band("red")
	under := red
	if over == nil {
		over, _ = s.Band("green")
	}
	out := make([]float64, s.Grid.Len())
	for i := range out {
		out[i] = float64(over[i]-under[i]) / float64(over[i]+under[i])
	}
	return out
}

// sizeOf is the grid's size for the masks of stat.
func sizeOf(d *day) stat.Size { return stat.Size{Cols: d.Summary.Grid.Cols, Rows: d.Summary.Grid.Rows} }
