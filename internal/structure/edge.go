package structure

import "bittern/internal/stat"

// Settings of the perimeter strip. Lengths in metres.
const (
	edgeSearchM   = 16.0 // the strip ends within so much of the boundary
	edgeInnerM    = 30.0 // how far in the crop's own level is taken from
	edgeLeastM    = 1.0  // a boundary drawn by hand is never better
	edgeRise      = 0.8  // spreads that a profile must stand above the crop's to count
	edgeShare     = 0.35 // of the rise at the boundary, at which the strip ends
	edgeBinsPerM  = 2
	edgeRoughM    = 3.0 // how far in the strip may bulge beyond its width
	edgeBulgeDist = 4.0 // spreads from the crop, smoothed, that a bulge must have
)

// perimeterWidth is the width of the strip along the boundary that is not like
// the crop, in metres: where the median distance from the crop, against the
// distance from the boundary, has come down to the crop's own level.
func perimeterWidth(dist []uint8, depth []float32, ok []bool, cell float64) float64 {
	profile := edgeProfile(dist, depth, ok, cell)
	search := int(edgeSearchM * edgeBinsPerM)
	base := stat.Median(profile[search:])
	peak := 0.0
	for _, v := range profile[:6] {
		if v == v {
			peak = max(peak, v-base)
		}
	}
	if base != base || peak < edgeRise {
		return edgeLeastM
	}
	limit := base + max(edgeShare*peak, edgeRise/2)
	last := 0
	for k, v := range profile[:search] {
		if v > limit {
			last = k + 1
		} else if k-last >= 3 {
			break // the crop has begun; a levee further in is not the perimeter's
		}
	}
	return max(float64(last)/edgeBinsPerM+0.5, edgeLeastM)
}

// edgeProfile is the median distance from the crop, in spreads, for each step
// of depth from the boundary; NaN where no cell lies.
func edgeProfile(dist []uint8, depth []float32, ok []bool, cell float64) []float64 {
	n := int(edgeInnerM * edgeBinsPerM)
	counts := make([][256]int32, n)
	for i, d := range depth {
		if !ok[i] {
			continue
		}
		if k := int((float64(d) - 0.5) * cell * edgeBinsPerM); k >= 0 && k < n {
			counts[k][dist[i]]++
		}
	}
	out := make([]float64, n)
	for k := range counts {
		out[k] = countMedian(&counts[k]) / stepsPer
	}
	return out
}

// countMedian is the median of a histogram of steps; NaN when it is empty.
func countMedian(counts *[256]int32) float64 { return countQuantile(counts, 0.5) }
