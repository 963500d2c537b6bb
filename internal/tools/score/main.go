// Command score runs stages 4 to 6 on invented scenes whose truth is known and
// prints how well they see, beside general-purpose rules, as the page
// docs/methods/score.md.
//
// Parameters are chosen on odd seeds (-seed-from 1001); the page is of even ones.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"sync"

	"bittern/internal/norm"
	"bittern/internal/question"
	"bittern/internal/register"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// options are the command line's.
type options struct {
	cache string
	class string
	seed  uint64 // only this one; 0 for all
	first uint64 // seed of the first scene; even for the page
	more  string // first seeds of further sets of scenes, commas between them, for their means
	truth bool   // use the true structure instead of finding it
	draw  string
	page  string // folder for the table of scenes and their pictures; nothing is scored then
	quick bool   // no baselines
	kept  bool   // only scenes whose summaries the cache has
	learn string // folder for the features that bound.py learns from; nothing is scored then
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.StringVar(&o.cache, "cache", "", "folder that keeps the summaries between runs; none when empty")
	flag.StringVar(&o.class, "class", "", "classes to run, comma between them; all when empty")
	flag.Uint64Var(&o.seed, "seed", 0, "the one seed to run; all when 0")
	flag.Uint64Var(&o.first, "seed-from", 1002, "seed of the first scene: odd ones are for choosing parameters")
	flag.StringVar(&o.more, "more", "", "first seeds of further sets of scenes, comma between them: the page then has the means over all")
	flag.BoolVar(&o.truth, "true-structure", false, "leave out what the truth says instead of finding it")
	flag.BoolVar(&o.quick, "quick", false, "leave the baselines out")
	flag.BoolVar(&o.kept, "cached", false, "only scenes whose summaries are in the cache")
	flag.StringVar(&o.draw, "draw", "", "folder for a picture of each scene with truth and suspects")
	flag.StringVar(&o.learn, "features", "", "folder for what bound.py learns from, instead of scoring")
	flag.StringVar(&o.page, "scenes", "", "folder for the table of scenes and a small picture of each, instead of scoring")
	flag.Parse()
	if err := run(ctx, o); err != nil {
		fmt.Fprintln(os.Stderr, "score:", err)
		stop()
		os.Exit(1)
	}
}

func run(ctx context.Context, o options) error {
	if o.page != "" {
		return writeScenes(ctx, o.page, o.first)
	}
	t, missing, err := scoreSet(ctx, o, o.first)
	if err != nil || o.learn != "" {
		return err
	}
	more, err := scoreMore(ctx, o)
	if err != nil {
		return err
	}
	photos, err := realPictures(ctx)
	if err != nil {
		return fmt.Errorf("the real pictures: %w", err)
	}
	t.print(os.Stdout, o.first, missing, photos)
	if len(more) > 0 {
		append(t, more...).printMore(os.Stdout, o.more)
	}
	return nil
}

// scoreSet scores the scenes that are asked for of the set that begins at a seed. Missing ones are not in the cache.
func scoreSet(ctx context.Context, o options, first uint64) (t table, missing int, err error) {
	var chosen []row
	for _, r := range append(rows(first), otherQuestions(first)...) {
		if (o.class == "" || slices.Contains(strings.Split(o.class, ","), r.class)) && (o.seed == 0 || o.seed == r.seed) {
			chosen = append(chosen, r)
		}
	}
	all := len(chosen)
	if o.kept {
		if chosen, err = onlyKept(chosen, o.cache); err != nil {
			return nil, 0, err
		}
	}
	if len(chosen) == 0 {
		return nil, 0, fmt.Errorf("no scene of class %q: the classes are those of docs/scenes", o.class)
	}
	t, err = scoreAll(ctx, chosen, o)
	return t, all - len(chosen), err
}

// scoreMore scores the further sets, without baselines.
func scoreMore(ctx context.Context, o options) (table, error) {
	if o.more == "" {
		return nil, nil
	}
	o.quick = true
	var out table
	for _, word := range strings.Split(o.more, ",") {
		first, err := strconv.ParseUint(word, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("%q is no seed: -more takes numbers, comma between them", word)
		}
		t, _, err := scoreSet(ctx, o, first)
		if err != nil {
			return nil, err
		}
		out = append(out, t...)
	}
	return out, nil
}

