//go:build unix

package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	_ "embed"
)

const chainName = "index, average, spread, threshold with GDAL and SciPy"

//go:embed threshold.py
var threshold string

// A chain is the general-purpose tools that give what the cells stage and a
// plain threshold give, beside the cells stage.
type chain struct {
	acres float64
	steps []step
	gdal  []took // all steps of a run together
	ours  []took // the cells stage
}

// A step is one program of the chain.
type step struct {
	what string
	args []string
	took []took
}

// chainSteps are the programs over a picture of green, red, red edge and near
// infrared, writing into dir. Whole numbers stay whole but for the index.
func chainSteps(picture, dir string) []step {
	in := func(name string) string { return filepath.Join(dir, name) }
	warp := func(how, from, to string) []string {
		return []string{
			"gdalwarp", "-q", "-overwrite", "-multi", "-wo", "NUM_THREADS=ALL_CPUS", "-wm", "512", "-ot", "Float32",
			"-r", how, "-tr", fmt.Sprint(cellM), fmt.Sprint(cellM), from, in(to),
		}
	}
	return []step{
		{what: "index, gdal_calc.py", args: []string{
			"gdal_calc.py", "--quiet", "--overwrite", "--type=Float32",
			"-A", picture, "--A_band=4", "-B", picture, "--B_band=2", "--outfile=" + in("index.tif"),
			"--calc=(A.astype(float32)-B)/(A.astype(float32)+B+1e-9)",
		}},
		{what: "bands, gdalwarp -r average", args: warp("average", picture, "mean.tif")},
		{what: "bands, gdalwarp -r rms", args: warp("rms", picture, "rms.tif")},
		{what: "index, gdalwarp -r average", args: warp("average", in("index.tif"), "cells.tif")},
		{what: "median, threshold, opening, label with SciPy", args: []string{python, "-c", threshold, in("cells.tif")}},
	}
}

// chain measures the tools and the cells stage in turns.
func (s settings) chain(ctx context.Context) (c *chain, err error) {
	dir, err := s.prepare(ctx, s.codecAcres, 0, false)
	if err != nil {
		return nil, err
	}
	scratch, err := os.MkdirTemp(s.cache, "chain-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	c = &chain{acres: s.codecAcres, steps: chainSteps(filepath.Join(dir, pictureFile), scratch)}
	for range s.runs {
		var sum took
		for i := range c.steps {
			t, err := timed(exec.CommandContext(ctx, c.steps[i].args[0], c.steps[i].args[1:]...))
			if err != nil {
				return nil, err
			}
			c.steps[i].took = append(c.steps[i].took, t)
			sum.CPUS += t.CPUS
			sum.WallS += t.WallS
			sum.PeakMiB = max(sum.PeakMiB, t.PeakMiB)
		}
		o, err := s.runSelf(ctx, task{dir: dir, picture: pictureFile, all: true})
		if err != nil {
			return nil, err
		}
		c.gdal, c.ours = append(c.gdal, sum), append(c.ours, o.Cells)
	}
	return c, nil
}

// share is one part in how many of the chain's our stage takes.
func (c *chain) share(of func(took) float64) float64 { return median(c.gdal, of) / median(c.ours, of) }

func (c *chain) line() string {
	return fmt.Sprintf("%s, %g acres: cpu %.2f s and ours %.2f, 1/%.1f; wall 1/%.1f; %.0f MiB and ours %.0f", chainName, c.acres,
		median(c.gdal, cpu), median(c.ours, cpu), c.share(cpu), c.share(wall), median(c.gdal, peak), median(c.ours, peak))
}
