package stat_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"bittern/internal/oracle"
	"bittern/internal/stat"
)

func random(seed uint64, n int) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	xs := make([]float64, n)
	for i := range xs {
		xs[i] = r.NormFloat64()
	}
	return xs
}

// python runs a program that reads JSON from standard input and prints JSON.
func python(t *testing.T, program string, in, out any) {
	t.Helper()
	py := oracle.Python(t, "numpy", "scipy")
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), py, "-c", program)
	cmd.Stdin = strings.NewReader(string(data))
	got, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(got, out); err != nil {
		t.Fatalf("%v in %s", err, got)
	}
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol*(1+math.Abs(b)) }

func TestQuantilesAgreeWithNumPy(t *testing.T) {
	qs := []float64{0, 0.01, 0.25, 0.35, 0.5, 0.9, 1}
	for _, n := range []int{1, 2, 3, 10, 101, 1000} {
		xs := random(uint64(n), n)
		var want []float64
		python(t, `
import json,sys,numpy as np
d=json.load(sys.stdin); print(json.dumps(list(np.quantile(d["x"],d["q"]))))`,
			map[string]any{"x": xs, "q": qs}, &want)
		for i, q := range qs {
			if got := stat.Quantile(xs, q); !near(got, want[i], 1e-12) {
				t.Errorf("n=%d q=%g: got %v, NumPy %v", n, q, got, want[i])
			}
		}
	}
}

func TestSpreadAgreesWithSciPy(t *testing.T) {
	xs := random(3, 501)
	var want float64
	python(t, `
import json,sys,scipy.stats as s
print(s.median_abs_deviation(json.load(sys.stdin),scale="normal"))`, xs, &want)
	if _, got := stat.CenterSpread(xs); !near(got, want, 1e-9) {
		t.Errorf("got %v, SciPy %v", got, want)
	}
}

func TestSpreadIsNotZeroWhenMostValuesAreTheSame(t *testing.T) {
	xs := []float32{5, 5, 5, 5, 5, 5, 9, 1}
	if c, s := stat.CenterSpread(xs); c != 5 || s <= 0 {
		t.Errorf("got centre %v, spread %v", c, s)
	}
	if s := stat.Spread([]float32{4, 4, 4}, 4); s != 0 {
		t.Errorf("all equal: spread %v", s)
	}
}

func TestNaNIsPassedOver(t *testing.T) {
	nan := math.NaN()
	xs := []float64{nan, 3, nan, 1, 2, nan}
	if m := stat.Median(xs); m != 2 {
		t.Errorf("median %v", m)
	}
	if m := stat.Mean(xs); m != 2 {
		t.Errorf("mean %v", m)
	}
	if m := stat.Median([]float64{nan}); m == m {
		t.Errorf("median of nothing is %v", m)
	}
}

func TestSelectPutsEachValueInItsPlace(t *testing.T) {
	for n := 1; n < 40; n++ {
		xs := random(uint64(n), n)
		if n%3 == 0 {
			for i := range xs {
				xs[i] = math.Round(xs[i])
			}
		}
		sorted := slices.Sorted(slices.Values(xs))
		for k := range n {
			if got := stat.Select(slices.Clone(xs), k); got != sorted[k] {
				t.Fatalf("n=%d k=%d: got %v, want %v", n, k, got, sorted[k])
			}
		}
	}
}

func TestSampleTakesAtMostTwiceWhatIsAsked(t *testing.T) {
	xs := random(1, 1000)
	in := make([]bool, len(xs))
	for i := range in {
		in[i] = i%2 == 0
	}
	if got := stat.Sample(xs, in, 100); len(got) < 100 || len(got) > 200 || got[1] != xs[10] {
		t.Errorf("%d values", len(got))
	}
	if got := stat.Sample(xs, nil, 5000); len(got) != 1000 {
		t.Errorf("%d values of 1000", len(got))
	}
}

func TestConcentrateSeesThroughAThirdOfOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	var x []float64
	for i := range 3000 {
		a, b := r.NormFloat64(), r.NormFloat64()
		if i%3 == 0 {
			x = append(x, 8+a/4, 9+b/4)
		} else {
			x = append(x, 1+a, 2+0.6*a+0.8*b)
		}
	}
	e, err := stat.Concentrate(x, 2, stat.Concentration{Share: 0.6, Steps: 20})
	if err != nil {
		t.Fatal(err)
	}
	if !near(e.Center[0], 1, 0.1) || !near(e.Center[1], 2, 0.1) {
		t.Errorf("centre %v, want 1, 2", e.Center)
	}
	if c := e.Cov[1] / math.Sqrt(e.Cov[0]*e.Cov[3]); math.Abs(c-0.6) > 0.1 {
		t.Errorf("correlation %v, want 0.6", c)
	}
	if d := e.Distance2([]float64{8, 9}); d < 25 {
		t.Errorf("the outliers lie at squared distance %v", d)
	}
}

