package block

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"bittern/internal/oracle"
)

// randomLane is a lane with a few patches worth treating, some ground that
// treating harms, and ground where the valve stays shut.
func randomLane(r *rand.Rand, steps int) lane {
	n := lane{value: make([]float64, steps), open: make([]bool, steps)}
	harmed := r.IntN(3) == 0
	if harmed {
		n.harm = make([]float64, steps)
	}
	for i := range steps {
		n.open[i] = r.IntN(7) != 0
		if r.IntN(3) == 0 {
			n.value[i] = float64(r.IntN(60)) / 10
		}
		if harmed && r.IntN(4) == 0 {
			n.harm[i] = -float64(r.IntN(20)) / 10
			n.value[i] += n.harm[i]
		}
	}
	return n
}

func randomTerms(r *rand.Rand) terms {
	return terms{
		limits:      limits{lead: r.IntN(3), trail: r.IntN(3), minOpen: 1 + r.IntN(4), gap: 1 + r.IntN(3)},
		tariff:      tariff{step: float64(r.IntN(12)) / 10, flown: float64(r.IntN(3)) / 10, pass: float64(r.IntN(15)) / 10},
		mostEntries: 1 << 20,
	}
}

// worth is the value of the steps of the mask being open, and whether l allows
// it, worked out from the words of the rules alone: ground counts when the
// valve was open for the lead before it and the trail behind it, or since the
// ground began where the valve may be open.
func worth(n lane, l limits, c tariff, mask uint) (float64, bool) {
	if mask == 0 {
		return 0, true
	}
	steps := len(n.value)
	on := func(i int) bool { return i >= 0 && i < steps && mask>>i&1 == 1 }
	may := func(i int) bool { return i >= 0 && i < steps && n.open[i] }
	total, first, last := -c.pass, -1, -1
	shutSince := l.gap
	for i := range steps {
		if !on(i) {
			shutSince++
			continue
		}
		if !n.open[i] {
			return 0, false
		}
		if !on(i - 1) {
			if first >= 0 && shutSince < l.gap {
				return 0, false
			}
			length := 0
			for j := i; on(j); j++ {
				length++
			}
			if length < l.minOpen {
				return 0, false
			}
		}
		shutSince = 0
		if first < 0 {
			first = i
		}
		last = i
		total -= c.step
		core := true
		for j := i - 1; j >= i-l.lead && may(j); j-- {
			core = core && on(j)
		}
		for j := i + 1; j <= i+l.trail && may(j); j++ {
			core = core && on(j)
		}
		if core {
			total += n.value[i]
		} else if n.harm != nil {
			total += n.harm[i]
		}
	}
	// Every run must have a core.
	for i := range steps {
		if on(i) && !on(i-1) {
			has := false
			for j := i; on(j); j++ {
				core := true
				for k := j - 1; k >= j-l.lead && may(k); k-- {
					core = core && on(k)
				}
				for k := j + 1; k <= j+l.trail && may(k); k++ {
					core = core && on(k)
				}
				has = has || core
			}
			if !has {
				return 0, false
			}
		}
	}
	return total - c.flown*float64(last-first+1), true
}

// checkRuns says whether the runs give the value that solve states.
func checkRuns(t *testing.T, n lane, m terms, c tariff, want float64, runs []span) {
	t.Helper()
	var mask uint
	for _, s := range runs {
		for i := s.open; i < s.shut; i++ {
			mask |= 1 << i
		}
	}
	got, ok := worth(n, m.limits, c, mask)
	if !ok || math.Abs(got-want) > 1e-9 {
		t.Fatalf("runs %v are worth %v (allowed: %v), stated %v", runs, got, ok, want)
	}
}

func TestLaneEqualsEverySubsetOfItsSteps(t *testing.T) {
	var table table
	for seed := range uint64(1500) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := randomLane(r, 1+r.IntN(14))
		m := randomTerms(r)
		want := 0.0
		for mask := range uint(1) << len(n.value) {
			if v, ok := worth(n, m.limits, m.tariff, mask); ok {
				want = max(want, v)
			}
		}
		got, runs := table.solve(n, m.limits, m.tariff)
		if math.Abs(got-want) > 1e-9 {
			t.Fatalf("seed %d: got %v, every subset gives %v\nlane %+v\nterms %+v", seed, got, want, n, m)
		}
		checkRuns(t, n, m, m.tariff, got, runs)
	}
}

func TestLaneByCountEqualsEverySubsetOfThatCount(t *testing.T) {
	var q counted
	for seed := range uint64(600) {
		r := rand.New(rand.NewPCG(seed, 2))
		n := randomLane(r, 1+r.IntN(12))
		m := randomTerms(r)
		q.solve(n, m.limits, m.tariff)
		want := make([]float64, len(q.best))
		for i := range want {
			want[i] = minus
		}
		for mask := range uint(1) << len(n.value) {
			if v, ok := worth(n, m.limits, m.tariff, mask); ok {
				c := 0
				for i := range n.value {
					c += int(mask >> i & 1)
				}
				want[c] = max(want[c], v)
			}
		}
		for c, v := range want {
			if q.best[c] != v && math.Abs(q.best[c]-v) > 1e-9 {
				t.Fatalf("seed %d, %d steps: got %v, every subset gives %v", seed, c, q.best[c], v)
			}
			if c > 0 && v > minus {
				checkRuns(t, n, m, m.tariff, v, q.runs(c, m.limits))
			}
		}
	}
}

