package block

import "math"

// A terms is the price of all the lanes of one heading and placing together.
type terms struct {
	limits
	tariff              // step is the product's price alone here, without the charge per acre
	charge      float64 // dollars for each billed step
	minimum     float64 // fewest steps that are billed; 0 for none
	fixed       float64 // call-out and the like, once when anything is done
	mostEntries int     // room for the exact treatment of the minimum, table entries over all lanes
	atLeast     float64 // an answer that wins no more than this is not searched out
}

// An answer is the best set of runs over all lanes.
type answer struct {
	net   float64  // dollars won less all cost; 0 when nothing pays
	short float64  // dollars by which a better set could beat it at most; 0 when it is proven best
	runs  [][]span // per lane
	steps int      // with the valve open
}

// A pricedSet is the best set when each open step costs lambda beside the
// product.
type pricedSet struct {
	lambda, value float64 // value has lambda taken off
	steps         int
	runs          [][]span
}

// none is the answer of doing nothing.
func none(lanes int) answer { return answer{runs: make([][]span, lanes)} }

// enough is the difference in dollars that is not worth another search: half a
// cent is the least that a bill can show.
const enough = 0.004

// best finds the set of runs that wins most after its cost, the minimum of
// billed steps included.
//
// With no minimum the lanes do not touch each other, and each is solved for
// itself. With a minimum M and charge p the bill is p times the greater of the
// steps n and M, which is never less than lambda*n + (p-lambda)*M for any
// lambda from 0 to p. So the best set at price lambda, with (p-lambda)*M taken
// off, is an upper bound. At lambda = p it is reached when n >= M, at 0 when
// n <= M. Between, the lambda with the lowest bound is searched along the
// bound's own straight pieces; where a gap is left, the sets that could lie in
// it are gone through exactly.
func (t *table) best(lanes []lane, m terms) answer {
	full := t.priced(lanes, m, m.charge)
	if full.value-m.fixed <= m.atLeast {
		return none(len(lanes))
	}
	if m.minimum <= 0 || m.charge <= 0 || float64(full.steps) >= m.minimum {
		return m.answer(full, 0)
	}
	free := t.priced(lanes, m, 0)
	if free.value-float64(m.charge*m.minimum)-m.fixed <= m.atLeast {
		return none(len(lanes))
	}
	if float64(free.steps) <= m.minimum {
		return m.answer(free, 0)
	}
	return t.between(lanes, m, full, free)
}

// priced solves all lanes at price lambda.
func (t *table) priced(lanes []lane, m terms, lambda float64) pricedSet {
	p := pricedSet{lambda: lambda, runs: make([][]span, len(lanes))}
	c := m.tariff
	c.step += lambda
	for i, n := range lanes {
		v, runs := t.solve(n, m.limits, c)
		p.value += v
		p.runs[i] = runs
		p.steps += count(runs)
	}
	return p
}

// net is what a set wins after all cost.
func (m terms) net(p pricedSet) float64 {
	if p.steps == 0 {
		return 0
	}
	before := p.value + float64(p.lambda*float64(p.steps))
	return before - float64(m.charge*max(float64(p.steps), m.minimum)) - m.fixed
}

// answer turns a set into the answer, or into doing nothing where that is
// better.
func (m terms) answer(p pricedSet, short float64) answer {
	net := m.net(p)
	if net <= 0 {
		a := none(len(p.runs))
		a.short = max(0, net+short)
		return a
	}
	return answer{net: net, short: short, runs: p.runs, steps: p.steps}
}

// between searches the price at which the minimum just binds. full uses fewer
// steps than the minimum, free more.
func (t *table) between(lanes []lane, m terms, full, free pricedSet) answer {
	best := full
	keep := func(p pricedSet) {
		if m.net(p) > m.net(best) {
			best = p
		}
	}
	keep(free)
	low, high := free, full // by price
	bound := math.Inf(1)
	at := high
	for range 60 {
		lambda := crossing(low, high)
		mid := t.priced(lanes, m, lambda)
		keep(mid)
		if b := mid.value - float64((m.charge-lambda)*m.minimum) - m.fixed; b < bound {
			bound, at = b, mid
		}
		if line := low.value - float64((lambda-low.lambda)*float64(low.steps)); mid.value-line < 1e-9 {
			break
		}
		if float64(mid.steps) >= m.minimum {
			low = mid
		} else {
			high = mid
		}
	}
	if short := bound - m.net(best); short > enough {
		return t.exact(lanes, m, at, best, short)
	}
	return m.answer(best, 0)
}

