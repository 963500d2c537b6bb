package skip

import (
	"math"
)

// A line is one straight line that stands out.
type line struct {
	across float64 // m to the right of the middle as one looks along the heading
	stands float64 // spreads
	pieces float64
	on     float64 // share of its pieces that stand out
}

const (
	apartM  = 6.0 // m, lines nearer than this are one
	leastOn = 0.6 // share of a line's pieces that stand out by themselves
)

// lines are the places of a profile that stand out by least spreads, from left
// to right.
func (p *profile) lines(f *sheaf, least float64) []line {
	var out []line
	reach := int(apartM / binM)
	for b, v := range p.l {
		if !(float64(v) >= least) || !p.top(b, reach) || float64(p.on[b]) < leastOn*float64(p.pieces[b]) {
			continue
		}
		out = append(out, line{f.across(p.summit(b)), float64(v), float64(p.pieces[b]), float64(p.on[b] / p.pieces[b])})
	}
	return out
}

// summit is where a profile is highest about bin b: the top of the parabola
// through three bins.
func (p *profile) summit(b int) float64 {
	if b > 0 && b+1 < len(p.l) {
		l, v, r := p.l[b-1], p.l[b], p.l[b+1]
		if bend := l - 2*v + r; bend < 0 {
			return float64(b) + float64((l-r)/(2*bend))
		}
	}
	return float64(b)
}

// top says whether no bin within reach stands out more; of equal ones the first.
func (p *profile) top(b, reach int) bool {
	for o := max(0, b-reach); o <= min(len(p.l)-1, b+reach); o++ {
		if p.l[o] > p.l[b] || p.l[o] == p.l[b] && o < b {
			return false
		}
	}
	return true
}

// A bundle is the lines of one heading.
type bundle struct {
	rad   float64
	lines []line
}

// headings from a to b, in radians, step apart.
func headings(from, to, step float64) []float64 {
	var out []float64
	for k := 0; from+float64(k)*step <= to+1e-9; k++ {
		out = append(out, from+float64(k)*step)
	}
	return out
}

const deg = math.Pi / 180

// fan sums the ground along a heading and returns the bundles of the headings
// within reach of it.
func (g *ground) fan(rad float64, flank int, reach, step, least float64) []bundle {
	f := g.along(rad, flank)
	var out []bundle
	for _, by := range headings(-reach, reach-step/2, step) {
		p := f.turned(by * deg)
		out = append(out, bundle{rad: p.rad, lines: p.lines(f, least)})
	}
	return out
}

// sumAt is how much lines at the places stand out together.
func (p *profile) sumAt(f *sheaf, places []float64) float64 {
	sum := 0.0
	for _, at := range places {
		b := f.bin(at)
		k := int(math.Floor(b))
		if k < 0 || k+1 >= len(p.l) || p.l[k] != p.l[k] || p.l[k+1] != p.l[k+1] {
			continue
		}
		t := b - math.Floor(b)
		sum += float64(p.l[k])*(1-t) + float64(p.l[k+1])*t
	}
	return sum
}

// due are the lines that stand out where the lattice has a place.
func (p *profile) due(f *sheaf, l lattice, least float64) []line {
	var out []line
	for _, at := range p.lines(f, least) {
		k := math.Round((at.across - l.phase) / l.spacing)
		if math.Abs(at.across-l.phase-k*l.spacing) <= offLattice*l.spacing {
			out = append(out, at)
		}
	}
	return out
}

// leastVote is what a piece stands out by, in spreads, to have a vote.
const leastVote = 2.5

// votes are the places across of the pieces that stand out by themselves: one
// vote for 200 ft of a line.
func (f *sheaf) votes() []float64 {
	var out []float64
	reach := int(apartM / binM)
	for k := range f.pieces {
		p := profile{l: f.t[k*f.bins : (k+1)*f.bins]}
		for b, v := range p.l {
			if v >= leastVote && p.top(b, reach) {
				out = append(out, f.across(p.summit(b)))
			}
		}
	}
	return out
}
