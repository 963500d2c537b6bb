package norm_test

import (
	"testing"

	"bittern/internal/norm"
)

func TestPartCountsOnlyWhatBothFlightsShow(t *testing.T) {
	then := norm.Then{Known: []bool{true, true, false, true}, Stood: []bool{true, false, true, true}}
	if stood, known := then.Part([]int32{0, 1, 2, 3}); stood != 2.0/3 || known != 0.75 {
		t.Errorf("stood %g of what is known, known %g; want two thirds and three quarters", stood, known)
	}
	if stood, known := then.Part(nil); stood != 0 || known != 0 {
		t.Errorf("no cells: %g, %g", stood, known)
	}
}
