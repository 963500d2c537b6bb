package geo

import (
	"cmp"
	"math"
	"slices"
)

// Nest makes polygons of rings that do not cross, by which lies in which and
// whatever way they turn: a ring in an even number of others is an outer one, a
// ring in an odd number is a hole of the smallest that holds it. Polygons and
// holes keep the order of the rings.
func Nest(rings []Ring) MultiPolygon {
	parents := holders(rings)
	depth := func(i int) int {
		d := 0
		for i = parents[i]; i >= 0; i = parents[i] {
			d++
		}
		return d
	}
	var out MultiPolygon
	place := make(map[int]int)
	for i, r := range rings {
		if depth(i)%2 == 0 {
			place[i] = len(out)
			out = append(out, Polygon{Outer: r})
		}
	}
	for i, r := range rings {
		if depth(i)%2 == 1 {
			p := &out[place[parents[i]]]
			p.Holes = append(p.Holes, r)
		}
	}
	return out
}

// holders returns for every ring the place of the smallest ring that holds it,
// or -1.
func holders(rings []Ring) []int {
	type sized struct {
		at   int
		area float64
		box  Box
	}
	bySize := make([]sized, len(rings))
	for i, r := range rings {
		bySize[i] = sized{i, math.Abs(r.SignedArea()), r.Bounds()}
	}
	slices.SortStableFunc(bySize, func(a, b sized) int { return cmp.Compare(a.area, b.area) })
	parents := make([]int, len(rings))
	for k, s := range bySize {
		parents[s.at] = -1
		for _, t := range bySize[k+1:] {
			outer := Polygon{Outer: rings[t.at]}
			if len(rings[s.at]) == 0 || t.area == s.area || !t.box.Meets(s.box) {
				continue
			}
			if outer.Contains(rings[s.at].off(outer)) {
				parents[s.at] = t.at
				break
			}
		}
	}
	return parents
}
