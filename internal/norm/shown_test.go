package norm_test

import (
	"slices"
	"testing"

	"bittern/internal/norm"
)

func TestWhatAPictureShows(t *testing.T) {
	// Reflectances of green, red and near infrared: the rows "canopy", "drysoil" and
	// "water" of docs/references.md, table of indices (illustrative there); a thin
	// stand is two fifths of the first over the second.
	for name, c := range map[string]struct {
		green, red, nir float64
		drift           bool // the ground differs from place to place
		noCrop, even    bool
		flat            []string
	}{
		"canopy":         {0.08, 0.05, 0.45, true, false, false, nil},
		"thin stand":     {0.104, 0.116, 0.324, true, false, false, nil},
		"dry soil":       {0.12, 0.16, 0.24, true, true, false, nil},
		"open water":     {0.05, 0.03, 0.02, true, true, false, nil},
		"noise":          {0.08, 0.05, 0.45, false, false, true, nil},
		"burnt out":      {1, 1, 1, false, true, true, []string{"green", "red", "nir"}},
		"one band blank": {0.08, 0.05, 1, true, false, false, []string{"nir"}},
	} {
		p := newPlot(80, 80, 80, 3)
		for i := range p.summary.Pixels {
			light := 1 + 0.03*p.random.NormFloat64()
			if c.drift {
				light += 0.1 * float64(i%80/20)
			}
			for k, v := range []float64{c.green, c.red, c.nir} {
				if v != 1 {
					v *= light + 0.02*p.random.NormFloat64()
				}
				p.summary.Mean[k][i] = float32(v)
			}
		}
		got := norm.Show(&p.summary, &p.layout)
		if got.NoCrop != c.noCrop || got.Even != c.even || !slices.Equal(got.Flat, c.flat) {
			t.Errorf("%s: %+v", name, got)
		}
		if wants := c.noCrop || c.even || c.flat != nil; wants != (len(got.Doubts) > 0) {
			t.Errorf("%s: doubts %+v", name, got.Doubts)
		}
		if name == "open water" && got.Water < 0.99 || name == "dry soil" && got.Bare < 0.99 {
			t.Errorf("%s: water %.2f, bare %.2f", name, got.Water, got.Bare)
		}
	}
}

func TestAPictureOfYoungPlantsIsDoubted(t *testing.T) {
	for cover, doubts := range map[int]int{3: 1, 7: 0} { // tenths of the ground, in rows
		p := newPlot(80, 80, 80, 3)
		for i := range p.summary.Pixels {
			v := []float64{0.12, 0.16, 0.24} // "drysoil" and "canopy" of the table
			if i%80%10 < cover {
				v = []float64{0.08, 0.05, 0.45}
			}
			light := 1 + 0.1*float64(i/80/20)
			for k := range v {
				p.summary.Mean[k][i] = float32(v[k] * light * (1 + 0.02*p.random.NormFloat64()))
			}
		}
		got := norm.Show(&p.summary, &p.layout)
		n := 0
		for _, d := range got.Doubts {
			if d.About == "crop" {
				n++
			}
		}
		if n != doubts || got.NoCrop {
			t.Errorf("%d tenths of leaf: %+v", cover, got)
		}
	}
}
