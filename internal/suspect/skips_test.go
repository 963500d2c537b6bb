package suspect_test

import (
	"testing"

	"bittern/internal/suspect"
)

func TestASkipIsInNoSuspect(t *testing.T) {
	p := newPlot(300, 200, 300)
	patch := p.disc(60, 100, 18, 0.3)
	skips := make([]bool, 300*200)
	for row := 10; row < 190; row++ { // a strip 4 cells wide; its evidence reaches 2 cells to either side
		for col := 148; col < 156; col++ {
			p.disc(col, row, 0, 0.3)
			skips[row*300+col] = col >= 150 && col < 154
		}
	}
	p.d.Killed[100*300+151] = true
	if f := p.find(t, nil); len(f.Suspects) != 2 {
		t.Fatalf("%d suspects where nothing is told of skips, want the patch and the strip", len(f.Suspects))
	}
	par := suspect.Defaults()
	par.Skips = skips
	f, err := suspect.Find(t.Context(), &p.s, &p.l, &p.d, par, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Suspects) != 1 {
		t.Fatalf("%d suspects, want the patch alone: the rim of a strip is no patch", len(f.Suspects))
	}
	if n := len(f.Suspects[0].Cells); n < patch*9/10 {
		t.Errorf("the patch has %d cells of %d", n, patch)
	}
	if p.d.Evidence[100*300+151] < 4 || !p.d.Killed[100*300+151] {
		t.Error("the departure that was given is changed")
	}
}
