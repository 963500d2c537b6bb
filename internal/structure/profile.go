package structure

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// Settings of a line's width. Lengths in metres.
const (
	profileReachM = 8.0 // to each side
	profileStepM  = 0.5
	widthShare    = 0.4 // of the rise in the middle, at which the line ends
	widthLeast    = 1.5
	widthMost     = 9.0
	typedWidthM   = 3.0 // of a typed line whose width cannot be seen
	seenRise      = 0.8 // spreads, the least rise at which a width counts as seen
)

// profileBins is the number of steps of a profile across a line.
const profileBins = int(2*profileReachM/profileStepM) + 1

// A profile is what lies across a line, the median along it, in spreads from
// the crop, from left to right at profileStepM.
type profile [profileBins]float64

// profileOf takes the q-th quantile across the lines (in cells of the raster of
// dist).
func profileOf(lines [][]geo.Point, dist []uint8, ok []bool, s stat.Size, cell, q float64) profile {
	var counts [profileBins][256]int32
	for _, line := range lines {
		eachStation(line, 1/cell, func(p geo.Point, h float64) {
			sin, cos := math.Sincos(h + math.Pi/2)
			for k := range counts {
				off := (float64(k)*profileStepM - profileReachM) / cell
				c := geo.Point{X: p.X + float64(off*cos), Y: p.Y + float64(off*sin)}
				x, y := int(c.X+0.5), int(c.Y+0.5)
				if x >= 0 && y >= 0 && x < s.Cols && y < s.Rows && ok[y*s.Cols+x] {
					counts[k][dist[y*s.Cols+x]]++
				}
			}
		})
	}
	var out profile
	for k := range counts {
		out[k] = countQuantile(&counts[k], q) / stepsPer
	}
	return out
}

// eachStation calls fn every step along the line with the place and the
// heading there.
func eachStation(line []geo.Point, step float64, fn func(p geo.Point, h float64)) {
	left := 0.0
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		h := math.Atan2(b.Y-a.Y, b.X-a.X)
		for ; left < length; left += step {
			fn(ahead(a, h, left), h)
		}
		left -= length
	}
}

// extent is how far a line reaches to the left and to the right of its middle,
// in metres, and how far its middle stands above its flanks, in spreads.
func (p *profile) extent() (left, right, rise float64) {
	mid := profileBins / 2
	base := min(mean(p[:6]), mean(p[profileBins-6:]))
	if base != base {
		base = 1
	}
	peak := 0.0
	for _, v := range p[mid-2 : mid+3] {
		if v == v {
			peak = max(peak, v)
		}
	}
	rise = peak - base
	limit := base + widthShare*rise
	reach := func(step int) float64 {
		k := mid
		for k+step >= 0 && k+step < profileBins && p[k+step] > limit {
			k += step
		}
		return math.Abs(float64(k-mid))*profileStepM + profileStepM/2
	}
	return reach(-1), reach(1), rise
}

func mean(v []float64) float64 { return stat.Mean(v) }
