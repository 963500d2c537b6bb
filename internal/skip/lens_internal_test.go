package skip

import (
	"math"
	"testing"
)

// With the swath alone the picture's own lines are a doubt only when they lie as
// far apart as passes could; else every flight with lines would be in doubt.
func TestSwathAloneDoubtsOnlyLinesAsFarApart(t *testing.T) {
	const footM, swathFt = 0.3048, 65.0
	for _, c := range []struct {
		linesFt float64
		hides   bool
	}{{65, true}, {67.9, true}, {32, true}, {131, true}, {75, false}, {40, false}, {107, false}, {0, false}} {
		w := &work{scale: 1, p: Parameters{SwathM: swathFt * footM, HeadingDeg: math.NaN()}, lens: &lens{rad: 0.3, at: c.linesFt * footM, top: 1}}
		if got := w.lensHides(); got != c.hides {
			t.Errorf("lines %g ft apart, swath 65 ft, no heading: hidden %v, want %v", c.linesFt, got, c.hides)
		}
	}
}
