package block

// counted is the dynamic programme of table with one more dimension: the
// number of steps with the valve open. It gives the best value of a lane for
// every such number, which the minimum of billed acres needs when it lies
// between two prices. It takes time and memory in proportion to steps times
// open steps.
type counted struct {
	t     table
	steps int
	most  int // open steps of the lane: the greatest count
	key   []float64
	keyAt []int32 // core start of the running maximum, per diagonal
	shut  []float64
	shutA []int32
	shutB []int32
	wait  []float64
	waitE []int32
	best  []float64 // per count: best value of the lane, minus infinity where none
	bestE []int32   // per count: where its last run shuts
}

// size is the number of table entries that a lane needs.
func (n lane) size() int {
	open := 0
	for _, o := range n.open {
		if o {
			open++
		}
	}
	return (len(n.value) + 1) * (open + 1)
}

// at is the place of (step, count) in the tables.
func (q *counted) at(step, count int) int { return step*(q.most+1) + count }

// solve fills q.best: element c is the greatest value of a set of runs with
// exactly c steps open. best[0] is 0, the unused pass.
func (q *counted) solve(n lane, l limits, c tariff) {
	q.steps = len(n.value)
	q.most = n.size()/(q.steps+1) - 1
	q.t.prepare(n, c)
	q.clear()
	start := 0
	for i := range q.steps {
		q.reopen(i, l, c)
		if !n.open[i] {
			continue
		}
		if q.t.first[i] == i {
			start = i
			for d := range q.key {
				q.key[d], q.keyAt[d] = minus, -1
			}
		}
		end := min(q.t.last[i], i+l.trail)
		for start <= i && max(q.t.first[i], start-l.lead) <= end+1-l.minOpen {
			q.enter(start, l, c)
			start++
		}
		q.leave(i, end)
	}
}

// clear sizes the tables and empties them.
func (q *counted) clear() {
	n := (q.steps + 1) * (q.most + 1)
	q.key, q.keyAt = fit(q.key, q.steps+q.most+1), fit(q.keyAt, q.steps+q.most+1)
	q.shut, q.shutA, q.shutB = fit(q.shut, n), fit(q.shutA, n), fit(q.shutB, n)
	q.wait, q.waitE = fit(q.wait, n), fit(q.waitE, n)
	q.best, q.bestE = fit(q.best, q.most+1), fit(q.bestE, q.most+1)
	for i := range n {
		q.shut[i], q.wait[i], q.waitE[i] = minus, minus, -1
	}
	for i := range q.best {
		q.best[i], q.bestE[i] = minus, -1
	}
	q.best[0] = 0
}

// reopen is table.reopen for every count.
func (q *counted) reopen(i int, l limits, c tariff) {
	for n := range q.most + 1 {
		w := q.at(i, n)
		if i > 0 {
			p := q.at(i-1, n)
			q.wait[w], q.waitE[w] = q.wait[p]-c.flown, q.waitE[p]
		}
		if e := i - l.gap; e >= 0 {
			if v := q.shut[q.at(e, n)] - float64(c.flown*float64(l.gap)); v > q.wait[w] {
				q.wait[w], q.waitE[w] = v, int32(e)
			}
		}
	}
}

// enter offers core start a to the running maximum of each diagonal: the count
// before it less the step that the valve opens at, which fixes the count at
// every later end.
func (q *counted) enter(a int, l limits, c tariff) {
	s := max(q.t.first[a], a-l.lead)
	onto := (q.t.edge[a] - q.t.edge[s]) - q.t.core[a]
	for n := range q.most + 1 {
		before := q.wait[q.at(s, n)]
		if n == 0 && -c.pass > before {
			before = -c.pass
		}
		d := n - s + q.steps
		if v := before + onto; v > q.key[d] {
			q.key[d], q.keyAt[d] = v, int32(a)
		}
	}
}

// leave ends a core at step b, with the valve open up to step end.
func (q *counted) leave(b, end int) {
	onto := q.t.core[b+1] + (q.t.edge[end+1] - q.t.edge[b+1])
	for n := range q.most + 1 {
		d := n - (end + 1) + q.steps // the diagonal that gives count n here
		if d < 0 || d >= len(q.key) || q.keyAt[d] < 0 {
			continue
		}
		v, w := q.key[d]+onto, q.at(end+1, n)
		if v > q.shut[w] {
			q.shut[w], q.shutA[w], q.shutB[w] = v, q.keyAt[d], int32(b)
		}
		if v > q.best[n] {
			q.best[n], q.bestE[n] = v, int32(end+1)
		}
	}
}

// runs follows back the runs of the best set with the given count.
func (q *counted) runs(count int, l limits) []span {
	var out []span
	for e := q.bestE[count]; e >= 0; {
		w := q.at(int(e), count)
		a, b := int(q.shutA[w]), int(q.shutB[w])
		s := span{max(q.t.first[a], a-l.lead), int(e), a, b}
		out = append(out, s)
		count -= s.shut - s.open
		if count == 0 {
			break
		}
		e = q.waitE[q.at(s.open, count)]
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}
