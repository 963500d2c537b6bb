package norm

import (
	"math"
	"testing"

	"bittern/internal/stat"
)

func TestMeansAlongALineAreThoseOfItsCells(t *testing.T) {
	s := stat.Size{Cols: 31, Rows: 23}
	v, in := make([]float32, s.Len()), make([]bool, s.Len())
	for i := range v {
		v[i], in[i] = float32(i*i%97), i%11 != 3
	}
	const reach = 5.0
	for _, heading := range []float64{0, 0.2, math.Pi / 4, 1.2, math.Pi / 2, 2.2, 3} {
		got := alongLines(v, in, s, heading, reach)
		for i, g := range got {
			if want, ok := slowLine(v, in, s, heading, reach, i); ok != (g == g) || ok && math.Abs(float64(g)-want) > 1e-3 {
				t.Fatalf("heading %g, cell %d: %g, want %g (%v)", heading, i, g, want, ok)
			}
		}
	}
}

// slowLine walks the line through cell i as alongLines says it does.
func slowLine(v []float32, in []bool, s stat.Size, heading, reach float64, i int) (float64, bool) {
	sin, cos := math.Sincos(heading)
	x, y, turned := i%s.Cols, i/s.Cols, math.Abs(sin) > math.Abs(cos)
	if turned {
		x, y, sin, cos = y, x, cos, sin
	}
	fall := func(x int) int { return int(math.Floor(sin/cos*float64(x) + 0.5)) }
	sum, n, r := 0.0, 0, int(math.Round(reach*math.Abs(cos)))
	for step := -r; step <= r; step++ {
		a, b := x+step, y-fall(x)+fall(x+step)
		if turned {
			a, b = b, a
		}
		if a >= 0 && b >= 0 && a < s.Cols && b < s.Rows && in[b*s.Cols+a] {
			sum += float64(v[b*s.Cols+a])
			n++
		}
	}
	return sum / float64(n), n > r
}
