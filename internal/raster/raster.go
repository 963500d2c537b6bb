// Package raster walks rasters: which tiles cover one, and a bounded pool of
// workers that hands results on in the order of the work, so that a run on
// one core and a run on sixteen give the same bytes.
package raster

import (
	"context"
	"iter"
	"sync"

	"bittern/internal/grid"
)

// Tiles returns the windows of side x side pixels that cover a cols x rows
// raster, left to right and then top to bottom. Windows at the right and the
// bottom edge are cut to the raster; together they cover every pixel once.
//
// Tiles panics when side is not positive: that is a defect of the caller,
// never a property of a file.
func Tiles(cols, rows, side int) iter.Seq[grid.Window] {
	if side <= 0 {
		panic("raster: the side of a tile must be positive")
	}
	return func(yield func(grid.Window) bool) {
		for row := 0; row < rows; row += side {
			for col := 0; col < cols; col += side {
				w := grid.Window{Col: col, Row: row, Cols: min(side, cols-col), Rows: min(side, rows-row)}
				if !yield(w) {
					return
				}
			}
		}
	}
}

// Of turns a sequence that cannot fail into one that could, for MapOrdered.
func Of[T any](seq iter.Seq[T]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for v := range seq {
			if !yield(v, nil) {
				return
			}
		}
	}
}

// MapOrdered calls fn on the items of src from several goroutines, at most
// workers at a time, and yields what it returns in the order of src.
//
// No more than workers results exist at once, the one being consumed
// included: a slow consumer holds the workers up. The first error, in the
// order of src, whether from src, from fn or from ctx, is yielded last and
// ends the sequence. All goroutines have returned when the range loop ends,
// also when it ends early. src is ranged over by a goroutine of its own, and
// only by that one. Fewer than one worker counts as one.
func MapOrdered[In, Out any](
	ctx context.Context, workers int, src iter.Seq2[In, error],
	fn func(context.Context, In) (Out, error),
) iter.Seq2[Out, error] {
	return MapOrderedWith(ctx, workers, src, func() func(context.Context, In) (Out, error) { return fn })
}

// MapOrderedWith is MapOrdered for work that needs buffers of its own: each
// worker calls start once, before its first item, and then the function that
// start returned, one item after another.
func MapOrderedWith[In, Out any](
	ctx context.Context, workers int, src iter.Seq2[In, error],
	start func() func(context.Context, In) (Out, error),
) iter.Seq2[Out, error] {
	return func(yield func(Out, error) bool) {
		work, cancel := context.WithCancel(ctx)
		p := &pool[In, Out]{
			order: make(chan chan result[Out], max(workers, 1)-1),
			jobs:  make(chan job[In, Out]),
		}
		defer p.wg.Wait()
		defer cancel()
		p.wg.Go(func() { p.feed(work, src) })
		for range max(workers, 1) {
			p.wg.Go(func() { p.work(work, start) })
		}
		for slot := range p.order {
			r := <-slot
			if !yield(r.out, r.err) || r.err != nil {
				return
			}
		}
		if err := ctx.Err(); err != nil {
			var zero Out
			yield(zero, err)
		}
	}
}

type result[Out any] struct {
	out Out
	err error
}

// A job is one item and the slot that its result goes to. Slots hold one
// result, so that a worker never waits for the consumer.
type job[In, Out any] struct {
	in   In
	slot chan result[Out]
}

// A pool is one run of MapOrderedWith. The queue of slots, in the order of
// the source, is what bounds the results: the consumer holds one slot more
// than the queue does.
type pool[In, Out any] struct {
	order chan chan result[Out]
	jobs  chan job[In, Out]
	wg    sync.WaitGroup
}

// feed queues the items of src until it ends, fails, or ctx is done.
func (p *pool[In, Out]) feed(ctx context.Context, src iter.Seq2[In, error]) {
	defer close(p.jobs)
	defer close(p.order)
	for in, err := range src {
		slot := make(chan result[Out], 1)
		select {
		case p.order <- slot:
		case <-ctx.Done():
			return
		}
		if err != nil {
			slot <- result[Out]{err: err}
			return
		}
		select {
		case p.jobs <- job[In, Out]{in, slot}:
		case <-ctx.Done():
			slot <- result[Out]{err: ctx.Err()}
			return
		}
	}
}

// work takes jobs until there are no more. Every job gets its result, also
// when ctx is done, because the consumer may be waiting for it.
func (p *pool[In, Out]) work(ctx context.Context, start func() func(context.Context, In) (Out, error)) {
	var fn func(context.Context, In) (Out, error)
	for j := range p.jobs {
		if fn == nil {
			fn = start()
		}
		out, err := fn(ctx, j.in)
		j.slot <- result[Out]{out, err}
	}
}