// scoreAll scores the rows, two at a time, and keeps their order.
func scoreAll(ctx context.Context, chosen []row, o options) (table, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	const workers = 2
	out, errs := make(table, len(chosen)), make([]error, len(chosen))
	var wg sync.WaitGroup
	var at sync.Mutex
	next := 0
	for range workers {
		wg.Go(func() {
			for ctx.Err() == nil {
				at.Lock()
				k := next
				next++
				at.Unlock()
				if k >= len(chosen) {
					return
				}
				if out[k], errs[k] = scoreRow(ctx, chosen[k], o); errs[k] != nil {
					cancel()
					return
				}
				fmt.Fprintln(os.Stderr, out[k].brief())
			}
		})
	}
	wg.Wait()
	for k, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("%s %v %d: %w", chosen[k].class, chosen[k].sensor, chosen[k].seed, err)
		}
	}
	return out, ctx.Err()
}

// scoreRow makes a day and runs the chain on it.
func scoreRow(ctx context.Context, r row, o options) (line, error) {
	d, err := newDay(ctx, r, o.cache)
	if err != nil {
		return line{}, err
	}
	out := line{row: r, acres: d.acres}
	if o.learn != "" {
		return out, writeFeatures(o.learn, d)
	}
	if !o.quick && r.class == r.drawn() {
		out.baselines = compareBaselines(d)
	}
	q, ok := question.Named(r.question)
	if !ok {
		return out, fmt.Errorf("there is no question %q", r.question)
	}
	if !q.Fits(d.Summary.Bands) {
		return out, nil
	}
	out.asked = true
	l := trueLayout(d)
	if !o.truth {
		if l, err = structure.Find(ctx, d.Summary, structure.Boundary{Polygon: d.Boundary}, q.Structure()); err != nil {
			return line{}, fmt.Errorf("structure: %w", err)
		}
	}
	f, dep, err := out.seek(ctx, d, l, q)
	if err != nil {
		return line{}, err
	}
	out.result = judge(d, l, dep, f)
	if o.draw != "" {
		if err := draw(o.draw, d, l, dep, f); err != nil {
			return line{}, err
		}
	}
	return out, nil
}

// seek runs norm, skips and suspects as a day does. Skips are sought with the
// passes given where the scene has them, and blind beside it.
func (out *line) seek(ctx context.Context, d *day, l *structure.Layout, q question.Question) (*suspect.Finding, *norm.Departure, error) {
	p := q.Norm(1)
	for _, t := range d.Truth.Trends {
		if t.Inlet { // the grower has marked it
			p.Inlets = append(p.Inlets, t.At)
		}
	}
	p, dep, err := findDeparture(ctx, d, l, q, p)
	if err != nil {
		return nil, nil, fmt.Errorf("norm: %w", err)
	}
	ask := q.Suspect(p, d.days)
	if q.Treated {
		blind, err := seekSkips(ctx, d, l, dep, false)
		if err != nil {
			return nil, nil, err
		}
		given := blind
		if _, ok := d.passes(); ok {
			if given, err = seekSkips(ctx, d, l, dep, true); err != nil {
				return nil, nil, err
			}
		}
		out.given, out.blind, ask.Skips = judgeSkips(d, given), judgeSkips(d, blind), given.Ground
	}
	f, err := suspect.Find(ctx, d.Summary, l, dep, ask, nil)
	if err != nil {
		return nil, nil, fmt.Errorf("suspects: %w", err)
	}
	return f, dep, nil
}

// findDeparture runs norm as a day does: with the flight before held beside the
// day's where there is one. It returns what the question asks of norm then.
func findDeparture(ctx context.Context, d *day, l *structure.Layout, q question.Question, p norm.Parameters) (norm.Parameters, *norm.Departure, error) {
	if d.Before == nil {
		dep, err := norm.Find(ctx, d.Summary, l, p)
		return p, dep, err
	}
	shift, err := register.Find(ctx, d.Summary, d.Before)
	if err != nil {
		return p, nil, fmt.Errorf("the shift of the flight before: %w", err)
	}
	moved := register.Moved(d.Before, shift)
	p, beside := q.Beside(p, moved)
	if q.Treated && !beside {
		if p.Then, err = norm.Before(ctx, moved, l, p); err != nil {
			return p, nil, fmt.Errorf("the flight before: %w", err)
		}
	}
	dep, err := norm.Find(ctx, d.Summary, l, p)
	return p, dep, err
}
