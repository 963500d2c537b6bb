package structure

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// drawLine calls fn for each cell whose middle lies within half cells of the
// path (in cells; a cell's middle is at whole numbers), some of them twice.
func drawLine(path []geo.Point, half float64, s stat.Size, fn func(i int)) {
	for k := 1; k < len(path); k++ {
		a, b := path[k-1], path[k]
		x0, x1 := clampCells(min(a.X, b.X)-half, max(a.X, b.X)+half, s.Cols)
		y0, y1 := clampCells(min(a.Y, b.Y)-half, max(a.Y, b.Y)+half, s.Rows)
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				if segmentDistance(geo.Point{X: float64(x), Y: float64(y)}, a, b) <= half {
					fn(y*s.Cols + x)
				}
			}
		}
	}
}

func clampCells(lo, hi float64, n int) (from, to int) {
	return int(max(math.Ceil(lo), 0)), int(min(math.Floor(hi), float64(n-1)))
}

// segmentDistance is how far p lies from the segment from a to b.
func segmentDistance(p, a, b geo.Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if l2 := float64(dx*dx) + float64(dy*dy); l2 > 0 {
		t = max(0, min(1, (float64((p.X-a.X)*dx)+float64((p.Y-a.Y)*dy))/l2))
	}
	return math.Hypot(p.X-a.X-float64(t*dx), p.Y-a.Y-float64(t*dy))
}

// offset moves a path sideways by d, to the right as it runs when y points
// down.
func offset(path []geo.Point, d float64) []geo.Point {
	if d == 0 {
		return path
	}
	out := make([]geo.Point, len(path))
	for i, p := range path {
		a, b := path[max(i-1, 0)], path[min(i+1, len(path)-1)]
		out[i] = ahead(p, math.Atan2(b.Y-a.Y, b.X-a.X)+math.Pi/2, d)
	}
	return out
}

// smooth averages each point with its neighbours, ends held, n times.
func smooth(path []geo.Point, n int) []geo.Point {
	out := append([]geo.Point(nil), path...)
	for range n {
		last := out[0]
		for i := 1; i+1 < len(out); i++ {
			p := out[i]
			out[i] = geo.Point{X: (last.X + 2*p.X + out[i+1].X) / 4, Y: (last.Y + 2*p.Y + out[i+1].Y) / 4}
			last = p
		}
	}
	return out
}
