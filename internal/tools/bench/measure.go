//go:build unix

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"slices"
	"strings"
	"syscall"
	"time"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/heap"
	"bittern/internal/imagery"
	"bittern/internal/norm"
	"bittern/internal/progress"
	"bittern/internal/question"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/unit"
)

const (
	cellM   = 0.5
	aroundM = 20 // m of grid round the field
)

// A task is one run of ours.
type task struct {
	dir, picture  string // the folder of the case, and the picture in it
	all           bool   // read every tile, near the field or not
	suspects      bool   // go on to suspects
	workers       int
	profile, heap string // files for profiles; none when empty
}

// measure does a task once, from opening the file, and prints what it took.
func measure(ctx context.Context, t task) (err error) {
	heap.Set() // as the program does
	if t.profile != "" {
		f, err := os.Create(t.profile)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	var f field
	data, err := os.ReadFile(filepath.Join(t.dir, fieldFile))
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, &f); err != nil {
		return err
	}
	if t.workers == 0 {
		t.workers = runtime.GOMAXPROCS(0)
	}
	out, err := t.do(ctx, f)
	if err != nil {
		return err
	}
	if t.heap != "" {
		if err := writeHeap(t.heap); err != nil {
			return err
		}
	}
	return json.NewEncoder(os.Stdout).Encode(out)
}

// do sums the picture up and, if asked, goes on to suspects.
func (t task) do(ctx context.Context, f field) (out selfTook, err error) {
	start := time.Now()
	flight, err := imagery.Open(ctx, []string{filepath.Join(t.dir, t.picture)}, imagery.Options{})
	if err != nil {
		return out, err
	}
	defer func() { _ = flight.Close() }() // read only
	opt := cells.Options{Workers: t.workers, MarginM: cells.Margin}
	ring := f.Ring
	if t.all {
		opt.MarginM, ring = -1, corners(flight.Files[0])
	}
	var read int64
	opt.Progress = func(e progress.Event) { read = e.Done }
	g := gridOver(ring, f.EPSG)
	s, err := cells.Pass(ctx, flight, g, insideOf(f.Ring, g), opt)
	if err != nil {
		return out, err
	}
	if out.Cells, err = soFar(start); err != nil {
		return out, err
	}
	out.Cells.ReadMpx = float64(read)
	if t.suspects {
		smallest, err := toSuspects(ctx, s, f, t.workers)
		if err != nil {
			return out, err
		}
		to, err := soFar(start)
		if err != nil {
			return out, err
		}
		if err := smallest(); err != nil {
			return out, err
		}
		all, err := soFar(start)
		if err != nil {
			return out, err
		}
		out.Suspects, out.Smallest = &to, &took{WallS: all.WallS - to.WallS, CPUS: all.CPUS - to.CPUS, PeakMiB: all.PeakMiB}
	}
	runtime.KeepAlive(s)
	return out, nil
}

// toSuspects runs stages 4 to 6, as the question escapes asks them. What it
// returns finds the smallest patch that would have been seen.
func toSuspects(ctx context.Context, s *cells.Summary, f field, workers int) (smallest func() error, err error) {
	escapes, _ := question.Named("escapes")
	layout, err := structure.Find(ctx, s, structure.Boundary{Polygon: geo.MultiPolygon{{Outer: f.Ring}}}, structure.Options{Workers: workers})
	if err != nil {
		return nil, err
	}
	p := escapes.Norm(workers)
	departure, err := norm.Find(ctx, s, layout, p)
	if err != nil {
		return nil, err
	}
	const sinceTreatment = 10 // days
	parameters := escapes.Suspect(p, sinceTreatment)
	found, err := suspect.Find(ctx, s, layout, departure, parameters, nil)
	if err != nil {
		return nil, err
	}
	return func() error {
		_, err := suspect.Plant(ctx, s, layout, departure, found, parameters)
		return err
	}, nil
}

// soFar is what this process has taken.
func soFar(start time.Time) (took, error) {
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		return took{}, err
	}
	return took{
		WallS: time.Since(start).Seconds(), CPUS: seconds(use.Utime) + seconds(use.Stime),
		PeakMiB: ownPeak(use),
	}, nil
}

// ownPeak is the peak memory of this process, MiB. What Linux says of its
// usage counts the process that started it, too; its status does not.
func ownPeak(use syscall.Rusage) float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err == nil {
		var kib float64
		if _, rest, ok := strings.Cut(string(status), "VmHWM:"); ok {
			if _, err := fmt.Sscan(rest, &kib); err == nil {
				return kib / (1 << 10)
			}
		}
	}
	return float64(use.Maxrss) / rssUnits()
}

func seconds(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }

func writeHeap(name string) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(pprof.Lookup("allocs").WriteTo(f, 0), f.Close())
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
		AcresPerCell: float64(unit.SquareMeters(cellM * cellM).Acres()), // the zone's scale aside
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
