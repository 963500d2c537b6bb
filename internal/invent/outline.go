package invent

import (
	"math"

	"bittern/internal/geo"
)

// sqMPerAcre is the international acre in square metres (NIST SP 811, B.8).
const sqMPerAcre = 4046.8564224

// outline draws the field's edge in its own frame: a rough rectangle with
// sides that are not quite straight, and one corner cut.
func outline(s Scene) (ring geo.Ring, halfW, halfH float64) {
	d := dice{seed: sub(s.Seed, 1)}
	area := s.Acres * sqMPerAcre
	aspect := d.u(0.75, 1.6)
	w, h := math.Sqrt(area*aspect), math.Sqrt(area/aspect)
	corners := []geo.Point{{X: -w / 2, Y: -h / 2}, {X: w / 2, Y: -h / 2}, {X: w / 2, Y: h / 2}, {X: -w / 2, Y: h / 2}}
	cut := int(d.u(0, 4))
	for i := range corners {
		corners[i].X += d.u(-0.03, 0.03) * w
		corners[i].Y += d.u(-0.03, 0.03) * h
	}
	for i, c := range corners {
		next := corners[(i+1)%4]
		last := corners[(i+3)%4]
		if i == cut {
			ring = append(ring, along(c, last, d.u(18, 40)), along(c, next, d.u(18, 40)))
		} else {
			ring = append(ring, c)
		}
		ring = append(ring, bowed(c, next, d.u(-0.006, 0.006)))
	}
	k := math.Sqrt(area / math.Abs(ringArea(ring)))
	for i := range ring {
		ring[i].X *= k
		ring[i].Y *= k
	}
	lo, hi := extent(ring, func(p geo.Point) geo.Point { return p })
	mid := geo.Point{X: (lo.X + hi.X) / 2, Y: (lo.Y + hi.Y) / 2}
	for i := range ring {
		ring[i].X -= mid.X
		ring[i].Y -= mid.Y
	}
	return ring, (hi.X - lo.X) / 2, (hi.Y - lo.Y) / 2
}

// along is the point m metres from a towards b.
func along(a, b geo.Point, m float64) geo.Point {
	f := m / math.Hypot(b.X-a.X, b.Y-a.Y)
	return geo.Point{X: a.X + float64(f*(b.X-a.X)), Y: a.Y + float64(f*(b.Y-a.Y))}
}

// bowed is the middle of a and b, moved sideways by a share of their distance.
func bowed(a, b geo.Point, share float64) geo.Point {
	return geo.Point{
		X: (a.X+b.X)/2 - float64(share*(b.Y-a.Y)),
		Y: (a.Y+b.Y)/2 + float64(share*(b.X-a.X)),
	}
}

// ringArea is the signed area, counterclockwise positive.
func ringArea(r geo.Ring) float64 {
	sum := 0.0
	for i, p := range r {
		q := r[(i+1)%len(r)]
		sum += float64(p.X*q.Y) - float64(q.X*p.Y)
	}
	return sum / 2
}

// drawn is the boundary as a hand would draw it: corners and a few points of
// the sides, each off by about m metres.
func drawn(s Scene, ring geo.Ring) geo.Ring {
	if s.HandDrawnM == 0 {
		return ring
	}
	d := dice{seed: sub(s.Seed, 2)}
	out := make(geo.Ring, 0, len(ring))
	for _, p := range ring {
		dx, dy := clamp(d.norm(), -2, 2), clamp(d.norm(), -2, 2)
		out = append(out, geo.Point{X: p.X + float64(dx*s.HandDrawnM), Y: p.Y + float64(dy*s.HandDrawnM)})
	}
	return out
}

// inset is the distance of p from the ring in metres, positive inside.
func inset(ring geo.Ring, p geo.Point) float64 {
	best := math.Inf(1)
	inside := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		best = min(best, segDist2(p, a, b))
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			inside = !inside
		}
	}
	d := math.Sqrt(best)
	if inside {
		return d
	}
	return -d
}

// segDist2 is the squared distance of p from the segment a-b.
func segDist2(p, a, b geo.Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := (float64((p.X-a.X)*dx) + float64((p.Y-a.Y)*dy)) / (float64(dx*dx) + float64(dy*dy))
	t = clamp(t, 0, 1)
	ex, ey := p.X-a.X-float64(t*dx), p.Y-a.Y-float64(t*dy)
	return float64(ex*ex) + float64(ey*ey)
}
