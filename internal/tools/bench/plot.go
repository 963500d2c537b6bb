//go:build unix

package main

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// A drawing is a picture of lines and words, as SVG.
type drawing struct {
	w, h float64 // px
	b    strings.Builder
}

func (d *drawing) line(x1, y1, x2, y2 float64, style string) {
	fmt.Fprintf(&d.b, "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" %s/>\n", x1, y1, x2, y2, style)
}

func (d *drawing) text(x, y float64, anchor, says string) {
	fmt.Fprintf(&d.b, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">%s</text>\n", x, y, anchor, html.EscapeString(says))
}

func (d *drawing) String() string {
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" font-family=\"sans-serif\" font-size=\"13\" fill=\"#1c1b19\">\n"+
		"<rect width=\"100%%\" height=\"100%%\" fill=\"#ffffff\"/>\n%s</svg>\n", d.w, d.h, d.w, d.h, d.b.String())
}

// A curve is one line of a panel: a value for each size.
type curve struct {
	name string
	at   []float64
	ink  string
	dash bool
}

// A panel is one square of axes, both logarithmic.
type panel struct {
	left, top, w, h float64
	title           string
	acres           []float64
	curves          []curve
}

// plot draws time and memory over the size of the field. Both axes are
// logarithmic, so that what grows in proportion is a line as steep as the
// dotted one.
func (g *growth) plot() string {
	d := &drawing{w: 900, h: 420}
	var acres, cellsCPU, cellsMiB, toCPU, toMiB, grid []float64
	for _, p := range g.points {
		acres = append(acres, p.acres)
		cellsCPU, cellsMiB = append(cellsCPU, p.cells.CPUS), append(cellsMiB, p.cells.PeakMiB)
		toCPU, toMiB = append(toCPU, p.suspects.CPUS), append(toMiB, p.suspects.PeakMiB)
		grid = append(grid, p.mcells*resultBytes*1e6/(1<<20))
	}
	const plum, teal, quiet = "#6b1e5e", "#0b5a5c", "#86827a"
	panel{70, 50, 350, 310, "processor time, s", acres, []curve{
		{"to suspects", toCPU, plum, false}, {"cells", cellsCPU, teal, false}, {"in proportion", proportional(acres, cellsCPU), quiet, true},
	}}.draw(d)
	panel{520, 50, 350, 310, "peak memory, MiB", acres, []curve{
		{"to suspects", toMiB, plum, false}, {"cells", cellsMiB, teal, false}, {fmt.Sprintf("%d bytes a cell", resultBytes), grid, quiet, true},
	}}.draw(d)
	return d.String()
}

// proportional is the line through the last value that grows as x does.
func proportional(x, y []float64) []float64 {
	out := make([]float64, len(x))
	last := len(x) - 1
	for i := range x {
		out[i] = y[last] * x[i] / x[last]
	}
	return out
}

func (p panel) draw(d *drawing) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range p.curves[:len(p.curves)-1] {
		for _, v := range c.at {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	low, high := math.Floor(math.Log10(lo)), math.Ceil(math.Log10(hi))
	first, last := math.Log10(p.acres[0]), math.Log10(p.acres[len(p.acres)-1])
	x := func(v float64) float64 { return p.left + p.w*(0.04+0.92*(math.Log10(v)-first)/(last-first)) }
	y := func(v float64) float64 { return p.top + p.h*(high-math.Log10(v))/(high-low) }
	d.text(p.left, p.top-18, "start", p.title)
	const hair = "stroke=\"#d8d4cb\""
	for decade := low; decade <= high; decade++ {
		v := math.Pow(10, decade)
		d.line(p.left, y(v), p.left+p.w, y(v), hair)
		d.text(p.left-8, y(v)+4, "end", fmt.Sprintf("%g", v))
	}
	for _, a := range p.acres {
		d.line(x(a), p.top, x(a), p.top+p.h, hair)
		d.text(x(a), p.top+p.h+18, "middle", fmt.Sprintf("%g", a))
	}
	d.text(p.left+p.w/2, p.top+p.h+40, "middle", "acres of the field")
	for i, c := range p.curves {
		style := fmt.Sprintf("stroke=\"%s\" stroke-width=\"2\"", c.ink)
		if c.dash {
			style += " stroke-dasharray=\"2 5\""
		}
		for k := 1; k < len(c.at); k++ {
			from, to := c.at[k-1], c.at[k]
			if min(from, to) >= math.Pow(10, low) {
				d.line(x(p.acres[k-1]), y(from), x(p.acres[k]), y(to), style)
			}
		}
		if !c.dash {
			for k, v := range c.at {
				fmt.Fprintf(&d.b, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3.5\" fill=\"%s\"/>\n", x(p.acres[k]), y(v), c.ink)
			}
		}
		row := p.top + 18 + 20*float64(i)
		d.line(p.left+14, row-4, p.left+44, row-4, style)
		d.text(p.left+52, row, "start", c.name)
	}
}
