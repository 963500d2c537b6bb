package suspect_test

import (
	"slices"
	"testing"

	"bittern/internal/doubt"
)

// Colour alone takes living weeds for killed ones now and then, so good news that
// rests on it is doubted; near infrared shows what lives.
func TestKilledGroundWithoutNearInfraredIsDoubted(t *testing.T) {
	told := func(bands ...string) bool {
		p := newPlot(100, 100, 100)
		p.s.Bands = bands
		p.s.Mean, p.s.Spread = make([][]float32, len(bands)), make([][]float32, len(bands))
		for b := range bands {
			p.s.Mean[b], p.s.Spread[b] = make([]float32, len(p.d.Killed)), make([]float32, len(p.d.Killed))
		}
		for i := range 40 * 40 {
			p.d.Killed[p.s.Grid.Index(30+i%40, 30+i/40)] = true
		}
		f := p.find(t, nil)
		if f.KilledAcres == 0 {
			t.Fatal("no killed ground")
		}
		return slices.ContainsFunc(f.Doubts, func(d doubt.Doubt) bool { return d.About == "killed weeds" })
	}
	if !told("red", "green", "blue") {
		t.Error("killed ground on a flight in colour is not doubted")
	}
	if told("red", "green", "nir") {
		t.Error("killed ground on a flight with near infrared is doubted")
	}
}

// Many small patches all over are more likely the crop's own unevenness than weeds.
func TestStrewnSuspectsAreDoubted(t *testing.T) {
	doubted := func(every int) bool {
		p := newPlot(400, 400, 400) // 9.9 acres
		for row := 20; row < 380; row += every {
			for col := 20; col < 380; col += every {
				p.disc(col, row, 9, 0.3)
			}
		}
		f := p.find(t, nil)
		if len(f.Suspects) == 0 {
			t.Fatal("no suspects")
		}
		return slices.ContainsFunc(f.Doubts, func(d doubt.Doubt) bool { return d.About == "suspects" })
	}
	if !doubted(100) {
		t.Error("sixteen small suspects on ten acres are not doubted")
	}
	if doubted(190) {
		t.Error("four suspects on ten acres are doubted")
	}
}
