package main

import (
	"context"
	"encoding/gob"
	"fmt"
	"hash/fnv"
	"io"
	"os"
	"path/filepath"
	"strings"

	"bittern/internal/atomicfile"
	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/invent"
	"bittern/internal/question"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A row asks for one scene.
type row struct {
	class    string
	question string
	sensor   invent.Sensor
	seed     uint64
	pair     bool
}

// rows are the scenes of the table: parameters were chosen on odd seeds, so
// these are even (odd when first is).
func rows(first uint64) []row {
	var out []row
	for _, e := range invent.Bench(first) {
		out = append(out, row{e.Class, e.Question, e.Sensor, e.Seed, e.Pair})
	}
	return out
}

// otherQuestions are the clean scenes under every question that they were not drawn
// for: what is found there is false, but for gaps, which any stand has.
func otherQuestions(first uint64) []row {
	var out []row
	for _, q := range question.Names() {
		for _, r := range rows(first) {
			if r.class == "clean" && q != r.question {
				out = append(out, row{r.class + askedFor + q, q, r.sensor, r.seed, false})
			}
		}
	}
	return out
}

// askedFor stands between a scene's class and a question that it was not drawn for.
const askedFor = ":"

// drawn is the class of the scene.
func (r row) drawn() string {
	class, _, _ := strings.Cut(r.class, askedFor)
	return class
}

// scene returns the recipe of a row.
func (r row) scene() (invent.Scene, error) { return invent.Named(r.drawn(), r.sensor, r.seed) }

// A day is a scene after its pass over the pixels, with its truth.
type day struct {
	row
	acres  float64   // of the field
	days   int       // from treatment to flight
	redder []float32 // share of the cell's pixels that are redder than green, from the histogram
	lacks  []float32 // part of its check's usual cover that the cell lacks; nil where it is not asked for
	kept
}

// kept is what a cache keeps of a day.
type kept struct {
	Boundary geo.MultiPolygon // m, as the grower drew it
	Summary  *cells.Summary
	Truth    *invent.Truth
	Before   *cells.Summary // of the flight before, for pairs; on the same grid
}

// newDay plans a scene and makes its summary, or takes both from the cache.
func newDay(ctx context.Context, r row, cache string) (*day, error) {
	recipe, err := r.scene()
	if err != nil {
		return nil, err
	}
	d := &day{row: r, acres: recipe.Acres, days: recipe.FlownDays}
	path := r.path(cache, recipe)
	if cache == "" || load(path, &d.kept) != nil {
		if err := d.make(ctx, recipe); err != nil {
			return nil, err
		}
		if cache != "" {
			if err := save(path, &d.kept); err != nil {
				return nil, err
			}
		}
	}
	d.redder = redderShare(d.Summary)
	if r.question == "stand" {
		f, err := invent.New(recipe)
		if err != nil {
			return nil, fmt.Errorf("planning: %w", err)
		}
		d.lacks = d.lacking(f.Stand(d.Summary.Grid))
	}
	return d, nil
}

// lacking turns cover into the part of its check's middle cover that a cell of crop
// lacks.
func (d *day) lacking(cover []float32) []float32 {
	of := map[int16][]float32{}
	for i, c := range d.Truth.Check {
		if d.Summary.Inside[i] && d.crop(i) {
			of[c] = append(of[c], cover[i])
		}
	}
	usual := map[int16]float64{}
	for c, v := range of {
		usual[c] = stat.Median(v)
	}
	out := make([]float32, len(cover))
	for i, c := range d.Truth.Check {
		if d.crop(i) {
			out[i] = 1 - cover[i]/float32(usual[c])
		}
	}
	return out
}

// path is where a cache keeps a row's day: other pixels or another truth have
// another name.
func (r row) path(cache string, recipe invent.Scene) string {
	return filepath.Join(cache, fmt.Sprintf("%s-%d-%d-v%d-%08x.gob", r.drawn(), r.sensor, r.seed, invent.Version, fingerprint(recipe)))
}

// onlyKept is the rows whose days a cache has.
func onlyKept(all []row, cache string) (out []row, err error) {
	for _, r := range all {
		recipe, err := r.scene()
		if err != nil {
			return nil, err
		}
		if _, err := os.Stat(r.path(cache, recipe)); err == nil {
			out = append(out, r)
		}
	}
	return out, nil
}

// make plans the field and sums its picture.
func (d *day) make(ctx context.Context, recipe invent.Scene) error {
	f, err := invent.New(recipe)
	if err != nil {
		return fmt.Errorf("planning: %w", err)
	}
	drawn := geo.MultiPolygon{f.Boundary()}
	g, err := grid.New(drawn)
	if err != nil {
		return fmt.Errorf("laying the grid: %w", err)
	}
	if d.Boundary, err = g.FromLonLat(drawn); err != nil {
		return fmt.Errorf("projecting the boundary: %w", err)
	}
	d.Truth = f.Truth(g)
	if d.Summary, err = cells.FromSource(ctx, []cells.Source{source(f)}, g, g.Inside(d.Boundary), 2); err != nil {
		return fmt.Errorf("summing pixels: %w", err)
	}
	if !d.pair {
		return nil
	}
	before, err := invent.New(recipe.Earlier())
	if err != nil {
		return fmt.Errorf("planning the flight before: %w", err)
	}
	if d.Before, err = cells.FromSource(ctx, []cells.Source{source(before)}, g, g.Inside(d.Boundary), 2); err != nil {
		return fmt.Errorf("summing the pixels of the flight before: %w", err)
	}
	return nil
}

// fingerprint tells recipes apart (FNV-1a over all their amounts).
func fingerprint(s invent.Scene) uint32 {
	h := fnv.New32a()
	fmt.Fprintf(h, "%+v", s)
	return h.Sum32()
}

func load(path string, k *kept) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("reading the cache: %w", err)
	}
	defer f.Close()
	if err := gob.NewDecoder(f).Decode(k); err != nil {
		return fmt.Errorf("reading %s: %w", path, err)
	}
	return nil
}

