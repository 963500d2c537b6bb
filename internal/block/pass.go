package block

import "math"

// limits are what the valve can do, in steps along a pass.
type limits struct {
	lead, trail int // open before and behind the core
	minOpen     int // fewest steps of a run, lead and trail included
	gap         int // fewest steps shut between two runs of a pass, at least 1
}

// tariff is what the work costs, in dollars.
type tariff struct {
	step  float64 // a step with the valve open
	flown float64 // a step between the first opening and the last shutting
	pass  float64 // a pass that is used at all
}

// A lane is one pass cut into steps.
type lane struct {
	value []float64 // dollars won by a step in the core of a run
	harm  []float64 // the part of value that is lost in lead and trail too, never above 0; nil for none
	open  []bool    // the valve may be open in this step
}

// A span is one run of a lane: steps from open up to, but without, shut have
// the valve open; those from a to b, both included, are its core.
type span struct{ open, shut, a, b int }

// table is the working memory of the dynamic programme over one lane. It is
// reused from lane to lane.
type table struct {
	core, edge []float64 // prefix sums over steps of value and of harm, less what a step costs
	first      []int     // per step: first step of its open stretch
	last       []int     // per step: last step of its open stretch
	key        []float64 // per core start: best of all before it, arranged for a running maximum
	keyFrom    []int     // shut step of the run before, -1 for the first run
	shut       []float64 // per step: best of all whose last run shuts there
	shutAt     []span    // that last run
	wait       []float64 // per step: best of all that may open again there
	waitFrom   []int     // the shut step that it comes from
}

var minus = math.Inf(-1)

// solve returns the best value of a lane and its runs, in order; 0 and none
// when no run pays. It is exact: of all sets of runs that keep l it finds one
// of the greatest value. It takes time in proportion to the steps.
func (t *table) solve(n lane, l limits, c tariff) (float64, []span) {
	t.prepare(n, c)
	best, at := 0.0, -1
	steps := len(n.value)
	start, runKey, runFrom := 0, minus, -1
	for i := range steps {
		t.reopen(i, l, c)
		if !n.open[i] {
			continue
		}
		if t.first[i] == i {
			start, runKey, runFrom = i, minus, -1
		}
		t.enter(i, l, c)
		end := min(t.last[i], i+l.trail)
		for start <= i && max(t.first[i], start-l.lead) <= end+1-l.minOpen {
			if t.key[start] > runKey {
				runKey, runFrom = t.key[start], start
			}
			start++
		}
		if runFrom < 0 {
			continue
		}
		v := runKey + t.core[i+1] + (t.edge[end+1] - t.edge[i+1])
		if v > t.shut[end+1] {
			t.shut[end+1] = v
			t.shutAt[end+1] = span{max(t.first[i], runFrom-l.lead), end + 1, runFrom, i}
		}
		if v > best {
			best, at = v, end+1
		}
	}
	return best, t.back(at)
}

// prepare fills the prefix sums and the open stretches, and clears the rest.
func (t *table) prepare(n lane, c tariff) {
	steps := len(n.value)
	t.core, t.edge = fit(t.core, steps+1), fit(t.edge, steps+1)
	t.first, t.last = fit(t.first, steps), fit(t.last, steps)
	t.key, t.keyFrom = fit(t.key, steps), fit(t.keyFrom, steps)
	t.shut, t.shutAt = fit(t.shut, steps+1), fit(t.shutAt, steps+1)
	t.wait, t.waitFrom = fit(t.wait, steps), fit(t.waitFrom, steps)
	cost := c.step + c.flown
	t.core[0], t.edge[0], t.shut[0] = 0, 0, minus
	for i := range steps {
		h := 0.0
		if n.harm != nil {
			h = n.harm[i]
		}
		t.core[i+1] = t.core[i] + (n.value[i] - cost)
		t.edge[i+1] = t.edge[i] + (h - cost)
		t.shut[i+1] = minus
		t.first[i] = i
		if i > 0 && n.open[i] && n.open[i-1] {
			t.first[i] = t.first[i-1]
		}
	}
	for i := steps - 1; i >= 0; i-- {
		t.last[i] = i
		if i+1 < steps && n.open[i] && n.open[i+1] {
			t.last[i] = t.last[i+1]
		}
	}
}

// reopen works out the best that may open its next run at step i: it shut at
// least the gap before and has flown on since.
func (t *table) reopen(i int, l limits, c tariff) {
	t.wait[i], t.waitFrom[i] = minus, -1
	if i > 0 {
		t.wait[i], t.waitFrom[i] = t.wait[i-1]-c.flown, t.waitFrom[i-1]
	}
	if e := i - l.gap; e >= 0 {
		if v := t.shut[e] - float64(c.flown*float64(l.gap)); v > t.wait[i] {
			t.wait[i], t.waitFrom[i] = v, e
		}
	}
}

// enter works out the best of everything before a core that starts at step a.
func (t *table) enter(a int, l limits, c tariff) {
	s := max(t.first[a], a-l.lead)
	before, from := -c.pass, -1
	if t.wait[s] > before {
		before, from = t.wait[s], t.waitFrom[s]
	}
	t.key[a], t.keyFrom[a] = before+(t.edge[a]-t.edge[s])-t.core[a], from
}

// back follows the runs from the last one, which shuts at step at.
func (t *table) back(at int) []span {
	var runs []span
	for at >= 0 {
		s := t.shutAt[at]
		runs = append(runs, s)
		at = t.keyFrom[s.a]
	}
	for i, j := 0, len(runs)-1; i < j; i, j = i+1, j-1 {
		runs[i], runs[j] = runs[j], runs[i]
	}
	return runs
}

// fit returns s with length n, its old room used where it is enough.
func fit[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
