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
)

// contrast measures how far each cell stands from the ground round about it:
// slow changes of the stand, the light and the camera fall away, what is narrow
// stays.
func (f *finder) contrast() error {
	around := f.coarse.around(aroundM / f.coarseCell())
	var err error
	f.fineStep, err = f.fine.steps(around, f.coarse.size, f.factor)
	return err
}

// around is the mean of each feature over the square round about each cell.
func (v *view) around(radius float64) [][]float32 {
	features := v.features()
	out := make([][]float32, len(features))
	raster.Bands(v.workers, len(features), func(from, to int) {
		for k := from; k < to; k++ {
			out[k] = make([]float32, len(features[k]))
			stat.Box(out[k], features[k], v.known, v.size, int(math.Round(radius)))
		}
	})
	return out
}

// features are the ratios and the brightness.
func (v *view) features() [][]float32 { return append(v.ratio[:len(v.ratio):len(v.ratio)], v.bright) }

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

// steps is the robust distance of each known cell from what is around it, in
// steps; around lies on cells of s, factor times as large.
func (v *view) steps(around [][]float32, s stat.Size, factor int) ([]uint8, error) {
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
		return nil, err
	}
	w := whiten(&e)
	out := make([]uint8, len(v.known))
	raster.Bands(v.workers, v.size.Rows, func(from, to int) {
		var d [mostFeatures]float32
		for y := from; y < to; y++ {
			j := y / factor * s.Cols
			for i, to := y*v.size.Cols, (y+1)*v.size.Cols; i < to; j++ {
				for end := min(i+factor, to); i < end; i++ {
					if v.known[i] {
						t.at(i, j, &d)
						out[i] = w.steps(&d)
					}
				}
			}
		}
	})
	return out, nil
}
