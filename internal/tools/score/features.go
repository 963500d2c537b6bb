package main

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/cells"
)

// writeFeatures writes what bound.py learns from: a line of JSON, then for each
// cell inside the field its column and row, its truth (1 asked for, 0 not, -1
// neither) and its features, all float32.
func writeFeatures(folder string, d *day) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	planes := features(d.Summary)
	g := d.Summary.Grid
	head, err := json.Marshal(map[string]any{
		"class": d.class, "sensor": d.sensor.String(), "seed": d.seed, "features": len(planes), "acres_per_cell": g.AcresPerCell,
	})
	if err != nil {
		return fmt.Errorf("the head: %w", err)
	}
	path := filepath.Join(folder, fmt.Sprintf("%s-%d.cells", d.class, d.seed))
	return atomicfile.Write(path, func(w io.Writer) error {
		out := bufio.NewWriter(w)
		_, _ = out.Write(append(head, '\n')) // Flush returns what goes wrong
		row := make([]float32, 3+len(planes))
		for i, in := range d.Summary.Inside {
			if !in || d.Summary.Pixels[i] == 0 {
				continue
			}
			row[0], row[1], row[2] = float32(i%g.Cols), float32(i/g.Cols), 0
			switch {
			case d.acting(i):
				row[2] = 1
			case d.forgiven(i):
				row[2] = -1
			}
			for k, p := range planes {
				row[3+k] = p[i]
			}
			if err := binary.Write(out, binary.LittleEndian, row); err != nil {
				return err
			}
		}
		return out.Flush()
	})
}

// features are what a classifier is given of each cell: logarithms of the bands
// and of their ratios to green, the deviation within the cell, quantiles of
// the ratio's histogram, each less the field's mean, by themselves and over
// squares of 1.5, 4.5 and 15 m.
func features(s *cells.Summary) [][]float32 {
	n := s.Grid.Len()
	green, _ := s.Band("green")
	var base [][]float32
	add := func(f func(i int) float64) {
		p := make([]float32, n)
		sum, count := 0.0, 0.0
		for i := range p {
			v := f(i)
			if s.Pixels[i] == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
				p[i] = float32(math.NaN())
				continue
			}
			p[i] = float32(v)
			if s.Inside[i] {
				sum, count = sum+v, count+1
			}
		}
		for i := range p {
			if p[i] != p[i] {
				p[i] = 0
			} else {
				p[i] -= float32(sum / count)
			}
		}
		base = append(base, p)
	}
	ln := func(v float32) float64 { return math.Log(max(float64(v), 1e-6)) }
	for b := range s.Bands {
		add(func(i int) float64 { return ln(s.Mean[b][i]) })
		add(func(i int) float64 { return float64(s.Spread[b][i] / s.Mean[b][i]) })
		if s.Bands[b] != "green" {
			add(func(i int) float64 { return ln(s.Mean[b][i]) - ln(green[i]) })
		}
	}
	for _, q := range []float64{0.1, 0.5, 0.8, 0.95} {
		add(func(i int) float64 { return histQuantile(s.Hist[i*cells.Bins:(i+1)*cells.Bins], q) })
	}
	out := append([][]float32(nil), base...)
	for _, half := range []int{1, 4, 15} {
		for _, p := range base {
			t := newIntegral(s.Grid.Cols, s.Grid.Rows)
			c := newIntegral(s.Grid.Cols, s.Grid.Rows)
			for i, v := range p {
				if s.Inside[i] {
					t.set(i, float64(v))
					c.set(i, 1)
				}
			}
			t.finish()
			c.finish()
			wide := make([]float32, n)
			for i := range wide {
				if s.Inside[i] {
					col, row := i%s.Grid.Cols, i/s.Grid.Cols
					wide[i] = float32(t.box(col, row, half) / c.box(col, row, half))
				}
			}
			out = append(out, wide)
		}
	}
	return out
}

// histQuantile is the q quantile of a histogram in bins.
func histQuantile(h []uint16, q float64) float64 {
	total := 0.0
	for _, n := range h {
		total += float64(n)
	}
	left := q * total
	for b, n := range h {
		if left < float64(n) {
			return float64(b) + left/float64(n)
		}
		left -= float64(n)
	}
	return float64(len(h))
}
