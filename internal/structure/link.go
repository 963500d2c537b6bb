package structure

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/geo"
)

// Settings of joining lines. Lengths in metres.
const (
	linkM       = 45.0 // gap that two lines facing each other may leave
	linkTurn    = 0.45 // radians between a line's end and the link, at most
	linkLong    = 2.0  // a line must be so many times as long as the gap it links over
	reachEdgeM  = 22.0 // an open end goes on to the perimeter over so much
	reachLineM  = 14.0 // or to another line
	acceptEdgeM = 14.0 // a line counts when it reaches so near to the perimeter
	acceptNearM = 25.0
)

// An end is one end of a trace.
type end struct {
	trace, which int // which is 0 for the first point, 1 for the last
}

// at is the end's place and the heading away from its trace.
func (e end) at(ts []trace) (geo.Point, float64) {
	pts := ts[e.trace].pts
	n := len(pts)
	k := min(6, n-1)
	if e.which == 0 {
		return pts[0], math.Atan2(pts[0].Y-pts[k].Y, pts[0].X-pts[k].X)
	}
	return pts[n-1], math.Atan2(pts[n-1].Y-pts[n-1-k].Y, pts[n-1].X-pts[n-1-k].X)
}

// link joins traces whose ends face each other over a gap, nearest pairs
// first. evidence is the mean strength along a straight link.
func link(ts []trace, cell float64, evidence func(a, b geo.Point) float64) []trace {
	pairs := facing(ts, cell, evidence)
	used := map[end]bool{}
	partner := map[end]end{}
	for _, p := range pairs {
		if !used[p.a] && !used[p.b] && p.a.trace != p.b.trace {
			used[p.a], used[p.b] = true, true
			partner[p.a], partner[p.b] = p.b, p.a
		}
	}
	return chain(ts, partner)
}

// A pair is two ends that could be joined, and at what cost.
type pair struct {
	a, b end
	cost float64
}

func facing(ts []trace, cell float64, evidence func(a, b geo.Point) float64) []pair {
	var ends []end
	for i, t := range ts {
		for k := range 2 {
			if t.ends[k] == openEnd {
				ends = append(ends, end{i, k})
			}
		}
	}
	var out []pair
	for i, a := range ends {
		for _, b := range ends[i+1:] {
			if c, ok := linkCost(ts, a, b, cell, evidence); ok {
				out = append(out, pair{a, b, c})
			}
		}
	}
	slices.SortStableFunc(out, func(p, q pair) int { return cmp.Compare(p.cost, q.cost) })
	return out
}

// linkCost is the gap in metres, lengthened by turns and by missing evidence.
func linkCost(ts []trace, a, b end, cell float64, evidence func(a, b geo.Point) float64) (float64, bool) {
	if a.trace == b.trace {
		return 0, false
	}
	p, hp := a.at(ts)
	q, hq := b.at(ts)
	gap := p.Distance(q) * cell
	if gap > linkM {
		return 0, false
	}
	shorter := min(pathLength(ts[a.trace].pts), pathLength(ts[b.trace].pts)) * cell
	if shorter < linkLong*gap/2 {
		return 0, false
	}
	h := math.Atan2(q.Y-p.Y, q.X-p.X)
	turn := max(math.Abs(angle(h-hp)), math.Abs(angle(h+math.Pi-hq)))
	if gap < 3 {
		turn = math.Abs(angle(hq + math.Pi - hp))
	}
	if turn > linkTurn {
		return 0, false
	}
	seen := evidence(p, q)
	if gap > 20 && seen < 0.3 {
		return 0, false
	}
	return gap * (1 + turn) / (1 + max(seen, 0)), true
}

// angle brings an angle to -pi..pi.
func angle(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	switch {
	case a > math.Pi:
		return a - 2*math.Pi
	case a < -math.Pi:
		return a + 2*math.Pi
	}
	return a
}

// chain strings linked traces together, in the order of their first traces.
func chain(ts []trace, partner map[end]end) []trace {
	done := make([]bool, len(ts))
	var out []trace
	for i := range ts {
		if done[i] {
			continue
		}
		start := firstOf(end{i, 0}, partner, len(ts))
		out = append(out, thread(ts, start, partner, done))
	}
	return out
}

// firstOf walks back from e along links to the first end of the chain; a ring
// begins at e itself.
func firstOf(e end, partner map[end]end, most int) end {
	at := e
	for range most {
		p, ok := partner[at]
		if !ok {
			return at
		}
		at = end{p.trace, 1 - p.which}
	}
	return e
}

// thread strings the traces of a chain together from start on.
func thread(ts []trace, start end, partner map[end]end, done []bool) trace {
	var out trace
	sum := 0.0
	for at, first := start, true; !done[at.trace]; first = false {
		done[at.trace] = true
		t := ts[at.trace]
		pts := slices.Clone(t.pts)
		ends := t.ends
		if at.which == 1 {
			slices.Reverse(pts)
			ends[0], ends[1] = ends[1], ends[0]
		}
		if first {
			out.ends[0] = ends[0]
		}
		out.ends[1] = ends[1]
		out.pts = append(out.pts, pts...)
		sum += t.strength * float64(len(pts))
		p, ok := partner[end{at.trace, 1 - at.which}]
		if !ok {
			break
		}
		at = p
	}
	out.strength = sum / float64(len(out.pts))
	return out
}
