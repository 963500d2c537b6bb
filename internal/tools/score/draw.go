package main

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// draw writes the flight in plain colour, truth outlined in white, suspects in
// plum, what is left out darkened, killed ground in blue.
func draw(folder string, d *day, l *structure.Layout, dep *norm.Departure, f *suspect.Finding) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	g := d.Summary.Grid
	size := sizeOf(d)
	img := image.NewRGBA(image.Rect(0, 0, g.Cols, g.Rows))
	shade := plainColour(d)
	in := make([]bool, g.Len())
	for _, s := range f.Suspects {
		for _, i := range s.Cells {
			in[i] = true
		}
	}
	act := make([]bool, g.Len())
	for i := range act {
		act[i] = d.acting(i)
	}
	sus, tru := edge(in, size), edge(act, size)
	for i := range in {
		c := shade(i)
		if l.Reason[i] != structure.LookedAt {
			c = color.RGBA{c.R / 2, c.G / 2, c.B / 2, 255}
		}
		switch {
		case sus[i]:
			c = color.RGBA{255, 0, 200, 255}
		case tru[i]:
			c = color.RGBA{255, 255, 255, 255}
		case dep.Killed[i]:
			c = color.RGBA{0, 80, 255, 255}
		}
		img.SetRGBA(i%g.Cols, i/g.Cols, c)
	}
	name := filepath.Join(folder, fmt.Sprintf("%s-%d-%d.png", d.class, d.sensor, d.seed))
	return atomicfile.Write(name, func(w io.Writer) error { return png.Encode(w, img) })
}

// edge marks the cells of in that touch one that is not.
func edge(in []bool, s stat.Size) []bool {
	inner := stat.Shrink(in, s, 1)
	out := make([]bool, len(in))
	for i := range in {
		out[i] = in[i] && !inner[i]
	}
	return out
}

// plainColour returns each cell's colour as the eye would see it.
func plainColour(d *day) func(i int) color.RGBA {
	red, _ := d.Summary.Band("red")
	green, _ := d.Summary.Band("green")
	blue, _ := d.Summary.Band("blue")
	if blue == nil {
		blue = make([]float32, len(green))
		for i := range blue {
			blue[i] = 0.55 * green[i]
		}
	}
	top := float32(stat.Quantile(stat.Sample(green, d.Summary.Inside, 20000), 0.98)) * 1.4
	code := func(v float32) uint8 {
		return uint8(255 * math.Pow(float64(min(max(v/top, 0), 1)), 1/2.2))
	}
	return func(i int) color.RGBA { return color.RGBA{code(red[i]), code(green[i]), code(blue[i]), 255} }
}
