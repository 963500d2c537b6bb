package structure

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// slowStrength is the filter's answer for one cell and heading, sum by sum: the
// cells of a line are those of the sheared row that the cell lies on.
func slowStrength(v []uint8, s stat.Size, shape lineShape, x, y int, slope float64) float64 {
	stretch := math.Sqrt(1 + slope*slope)
	n := int(math.Round(shape.Half / stretch))
	from, to := int(math.Round(shape.From*stretch)), int(math.Round(shape.To*stretch))
	r := (to - from) / 2
	shift := func(x int) int { return int(math.Round(slope * float64(x))) }
	cell := func(x, y int) float64 {
		if y < 0 || y >= s.Rows {
			return 0
		}
		return float64(v[y*s.Cols+x])
	}
	half := func(first, last int) float64 {
		var core, left, right, weight float64
		for i := first; i <= last; i++ {
			mid := y - shift(x) + shift(i)
			if i < 0 || i >= s.Cols || mid < 0 || mid >= s.Rows {
				return math.Inf(-1)
			}
			for d := -4; d <= 4; d++ {
				w := max(0, min(1, shape.Core*stretch+0.5-math.Abs(float64(d))))
				w = math.Round(8*w) / 8
				core += w * cell(i, mid+d)
				weight += w
			}
			for d := -r; d <= r; d++ {
				left += cell(i, mid-from-(to-from)/2+d)
				right += cell(i, mid+from+(to-from)/2+d)
			}
		}
		return core/weight - max(left, right)/float64((2*r+1)*n)
	}
	return min(half(x-n+1, x), half(x+1, x+n))
}

func TestLineFilterAgreesWithBruteForce(t *testing.T) {
	for name, tc := range map[string]struct {
		size  stat.Size
		shape lineShape
	}{
		"levees":                   {stat.Size{Cols: 53, Rows: 47}, lineShape{Half: 7, Core: 1.5, From: 4, To: 7.5}},
		"tracks":                   {stat.Size{Cols: 53, Rows: 47}, lineShape{Half: 7, Core: 0.5, From: 2, To: 2}},
		"tracks on a narrow field": {stat.Size{Cols: 17, Rows: 91}, lineShape{Half: 5, Core: 0.5, From: 2, To: 2}},
		"tracks on a low field":    {stat.Size{Cols: 91, Rows: 17}, lineShape{Half: 5, Core: 0.5, From: 2, To: 2}},
	} {
		t.Run(name, func(t *testing.T) { testLineFilter(t, tc.size, tc.shape) })
	}
}

func testLineFilter(t *testing.T, s stat.Size, shape lineShape) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 4))
	v := make([]uint8, s.Len())
	for i := range v {
		v[i] = uint8(rng.IntN(256))
	}
	turned, ts := transpose(v, s), stat.Size{Cols: s.Rows, Rows: s.Cols}
	for k, h := range headings(16) {
		got := findLines(v, s, shape, []float64{h}, 2)
		for y := range s.Rows {
			for x := range s.Cols {
				var want float64
				if slope, ok := slopeOf(h, false); ok {
					want = slowStrength(v, s, shape, x, y, slope)
				} else {
					slope, _ := slopeOf(h, true)
					want = slowStrength(turned, ts, shape, y, x, slope)
				}
				if g := float64(got.Strength[y*s.Cols+x]); math.IsInf(want, -1) != (g == -1e3) || !math.IsInf(want, -1) && math.Abs(g-want) > 1e-3 {
					t.Fatalf("heading %d cell (%d, %d): %v, want %v", k, x, y, g, want)
				}
			}
		}
	}
}

func TestFastLogarithmIsGoodToAMillionth(t *testing.T) {
	for x := 1e-6; x < 1e6; x *= 1.0137 {
		if got, want := float64(ln32(float32(x))), math.Log(float64(float32(x))); math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
			t.Fatalf("ln %g = %v, want %v", x, got, want)
		}
	}
}

// Dense weeds stand out over their whole patch, a bank along a line: a way through the one was not seen, along the other it was.
func TestDenseWeedsAreBroadAndABankIsNot(t *testing.T) {
	s := stat.Size{Cols: 80, Rows: 60}
	v, allowed := make([]uint8, s.Len()), make([]bool, s.Len())
	for i := range v {
		x, y := i%s.Cols, i/s.Cols
		allowed[i] = true
		if y >= 28 && y < 32 || (x-20)*(x-20)+(y-30)*(y-30) < 15*15 {
			v[i] = 5 * stepsPer
		}
	}
	w := &follower{size: s, cell: 1, broad: broadly(v, allowed, s, broadM)}
	along := func(from, to float64) (way []geo.Point) {
		for x := from; x <= to; x++ {
			way = append(way, geo.Point{X: x, Y: 30})
		}
		return way
	}
	if !w.mostlyBroad(along(12, 28)) {
		t.Error("a way through dense weeds was seen")
	}
	if w.mostlyBroad(along(42, 70)) {
		t.Error("a way along a bank was not seen")
	}
}
