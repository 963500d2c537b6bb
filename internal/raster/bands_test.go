package raster_test

import (
	"testing"

	"bittern/internal/raster"
)

func TestBandsHoldEveryRowOnce(t *testing.T) {
	for _, n := range []int{0, 1, 2, 7, 100} {
		for _, workers := range []int{-1, 0, 1, 2, 3, 16} {
			seen := make([]int, n)
			raster.Bands(workers, n, func(from, to int) {
				for i := from; i < to; i++ {
					seen[i]++
				}
			})
			for i, k := range seen {
				if k != 1 {
					t.Errorf("%d rows, %d workers: row %d was seen %d times", n, workers, i, k)
				}
			}
		}
	}
}