func TestMahalanobisAndSolveAgreeWithNumPy(t *testing.T) {
	x := random(5, 300)
	e, err := stat.Concentrate(x, 3, stat.Concentration{Share: 0.75, Steps: 5})
	if err != nil {
		t.Fatal(err)
	}
	v := []float64{1.5, -2, 0.5}
	var want struct {
		D2    float64
		Solve []float64
	}
	python(t, `
import json,sys,numpy as np
d=json.load(sys.stdin); S=np.array(d["S"]).reshape(3,3); v=np.array(d["v"]); r=v-np.array(d["c"])
print(json.dumps({"D2": r@np.linalg.solve(S,r), "Solve": list(np.linalg.solve(S,v))}))`,
		map[string]any{"S": e.Cov, "v": v, "c": e.Center}, &want)
	if got := e.Distance2(v); !near(got, want.D2, 1e-9) {
		t.Errorf("squared distance %v, NumPy %v", got, want.D2)
	}
	length, w := 0.0, e.Whitener()
	for i := range 3 {
		t := 0.0
		for j := range 3 {
			t += w[i*3+j] * (v[j] - e.Center[j])
		}
		length += t * t
	}
	if !near(length, want.D2, 1e-9) {
		t.Errorf("whitened squared length %v, NumPy %v", length, want.D2)
	}
	for i, s := range e.Solve(v) {
		if !near(s, want.Solve[i], 1e-9) {
			t.Errorf("solve[%d] = %v, NumPy %v", i, s, want.Solve[i])
		}
	}
}

func TestConcentrateBearsConstantBandsAndFewPoints(t *testing.T) {
	x := make([]float64, 60)
	e, err := stat.Concentrate(x, 2, stat.Concentration{Share: 0.75, Steps: 5, Floor: 0.1})
	if err != nil {
		t.Fatal(err)
	}
	if d := e.Distance2([]float64{0.1, 0}); !(d > 0 && d < 2) {
		t.Errorf("squared distance %v of one floor", d)
	}
	if _, err := stat.Concentrate(x[:6], 2, stat.Concentration{Share: 0.75, Steps: 5}); err == nil {
		t.Error("three points gave a covariance")
	}
}

func raster(seed uint64, s stat.Size) (v []float32, in []bool) {
	r := rand.New(rand.NewPCG(seed, 2))
	v, in = make([]float32, s.Len()), make([]bool, s.Len())
	for i := range v {
		v[i], in[i] = float32(r.NormFloat64()+100), r.Float64() < 0.7
		if r.Float64() < 0.05 {
			v[i] = float32(math.NaN())
		}
	}
	return v, in
}

// slow is the weighted mean over a square, cell by cell.
func slow(v []float32, in []bool, s stat.Size, r int, weight func(dx, dy int) float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		sum, n := 0.0, 0.0
		for dy := -r; dy <= r; dy++ {
			for dx := -r; dx <= r; dx++ {
				x, y := i%s.Cols+dx, i/s.Cols+dy
				if x < 0 || x >= s.Cols || y < 0 || y >= s.Rows {
					continue
				}
				if j := y*s.Cols + x; in[j] && v[j] == v[j] {
					sum += weight(dx, dy) * float64(v[j])
					n += weight(dx, dy)
				}
			}
		}
		out[i] = sum / n
	}
	return out
}

func compare(t *testing.T, what string, got []float32, want []float64, tol float64) {
	t.Helper()
	for i, w := range want {
		if g := float64(got[i]); math.IsNaN(g) != math.IsNaN(w) || math.Abs(g-w) > tol {
			t.Fatalf("%s: cell %d is %v, want %v", what, i, g, w)
		}
	}
}

func TestBoxAndGaussAgreeWithBruteForce(t *testing.T) {
	for _, s := range []stat.Size{{1, 1}, {7, 1}, {1, 9}, {13, 8}, {30, 21}} {
		v, in := raster(9, s)
		for _, r := range []int{0, 1, 3, 12} {
			got := make([]float32, len(v))
			stat.Box(got, v, in, s, r)
			compare(t, fmt.Sprint("box ", s, r), got, slow(v, in, s, r, func(_, _ int) float64 { return 1 }), 1e-3)
		}
		got := make([]float32, len(v))
		stat.Gauss(got, v, in, s, 1.5)
		want := slow(v, in, s, 5, func(dx, dy int) float64 { return math.Exp(-float64(dx*dx+dy*dy) / 4.5) })
		compare(t, fmt.Sprint("gauss ", s), got, want, 1e-3)
	}
}

func TestWideGaussHasTheVarianceAskedFor(t *testing.T) {
	s := stat.Size{Cols: 101, Rows: 101}
	v := make([]float32, s.Len())
	v[50*s.Cols+50] = 1
	for _, sigma := range []float64{1, 2.5, 3, 6, 8} {
		got := make([]float32, len(v))
		stat.Gauss(got, v, nil, s, sigma)
		sum, ss := 0.0, 0.0
		for i, g := range got {
			sum += float64(g)
			ss += float64(g) * float64((i%s.Cols-50)*(i%s.Cols-50))
		}
		if have := math.Sqrt(ss / sum); math.Abs(have-sigma) > 0.05*sigma+0.05 {
			t.Errorf("sigma %g came out as %g", sigma, have)
		}
	}
}

