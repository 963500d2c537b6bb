package structure

import "bittern/internal/stat"

// Settings of the perimeter strip. Lengths in metres.
const (
	edgeSearchM  = 16.0 // the strip ends within so much of the boundary
	edgeInnerM   = 30.0 // how far in the crop's own level is taken from
	edgeLeastM   = 1.0  // a boundary drawn by hand is never better
	edgeRise     = 0.8  // spreads that a profile must stand above the crop's to count
	edgeShare    = 0.35 // of the rise at the boundary, at which the strip ends
	edgeBinsPerM = 2
)

// perimeterWidth is the width of the strip along the boundary that is not like
// the crop, in metres: where the median distance from the crop, against the
// distance from the boundary, has come down to the crop's own level.
func perimeterWidth(profile []float64) float64 {
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
func (f *finder) edgeProfile() []float64 {
	n := int(edgeInnerM * edgeBinsPerM)
	counts := make([][256]int32, n)
	w := whiten(&f.fineNorm.Ellipsoid)
	var d [mostFeatures]float32
	for i, depth := range f.depth {
		if !f.ok[i] || depth >= stat.Far {
			continue
		}
		if k := int((float64(depth) - 0.5) * f.cell() * edgeBinsPerM); k >= 0 && k < n {
			for j, r := range f.fine.ratio[:w.p] {
				d[j] = r[i]
			}
			counts[k][stepsOf(w.squared(&d))]++
		}
	}
	out := make([]float64, n)
	for k := range counts {
		out[k] = countQuantile(&counts[k], 0.5) / stepsPer
	}
	return out
}

// depths is how far each cell lies from the nearest one that is not inside, in
// cells, up to limit; what lies beyond the raster is not inside.
func depths(inside []bool, s stat.Size, limit float64) []float32 {
	to := stat.Size{Cols: s.Cols + 2, Rows: s.Rows + 2}
	out := make([]bool, to.Len())
	for i := range out {
		out[i] = true
	}
	for y := range s.Rows {
		for x := range s.Cols {
			out[(y+1)*to.Cols+x+1] = !inside[y*s.Cols+x]
		}
	}
	d := stat.DistanceWithin(out, to, limit)
	for y := range s.Rows {
		copy(d[y*s.Cols:(y+1)*s.Cols], d[(y+1)*to.Cols+1:])
	}
	return d[:s.Len()]
}