// ground2D is a small field: a few lanes, a minimum of billed steps, a call-out.
func ground2D(r *rand.Rand, lanes, steps int) ([]lane, terms) {
	m := randomTerms(r)
	m.charge = float64(r.IntN(20)) / 10
	if r.IntN(3) > 0 {
		m.minimum = float64(r.IntN(lanes*steps)) + float64(r.IntN(4))/4
	}
	m.fixed = float64(r.IntN(60)) / 10
	out := make([]lane, lanes)
	for i := range out {
		out[i] = randomLane(r, steps)
	}
	// Often put the minimum where it is hard: between what is sprayed at the
	// full price and what is sprayed for nothing.
	var t table
	full, free := t.priced(out, m, m.charge).steps, t.priced(out, m, 0).steps
	if free > full+1 && r.IntN(4) > 0 {
		m.minimum = float64(full+1+r.IntN(free-full-1)) + float64(r.IntN(4))/4
	}
	return out, m
}

// everySubset is the best net over every subset of every lane: the best value
// of each lane for each count, joined in every way.
func everySubset(lanes []lane, m terms) float64 {
	total := map[int]float64{0: 0}
	for _, n := range lanes {
		byCount := map[int]float64{}
		for mask := range uint(1) << len(n.value) {
			if v, ok := worth(n, m.limits, m.tariff, mask); ok {
				c := 0
				for i := range n.value {
					c += int(mask >> i & 1)
				}
				if old, ok := byCount[c]; !ok || v > old {
					byCount[c] = v
				}
			}
		}
		next := map[int]float64{}
		for a, x := range total {
			for b, y := range byCount {
				if old, ok := next[a+b]; !ok || x+y > old {
					next[a+b] = x + y
				}
			}
		}
		total = next
	}
	best := 0.0
	for n, v := range total {
		if n > 0 {
			best = max(best, v-m.charge*math.Max(float64(n), m.minimum)-m.fixed)
		}
	}
	return best
}

func TestMinimumEqualsEverySubset(t *testing.T) {
	var table table
	between := 0
	for seed := range uint64(1000) {
		r := rand.New(rand.NewPCG(seed, 3))
		lanes, m := ground2D(r, 2+r.IntN(2), 4+r.IntN(7))
		want := everySubset(lanes, m)
		got := table.best(lanes, m)
		if math.Abs(got.net-want) > enough+1e-9 || got.short != 0 {
			t.Fatalf("seed %d: got %v (short %v), every subset gives %v", seed, got.net, got.short, want)
		}
		full, free := table.priced(lanes, m, m.charge), table.priced(lanes, m, 0)
		if float64(full.steps) < m.minimum && float64(free.steps) > m.minimum {
			between++
		}
		net := 0.0
		for i, n := range lanes {
			var mask uint
			for _, s := range got.runs[i] {
				for j := s.open; j < s.shut; j++ {
					mask |= 1 << j
				}
			}
			v, ok := worth(n, m.limits, m.tariff, mask)
			if !ok {
				t.Fatalf("seed %d: runs %v are not allowed", seed, got.runs[i])
			}
			net += v
		}
		if got.steps > 0 {
			net -= m.charge*math.Max(float64(got.steps), m.minimum) + m.fixed
		}
		if math.Abs(net-got.net) > 1e-9 {
			t.Fatalf("seed %d: the runs are worth %v, stated %v", seed, net, got.net)
		}
	}
	if between < 400 {
		t.Errorf("only %d cases had the minimum between the two prices", between)
	}
}

func TestWithoutRoomTheGapIsStated(t *testing.T) {
	var table table
	stated := 0
	for seed := range uint64(1000) {
		r := rand.New(rand.NewPCG(seed, 3))
		lanes, m := ground2D(r, 2+r.IntN(2), 4+r.IntN(7))
		want := everySubset(lanes, m)
		m.mostEntries = 0
		got := table.best(lanes, m)
		if got.net > want+1e-9 || got.net+got.short < want-enough-1e-9 {
			t.Fatalf("seed %d: got %v, at most %v short; every subset gives %v", seed, got.net, got.short, want)
		}
		if got.short > 0 {
			stated++
		}
		m.atLeast = want + 0.01
		if a := table.best(lanes, m); a.net > want+1e-9 {
			t.Fatalf("seed %d: got %v beyond the best %v", seed, a.net, want)
		}
		m.atLeast = want - 0.01
		m.mostEntries = 1 << 20
		if a := table.best(lanes, m); want > 0 && a.net < want-enough-1e-9 {
			t.Fatalf("seed %d: got %v, the best is %v and more than asked", seed, a.net, want)
		}
	}
	if stated < 20 {
		t.Errorf("only %d cases had a gap", stated)
	}
}

