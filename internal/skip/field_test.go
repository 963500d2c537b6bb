package skip_test

import (
	"math"
	"math/rand/v2"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

const foot = 0.3048

// A plot says what a made-up field holds. Lengths in feet of ground, headings in
// degrees from true north. What is drawn is what the stages before this one
// leave of a field, with the noise that they leave.
type plot struct {
	seed       uint64
	side       int     // cells along a side
	strips     []int   // which passes left one, counted from the middle
	spacing    float64 // ft, of the passes
	heading    float64 // of the passes
	width      float64 // ft, of a strip
	strength   float64 // what full weeds add to the evidence
	jitter     float64 // ft, standard deviation of a pass from its place
	patches    int     // weeds strewn at random
	tracks     bool    // tram lines along the heading, 60 ft apart, half of them left out
	levees     float64 // heading of straight levees every 200 ft; NaN for contour levees
	drill      bool    // thin strips along the heading every 20 ft or so, as a drill that ran empty leaves them
	lines      float64 // ft between mapping lines
	linesAlong float64
	gain       float64 // ln, standard deviation of the brightness from line to line
	part       float64 // share of the length of a strip that holds weeds; 0 for all
	thin       float64 // weeds in a strip, as a part of a full stand of them; 0 for a full one
}

// A drawn plot is what Find is given.
type drawn struct {
	s *cells.Summary
	l *structure.Layout
	d *norm.Departure
}

const convergence = 0.7 // degrees, as a field a degree off its zone's middle has

func (p plot) draw() drawn {
	n := p.side * p.side
	r := rand.New(rand.NewPCG(p.seed, 11))
	size := stat.Size{Cols: p.side, Rows: p.side}
	g := grid.Grid{
		EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: p.side, Rows: p.side,
		AcresPerCell: 0.25 / 4046.8564224, ConvergenceDeg: convergence,
	}
	s := &cells.Summary{Grid: g, Inside: make([]bool, n), Bands: []string{"green", "red", "nir"}, Pixels: make([]uint32, n), PixelM: 0.05, Bits: 16}
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, n), Check: make([]int32, n)}
	d := &norm.Departure{Evidence: make([]float32, n), Spreads: make([]float32, n), Share: make([]float32, n), Toward: make([]uint8, n), Killed: make([]bool, n), Looks: []norm.Look{norm.NoLook, norm.Browned}}
	smooth := func(cells float64) []float32 {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(r.NormFloat64())
		}
		stat.Gauss(v, v, nil, size, cells)
		sd := stat.Spread(stat.Sample(v, nil, 10000), 0)
		for i := range v {
			v[i] /= float32(sd)
		}
		return v
	}
	near, far, wide := smooth(2.5), smooth(14), smooth(60)
	along := smooth(30)
	at := func(deg float64) func(i int) (across, along float64) {
		sin, cos := math.Sincos((deg - convergence) * math.Pi / 180)
		return func(i int) (float64, float64) {
			x := (float64(i%p.side) - float64(p.side)/2) * 0.5
			y := (float64(p.side)/2 - float64(i/p.side)) * 0.5
			return x*cos - y*sin, x*sin + y*cos
		}
	}
	pass, line := at(p.heading), at(p.linesAlong)
	weeds := make([]float32, n)
	p.sow(r, weeds, along, pass)
	for range 2 { // evidence is read over 3 m and averaged over 3 m
		stat.Box(weeds, weeds, nil, size, 3)
	}
	raw := make([]float32, n)
	p.sow(rand.New(rand.NewPCG(p.seed, 11)), raw, along, pass)
	gains := map[int]float64{}
	for range s.Bands {
		s.Mean, s.Spread = append(s.Mean, make([]float32, n)), append(s.Spread, make([]float32, n))
	}
	levee := at(p.levees)
	drills := map[int]bool{}
	for i := range n {
		s.Pixels[i], s.Inside[i] = 100, true
		across, _ := pass(i)
		e := -6 + 1.6*float64(near[i]) + 1.1*float64(far[i]) + p.strength*float64(weeds[i])
		lit := 0.06 * float64(wide[i])
		if p.drill {
			k := int(math.Floor(across / 6.1))
			if _, known := drills[k]; !known {
				drills[k] = r.Float64() < 0.12
			}
			if q := math.Abs(across - (float64(k)+0.5)*6.1); drills[k] && q < 1.1 {
				e -= 1.5
				lit += 0.03
			}
		}
		if p.tracks {
			q := math.Abs(math.Abs(math.Mod(across+9150, 18.3)-9.15) - 0.95)
			if q < 0.35 {
				e += 0.7
				if near[i/3] > 0 {
					l.Reason[i] = structure.Track
				}
			}
		}
		if p.lines > 0 {
			q, _ := line(i)
			k := int(math.Floor(q / (p.lines * foot)))
			if _, known := gains[k]; !known {
				gains[k] = p.gain * r.NormFloat64()
			}
			x := 2*(q/(p.lines*foot)-float64(k)) - 1
			lit += gains[k] - 0.02*x*x
		}
		for b, base := range [...]float64{0.1, 0.05, 0.45} {
			rough := [...]float64{0.11, 0.09, 0.15}[b] * math.Exp([...]float64{0.25, 0.4, 0.25}[b]*r.NormFloat64())
			rough *= 1 + [...]float64{0.1, 0.35, 0}[b]*float64(raw[i])
			s.Mean[b][i] = float32(base * math.Exp(lit+0.08*r.NormFloat64()))
			s.Spread[b][i] = s.Mean[b][i] * float32(rough)
		}
		d.Evidence[i] = float32(e)
		x, y := i%p.side, i/p.side
		switch edge := min(x, y, p.side-1-x, p.side-1-y); {
		case edge < 2:
			l.Reason[i], s.Inside[i] = structure.Outside, false
		case edge < 10:
			l.Reason[i] = structure.Edge
		case math.IsNaN(p.levees):
			if v := math.Mod(float64(wide[i])+100, 0.8); v < 0.05 {
				l.Reason[i] = structure.Levee
			}
		default:
			if q, _ := levee(i); math.Abs(math.Mod(q+6096+12, 60.96)-30.48) < 2 {
				l.Reason[i] = structure.Levee
			}
		}
		if l.Reason[i] != structure.LookedAt {
			d.Evidence[i] = float32(math.NaN())
		}
	}
	return drawn{s, l, d}
}

