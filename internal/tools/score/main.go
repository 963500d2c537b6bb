// Command score runs stages 4 to 6 on invented scenes whose truth is known and
// prints how well they see, as the table of docs/methods/score.md.
//
// Parameters were chosen on odd seeds; the table is of even ones.
package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"

	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// options are the command line's.
type options struct {
	cache string
	only  string
	first uint64 // seed of the first scene; even for the table
	truth bool   // use the true structure instead of finding it
	draw  string
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.StringVar(&o.cache, "cache", "", "folder that keeps the summaries between runs; none when empty")
	flag.StringVar(&o.only, "only", "", "classes to run, comma between them; all when empty")
	flag.Uint64Var(&o.first, "first", 1002, "seed of the first scene: odd ones are for choosing parameters")
	flag.BoolVar(&o.truth, "true-structure", false, "leave out what the truth says instead of finding it")
	flag.StringVar(&o.draw, "draw", "", "folder for a picture of each scene with truth and suspects")
	flag.Parse()
	if err := run(ctx, o); err != nil {
		fmt.Fprintln(os.Stderr, "score:", err)
		stop()
		os.Exit(1)
	}
}

func run(ctx context.Context, o options) error {
	t := table{}
	for _, r := range rows(o.first) {
		if o.only != "" && !strings.Contains(","+o.only+",", ","+r.class+",") {
			continue
		}
		d, err := newDay(ctx, r, o.cache)
		if err != nil {
			return fmt.Errorf("%s %v %d: %w", r.class, r.sensor, r.seed, err)
		}
		line, err := scoreDay(ctx, d, o)
		if err != nil {
			return fmt.Errorf("%s %v %d: %w", r.class, r.sensor, r.seed, err)
		}
		t = append(t, line)
		fmt.Fprintln(os.Stderr, line.brief())
	}
	a, err := pictureAgreement(ctx, filepath.Join(cmp.Or(os.Getenv("BITTERN_TESTDATA"), filepath.Join("..", "shared", "data")), "weed-tiles"))
	if errors.Is(err, os.ErrNotExist) {
		a, err = nil, nil
	}
	if err != nil {
		return fmt.Errorf("the real picture: %w", err)
	}
	t.print(os.Stdout, a)
	return nil
}

// scoreDay runs the chain on one day.
func scoreDay(ctx context.Context, d *day, o options) (line, error) {
	l := trueLayout(d)
	if !o.truth {
		var err error
		if l, err = structure.Find(ctx, d.Summary, structure.Boundary{Polygon: d.Boundary}, structure.Options{}); err != nil {
			return line{}, fmt.Errorf("structure: %w", err)
		}
	}
	f, dep, err := seek(ctx, d, l)
	if err != nil {
		return line{}, err
	}
	out := line{row: d.row, acres: d.acres, result: judge(d, f), otsu: otsu(d)}
	out.looked = lookedPart(d, l)
	out.rule, out.at = bestRule(d)
	if o.draw != "" {
		if err := draw(o.draw, d, l, dep, f); err != nil {
			return line{}, err
		}
	}
	return out, nil
}

// seek runs norm and suspects.
func seek(ctx context.Context, d *day, l *structure.Layout) (*suspect.Finding, *norm.Departure, error) {
	dep, err := norm.Find(ctx, d.Summary, l, norm.Defaults())
	if err != nil {
		return nil, nil, fmt.Errorf("norm: %w", err)
	}
	f, err := suspect.Find(ctx, d.Summary, l, dep, suspect.Defaults(), nil)
	if err != nil {
		return nil, nil, fmt.Errorf("suspects: %w", err)
	}
	return f, dep, nil
}
