//go:build unix

// Bench measures the pass over the pixels beside GDAL's bare read of the same
// file, in turns, and prints the ratios of processor time and of wall time.
//
//	go run ./internal/tools/bench --acres 160
//
// Pictures are invented once and kept in the folder that --cache names.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	_ "embed"
)

//go:embed gdal_read.py
var gdalRead string

// settings are the options of the command line.
type settings struct {
	acres, pixelM float64
	runs, workers int
	cache         string
}

// took is what one run took; the reader prints the same as JSON.
type took struct {
	WallS   float64 `json:"wall_s"`
	CPUS    float64 `json:"cpu_s"`
	PeakMiB float64 `json:"peak_mib"`
	ReadMpx float64 `json:"read_mpx"`
}

// otherTook is what another reader may print instead.
type otherTook struct {
	UserS  float64 `json:"user_s"`
	SysS   float64 `json:"sys_s"`
	RSSMiB float64 `json:"rss_mib"`
}

func main() {
	var s settings
	flag.Float64Var(&s.acres, "acres", 30, "size of the invented field; the budgets are for 160")
	flag.Float64Var(&s.pixelM, "pixel", 0.05, "side of a pixel, m")
	flag.IntVar(&s.runs, "runs", 5, "runs of each, in turns")
	flag.IntVar(&s.workers, "workers", 0, "goroutines that decode; 0 is one for each processor")
	flag.StringVar(&s.cache, "cache", "bench", "folder that keeps the pictures")
	pass := flag.String("pass", "", "measure one pass over the case kept in this folder, and print it as JSON")
	all := flag.Bool("all", false, "with --pass: read every tile, near the field or not")
	flag.Parse()
	ctx := context.Background()
	var err error
	if *pass != "" {
		err = measure(ctx, *pass, *all, s.workers)
	} else {
		err = compare(ctx, s)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// compare makes the pictures and prints the table.
func compare(ctx context.Context, s settings) error {
	fmt.Printf("%-46s %8s %8s %7s %7s %8s %8s\n", "medians and least of runs in turns; s and MiB", "gdal cpu", "cells", "cpu x", "least x", "wall x", "MiB")
	for _, c := range []struct {
		name  string
		askew float64
		all   bool
	}{
		{"square, every tile decoded", 0, true},
		{"square, tiles far from the field skipped", 0, false},
		{"20 degrees askew, tiles far away skipped", 20, false},
	} {
		dir, err := s.prepare(c.askew)
		if err != nil {
			return err
		}
		var gdal, ours []took
		for range s.runs {
			g, err := runGDAL(ctx, filepath.Join(dir, pictureFile))
			if err != nil {
				return err
			}
			o, err := s.runSelf(ctx, dir, c.all)
			if err != nil {
				return err
			}
			gdal, ours = append(gdal, g), append(ours, o)
		}
		show(fmt.Sprintf("%s (%.0f Mpx)", c.name, ours[0].ReadMpx), gdal, ours)
	}
	return nil
}

// show prints one line of the table.
func show(name string, gdal, ours []took) {
	cpu := func(t took) float64 { return t.CPUS }
	wall := func(t took) float64 { return t.WallS }
	fmt.Printf("%-46s %8.2f %8.2f %7.2f %7.2f %8.2f %8.0f\n", name,
		median(gdal, cpu), median(ours, cpu), median(ours, cpu)/median(gdal, cpu),
		least(ours, cpu)/least(gdal, cpu), median(ours, wall)/median(gdal, wall),
		median(ours, func(t took) float64 { return t.PeakMiB }))
}

func median(runs []took, of func(took) float64) float64 {
	v := values(runs, of)
	return v[len(v)/2]
}

func least(runs []took, of func(took) float64) float64 { return values(runs, of)[0] }

func values(runs []took, of func(took) float64) []float64 {
	v := make([]float64, len(runs))
	for i, t := range runs {
		v[i] = of(t)
	}
	slices.Sort(v)
	return v
}

// runGDAL reads a picture with GDAL in a process of its own: by the program
// that BITTERN_GDAL_READ names, else by ours.
func runGDAL(ctx context.Context, picture string) (took, error) {
	if other := os.Getenv("BITTERN_GDAL_READ"); other != "" {
		return run(exec.CommandContext(ctx, other, picture))
	}
	return run(exec.CommandContext(ctx, "/usr/bin/python3", "-c", gdalRead, picture))
}

// runSelf measures the pass in a process of its own, so that its memory is
// its own.
func (s settings) runSelf(ctx context.Context, dir string, all bool) (took, error) {
	self, err := os.Executable()
	if err != nil {
		return took{}, err
	}
	args := []string{"--pass", dir, "--workers", fmt.Sprint(s.workers)}
	if all {
		args = append(args, "--all")
	}
	return run(exec.CommandContext(ctx, self, args...))
}

func run(cmd *exec.Cmd) (t took, err error) {
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return t, fmt.Errorf("%s: %w", strings.Join(cmd.Args[:1], " "), err)
	}
	if err := json.Unmarshal(out, &t); err != nil {
		return t, fmt.Errorf("%s printed %q: %w", cmd.Args[0], out, err)
	}
	if t.CPUS == 0 {
		var o otherTook
		if err := json.Unmarshal(out, &o); err != nil {
			return t, fmt.Errorf("%s printed %q: %w", cmd.Args[0], out, err)
		}
		t.CPUS, t.PeakMiB = o.UserS+o.SysS, o.RSSMiB
	}
	return t, nil
}