// crossing is the price at which the straight pieces of two sets meet.
func crossing(low, high pricedSet) float64 {
	gLow := low.value + float64(low.lambda*float64(low.steps))
	gHigh := high.value + float64(high.lambda*float64(high.steps))
	d := float64(low.steps - high.steps)
	if d <= 0 {
		return (low.lambda + high.lambda) / 2
	}
	return min(max((gLow-gHigh)/d, low.lambda), high.lambda)
}

// A choice is one lane's part of a set: so many steps, falling short of the
// lane's best at the given price by so much.
type choice struct {
	steps int
	short float64
}

// exact goes through every set that could lie between the bound and the best
// found: a lane's part that falls short of the lane's best by more than the gap
// cannot belong to one. It gives up, and says how much could be missed, where
// that needs more room than m.mostEntries.
func (t *table) exact(lanes []lane, m terms, at, found pricedSet, gap float64) answer {
	entries := 0
	for _, n := range lanes {
		entries += n.size()
	}
	if entries > m.mostEntries {
		return m.answer(found, gap)
	}
	c := m.tariff
	c.step += at.lambda
	var q counted
	parts := make([][]choice, len(lanes))
	for i, n := range lanes {
		q.solve(n, m.limits, c)
		parts[i] = q.within(gap)
	}
	counts := pick(parts, m, at, gap)
	if counts == nil {
		return m.answer(found, 0)
	}
	set := pricedSet{lambda: at.lambda, runs: make([][]span, len(lanes))}
	for i, n := range lanes {
		q.solve(n, m.limits, c)
		set.runs[i] = q.runs(counts[i], m.limits)
		set.steps += counts[i]
		set.value += q.best[counts[i]]
	}
	if m.net(set) <= m.net(found) {
		set = found
	}
	return m.answer(set, 0)
}

// within lists the counts whose value falls short of the lane's best by no
// more than gap.
func (q *counted) within(gap float64) []choice {
	top := minus
	for _, v := range q.best {
		top = max(top, v)
	}
	var out []choice
	for n, v := range q.best {
		if top-v <= gap+1e-9 {
			out = append(out, choice{n, top - v})
		}
	}
	return out
}

// pick chooses a count for each lane so that the whole wins most, among those
// that fall short by no more than gap together; nil when there is none.
func pick(parts [][]choice, m terms, at pricedSet, gap float64) []int {
	type state struct {
		short float64
		from  int32 // the choice of the last lane
	}
	layers := make([]map[int]state, len(parts)+1)
	layers[0] = map[int]state{0: {}}
	for i, choices := range parts {
		next := make(map[int]state)
		for n, s := range layers[i] {
			for j, c := range choices {
				short := s.short + c.short
				if short > gap+1e-9 {
					continue
				}
				if old, ok := next[n+c.steps]; !ok || short < old.short || (short == old.short && int32(j) < old.from) {
					next[n+c.steps] = state{short, int32(j)}
				}
			}
		}
		layers[i+1] = next
	}
	best, total := minus, -1
	for n, s := range layers[len(parts)] {
		net := m.net(pricedSet{lambda: at.lambda, value: at.value - s.short, steps: n})
		if net > best || (net == best && n < total) {
			best, total = net, n
		}
	}
	if total < 0 {
		return nil
	}
	counts := make([]int, len(parts))
	for i := len(parts) - 1; i >= 0; i-- {
		counts[i] = parts[i][layers[i+1][total].from].steps
		total -= counts[i]
	}
	return counts
}

// count is the number of open steps of runs.
func count(runs []span) int {
	n := 0
	for _, r := range runs {
		n += r.shut - r.open
	}
	return n
}
