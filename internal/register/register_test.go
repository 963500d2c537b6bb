package register_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/register"
)

// ground is a field's brightness at a place in metres: banks, a road, and soft
// noise; the picture is a closed form, so that a shift is exact.
func ground(x, y float64) float64 {
	v := 0.1 + 0.01*math.Sin(x/9)*math.Cos(y/13)
	for _, c := range []float64{30, 71, 118} {
		d := y - c - 6*math.Sin(x/40)
		v += 0.08 * math.Exp(-d*d/3)
	}
	d := x - 55 - 0.1*y
	return v + 0.05*math.Exp(-d*d/2)
}

func summary(east, north, noise float64, seed uint64) *cells.Summary {
	g := grid.Grid{EPSG: 32615, OriginX: 600000, OriginY: 3900000, CellM: 0.5, Cols: 300, Rows: 280}
	rng := rand.New(rand.NewPCG(seed, 1))
	s := &cells.Summary{Grid: g, Bands: []string{"green", "red"}, Pixels: make([]uint32, g.Len()), Inside: make([]bool, g.Len())}
	s.Mean = [][]float32{make([]float32, g.Len()), make([]float32, g.Len())}
	s.Spread = [][]float32{make([]float32, g.Len()), make([]float32, g.Len())}
	for i := range s.Pixels {
		p := g.Center(i%g.Cols, i/g.Cols)
		v := ground(p.X-g.OriginX-east, g.OriginY-p.Y+north)
		s.Pixels[i], s.Inside[i] = 25, true
		s.Mean[0][i] = float32(v * math.Exp(noise*rng.NormFloat64()))
		s.Mean[1][i] = float32(0.06 * math.Exp(noise*rng.NormFloat64()))
	}
	return s
}

// The shifts are those that the closed form was drawn with.
func TestFindsAShiftToAQuarterOfACell(t *testing.T) {
	a := summary(0, 0, 0.05, 1)
	for k, want := range [][2]float64{{0, 0}, {1.6, -0.6}, {-3.25, 4.1}, {9, 7.7}} {
		got, err := register.Find(t.Context(), a, summary(want[0], want[1], 0.05, uint64(k)+2))
		if err != nil {
			t.Fatal(err)
		}
		if !got.Sure || math.Abs(got.East-want[0]) > 0.125 || math.Abs(got.North-want[1]) > 0.125 {
			t.Errorf("shift %v: found %+v", want, got)
		}
	}
}

func TestNothingInCommonIsNotSure(t *testing.T) {
	a, b := summary(0, 0, 0.05, 1), summary(0, 0, 0.05, 2)
	rng := rand.New(rand.NewPCG(7, 7))
	for i := range b.Mean[0] {
		b.Mean[0][i] = float32(0.1 * math.Exp(0.1*rng.NormFloat64()))
	}
	got, err := register.Find(t.Context(), a, b)
	if err != nil {
		t.Fatal(err)
	}
	if got.Sure || got.East != 0 || got.North != 0 {
		t.Errorf("two pictures with nothing in common: %+v", got)
	}
}

func TestMovedLiesWhereTheOtherLies(t *testing.T) {
	a := summary(0, 0, 0, 1)
	by := register.Shift{East: 2, North: -3.5, Sure: true}
	b := register.Moved(summary(by.East, by.North, 0, 1), by)
	for row := 20; row < 260; row++ {
		for col := 20; col < 280; col++ {
			i := a.Grid.Index(col, row)
			if d := math.Abs(float64(a.Mean[0][i] - b.Mean[0][i])); d > 1e-6 || b.Pixels[i] != 25 {
				t.Fatalf("cell %d %d: %g, after moving %g of %d pixels", col, row, a.Mean[0][i], b.Mean[0][i], b.Pixels[i])
			}
		}
	}
	if i := a.Grid.Index(299, 100); b.Pixels[i] != 0 || !math.IsNaN(float64(b.Mean[0][i])) {
		t.Errorf("ground beyond the moved picture has %d pixels", b.Pixels[i])
	}
}
