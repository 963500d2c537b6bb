package raster_test

import (
	"context"
	"errors"
	"iter"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"bittern/internal/grid"
	"bittern/internal/raster"
)

// ints yields 0 to n-1 and then err, unless it is nil.
func ints(n int, err error) iter.Seq2[int, error] {
	return func(yield func(int, error) bool) {
		for i := range n {
			if !yield(i, nil) {
				return
			}
		}
		if err != nil {
			yield(0, err)
		}
	}
}

func TestMapOrderedKeepsTheOrderOfItsSource(t *testing.T) {
	for _, workers := range []int{0, 1, 3, 16} {
		synctest.Test(t, func(t *testing.T) { // fails when a goroutine outlives the loop
			slowFirst := func(_ context.Context, i int) (int, error) {
				time.Sleep(time.Duration(100-i) * time.Millisecond)
				return i * i, nil
			}
			var got []int
			for v, err := range raster.MapOrdered(t.Context(), workers, ints(40, nil), slowFirst) {
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, v)
			}
			if len(got) != 40 || !slices.IsSorted(got) {
				t.Errorf("%d workers: got %v", workers, got)
			}
		})
	}
}

func TestMapOrderedUsesAllItsWorkersAndNoMore(t *testing.T) {
	for _, workers := range []int{1, 2, 5} {
		synctest.Test(t, func(t *testing.T) {
			var now, most atomic.Int64
			fn := func(_ context.Context, i int) (int, error) {
				most.Store(max(most.Load(), now.Add(1)))
				time.Sleep(time.Millisecond)
				now.Add(-1)
				return i, nil
			}
			for _, err := range raster.MapOrdered(t.Context(), workers, ints(50, nil), fn) {
				if err != nil {
					t.Fatal(err)
				}
			}
			if most.Load() != int64(workers) {
				t.Errorf("%d workers: up to %d calls at a time", workers, most.Load())
			}
		})
	}
}

func TestMapOrderedHoldsNoMoreResultsThanWorkers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const workers = 4
		var started atomic.Int64
		fn := func(_ context.Context, i int) (int, error) {
			started.Add(1)
			return i, nil
		}
		consumed := int64(0)
		for _, err := range raster.MapOrdered(t.Context(), workers, ints(100, nil), fn) {
			if err != nil {
				t.Fatal(err)
			}
			synctest.Wait() // the workers do what they can while the consumer is slow
			if alive := started.Load() - consumed; alive > workers {
				t.Fatalf("%d results exist while one is consumed", alive)
			}
			consumed++
		}
	})
}

func TestMapOrderedEndsWithTheFirstError(t *testing.T) {
	bad := errors.New("bad item")
	failAt := func(n int) func(context.Context, int) (int, error) {
		return func(_ context.Context, i int) (int, error) {
			if i >= n {
				return 0, bad
			}
			return i, nil
		}
	}
	for name, tc := range map[string]struct {
		src  iter.Seq2[int, error]
		fn   func(context.Context, int) (int, error)
		want int // good results before the error
	}{
		"from the function": {ints(50, nil), failAt(7), 7},
		"from the source":   {ints(9, bad), failAt(100), 9},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				good, last := 0, error(nil)
				for _, err := range raster.MapOrdered(t.Context(), 3, tc.src, tc.fn) {
					if last != nil {
						t.Fatal("something came after the error")
					}
					if last = err; err == nil {
						good++
					}
				}
				if good != tc.want || !errors.Is(last, bad) {
					t.Errorf("%d good results and then %v, want %d and %v", good, last, tc.want, bad)
				}
			})
		})
	}
}

func TestMapOrderedStopsWhenTheLoopBreaksOrTheContextEnds(t *testing.T) {
	square := func(ctx context.Context, i int) (int, error) {
		select {
		case <-time.After(time.Millisecond):
			return i * i, nil
		case <-ctx.Done():
			return 0, ctx.Err()
		}
	}
	synctest.Test(t, func(t *testing.T) { // leaves no goroutine behind
		for _, err := range raster.MapOrdered(t.Context(), 3, ints(1000, nil), square) {
			if err != nil {
				t.Error(err)
			}
			break
		}
	})
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		n, last := 0, error(nil)
		for _, err := range raster.MapOrdered(ctx, 3, ints(1000, nil), square) {
			if n++; n == 5 {
				cancel()
			}
			last = err
		}
		if !errors.Is(last, context.Canceled) || n > 10 {
			t.Errorf("after %d results: %v", n, last)
		}
	})
}

func TestMapOrderedWithStartsEachWorkerOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var starts atomic.Int64
		start := func() func(context.Context, int) (int, error) {
			starts.Add(1)
			buf := make([]int, 1) // a race detector would see it shared
			return func(_ context.Context, i int) (int, error) {
				buf[0] = i
				time.Sleep(time.Millisecond)
				return buf[0], nil
			}
		}
		want := 0
		for v, err := range raster.MapOrderedWith(t.Context(), 4, ints(64, nil), start) {
			if err != nil || v != want {
				t.Fatalf("got %d, %v, want %d", v, err, want)
			}
			want++
		}
		if starts.Load() != 4 || want != 64 {
			t.Errorf("%d starts, %d results", starts.Load(), want)
		}
	})
}

func TestTilesCoverEveryPixelOnce(t *testing.T) {
	for _, tc := range []struct{ cols, rows, side int }{{1, 1, 16}, {16, 32, 16}, {17, 33, 16}, {100, 7, 3}, {0, 5, 4}} {
		seen := make([]int, tc.cols*tc.rows)
		for w := range raster.Tiles(tc.cols, tc.rows, tc.side) {
			for r := w.Row; r < w.Row+w.Rows; r++ {
				for c := w.Col; c < w.Col+w.Cols; c++ {
					seen[r*tc.cols+c]++
				}
			}
		}
		for i, n := range seen {
			if n != 1 {
				t.Fatalf("%+v: pixel %d is covered %d times", tc, i, n)
			}
		}
	}
}

func TestTilesRunByRows(t *testing.T) {
	got := slices.Collect(raster.Tiles(3, 3, 2))
	want := []grid.Window{
		{Col: 0, Row: 0, Cols: 2, Rows: 2},
		{Col: 2, Row: 0, Cols: 1, Rows: 2},
		{Col: 0, Row: 2, Cols: 2, Rows: 1},
		{Col: 2, Row: 2, Cols: 1, Rows: 1},
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	for range raster.Tiles(100, 100, 1) {
		break
	}
	n := 0
	for _, err := range raster.Of(raster.Tiles(4, 4, 2)) {
		if n++; err != nil {
			t.Fatal(err)
		}
	}
	if n != 4 {
		t.Errorf("Of gave %d items of 4", n)
	}
}
