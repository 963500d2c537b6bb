package sheet

import (
	"math"
	"slices"
)

// dashed cuts a line into its dashes; pattern is on, off, on, ... in points.
func dashed(line []pt, pattern []float64) [][]pt {
	var out [][]pt
	i, left, on := 0, pattern[0], true
	var dash []pt
	if len(line) > 0 {
		dash = []pt{line[0]}
	}
	for k := 1; k < len(line); k++ {
		a, b := line[k-1], line[k]
		for {
			d := math.Hypot(b.x-a.x, b.y-a.y)
			if d < left {
				left -= d
				if on {
					dash = append(dash, b)
				}
				break
			}
			t := left / d
			a = pt{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)}
			if on {
				out = append(out, append(dash, a))
				dash = nil
			} else {
				dash = []pt{a}
			}
			on = !on
			i = (i + 1) % len(pattern)
			left = pattern[i]
		}
	}
	if on && len(dash) > 1 {
		out = append(out, dash)
	}
	return out
}

// simplify drops corners of a line that lie within tolerance of the line
// without them (Douglas and Peucker 1973). For drawing only: no acres are ever
// taken from it. The ends stay.
func simplify(line []pt, tolerance float64) []pt {
	if len(line) < 3 {
		return line
	}
	keep := make([]bool, len(line))
	keep[0], keep[len(line)-1] = true, true
	stack := [][2]int{{0, len(line) - 1}}
	for len(stack) > 0 {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		far, at := tolerance, -1
		for i := s[0] + 1; i < s[1]; i++ {
			if d := distance(line[i], line[s[0]], line[s[1]]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			stack = append(stack, [2]int{s[0], at}, [2]int{at, s[1]})
		}
	}
	out := make([]pt, 0, len(line))
	for i, k := range keep {
		if k {
			out = append(out, line[i])
		}
	}
	return out
}

// simplifyRing is simplify for a closed ring: it is cut at its first corner and
// at the corner farthest from that one, so that no corner is lost to the cut.
func simplifyRing(ring []pt, tolerance float64) []pt {
	if len(ring) < 5 {
		return ring
	}
	far, at := -1.0, 0
	for i, p := range ring {
		if d := math.Hypot(p.x-ring[0].x, p.y-ring[0].y); d > far {
			far, at = d, i
		}
	}
	half := simplify(ring[:at+1], tolerance)
	rest := simplify(append(slices.Clone(ring[at:]), ring[0]), tolerance)
	return append(slices.Clone(half), rest[1:len(rest)-1]...)
}

// distance is from p to the segment a-b.
func distance(p, a, b pt) float64 {
	dx, dy := b.x-a.x, b.y-a.y
	n := dx*dx + dy*dy
	if n == 0 {
		return math.Hypot(p.x-a.x, p.y-a.y)
	}
	t := ((p.x-a.x)*dx + (p.y-a.y)*dy) / n
	t = min(max(t, 0), 1)
	return math.Hypot(p.x-a.x-t*dx, p.y-a.y-t*dy)
}

// A hatching is parallel lines: the angle that they run at, degrees
// anticlockwise from the page's x axis, and the distance between them in points.
type hatching struct {
	angle, gap float64
	dash       []float64
	width      float64
}

// hatch returns the lines of h inside rings (even-odd). All areas of a page
// share one set of lines, so that areas that touch are hatched as one.
func hatch(rings [][]pt, h hatching) [][]pt {
	s, c := math.Sincos(h.angle * math.Pi / 180)
	along := func(p pt) float64 { return p.x*c - p.y*s }
	across := func(p pt) float64 { return p.x*s + p.y*c }
	cuts := map[int][]float64{}
	lowest, highest := math.MaxInt, math.MinInt
	for _, ring := range rings {
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			v0, v1, u0, u1 := across(p), across(q), along(p), along(q)
			if v0 > v1 {
				v0, v1, u0, u1 = v1, v0, u1, u0
			}
			for k := int(math.Ceil(v0 / h.gap)); float64(k)*h.gap < v1; k++ {
				t := (float64(k)*h.gap - v0) / (v1 - v0)
				cuts[k] = append(cuts[k], u0+t*(u1-u0))
				lowest, highest = min(lowest, k), max(highest, k)
			}
		}
	}
	var out [][]pt
	for k := lowest; k <= highest && lowest != math.MaxInt; k++ {
		us := cuts[k]
		slices.Sort(us)
		v := float64(k) * h.gap
		for i := 0; i+1 < len(us); i += 2 {
			out = append(out, []pt{
				{us[i]*c + v*s, -us[i]*s + v*c},
				{us[i+1]*c + v*s, -us[i+1]*s + v*c},
			})
		}
	}
	if len(h.dash) == 0 {
		return out
	}
	return stagger(out, h.dash)
}

