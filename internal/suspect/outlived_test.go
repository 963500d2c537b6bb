package suspect_test

import (
	"slices"
	"testing"

	"bittern/internal/doubt"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/suspect"
)

// fated is a plot with a patch about (150, 150) whose weeds died east of column deadFrom,
// and with so many square metres of killed ground.
func fated(deadFrom int, killedM2 float64) *plot {
	p := newPlot(200, 200, 200)
	p.disc(150, 150, 30, 0.4)
	for i := range int(killedM2 * 4) {
		p.d.Killed[p.s.Grid.Index(10+i%80, 10+i/80)] = true
	}
	n := len(p.d.Killed)
	died, weeds := make([]float32, n), make([]float32, n)
	for i := range n {
		died[i], weeds[i] = -2, -6
		if p.d.Toward[i] != 0 {
			weeds[i] = 5
		}
		if i%200 >= deadFrom {
			died[i] = 3
		}
	}
	p.d.Fate = norm.NewFate(died, weeds, stat.Size{Cols: 200, Rows: 200}, func(cell int) int { return cell }, 6, 1)
	return p
}

func doubted(f *suspect.Finding) bool {
	return slices.ContainsFunc(f.Doubts, func(d doubt.Doubt) bool { return d.About == "dead or alive" })
}

func TestDeadPatchBesideKilledGroundIsKilledGround(t *testing.T) {
	without := fated(200, 1600).find(t, nil)
	f := fated(100, 1600).find(t, nil)
	if len(without.Suspects) != 1 || len(f.Suspects) != 0 || doubted(f) {
		t.Fatalf("%d suspects where it lives, %d where it died", len(without.Suspects), len(f.Suspects))
	}
	if more := f.KilledAcres - without.KilledAcres; more < 0.9*without.Suspects[0].Acres {
		t.Errorf("%.3f acres more are killed ground, of %.3f", more, without.Suspects[0].Acres)
	}
}

// Without killed ground elsewhere it is said, and nothing is left out.
func TestDeadPatchOfAFieldWithoutKilledGroundIsDoubted(t *testing.T) {
	f := fated(100, 800).find(t, nil)
	if len(f.Suspects) != 1 || !doubted(f) {
		t.Fatalf("%d suspects, doubts %v", len(f.Suspects), f.Doubts)
	}
	hinted := slices.ContainsFunc(f.Suspects[0].Hints, func(h suspect.Hint) bool { return h.Cause == "killed weeds that have not sunk" })
	if !hinted {
		t.Errorf("hints %v", f.Suspects[0].Hints)
	}
	if doubted(fated(200, 800).find(t, nil)) {
		t.Error("a living patch is doubted")
	}
}

func TestLivingSideOfADeadPatchStaysASuspect(t *testing.T) {
	whole, f := fated(200, 1600).find(t, nil), fated(145, 1600).find(t, nil)
	if len(f.Suspects) != 1 {
		t.Fatalf("%d suspects", len(f.Suspects))
	}
	part := f.Suspects[0].Acres / whole.Suspects[0].Acres
	if part < 0.2 || part > 0.6 || f.KilledAcres <= whole.KilledAcres {
		t.Errorf("%.2f of the patch is a suspect, killed acres %.3f and %.3f", part, whole.KilledAcres, f.KilledAcres)
	}
}
