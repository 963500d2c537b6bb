//go:build unix

// Bench measures the pass over the pixels, and the stages up to suspects,
// beside GDAL's bare read of the same file, in turns, and prints the ratios of
// processor time and of wall time. It writes them with a plot to docs/methods.
//
//	go run ./internal/tools/bench --out docs/methods
//
// Pictures are invented once and kept in the folder that --cache names.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strconv"
	"strings"
)

// settings are the options of the command line.
type settings struct {
	acres      float64 // of the field that the budgets are for
	codecAcres float64 // of the field in other compressions
	pixelM     float64
	runs       int
	workers    int
	cache      string
	out        string    // folder for the page and its plot; none when empty
	only       string    // part of the names of the rows to measure; all when empty
	sizes      []float64 // acres of the plot
	baseAcres  float64   // of the picture whose tiles the plot's repeat
	print      io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	err := command(ctx, os.Args[1:], os.Stdout)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func command(ctx context.Context, args []string, out io.Writer) error {
	s := settings{print: out}
	f := flag.NewFlagSet("bench", flag.ContinueOnError)
	f.Float64Var(&s.acres, "acres", 160, "size of the invented field; the budgets are for 160")
	f.Float64Var(&s.codecAcres, "codec-acres", 30, "size of the field that is stored in other ways, and that the chain of tools gets")
	f.Float64Var(&s.pixelM, "pixel", 0.05, "side of a pixel, m")
	f.IntVar(&s.runs, "runs", 5, "runs of each, in turns")
	f.IntVar(&s.workers, "workers", 0, "goroutines that decode; 0 is one for each processor")
	f.StringVar(&s.cache, "cache", "bench", "folder that keeps the pictures")
	f.StringVar(&s.out, "out", "", "folder to write speed.md and speed.svg to")
	f.StringVar(&s.only, "only", "", "measure only rows whose name holds this text; writes no page")
	sizes := f.String("sizes", "16,50,160,500,1600", "acres of the plot, comma between them")
	quick := f.Bool("quick", false, "small pictures and one run: takes seconds, measures nothing worth quoting")
	pass := f.String("pass", "", "measure one run over the case kept in this folder, and print it as JSON")
	picture := f.String("picture", pictureFile, "with --pass: the picture in that folder")
	all := f.Bool("all", false, "with --pass: read every tile, near the field or not")
	suspects := f.Bool("suspects", false, "with --pass: go on to suspects")
	profile := f.String("profile", "", "with --pass: write a profile of processor time to this file")
	heap := f.String("heap", "", "with --pass: write a profile of what was allocated to this file")
	invented := f.Float64("invent", 0, "invent a field of so many acres into the cache, and print its folder")
	askew := f.Float64("askew", 0, "with --invent: degrees by which it lies askew in its picture")
	colour := f.Bool("colour", false, "with --invent: a colour picture of 8 bits")
	base := f.String("repeat", "", "repeat the tiles of the picture in this folder for --acres, and print the folder")
	f.Float64Var(&s.baseAcres, "base-acres", 16, "size of the field whose tiles the plot's pictures repeat")
	if err := f.Parse(args); err != nil {
		return err
	}
	switch {
	case *invented > 0:
		return s.printed(s.invent(*invented, *askew, *colour))
	case *base != "":
		return s.printed(s.repeat(*base, s.acres))
	case *pass != "":
		return measure(ctx, task{
			dir: *pass, picture: *picture, all: *all, suspects: *suspects,
			workers: s.workers, profile: *profile, heap: *heap,
		})
	}
	if *quick {
		s.acres, s.codecAcres, s.baseAcres, s.pixelM, s.runs, *sizes = 1, 1, 1, 0.08, 1, "1,2"
	}
	for _, v := range strings.Split(*sizes, ",") {
		acres, err := strconv.ParseFloat(v, 64)
		if err != nil || !(acres > 0) {
			return fmt.Errorf("--sizes holds %q", v)
		}
		s.sizes = append(s.sizes, acres)
	}
	return compare(ctx, s)
}

func (s settings) printed(folder string, err error) error {
	if err == nil {
		_, err = fmt.Fprintln(s.print, folder)
	}
	return err
}

// compare measures everything, prints it, and writes the page.
func compare(ctx context.Context, s settings) error {
	r := &report{settings: s, machine: machineOf(ctx)}
	fmt.Fprintln(s.print, headings())
	for _, c := range s.cases() {
		if !strings.Contains(c.name, s.only) {
			continue
		}
		rows, err := s.run(ctx, c)
		if err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
		for _, row := range rows {
			fmt.Fprintln(s.print, row.line())
		}
		r.rows = append(r.rows, rows...)
	}
	if strings.Contains(chainName, s.only) {
		var err error
		if r.chain, err = s.chain(ctx); err != nil {
			return fmt.Errorf("%s: %w", chainName, err)
		}
		fmt.Fprintln(s.print, r.chain.line())
	}
	if strings.Contains(growthName, s.only) {
		var err error
		if r.growth, err = s.growth(ctx); err != nil {
			return fmt.Errorf("%s: %w", growthName, err)
		}
		for _, p := range r.growth.points {
			fmt.Fprintln(s.print, p.line())
		}
	}
	if s.out == "" || s.only != "" {
		return nil
	}
	return r.write()
}
