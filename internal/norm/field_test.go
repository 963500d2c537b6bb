package norm_test

import (
	"math"
	"math/rand/v2"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/structure"
)

// A plot is a made-up field whose truth is known: square checks of side cells
// side by side, left out by nothing unless a test says so.
type plot struct {
	summary cells.Summary
	layout  structure.Layout
	random  *rand.Rand
	pixels  int // of a cell
}

const (
	cropRatio = -0.6 // ln(red/green) of the crop
	weedRatio = 0.4  // of a burnt leaf
	pixelSD   = 0.10
	perCell   = 64
)

// newPlot makes cols x rows cells of even crop in checks of side cells.
func newPlot(cols, rows, side int, seed uint64) *plot {
	return newCoarsePlot(cols, rows, side, perCell, seed)
}

// newCoarsePlot is newPlot with so many pixels to a cell.
func newCoarsePlot(cols, rows, side, pixels int, seed uint64) *plot {
	g := grid.Grid{EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: cols, Rows: rows, AcresPerCell: 0.25 / 4046.8564224}
	n := g.Len()
	p := &plot{random: rand.New(rand.NewPCG(seed, 7)), pixels: pixels}
	p.summary = cells.Summary{
		Grid: g, Inside: make([]bool, n), Bands: []string{"green", "red", "nir"},
		Pixels: make([]uint32, n), Ratio: "ln(red/green)", Low: cropRatio - 0.7, Width: 0.15,
		Hist: make([]uint16, n*cells.Bins), PixelM: 0.05, Bits: 16,
	}
	for range p.summary.Bands {
		p.summary.Mean = append(p.summary.Mean, make([]float32, n))
		p.summary.Spread = append(p.summary.Spread, make([]float32, n))
	}
	p.layout = structure.Layout{Grid: g, Reason: make([]structure.Reason, n), Check: make([]int32, n)}
	across := (cols + side - 1) / side
	for k := range across * ((rows + side - 1) / side) {
		p.layout.Checks = append(p.layout.Checks, structure.Check{ID: string(rune('1' + k))})
	}
	for i := range n {
		p.summary.Inside[i] = true
		p.layout.Check[i] = int32(i/cols/side*across + i%cols/side)
		p.grow(i, 0, 0)
	}
	return p
}

// A pixel of a kind: green and near infrared reflectance, ln(red/green).
type kind struct{ green, nir, ratio float64 }

var (
	crop  = kind{0.10, 0.45, cropRatio}
	burnt = kind{0.14, 0.38, weedRatio} // a burnt leaf over green ones
	gap   = kind{0.09, 0.16, 0.2}       // wet soil
)

// grow fills cell i with crop whose ratio is shifted, and a part of burnt
// leaves.
func (p *plot) grow(i int, shift, weeds float64) { p.mix(i, shift, weeds, 0) }

// mix is grow with a part of open ground.
func (p *plot) mix(i int, shift, weeds, gaps float64) {
	p.draw(i, func() kind {
		k := crop
		k.ratio += shift
		switch u := p.random.Float64(); {
		case u < weeds:
			k = burnt
		case u < weeds+gaps:
			k = gap
		}
		return k
	})
}

// blend fills cell i with crop and a part of another leaf.
func (p *plot) blend(i int, part float64, leaf kind) {
	p.draw(i, func() kind {
		if p.random.Float64() < part {
			return leaf
		}
		return crop
	})
}

// draw fills cell i with pixels of the kinds that each returns.
func (p *plot) draw(i int, each func() kind) {
	s := &p.summary
	s.Pixels[i] = uint32(p.pixels)
	clear(s.Hist[i*cells.Bins : (i+1)*cells.Bins])
	var sum, sq [3]float64
	for range p.pixels {
		k := each()
		x := k.ratio + pixelSD*p.random.NormFloat64()
		bin := min(max(int(math.Floor((x-s.Low)/s.Width)), 0), cells.Bins-1)
		s.Hist[i*cells.Bins+bin]++
		green := k.green * (1 + 0.12*p.random.NormFloat64())
		for b, v := range [3]float64{green, green * math.Exp(x), k.nir * (1 + 0.18*p.random.NormFloat64())} {
			sum[b] += v / float64(p.pixels)
			sq[b] += v * v / float64(p.pixels)
		}
	}
	for b := range sum {
		s.Mean[b][i], s.Spread[b][i] = float32(sum[b]), float32(math.Sqrt(max(0, sq[b]-sum[b]*sum[b])))
	}
}

// disc calls fn with the cells within radius cells of (col, row).
func (p *plot) disc(col, row, radius int, fn func(i int)) {
	g := p.summary.Grid
	for r := max(row-radius, 0); r < min(row+radius+1, g.Rows); r++ {
		for c := max(col-radius, 0); c < min(col+radius+1, g.Cols); c++ {
			if (c-col)*(c-col)+(r-row)*(r-row) <= radius*radius {
				fn(g.Index(c, r))
			}
		}
	}
}