func TestComponentsAgreeWithSciPy(t *testing.T) {
	s := stat.Size{Cols: 40, Rows: 30}
	_, in := raster(4, s)
	for i := range in {
		in[i] = in[i] && i%5 != 0
	}
	for _, eight := range []bool{false, true} {
		labels, sizes := stat.Components(in, s, eight)
		var want []int32
		python(t, `
import json,sys,numpy as np,scipy.ndimage as n
d=json.load(sys.stdin); a=np.array(d["in"]).reshape(30,40)
print(json.dumps(n.label(a,np.ones((3,3)) if d["eight"] else None)[0].ravel().tolist()))`,
			map[string]any{"in": in, "eight": eight}, &want)
		if !slices.Equal(labels, want) {
			t.Errorf("eight=%v: labels differ", eight)
		}
		total := 0
		for _, n := range sizes {
			total += n
		}
		if total != count(in) {
			t.Errorf("sizes sum to %d of %d", total, count(in))
		}
	}
}

func count(in []bool) int {
	n := 0
	for _, b := range in {
		if b {
			n++
		}
	}
	return n
}

func TestDistanceAgreesWithSciPy(t *testing.T) {
	s := stat.Size{Cols: 37, Rows: 50}
	in := make([]bool, s.Len())
	for i := range in {
		in[i] = i%211 == 17
	}
	var want []float64
	python(t, `
import json,sys,numpy as np,scipy.ndimage as n
print(json.dumps(n.distance_transform_edt(~np.array(json.load(sys.stdin)).reshape(50,37)).ravel().tolist()))`, in, &want)
	compare(t, "distance", stat.Distance(in, s), want, 1e-5)
}

func TestDistanceWithinIsDistanceUpToItsLimit(t *testing.T) {
	for seed := range uint64(6) {
		s := stat.Size{Cols: 41, Rows: 33}
		_, in := raster(seed, s)
		for i := range in {
			in[i] = !in[i] && i%int(seed+1) == 0 || i%s.Cols < 3
		}
		full := stat.Distance(in, s)
		for _, limit := range []float64{0, 1, 2.5, 7} {
			for i, d := range stat.DistanceWithin(in, s, limit) {
				want := full[i]
				if float64(want) > limit {
					want = stat.Far
				}
				if d != want {
					t.Fatalf("seed %d limit %g cell %d: %v, want %v", seed, limit, i, d, want)
				}
			}
		}
	}
}

func TestDistanceAgreesWithBruteForce(t *testing.T) {
	s := stat.Size{Cols: 23, Rows: 19}
	for seed := range uint64(20) {
		_, in := raster(seed, s)
		for i := range in {
			in[i] = !in[i] && i%int(seed/4+1) == 0
		}
		got := stat.Distance(in, s)
		for i := range in {
			want := float64(stat.Far)
			for j, b := range in {
				if b {
					want = min(want, math.Hypot(float64(i%s.Cols-j%s.Cols), float64(i/s.Cols-j/s.Cols)))
				}
			}
			if math.Abs(float64(got[i])-want) > 1e-5*want {
				t.Fatalf("seed %d cell %d: %v, want %v", seed, i, got[i], want)
			}
		}
	}
}

func TestDistanceIsFarWhenNothingIsMarked(t *testing.T) {
	if d := stat.Distance(make([]bool, 12), stat.Size{Cols: 4, Rows: 3}); d[5] != stat.Far {
		t.Errorf("got %v", d[5])
	}
}

func TestHysteresisKeepsWeakCellsOnlyBesideStrongOnes(t *testing.T) {
	v := []float32{0, 1, 3, 1, 0, 1, 1, 0}
	want := []bool{false, true, true, true, false, false, false, false}
	if got := stat.Hysteresis(v, stat.Size{Cols: 8, Rows: 1}, 1, 2); !slices.Equal(got, want) {
		t.Errorf("got %v", got)
	}
}

func TestOpenAndKeepDropSpecks(t *testing.T) {
	s := stat.Size{Cols: 30, Rows: 30}
	in := make([]bool, s.Len())
	for y := 5; y < 25; y++ {
		for x := 5; x < 25; x++ {
			in[y*s.Cols+x] = true
		}
	}
	in[2*s.Cols+12] = true // a speck
	if got := stat.Open(in, s, 1); got[2*s.Cols+12] || !got[15*s.Cols+15] {
		t.Error("opening kept the speck or lost the square")
	}
	stat.Keep(in, s, true, func(_ int32, n int) bool { return n > 10 })
	if in[2*s.Cols+12] {
		t.Error("the speck was kept")
	}
}
