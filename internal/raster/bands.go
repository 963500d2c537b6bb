package raster

import "sync"

// Bands cuts n rows into as many bands as there are workers, calls fn for each
// at the same time, and returns when all are done. Together they hold every
// row once. fn must write only what its rows own; then the number of workers
// changes nothing. Fewer than one worker counts as one.
func Bands(workers, n int, fn func(from, to int)) {
	workers = max(1, min(workers, n))
	if workers == 1 {
		fn(0, n)
		return
	}
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() { fn(n*w/workers, n*(w+1)/workers) })
	}
	wg.Wait()
}

// Together calls tasks that write nothing in common, up to workers at the same
// time, and returns when all are done.
func Together(workers int, tasks ...func()) {
	Bands(workers, len(tasks), func(from, to int) {
		for _, task := range tasks[from:to] {
			task()
		}
	})
}
