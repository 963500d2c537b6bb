package structure

import (
	"math"

	"bittern/internal/raster"
	"bittern/internal/stat"
)

// Settings of the contrast with the ground round about.
const (
	aroundM       = 12.0 // half the side of the square that is round about
	contrastShare = 0.7  // of the cells, that the spread of the contrast rests on
	contrastFloor = 0.04 // ln units, least spread
	brightWeight  = 0.5  // of brightness, which light changes, against a ratio
	smoothWeight  = 1.5  // of how much smoother the ground is
)

// contrast measures how far each cell stands from the ground round about it:
// slow changes of the stand, the light and the camera fall away, what is narrow
// stays.
func (f *finder) contrast() error {
	around := f.coarse.around(aroundM / f.coarseCell())
	var err error
	f.fineStep, f.fineBank, err = f.fine.steps(around, f.coarse.size, f.factor)
	return err
}

// around is the mean of each feature over the square round about each cell, and last
// that of the texture where there is one.
func (v *view) around(radius float64) [][]float32 {
	features := v.features()
	if v.texture != nil {
		features = append(features, v.texture)
	}
	out := make([][]float32, len(features))
	raster.Bands(v.workers, len(features), func(from, to int) {
		for k := from; k < to; k++ {
			out[k] = make([]float32, len(features[k]))
		}
		stat.BoxAll(out[from:to], features[from:to], v.known, v.size, int(math.Round(radius)))
	})
	return out
}

// features are the ratios and the brightness.
func (v *view) features() [][]float32 { return append(v.ratio[:len(v.ratio):len(v.ratio)], v.bright) }

// A smoothness says how much smoother from pixel to pixel a cell is than the ground round about
// it: earth and short grass on a bank are, while weeds, gaps and ruts are rougher than a crop.
type smoothness struct {
	have, around []float32 // texture; around lies on larger cells. Nil when it says nothing
	center, per  float32   // of the crop, spreads for each ln unit
}

func (v *view) smoothness(around [][]float32, s stat.Size, factor int) smoothness {
	if v.texture == nil {
		return smoothness{}
	}
	t := smoothness{have: v.texture, around: around[len(around)-1]}
	picks := v.sample()
	x := make([]float32, len(picks))
	for k, i := range picks {
		col, row := int(i)%v.size.Cols, int(i)/v.size.Cols
		x[k] = t.have[i] - t.around[row/factor*s.Cols+col/factor]
	}
	center, spread := stat.CenterSpread(x)
	t.center, t.per = float32(center), float32(smoothWeight/max(spread, contrastFloor))
	return t
}

// squared is the square of the spreads by which cell i, which lies in the larger cell j, is
// smoother; 0 where it is not.
func (t *smoothness) squared(i, j int) float32 {
	if t.have == nil {
		return 0
	}
	z := max(t.per*(t.center-(t.have[i]-t.around[j])), 0)
	return float32(z * z)
}

// A deviation takes a cell's features less those of the ground round about it.
type deviation struct {
	around [][]float32 // on larger cells
	have   [][]float32
}

// at puts the deviations of cell i, which lies in the larger cell j, into d.
func (t *deviation) at(i, j int, d *[mostFeatures]float32) {
	for k, feature := range t.have {
		d[k] = feature[i] - t.around[k][j]
	}
	d[len(t.have)-1] *= brightWeight
}

// rows are the features and what is around them in a row of cells, from cell i on, and what their differences count by. Features
// that the flight lacks are none, a row of 0, so that no loop over features is needed for every cell.
func (t *deviation) rows(i, cols, j, aroundCols int, none []float32) (have, around [mostFeatures][]float32, by [mostFeatures]float32) {
	for k := range have {
		have[k], around[k], by[k] = none, none, 1
		if k < len(t.have) {
			have[k], around[k] = t.have[k][i:i+cols], t.around[k][j:j+aroundCols]
		}
	}
	by[len(t.have)-1] = brightWeight
	return have, around, by
}

// steps is the robust distance of each known cell from what is around it by its colour, in
// steps, and bank the same with how much smoother it is; around lies on cells of s, factor times as
// large.
func (v *view) steps(around [][]float32, s stat.Size, factor int) (colour, bank []uint8, err error) {
	t := deviation{around, v.features()}
	p := len(t.have)
	var d [mostFeatures]float32
	var x []float64
	for _, i := range v.sample() {
		col, row := int(i)%v.size.Cols, int(i)/v.size.Cols
		t.at(int(i), row/factor*s.Cols+col/factor, &d)
		for _, dj := range d[:p] {
			x = append(x, float64(dj))
		}
	}
	e, err := stat.Concentrate(x, p, stat.Concentration{Share: contrastShare, Steps: 8, Floor: contrastFloor})
	if err != nil {
		return nil, nil, err
	}
	w, smooth := whiten(&e), v.smoothness(around, s, factor)
	colour, bank = make([]uint8, len(v.known)), make([]uint8, len(v.known))
	raster.Bands(v.workers, v.size.Rows, func(from, to int) {
		none := make([]float32, v.size.Cols)
		for y := from; y < to; y++ {
			at, j := y*v.size.Cols, y/factor*s.Cols
			have, around, by := t.rows(at, v.size.Cols, j, s.Cols, none)
			h0, h1, h2, h3, h4 := have[0], have[1], have[2], have[3], have[4]
			known, x := v.known[at:at+v.size.Cols], 0
			for k := 0; x < len(known); k++ {
				a0, a1, a2, a3, a4 := around[0][k], around[1][k], around[2][k], around[3][k], around[4][k]
				for end := min(x+factor, len(known)); x < end; x++ {
					if known[x] {
						squared := w.squared(&[mostFeatures]float32{
							(h0[x] - a0) * by[0], (h1[x] - a1) * by[1], (h2[x] - a2) * by[2], (h3[x] - a3) * by[3], (h4[x] - a4) * by[4],
						})
						colour[at+x], bank[at+x] = stepsOf(squared), stepsOf(squared+smooth.squared(at+x, j+k))
					}
				}
			}
		}
	})
	return colour, bank, nil
}