// sow grows weeds in the strips and in patches, 0 to about 1.
func (p plot) sow(r *rand.Rand, weeds, along []float32, pass func(int) (float64, float64)) {
	off := map[int]float64{}
	for _, k := range p.strips {
		off[k] = p.jitter * foot * r.NormFloat64()
	}
	step := p.spacing * foot
	for i := range weeds {
		if len(p.strips) == 0 {
			break
		}
		across, far := pass(i)
		k := int(math.Round(across / step))
		o, ok := off[k]
		if !ok || math.Abs(across-float64(k)*step-o) > p.width*foot/2 {
			continue
		}
		if p.part > 0 && math.Mod(math.Abs(far)/40+float64(k&3)*0.3, 1) > p.part {
			continue
		}
		weeds[i] = float32(min(1.2, max(0.1, 0.75+0.35*float64(along[i]))))
		if p.thin > 0 {
			weeds[i] *= float32(p.thin)
		}
	}
	for range p.patches {
		x, y, half := r.IntN(p.side), r.IntN(p.side), 4+r.ExpFloat64()*12
		for row := max(0, y-60); row < min(p.side, y+60); row++ {
			for col := max(0, x-60); col < min(p.side, x+60); col++ {
				i := row*p.side + col
				if h := math.Hypot(float64(col-x), float64(row-y)); h < half*(1+0.3*float64(along[i])) {
					weeds[i] = max(weeds[i], 1.5)
				}
			}
		}
	}
}

// hard is a field with everything that makes strips hard to see.
func hard(seed uint64) plot {
	return plot{
		seed: seed, side: 560, spacing: 65, heading: 12, width: 7, strength: 6, jitter: 0.5, patches: 10,
		tracks: true, levees: math.NaN(), drill: true, lines: 82, linesAlong: 95, gain: 0.02,
	}
}
