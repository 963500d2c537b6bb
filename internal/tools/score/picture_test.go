package main

import (
	"math"
	"testing"

	"bittern/internal/oracle"
)

func TestPartsIsTheMannWhitneyStatistic(t *testing.T) {
	v := []float32{1, 2, 2, 3, 5}
	weeds := []float64{0, 1, 0, 1, 0}
	// Weedy 2 beats 1, ties 2 and loses to 5; weedy 3 beats 1 and 2, loses to 5.
	if got, want := parts(v, weeds, []uint32{1, 1, 1, 1, 1}), (1.5+2)/6; math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
}

func TestLabelledTilesAreMeasured(t *testing.T) {
	a, err := pictureAgreement(t.Context(), oracle.Data(t, "weed-tiles"))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d weedy cells, %d others: share %.2f, evidence %.2f, spreads %.2f; redder than green %.2f",
		a.weedy, a.other, a.share, a.evidence, a.spreads, a.redder)
	for _, v := range []float64{a.share, a.evidence, a.spreads, a.redder} {
		if math.IsNaN(v) {
			t.Errorf("an agreement is not known: %+v", *a)
		}
	}
}
