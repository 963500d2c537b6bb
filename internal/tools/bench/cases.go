//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
)

// A budget is a ratio to GDAL's bare read, or memory, that a row must not
// pass, and one to aim at; 0 where none is set.
type budget struct{ most, aim float64 }

// A picked case is one picture measured in one way.
type picked struct {
	name     string
	acres    float64
	askewDeg float64
	all      bool   // read every tile, near the field or not
	suspects bool   // go on to suspects
	stored   string // key of variants; empty for the picture as invented
	cells    budget
	to       budget // to suspects
	smallest budget // smallest seen alone
	memory   bool   // hold the peaks to the budgets of memory, too
}

// The budgets of memory, MiB, at 160 acres.
var (
	memoryCells    = budget{300, 240}
	memorySuspects = budget{500, 350}
)

// stagesCPU is the budget of stages 4 to 6 alone, CPU seconds at 160 acres.
var stagesCPU = budget{1.5, 0.8}

// cases are the rows of the table.
func (s settings) cases() []picked {
	const first = "Deflate, predictor 2, tiles of 512, 4 x 16 bits"
	return []picked{
		{name: first + ", every tile decoded", acres: s.acres, all: true, suspects: true, cells: budget{1.45, 1.25}, to: budget{1.75, 1.45}, smallest: budget{1, 1}},
		{name: first + ", tiles far from the field skipped", acres: s.acres, suspects: true, memory: true},
		{name: first + ", 20 degrees askew, tiles skipped", acres: s.acres, askewDeg: 20, suspects: true, cells: budget{1.10, 0.85}, to: budget{1.35, 1.05}},
		{name: first + ", 20 degrees askew, every tile decoded", acres: s.acres, askewDeg: 20, all: true},
		{name: "Deflate, predictor 2, strips of one row", acres: s.codecAcres, all: true, stored: "strips", cells: budget{1.45, 1.2}},
		{name: "Deflate, no predictor, tiles", acres: s.codecAcres, all: true, stored: "plain", cells: budget{1.65, 1.35}},
		{name: "Deflate as GDAL writes it, predictor 2, tiles", acres: s.codecAcres, all: true, stored: "deflate"},
		{name: "LZW, predictor 2, tiles", acres: s.codecAcres, all: true, stored: "lzw", cells: budget{1.3, 1.15}},
		{name: "ZSTD, predictor 2, tiles", acres: s.codecAcres, all: true, stored: "zstd", cells: budget{1.4, 1.2}},
		{name: "not compressed, tiles", acres: s.codecAcres, all: true, stored: "none", cells: budget{2.0, 1.3}},
		{name: "JPEG colour, 3 x 8 bits, tiles", acres: s.codecAcres, all: true, stored: "jpeg", cells: budget{4, 3}},
	}
}

// run measures a case in turns with GDAL.
func (s settings) run(ctx context.Context, c picked) ([]row, error) {
	dir, err := s.prepare(ctx, c.acres, c.askewDeg, c.stored == "jpeg")
	if err != nil {
		return nil, err
	}
	picture := pictureFile
	if c.stored != "" {
		if picture, err = store(ctx, dir, c.stored); err != nil {
			return nil, err
		}
	}
	info, err := os.Stat(filepath.Join(dir, picture))
	if err != nil {
		return nil, err
	}
	var gdal []took
	var ours, to, stages, smallest []took
	for range s.runs {
		g, err := runGDAL(ctx, filepath.Join(dir, picture))
		if err != nil {
			return nil, err
		}
		o, err := s.runSelf(ctx, task{dir: dir, picture: picture, all: c.all, suspects: c.suspects})
		if err != nil {
			return nil, err
		}
		gdal, ours = append(gdal, g), append(ours, o.Cells)
		if o.Suspects != nil {
			to, smallest = append(to, *o.Suspects), append(smallest, *o.Smallest)
			stages = append(stages, took{CPUS: o.Suspects.CPUS - o.Cells.CPUS, WallS: o.Suspects.WallS - o.Cells.WallS})
		}
	}
	about := row{acres: c.acres, mpx: ours[0].ReadMpx, fileMiB: float64(info.Size()) / (1 << 20), gdal: gdal}
	cells := about
	cells.name, cells.ours, cells.ratio = c.name, ours, c.cells
	rows := []row{cells}
	if c.memory {
		rows[0].memory = memoryCells
	}
	if to != nil {
		about.name, about.ours, about.stages, about.ratio = "- imagery to suspects", to, stages, c.to
		if c.memory {
			about.memory = memorySuspects
		}
		rows = append(rows, about)
	}
	if c.smallest.most > 0 {
		about.name, about.ours, about.stages, about.ratio, about.memory = "- smallest seen alone", smallest, nil, c.smallest, budget{}
		rows = append(rows, about)
	}
	return rows, nil
}

// A row is one line of the table.
type row struct {
	name          string
	acres         float64
	mpx, fileMiB  float64
	gdal, ours    []took
	stages        []took // of ours, stages 4 to 6 alone; nil where they were not run
	ratio, memory budget
}

func cpu(t took) float64  { return t.CPUS }
func wall(t took) float64 { return t.WallS }
func peak(t took) float64 { return t.PeakMiB }

func headings() string {
	return fmt.Sprintf("%-72s %6s %6s %8s %8s %7s %7s %7s %6s %6s %7s", "medians, and the least, of runs in turns; s and MiB",
		"acres", "Mpx", "gdal cpu", "ours", "cpu x", "least x", "wall x", "most", "aim", "MiB")
}

func (r row) line() string {
	most, aim := "", ""
	if r.ratio.most > 0 {
		most, aim = fmt.Sprintf("%.2f", r.ratio.most), fmt.Sprintf("%.2f", r.ratio.aim)
	}
	return fmt.Sprintf("%-72s %6.3g %6.0f %8.2f %8.2f %7.2f %7.2f %7.2f %6s %6s %7.0f", r.name, r.acres, r.mpx,
		median(r.gdal, cpu), median(r.ours, cpu), r.times(cpu), least(r.ours, cpu)/least(r.gdal, cpu), r.times(wall), most, aim, median(r.ours, peak))
}

// times is the ratio of the medians.
func (r row) times(of func(took) float64) float64 { return median(r.ours, of) / median(r.gdal, of) }

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
