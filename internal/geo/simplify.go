package geo

// Simplify returns l with fewer points: no point that was left out lies farther
// than tolerance from the line that remains. The ends stay.
//
// Source: D. H. Douglas and T. K. Peucker, Algorithms for the reduction of the
// number of points required to represent a digitized line, Cartographica 10
// (1973) 112-122.
func (l Line) Simplify(tolerance float64) Line {
	if len(l) < 3 {
		return append(Line(nil), l...)
	}
	keep := make([]bool, len(l))
	keep[0], keep[len(l)-1] = true, true
	type span struct{ from, to int }
	spans := []span{{0, len(l) - 1}}
	for len(spans) > 0 {
		s := spans[len(spans)-1]
		spans = spans[:len(spans)-1]
		far, at := tolerance, -1
		for i := s.from + 1; i < s.to; i++ {
			if d := l[i].DistanceToSegment(l[s.from], l[s.to]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			spans = append(spans, span{s.from, at}, span{at, s.to})
		}
	}
	var out Line
	for i, p := range l {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}
