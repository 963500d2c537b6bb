package structure

import "math"

// countQuantile is the q-th quantile of a histogram of steps, between steps in
// proportion; NaN when it is empty.
func countQuantile(counts *[256]int32, q float64) float64 {
	total := int32(0)
	for _, n := range counts {
		total += n
	}
	if total == 0 {
		return math.NaN()
	}
	want, seen := q*float64(total), 0.0
	for k, n := range counts {
		if n > 0 && seen+float64(n) >= want {
			return float64(k) - 0.5 + (want-seen)/float64(n)
		}
		seen += float64(n)
	}
	return 255
}
