package structure

import (
	"math"

	"bittern/internal/stat"
)

// Settings of the contrast with the ground round about.
const (
	aroundM       = 12.0 // half the side of the square that is round about
	contrastShare = 0.7  // of the cells, that the spread of the contrast rests on
	contrastFloor = 0.04 // ln units, least spread
	brightWeight  = 0.5  // of brightness, which light changes, against a ratio
)

// contrast measures how far each cell stands from the ground round about it:
// slow changes of the stand, the light and the camera fall away, what is narrow
// stays.
func (f *finder) contrast() error {
	around := f.coarse.around(aroundM / f.coarseCell())
	var err error
	if f.step, err = f.coarse.steps(around, f.coarse.size, 1); err != nil {
		return err
	}
	f.fineStep, err = f.fine.steps(around, f.coarse.size, f.factor)
	return err
}

// around is the mean of each feature over the square round about each cell.
func (v *view) around(radius float64) [][]float32 {
	in := v.crop()
	out := make([][]float32, 0, len(v.ratio)+1)
	for _, feature := range v.features() {
		m := make([]float32, len(feature))
		stat.Box(m, feature, in, v.size, int(math.Round(radius)))
		out = append(out, m)
	}
	return out
}

// features are the ratios and the brightness.
func (v *view) features() [][]float32 { return append(v.ratio[:len(v.ratio):len(v.ratio)], v.bright) }

// steps is the robust distance of each cell from what is around it, in steps;
// around lies on cells factor times as large.
func (v *view) steps(around [][]float32, s stat.Size, factor int) ([]uint8, error) {
	d := v.deviations(around, s, factor)
	p := len(d)
	in := v.crop()
	cols := make([][]float32, p)
	for j := range d {
		cols[j] = stat.Sample(d[j], in, cropSample)
	}
	x := make([]float64, 0, p*len(cols[0]))
	for i := range cols[0] {
		for j := range p {
			x = append(x, float64(cols[j][i]))
		}
	}
	e, err := stat.Concentrate(x, p, stat.Concentration{Share: contrastShare, Steps: 8, Floor: contrastFloor})
	if err != nil {
		return nil, err
	}
	w := whiten(&e)
	out := make([]uint8, len(v.known))
	for i, ok := range in {
		if ok { // no feature is NaN here: a cell that is known lies in its own square
			out[i] = uint8(min(w.distance(d, i), farFromCrop)*stepsPer + 0.5)
		}
	}
	return out, nil
}

// deviations subtracts what is around from each feature.
func (v *view) deviations(around [][]float32, s stat.Size, factor int) [][]float32 {
	var out [][]float32
	for j, feature := range v.features() {
		d := make([]float32, len(feature))
		weight := float32(1)
		if j == len(v.ratio) {
			weight = brightWeight
		}
		for y := range v.size.Rows {
			from := around[j][y/factor*s.Cols:]
			row := feature[y*v.size.Cols : (y+1)*v.size.Cols]
			to := d[y*v.size.Cols:]
			for x, value := range row {
				to[x] = float32(weight * (value - from[x/factor]))
			}
		}
		out = append(out, d)
	}
	return out
}