func save(path string, k *kept) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("making the cache: %w", err)
	}
	return atomicfile.Write(path, func(w io.Writer) error { return gob.NewEncoder(w).Encode(k) })
}

// source makes the field's picture a source of the cells stage.
func source(f *invent.Field) cells.Source {
	is := f.Format()
	kind := map[int]cells.Sample{1: cells.Uint8, 2: cells.Uint16, 4: cells.Float32}[is.SampleBytes]
	return cells.Source{
		Name: f.Scene().Name, Cols: is.Cols, Rows: is.Rows, Affine: is.Affine, Bands: is.Bands,
		Sample: kind, SRGB: kind == cells.Uint8, Fill: f.Fill,
	}
}

// redderShare is the careless rule's quantity: the part of each cell's pixels
// whose red is above green, from the histogram.
func redderShare(s *cells.Summary) []float32 {
	out := make([]float32, s.Grid.Len())
	for i := range out {
		total, over := 0.0, 0.0
		for b, n := range s.Hist[i*cells.Bins : (i+1)*cells.Bins] {
			low := s.Low + s.Width*float64(b)
			total += float64(n)
			over += float64(n) * min(1, max(0, (low+s.Width)/s.Width))
		}
		if total > 0 {
			out[i] = float32(over / total)
		}
	}
	return out
}

// trueLayout is the layout that knows the truth: what a perfect structure stage
// would hand on, but for the checks, which are one.
func trueLayout(d *day) *structure.Layout {
	g := d.Summary.Grid
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, g.Len()), Check: make([]int32, g.Len()), Checks: []structure.Check{{ID: "1"}}}
	reasons := map[invent.Class]structure.Reason{
		invent.Outside: structure.Outside, invent.Track: structure.Track, invent.Ditch: structure.BorrowDitch,
		invent.Levee: structure.Levee, invent.Road: structure.Road, invent.Water: structure.Water, invent.Tree: structure.Tree,
	}
	for i, c := range d.Truth.Class {
		l.Reason[i] = reasons[c]
		if !d.Summary.Inside[i] {
			l.Reason[i] = structure.Outside
		}
		if l.Reason[i] != structure.LookedAt {
			l.Check[i] = -1
		}
	}
	return l
}
