package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A Tally is what the ground of one check looks like, in acres on the ellipsoid.
type Tally struct {
	Check  string
	Looked float64          // acres looked at, ground that is kept for the question among it
	Acres  map[Look]float64 // acres of each look of the search, from its threshold on
	Kept   map[structure.Reason]float64
}

// Count sums the looks of d over the cells of each check of l. Ground in no check
// is left to the field's own sums.
func Count(l *structure.Layout, d *Departure) []Tally {
	out := make([]Tally, len(l.Checks))
	for c, ch := range l.Checks {
		out[c] = Tally{Check: ch.ID, Acres: map[Look]float64{}, Kept: map[structure.Reason]float64{}}
	}
	a := l.Grid.AcresPerCell
	for i, c := range l.Check {
		if c < 0 || l.Reason[i] != structure.LookedAt {
			continue
		}
		out[c].Looked += a
		if l.Kept != nil && l.Kept[i] != structure.LookedAt {
			out[c].Kept[l.Kept[i]] += a
			continue
		}
		if t := d.Toward[i]; t != 0 {
			out[c].Acres[d.Looks[t]] += a
		}
	}
	return out
}

// A Ripeness says how far the crop of one check has turned.
type Ripeness struct {
	Check     string
	Straw     float64 // part of the crop's pixels that are straw-coloured: redder than green
	Low, High float64 // bounds that the part lies between 19 times in 20; NaN where the check has too few blocks
	Acres     float64 // of crop that it rests on
}

const (
	ripeBlockM = 20.0 // m, side of the blocks that count as one observation: cells beside each other are alike
	ripeBlocks = 6    // blocks of a check, below which no interval is told
	ripeCells  = 200  // crop cells of a check, below which nothing is told
	normal95   = 1.959964
)

// Ripen measures the straw-coloured part of every check's crop, in the order of
// l's checks; a check with next to no crop has NaN. Nil without a ratio of red to
// green. Ground of a look that counts is no crop: green weeds above the canopy
// would hide how ripe the rice is.
//
// Straw is redder than green and living leaf is greener than red (Tucker 1979,
// Remote Sensing of Environment 8:127-150, the sign of the normalised green-red
// difference; the use of 0 as the border is common practice, no source). The
// interval is that of a ratio estimator over blocks (Cochran, Sampling
// Techniques, 1977, chapter 6, from memory).
func Ripen(s *cells.Summary, l *structure.Layout, d *Departure) []Ripeness {
	if s.Ratio == "" {
		return nil
	}
	g := l.Grid
	per := max(1, int(math.Round(ripeBlockM/g.CellM)))
	blocks := stat.Size{Cols: (g.Cols + per - 1) / per, Rows: (g.Rows + per - 1) / per}
	type sums struct{ straw, all float64 }
	in := make([]map[int]sums, len(l.Checks))
	n := make([]int, len(l.Checks))
	for c := range in {
		in[c] = map[int]sums{}
	}
	lush := lookIndex(Lush)
	for i, c := range l.Check {
		if c < 0 || l.Reason[i] != structure.LookedAt || s.Pixels[i] == 0 || l.Kept != nil && l.Kept[i] != structure.LookedAt || d.Toward[i] == lush {
			continue
		}
		straw, all := above(s, i, 0)
		b := i/g.Cols/per*blocks.Cols + i%g.Cols/per
		v := in[c][b]
		in[c][b] = sums{v.straw + straw, v.all + all}
		n[c]++
	}
	out := make([]Ripeness, len(l.Checks))
	for c, ch := range l.Checks {
		out[c] = Ripeness{Check: ch.ID, Straw: math.NaN(), Low: math.NaN(), High: math.NaN(), Acres: float64(n[c]) * g.AcresPerCell}
		if n[c] < ripeCells {
			continue
		}
		var straw, all []float64
		for b := range blocks.Len() {
			if v, ok := in[c][b]; ok && v.all > 0 {
				straw, all = append(straw, v.straw), append(all, v.all)
			}
		}
		out[c].Straw, out[c].Low, out[c].High = ratioOf(straw, all)
	}
	return out
}

// above is how many of a cell's pixels have a ratio above at, values lying evenly
// in each bin, and how many there are.
func above(s *cells.Summary, i int, at float64) (over, all float64) {
	for b, n := range s.Hist[i*cells.Bins : (i+1)*cells.Bins] {
		high := s.Low + float64(s.Width*float64(b+1))
		all += float64(n)
		over += float64(n) * held((high-at)/s.Width, 0, 1)
	}
	return over, all
}

// ratioOf is the sum of a over the sum of n and its bounds at 95 %, held within 0
// and 1; bounds are NaN with few blocks.
func ratioOf(a, n []float64) (ratio, low, high float64) {
	sumA, sumN := 0.0, 0.0
	for k := range a {
		sumA += a[k]
		sumN += n[k]
	}
	ratio = sumA / sumN
	if len(a) < ripeBlocks {
		return ratio, math.NaN(), math.NaN()
	}
	square := 0.0
	for k := range a {
		r := a[k] - float64(ratio*n[k])
		square += float64(r * r)
	}
	count := float64(len(a))
	se := math.Sqrt(count/(count-1)*square) / sumN
	return ratio, max(0, ratio-float64(normal95*se)), min(1, ratio+float64(normal95*se))
}
