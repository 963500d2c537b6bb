package skip

import (
	"math"
)

// A line is one straight line that stands out.
type line struct {
	across float64 // m to the right of the middle as one looks along the heading
	stands float64 // spreads
	pieces float64 // stretches of 200 ft
	on     float64 // share of them that stand out by themselves
}

const (
	apartM  = 6.0 // m, lines nearer than this are one
	pieceOn = 1.0 // spreads, a stretch of a line that stands out by itself
	leastOn = 0.6 // share of a line's stretches that do
)

// lines are the places of a profile that stand out by least spreads and whose stretches do, from left to right.
func (p *profile) lines(least float64) []line {
	var out []line
	reach := int(apartM / binM)
	for b, v := range p.l {
		if !(float64(v) >= least) || !top(p.l, b, reach) {
			continue
		}
		if l := p.line(b); l.on >= leastOn {
			out = append(out, l)
		}
	}
	return out
}

// line is the one at a bin.
func (p *profile) line(b int) line {
	l := line{across: p.sheaf.across(summit(p.l, b)), stands: float64(p.l[b])}
	for _, t := range p.stretches(b) {
		if t == t {
			l.pieces++
			if t >= pieceOn {
				l.on++
			}
		}
	}
	if l.pieces > 0 {
		l.on /= l.pieces
	}
	return l
}

// summit is where values are highest about bin b: the top of the parabola through three bins.
func summit(of []float32, b int) float64 {
	if b > 0 && b+1 < len(of) {
		l, v, r := of[b-1], of[b], of[b+1]
		if bend := l - 2*v + r; bend < 0 {
			return float64(b) + float64((l-r)/(2*bend))
		}
	}
	return float64(b)
}

// top says whether no bin within reach stands out more; of equal ones the first.
func top(of []float32, b, reach int) bool {
	for o := max(0, b-reach); o <= min(len(of)-1, b+reach); o++ {
		if of[o] > of[b] || of[o] == of[b] && o < b {
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

// sumAt is how much lines at the places stand out together.
func (p *profile) sumAt(places []float64) float64 {
	sum := 0.0
	for _, at := range places {
		b := p.sheaf.bin(at)
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
func (p *profile) due(l lattice, least float64) []line {
	var out []line
	for _, at := range p.lines(least) {
		k := math.Round((at.across - l.phase) / l.spacing)
		if math.Abs(at.across-l.phase-k*l.spacing) <= offLattice*l.spacing {
			out = append(out, at)
		}
	}
	return out
}

// leastVote is what a stretch stands out by, in spreads, to have a vote.
const leastVote = 2.5

// votes are the places across of the stretches that stand out by themselves: one
// vote for 200 ft of a line.
func (p *profile) votes() []float64 {
	f, reach := p.sheaf, int(apartM/binM)
	var out []float64
	s := newStripe(0, f.bins)
	p.eachStretch(s, func() {
		stands := s.stands(0, f.bins, voteM2)
		for b, v := range stands {
			if f.unit.of(v) >= leastVote && top(stands, b, reach) {
				out = append(out, f.across(summit(stands, b)))
			}
		}
	})
	return out
}
