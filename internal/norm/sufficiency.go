package norm

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// An Index says how the crop compares with crop that had all the nitrogen it
// could use: the median of a vegetation index over the ground divided by its
// median over the strips. Below 1 is short.
type Index struct {
	Name      string // "NDRE", or "GNDVI" without a red-edge band
	SI        float64
	Low, High float64 // 95 % by a bootstrap of blocks; NaN with few blocks
	Checks    []CheckIndex
}

// A CheckIndex is the same for one check.
type CheckIndex struct {
	Check         string
	SI, Low, High float64 // NaN where the check has too little ground
}

const (
	indexBlockM = 10.0 // m, side of a block: cells beside each other are alike
	indexBlocks = 5    // blocks below which no interval is told
	indexDraws  = 400
	indexCells  = 200 // cells of a check, below which it has no index
)

// Suffice compares the crop with the strips, which in marks. It returns nil when
// the flight has no near infrared, or no cell of a strip or of the crop is known.
//
// Sufficiency index: Peterson, Blackmer, Francis and Schepers, NebGuide G93-1171
// (1993). NDRE = (N-E)/(N+E), GNDVI = (N-G)/(N+G); docs/references.md.
func Suffice(s *cells.Summary, l *structure.Layout, strip []bool) *Index {
	name, other := "NDRE", "rededge"
	nir, _ := s.Band("nir")
	edge, _ := s.Band(other)
	if edge == nil {
		name, other = "GNDVI", "green"
		edge, _ = s.Band(other)
	}
	if nir == nil || edge == nil {
		return nil
	}
	vi := func(i int) float64 { return float64(nir[i]-edge[i]) / float64(nir[i]+edge[i]) }
	rich, ground := newBlocks(l), newBlocks(l)
	checks := make([]*viBlocks, len(l.Checks))
	for c := range checks {
		checks[c] = newBlocks(l)
	}
	for i, r := range l.Reason {
		v := vi(i)
		if r != structure.LookedAt || s.Pixels[i] == 0 || v-v != 0 {
			continue
		}
		if strip[i] {
			rich.add(i, v)
			continue
		}
		ground.add(i, v)
		if c := l.Check[i]; c >= 0 {
			checks[c].add(i, v)
		}
	}
	reference := stat.Median(rich.all())
	if len(rich.all()) < indexCells || len(ground.all()) < indexCells || !(reference > 0) {
		return nil
	}
	out := &Index{Name: name}
	out.SI, out.Low, out.High = index(ground, rich)
	for c, ch := range l.Checks {
		one := CheckIndex{Check: ch.ID, SI: math.NaN(), Low: math.NaN(), High: math.NaN()}
		if checks[c].n >= indexCells {
			one.SI, one.Low, one.High = index(checks[c], rich)
		}
		out.Checks = append(out.Checks, one)
	}
	return out
}

// viBlocks are index values by block.
type viBlocks struct {
	l     *structure.Layout
	per   int
	order []int
	v     map[int][]float64
	n     int
}

func newBlocks(l *structure.Layout) *viBlocks {
	return &viBlocks{l: l, per: max(1, int(math.Round(indexBlockM/l.Grid.CellM))), v: map[int][]float64{}}
}

func (b *viBlocks) add(i int, v float64) {
	cols := b.l.Grid.Cols
	at := i/cols/b.per*(cols/b.per+1) + i%cols/b.per
	if _, ok := b.v[at]; !ok {
		b.order = append(b.order, at)
	}
	b.v[at] = append(b.v[at], v)
	b.n++
}

func (b *viBlocks) all() []float64 {
	out := make([]float64, 0, b.n)
	for _, at := range b.order {
		out = append(out, b.v[at]...)
	}
	return out
}

// medians are the blocks' medians: what a bootstrap draws from. A block counts by
// its cells.
func (b *viBlocks) medians() (m, weight []float64) {
	for _, at := range b.order {
		m, weight = append(m, stat.Median(b.v[at])), append(weight, float64(len(b.v[at])))
	}
	return m, weight
}

// index is the ratio of the medians, with bounds from drawing the blocks of both
// again (Efron 1979; the draws come from a hash, so that they are always the same).
func index(ground, rich *viBlocks) (si, low, high float64) {
	si = stat.Median(ground.all()) / stat.Median(rich.all())
	if len(ground.order) < indexBlocks || len(rich.order) < indexBlocks {
		return si, math.NaN(), math.NaN()
	}
	gm, gw := ground.medians()
	rm, rw := rich.medians()
	base := weightedMedian(gm, gw, nil) / weightedMedian(rm, rw, nil)
	draws := make([]float64, indexDraws)
	for k := range draws {
		draws[k] = si / base * weightedMedian(gm, gw, drawn(uint64(2*k), len(gm))) / weightedMedian(rm, rw, drawn(uint64(2*k+1), len(rm)))
	}
	return si, stat.Quantile(draws, 0.025), stat.Quantile(draws, 0.975)
}

// drawn are n places out of n, drawn with replacement.
func drawn(seed uint64, n int) []int {
	out := make([]int, n)
	for j := range out {
		h := seed*0x9E3779B97F4A7C15 + uint64(j)*0xBF58476D1CE4E5B9 + 0x94D049BB133111EB
		h = (h ^ h>>30) * 0xBF58476D1CE4E5B9
		h = (h ^ h>>27) * 0x94D049BB133111EB
		out[j] = int((h ^ h>>31) % uint64(n))
	}
	return out
}

// weightedMedian is the value at which half of the weight lies below, of the drawn
// ones, or of all.
func weightedMedian(v, weight []float64, pick []int) float64 {
	times := make([]float64, len(v))
	if pick == nil {
		copy(times, weight)
	}
	for _, j := range pick {
		times[j] += weight[j]
	}
	order := make([]int, len(v))
	total := 0.0
	for j := range order {
		order[j] = j
		total += times[j]
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	sum := 0.0
	for _, j := range order {
		if sum += times[j]; sum >= total/2 {
			return v[j]
		}
	}
	return math.NaN()
}
