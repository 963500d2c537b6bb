package suspect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// bankPlot is crop with a levee along its middle row, of which weeds stand on
// the columns from to to.
func bankPlot(nir bool, from, to int) (*cells.Summary, *structure.Layout) {
	p := newPlot(200, 60, 200)
	s, l := &p.s, &p.l
	s.Bands, s.Ratio, s.Low, s.Width = []string{"green", "red"}, "red/green", -1.2, 0.15
	if nir {
		s.Bands = append(s.Bands, "nir")
	}
	n := s.Grid.Len()
	s.Pixels, s.Hist, s.Inside = make([]uint32, n), make([]uint16, n*cells.Bins), make([]bool, n)
	s.Mean, s.Spread = make([][]float32, len(s.Bands)), make([][]float32, len(s.Bands))
	for b := range s.Bands {
		s.Mean[b], s.Spread[b] = make([]float32, n), make([]float32, n)
	}
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range n {
		col, row := i%200, i/200
		bank := row >= 26 && row < 34
		// Mean and relative spread of green, red and near infrared; bins of the ratio.
		mean, spread, bins := [3]float64{0.08, 0.045, 0.40}, [3]float64{0.10, 0.12, 0.10}, [2]int{4, 4}
		switch {
		case bank && col >= from && col < to:
			mean, spread, bins = [3]float64{0.088, 0.075, 0.38}, [3]float64{0.17, 0.50, 0.14}, [2]int{4, 10}
		case bank:
			mean, spread, bins = [3]float64{0.09, 0.08, 0.25}, [3]float64{0.08, 0.10, 0.10}, [2]int{7, 7}
		}
		for b := range s.Bands {
			s.Mean[b][i] = float32(mean[b] * math.Exp(0.03*rng.NormFloat64()))
			s.Spread[b][i] = float32(mean[b] * spread[b] * math.Exp(0.1*rng.NormFloat64()))
		}
		s.Pixels[i], s.Inside[i] = 30, true
		s.Hist[i*cells.Bins+bins[0]] += 20
		s.Hist[i*cells.Bins+bins[1]] += 10
		if bank {
			l.Reason[i] = structure.Levee
		}
	}
	y := s.Grid.OriginY - 30*s.Grid.CellM
	l.Levees = []structure.LeveeLine{{Line: geo.Line{{X: s.Grid.OriginX + 1, Y: y}, {X: s.Grid.OriginX + 99, Y: y}}, WidthM: 4}}
	return s, l
}

func TestWeedsOnALeveeAreToldByItsLength(t *testing.T) {
	for _, tc := range []struct {
		nir      bool
		from, to int
		told     bool
		lengthM  float64
	}{{true, 60, 140, true, 40}, {true, 0, 0, true, 0}, {false, 60, 140, false, 0}} {
		s, l := bankPlot(tc.nir, tc.from, tc.to)
		d, err := norm.Find(t.Context(), s, l, norm.Defaults())
		if err != nil {
			t.Fatal(err)
		}
		found, told, err := suspect.LeveeWeeds(t.Context(), s, l, d, suspect.Defaults())
		if err != nil || told != tc.told {
			t.Fatalf("told %v, error %v; want %v", told, err, tc.told)
		}
		length := 0.0
		for _, w := range found {
			length += w.LengthM
			for _, part := range w.Parts {
				if x := part[0].X - s.Grid.OriginX; w.Levee != 0 || x < float64(tc.from)/2-4 {
					t.Errorf("a stretch on levee %d begins %.1f m along", w.Levee, x)
				}
			}
		}
		if math.Abs(length-tc.lengthM) > 5 {
			t.Errorf("near infrared %v: %.1f m of weeds, planted %.0f", tc.nir, length, tc.lengthM)
		}
	}
}
