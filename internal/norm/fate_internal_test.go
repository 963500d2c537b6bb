package norm

import (
	"math"
	"testing"

	"bittern/internal/stat"
)

// A patch of 12 x 12 places, of which only the middle 6 x 6 shows its weeds well.
func TestThinRimGoesByItsCore(t *testing.T) {
	size := stat.Size{Cols: 12, Rows: 12}
	died, weeds := make([]float32, size.Len()), make([]float32, size.Len())
	var all []int32
	for i := range died {
		died[i], weeds[i] = -2, -2
		if c, r := i%12, i/12; c >= 3 && c < 9 && r >= 3 && r < 9 {
			died[i], weeds[i] = 3, 5
		}
		all = append(all, int32(i))
	}
	f := NewFate(died, weeds, size, func(cell int) int { return cell }, 4, 1)
	if got := f.Died(all); got < 2.9 {
		t.Errorf("the patch died by log-odds of %.2f, want near the core's 3", got)
	}
	if got := f.DiedAt(0); got < 2.9 {
		t.Errorf("the corner died by %.2f, want near the core's 3", got)
	}
	if got := f.Died(nil); !math.IsNaN(got) {
		t.Errorf("no ground died by %g", got)
	}
}
