package main

import (
	"math"
	"path/filepath"
	"testing"

	"bittern/internal/oracle"
)

func TestPartsIsTheMannWhitneyStatistic(t *testing.T) {
	v := []float64{1, 2, 2, 3, 5, 99}
	weeds := []float64{0, 1, 0, 1, 0, 1}
	// Weedy 2 beats 1, ties 2 and loses to 5; weedy 3 beats 1 and 2, loses to 5;
	// the last is not looked at.
	got := parts(func(i int) float64 { return v[i] }, weeds, func(i int) bool { return i < 5 })
	if want := (1.5 + 2) / 6; math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
}

func TestRealPicturesAreMeasured(t *testing.T) {
	root := filepath.Dir(oracle.Data(t, "weed-tiles"))
	loads := map[string]func(string) (*labelled, error){"tiles": weedTiles, "frames": fourBands, "potatoes": potato}
	for _, name := range []string{"tiles", "frames", "potatoes"} {
		if name == "potatoes" && testing.Short() {
			continue
		}
		r, err := loads[name](root)
		if err != nil {
			t.Fatal(err)
		}
		halves, err := r.agree(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for h, a := range halves {
			t.Logf("%s, half %d: %d weedy cells, %d others: %.2f", name, h, a.weedy, a.other, a.values)
			if a.weedy < 20 || a.other < 100 {
				t.Errorf("%s, half %d: %d weedy cells, %d others", name, h, a.weedy, a.other)
			}
			for k, v := range a.values {
				if math.IsNaN(v) {
					t.Errorf("%s: %s is not known", name, realNames[k])
				}
			}
		}
	}
}
