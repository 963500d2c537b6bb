package raster_test

import (
	"testing"

	"bittern/internal/raster"
)

func TestTogetherCallsEveryTaskOnce(t *testing.T) {
	for _, workers := range []int{0, 1, 2, 5} {
		var seen [3]int
		raster.Together(workers, func() { seen[0]++ }, func() { seen[1]++ }, func() { seen[2]++ })
		if seen != [3]int{1, 1, 1} {
			t.Errorf("%d workers: the tasks were called %v times", workers, seen)
		}
	}
}

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
