package stat_test

import (
	"testing"

	"bittern/internal/stat"
)

func TestLargestIsTheFirstOfEquals(t *testing.T) {
	for want, v := range [][]float64{{3, 3, 1}, {-2, -1, -1}, {0, 1, 2}} {
		if got := stat.Largest(v); got != want {
			t.Errorf("the largest of %v stands at %d, want %d", v, got, want)
		}
	}
	if got := stat.Largest(nil); got != 0 {
		t.Errorf("of nothing: %d", got)
	}
}
