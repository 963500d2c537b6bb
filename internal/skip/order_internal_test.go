package skip

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"bittern/internal/oracle"
)

// SciPy's vector strength of events at the places, for the spacing as period, is
// R; the statistic is n times its square (scipy.signal.vectorstrength).
func TestOrderIsNTimesVectorStrengthSquared(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var places []float64
	var text []string
	for range 40 {
		d := 400 * r.Float64()
		places, text = append(places, d), append(text, fmt.Sprint(d))
	}
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "scipy.signal"), "-c", `
import sys
from scipy.signal import vectorstrength
d = [float(x) for x in sys.argv[1].split(",")]
for s in sys.argv[2].split(","):
    print(repr(len(d) * vectorstrength(d, float(s))[0] ** 2))
`, strings.Join(text, ","), "12.5,19.812,26.1")
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(out))
	for i, s := range [...]float64{12.5, 19.812, 26.1} {
		var want float64
		if _, err := fmt.Sscan(lines[i], &want); err != nil {
			t.Fatal(err)
		}
		if got := order(places, s); math.Abs(got-want) > 1e-9 {
			t.Errorf("spacing %g: %v, SciPy has %v", s, got, want)
		}
	}
}

// Critical values of n R^2 of Rayleigh's test by the approximation
// P = exp(sqrt(1+4n+4(n^2-R^2)) - (1+2n)), R the resultant's length
// (D. Wilkie, Rayleigh test for randomness of circular data, Applied Statistics
// 32 (1983) 311-312); for many places they tend to -ln P.
func TestOrderOfStrewnPlacesFollowsRayleigh(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	const trials = 20000
	for _, n := range [...]int{10, 25, 80} {
		for _, p := range [...]float64{0.1, 0.01} {
			critical := 0.0 // solved by bisection
			for low, high := 0.0, float64(n); high-low > 1e-9; {
				critical = (low + high) / 2
				nn := float64(n)
				if math.Exp(math.Sqrt(1+4*nn+4*(nn*nn-critical*nn))-(1+2*nn)) > p {
					low = critical
				} else {
					high = critical
				}
			}
			above := 0
			for range trials {
				places := make([]float64, n)
				for i := range places {
					places[i] = 1000 * 19.812 * r.Float64()
				}
				if order(places, 19.812) > critical {
					above++
				}
			}
			got, sd := float64(above)/trials, math.Sqrt(p*(1-p)/trials)
			if math.Abs(got-p) > 4*sd {
				t.Errorf("n %d: %.4f lie above %.3f, want %g", n, got, critical, p)
			}
		}
	}
}

// The numbers of the method's page: places on stripes 65 ft apart with a sway of
// 4 ft give about n exp(-(2 pi sd / s)^2), the mean resultant length of a wrapped
// normal squared (Mardia and Jupp 2000, 3.5.7); 25 give about 21.
func TestOrderOfSwayingStripes(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, n := range [...]int{25, 40, 80} {
		sum := 0.0
		for range 400 {
			places := make([]float64, n)
			for i := range places {
				places[i] = 65*float64(r.IntN(40)) + 4*r.NormFloat64()
			}
			sum += order(places, 65) / 400
		}
		want := 1 + float64(n-1)*math.Exp(-math.Pow(2*math.Pi*4/65, 2))
		if math.Abs(sum-want) > 0.02*want {
			t.Errorf("%d places: %.2f, want %.2f", n, sum, want)
		}
	}
}

// How often lines strewn at random lie as near to an even spacing as is seen must
// not be more than chance says.
func TestChanceIsNoLessThanAmongStrewnLines(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	s := span{40 * foot, 90 * foot}
	const trials = 4000
	for _, n := range [...]int{3, 4, 5} {
		below := map[float64]int{}
		for range trials {
			var at []float64
			for range n {
				at = append(at, 300*r.Float64())
			}
			slices.Sort(at)
			lines := make([]line, n)
			for i := range lines {
				lines[i] = line{across: at[i], stands: 5}
			}
			l := fitLattice(lines, []span{s}, n)
			if len(l.fit) < n {
				continue
			}
			for _, p := range [...]float64{0.1, 0.01} {
				if l.chance(lines, s) <= p {
					below[p]++
				}
			}
		}
		for p, k := range below {
			if got := float64(k) / trials; got > 3*p {
				t.Errorf("%d lines: chance is at most %g in %g of trials", n, p, got)
			}
			t.Logf("%d lines: chance at most %g in %.4f of trials", n, p, float64(k)/trials)
		}
	}
}

func TestTheWidestSpacingThatFitsIsTaken(t *testing.T) {
	var lines []line
	for _, k := range [...]float64{-3, -1, 0, 1, 4} {
		lines = append(lines, line{across: 20*k + 3, stands: 5})
	}
	lines = append(lines, line{across: 30, stands: 4}) // another line, off the lattice
	l := fitLattice(lines, []span{{12, 28}}, 3)
	if math.Abs(l.spacing-20) > 1e-9 || len(l.fit) != 5 || !l.even {
		t.Errorf("%+v", l)
	}
	if l := fitLattice(lines, []span{{21, 28}}, 5); len(l.fit) != 0 {
		t.Errorf("a spacing that does not fit: %+v", l)
	}
}