// program writes the whole problem as an integer program in LP format, from
// the rules and not from the dynamic programme.
func program(lanes []lane, m terms) string {
	var obj, st, bin strings.Builder
	bin.WriteString("Binary\n used\n")
	fmt.Fprintf(&obj, "Maximize\n obj: - %v billed - %v used", m.charge, m.fixed)
	fmt.Fprintf(&st, "Subject To\n least: billed - %v used >= 0\n", m.minimum)
	row := 0
	con := func(format string, a ...any) {
		row++
		fmt.Fprintf(&st, " r%d: %s\n", row, fmt.Sprintf(format, a...))
	}
	sum := "billed"
	for k, n := range lanes {
		steps := len(n.value)
		fmt.Fprintf(&obj, " - %v pass%d", m.pass, k)
		fmt.Fprintf(&bin, " pass%d\n", k)
		con("used - pass%d >= 0", k)
		v := func(name string, i int) string { return fmt.Sprintf("%s%d_%d", name, k, i) }
		for i := range steps {
			h := 0.0
			if n.harm != nil {
				h = n.harm[i]
			}
			// open costs, and harms; the core wins the rest of the value.
			fmt.Fprintf(&obj, "\n %+.6f %s %+.6f %s - %.6f %s", h-m.step, v("on", i), n.value[i]-h, v("core", i), m.flown, v("flown", i))
			fmt.Fprintf(&bin, " %s\n %s\n %s\n %s\n %s\n %s\n", v("on", i), v("core", i), v("flown", i), v("start", i), v("been", i), v("will", i))
			sum += "\n - " + v("on", i)
			con("pass%d - %s >= 0", k, v("on", i))
			con("%s - %s >= 0", v("on", i), v("core", i))
			if !n.open[i] {
				con("%s = 0", v("on", i))
			}
			for j := i - 1; j >= 0 && j >= i-m.lead && n.open[j]; j-- {
				con("%s - %s >= 0", v("on", j), v("core", i))
			}
			for j := i + 1; j < steps && j <= i+m.trail && n.open[j]; j++ {
				con("%s - %s >= 0", v("on", j), v("core", i))
			}
			// start is 1 exactly where the valve opens.
			con("%s - %s <= 0", v("start", i), v("on", i))
			if i == 0 {
				con("%s - %s = 0", v("start", i), v("on", i))
			} else {
				con("%s - %s + %s >= 0", v("start", i), v("on", i), v("on", i-1))
				con("%s + %s <= 1", v("start", i), v("on", i-1))
			}
			for j := i; j < i+m.minOpen; j++ {
				if j >= steps {
					con("%s = 0", v("start", i))
					break
				}
				con("%s - %s >= 0", v("on", j), v("start", i))
			}
			// Shut at i-1 after on at an earlier step of the last gap: no start.
			for j := max(0, i-m.gap); j < i-1; j++ {
				con("%s + %s <= 1", v("start", i), v("on", j))
			}
			con("%s - %s >= 0", v("been", i), v("on", i))
			con("%s - %s >= 0", v("will", i), v("on", i))
			if i > 0 {
				con("%s - %s >= 0", v("been", i), v("been", i-1))
				con("%s - %s >= 0", v("will", i-1), v("will", i))
			}
			con("%s - %s - %s >= -1", v("flown", i), v("been", i), v("will", i))
		}
	}
	con("%s >= 0", sum)
	return obj.String() + "\n" + st.String() + bin.String() + "End\n"
}

// solved runs GLPK on a program and returns the greatest value.
func solved(t *testing.T, glpsol, lp string) float64 {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "p.lp"), filepath.Join(dir, "p.out")
	if err := os.WriteFile(in, []byte(lp), 0o600); err != nil {
		t.Fatal(err)
	}
	if text, err := exec.CommandContext(t.Context(), glpsol, "--lp", in, "--cuts", "-o", out).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), "INTEGER OPTIMAL") {
		t.Fatalf("no optimum:\n%.400s", data)
	}
	for line := range strings.SplitSeq(string(data), "\n") {
		if f := strings.Fields(line); len(f) > 3 && f[0] == "Objective:" {
			v, err := strconv.ParseFloat(f[3], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
	}
	t.Fatal("no objective in the answer")
	return 0
}

func TestMinimumEqualsAnIntegerProgram(t *testing.T) {
	glpsol := oracle.Need(t, "glpsol")
	var table table
	between, worthIt := 0, 0
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 4))
		lanes, m := ground2D(r, 2+r.IntN(4), 8+r.IntN(10))
		got := table.best(lanes, m)
		want := solved(t, glpsol, program(lanes, m))
		if math.Abs(got.net-want) > enough+1e-4 || got.short != 0 {
			t.Fatalf("seed %d: got %v (short %v), the integer program gives %v", seed, got.net, got.short, want)
		}
		full, free := table.priced(lanes, m, m.charge), table.priced(lanes, m, 0)
		if float64(full.steps) < m.minimum && float64(free.steps) > m.minimum {
			between++
		}
		if want > 0 {
			worthIt++
		}
	}
	t.Logf("200 cases; the minimum bound between the prices in %d, something paid in %d", between, worthIt)
}
