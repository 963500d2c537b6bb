//go:build unix

package main

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"syscall"
	"time"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/progress"
)

const (
	cellM   = 0.5
	aroundM = 20 // m of grid round the field
)

// measure runs the pass once, from opening the file to the summary, and
// prints what it took.
func measure(ctx context.Context, dir string, all bool, workers int) error {
	data, err := os.ReadFile(filepath.Join(dir, fieldFile))
	if err != nil {
		return err
	}
	var f field
	if err := json.Unmarshal(data, &f); err != nil {
		return err
	}
	start := time.Now()
	flight, err := imagery.Open(ctx, []string{filepath.Join(dir, pictureFile)}, imagery.Options{})
	if err != nil {
		return err
	}
	defer func() { _ = flight.Close() }() // read only
	opt := cells.Options{Workers: workers, MarginM: cells.Margin}
	if opt.Workers == 0 {
		opt.Workers = runtime.GOMAXPROCS(0)
	}
	ring := f.Ring
	if all {
		opt.MarginM, ring = -1, corners(flight.Files[0])
	}
	var read int64
	opt.Progress = func(e progress.Event) { read = e.Done }
	g := gridOver(ring, f.EPSG)
	s, err := cells.Pass(ctx, flight, g, insideOf(f.Ring, g), opt)
	if err != nil {
		return err
	}
	wall := time.Since(start)
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		return err
	}
	runtime.KeepAlive(s)
	return json.NewEncoder(os.Stdout).Encode(took{
		WallS: wall.Seconds(), CPUS: seconds(use.Utime) + seconds(use.Stime),
		PeakMiB: float64(use.Maxrss) / rssUnits(), ReadMpx: float64(read),
	})
}

func seconds(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }

// rssUnits is how many units of the peak memory make a MiB: kilobytes, but
// bytes on macOS.
func rssUnits() float64 {
	if runtime.GOOS == "darwin" {
		return 1 << 20
	}
	return 1 << 10
}

func corners(f *imagery.File) geo.Ring {
	w, h := float64(f.Image.Cols), float64(f.Image.Rows)
	return geo.Ring{f.At(0, 0), f.At(w, 0), f.At(w, h), f.At(0, h)}
}

// gridOver is the working grid over a ring and the ground round it.
func gridOver(r geo.Ring, epsg int) grid.Grid {
	lo, hi := r[0], r[0]
	for _, p := range r {
		lo = geo.Point{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = geo.Point{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	down := func(v float64) float64 { return math.Floor((v-aroundM)/cellM) * cellM }
	up := func(v float64) float64 { return math.Ceil((v+aroundM)/cellM) * cellM }
	return grid.Grid{
		EPSG: epsg, OriginX: down(lo.X), OriginY: up(hi.Y), CellM: cellM,
		Cols: int((up(hi.X) - down(lo.X)) / cellM), Rows: int((up(hi.Y) - down(lo.Y)) / cellM),
	}
}

// insideOf marks the cells whose centre lies in the ring: between every other
// pair of its crossings with the line of centres.
func insideOf(r geo.Ring, g grid.Grid) []bool {
	in := make([]bool, g.Len())
	for row := range g.Rows {
		y := g.Center(0, row).Y
		var cross []float64
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if (a.Y > y) != (b.Y > y) {
				cross = append(cross, a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X))
			}
		}
		slices.Sort(cross)
		for ; len(cross) >= 2; cross = cross[2:] {
			for col := range g.Cols {
				if x := g.Center(col, row).X; x >= cross[0] && x < cross[1] {
					in[g.Index(col, row)] = true
				}
			}
		}
	}
	return in
}