// stagger dashes hatch lines, every other one half a period later.
func stagger(lines [][]pt, dash []float64) [][]pt {
	var out [][]pt
	for _, l := range lines {
		period := dash[0] + dash[1]
		// The phase is taken from the page, not from the line's end, so that the
		// dashes of neighbours keep their distance whatever the outline is.
		d := math.Hypot(l[1].x-l[0].x, l[1].y-l[0].y)
		if d == 0 {
			continue
		}
		ux, uy := (l[1].x-l[0].x)/d, (l[1].y-l[0].y)/d
		start := l[0].x*ux + l[0].y*uy
		row := math.Round((l[0].x*uy - l[0].y*ux) / 1e-3)
		phase := math.Mod(start+math.Mod(row, 2)*period/2, period)
		if phase < 0 {
			phase += period
		}
		for s := -phase; s < d; s += period {
			a, b := max(s, 0), min(s+dash[0], d)
			if b-a > 0.2 {
				out = append(out, []pt{{l[0].x + a*ux, l[0].y + a*uy}, {l[0].x + b*ux, l[0].y + b*uy}})
			}
		}
	}
	return out
}

// clipLine returns the parts of a line inside box (Liang and Barsky 1984, each
// segment).
func clipLine(line []pt, box rect) [][]pt {
	var out [][]pt
	var part []pt
	for i := 1; i < len(line); i++ {
		a, b, ok := clipSegment(line[i-1], line[i], box)
		if !ok {
			if len(part) > 1 {
				out = append(out, part)
			}
			part = nil
			continue
		}
		if len(part) == 0 || part[len(part)-1] != a {
			if len(part) > 1 {
				out = append(out, part)
			}
			part = []pt{a}
		}
		part = append(part, b)
	}
	if len(part) > 1 {
		out = append(out, part)
	}
	return out
}

func clipSegment(a, b pt, box rect) (pt, pt, bool) {
	t0, t1 := 0.0, 1.0
	dx, dy := b.x-a.x, b.y-a.y
	for _, e := range [4][2]float64{
		{-dx, a.x - box.x}, {dx, box.right() - a.x}, {-dy, a.y - box.y}, {dy, box.bottom() - a.y},
	} {
		p, q := e[0], e[1]
		switch {
		case p == 0 && q < 0:
			return a, b, false
		case p < 0:
			t0 = max(t0, q/p)
		case p > 0:
			t1 = min(t1, q/p)
		}
	}
	if t0 > t1 {
		return a, b, false
	}
	if t1 < 1 {
		b = pt{a.x + t1*dx, a.y + t1*dy}
	}
	if t0 > 0 {
		a = pt{a.x + t0*dx, a.y + t0*dy}
	}
	return a, b, true
}

// clipRing returns the part of a ring inside box (Sutherland and Hodgman
// 1974): one ring, which may run along the box's edge.
func clipRing(ring []pt, box rect) []pt {
	inside := [4]func(p pt) float64{ // at least 0 is inside
		func(p pt) float64 { return p.x - box.x },
		func(p pt) float64 { return box.right() - p.x },
		func(p pt) float64 { return p.y - box.y },
		func(p pt) float64 { return box.bottom() - p.y },
	}
	for _, in := range inside {
		var out []pt
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			dp, dq := in(p), in(q)
			if dp >= 0 {
				out = append(out, p)
			}
			if (dp >= 0) != (dq >= 0) {
				t := dp / (dp - dq)
				out = append(out, pt{p.x + t*(q.x-p.x), p.y + t*(q.y-p.y)})
			}
		}
		ring = out
	}
	return ring
}

// extent is the upright rectangle around rings.
func extent(rings [][]pt) rect {
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, ring := range rings {
		for _, p := range ring {
			x0, x1 = min(x0, p.x), max(x1, p.x)
			y0, y1 = min(y0, p.y), max(y1, p.y)
		}
	}
	if x0 > x1 {
		return rect{}
	}
	return rect{x0, y0, x1 - x0, y1 - y0}
}

// within says whether p lies inside rings (even-odd).
func within(rings [][]pt, p pt) bool {
	in := false
	for _, ring := range rings {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if (a.y > p.y) != (b.y > p.y) && p.x < a.x+(p.y-a.y)/(b.y-a.y)*(b.x-a.x) {
				in = !in
			}
		}
	}
	return in
}

// signedArea is positive for rings that run clockwise on the page.
func signedArea(ring []pt) float64 {
	var a float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		a += p.x*q.y - q.x*p.y
	}
	return a / 2
}
