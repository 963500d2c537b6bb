package skip

import "math"

// A lattice is even spacing: lines at phase, phase+spacing, ...
type lattice struct {
	spacing float64 // m, grid
	phase   float64 // m, across
	fit     []int   // which lines lie on it
	steps   []int   // how manieth place each of them has
	score   float64 // sum of the squares of what they stand out by
	even    bool    // three of them follow each other at the same distance
}

// A span is a range of spacings, m.
type span struct{ from, to float64 }

const (
	fitted     = 3.0  // times that a spacing fitted to the lines lies nearer to them than one that was set beforehand, by trial
	offLattice = 0.08 // of the spacing, how far a line may lie off its place: a pass sways by a yard, and places are read to two feet at first
	evenWithin = 0.03 // of the spacing, within which distances are equal
)

// fitLattice returns the even spacing within the spans that the most of the
// lines lie on; with equal support the widest. It has no fit when fewer than
// least lines lie on any.
func fitLattice(lines []line, spans []span, least int) lattice {
	var top lattice
	for i := range lines {
		for j := i + 1; j < len(lines); j++ {
			gap := lines[j].across - lines[i].across
			for _, s := range spans {
				for k := math.Ceil(gap / s.to); k >= 1 && k <= gap/s.from; k++ {
					l := settle(lines, lattice{spacing: gap / k, phase: lines[i].across}, s)
					if len(l.fit) >= least && (l.score > top.score*1.0001 || l.score > top.score*0.9999 && l.spacing > top.spacing*1.01) {
						top = l
					}
				}
			}
		}
	}
	top.even = top.isEven(lines)
	return top
}

// settle finds the lines on the lattice and fits it to them by least squares,
// twice; lines that stand out more weigh more.
func settle(lines []line, l lattice, s span) lattice {
	for range 2 {
		l.fit, l.steps, l.score = nil, nil, 0
		var n, sk, sd, skk, skd float64
		for i, at := range lines {
			k := math.Round((at.across - l.phase) / l.spacing)
			if math.Abs(at.across-l.phase-k*l.spacing) > offLattice*l.spacing {
				continue
			}
			w := at.stands * at.stands
			l.fit, l.steps, l.score = append(l.fit, i), append(l.steps, int(k)), l.score+w
			n, sk, sd, skk, skd = n+w, sk+w*k, sd+w*at.across, skk+w*k*k, skd+w*k*at.across
		}
		det := n*skk - sk*sk
		if det <= 1e-9 {
			return lattice{}
		}
		l.spacing = (n*skd - sk*sd) / det
		l.phase = (sd - l.spacing*sk) / n
		if l.spacing < s.from || l.spacing > s.to {
			return lattice{}
		}
	}
	return l
}

// nearest is the least number of steps from one line to the next.
func (l *lattice) nearest() int {
	least := math.MaxInt
	for a := 1; a < len(l.steps); a++ {
		least = min(least, l.steps[a]-l.steps[a-1])
	}
	return least
}

// isEven says whether three lines that follow each other are equally far apart;
// one strip may be missing among them, since weeds do not grow in every one.
func (l *lattice) isEven(lines []line) bool {
	gap := func(a int) (steps int, off float64) {
		steps = l.steps[a+1] - l.steps[a]
		return steps, lines[l.fit[a+1]].across - lines[l.fit[a]].across - float64(steps)*l.spacing
	}
	for a := 0; a+2 < len(l.fit); a++ {
		first, off := gap(a)
		second, next := gap(a + 1)
		if first+second <= 3 && math.Abs(off-next) <= 2*evenWithin*l.spacing {
			return true
		}
	}
	return false
}

// chance is how likely as many lines would lie as near to some even spacing of
// the span if they lay anywhere. Of all spacings about as many are tried as the
// outer lines can have steps between them, and with each the inner lines have to
// fall within the largest miss that was seen, on either side.
func (l *lattice) chance(lines []line, s span) float64 {
	n := len(l.fit)
	if n < 3 {
		return 1
	}
	miss := 0.002 // of the spacing: places are not read better
	for a, i := range l.fit {
		at := l.phase + float64(l.steps[a])*l.spacing
		miss = max(miss, math.Abs(lines[i].across-at)/l.spacing)
	}
	far := lines[l.fit[n-1]].across - lines[l.fit[0]].across
	tries := max(1, far/s.from-far/s.to)
	return min(1, fitted*tries*math.Pow(2*miss, float64(n-2)))
}

// order is n R^2 of places across a heading for a spacing: n times the squared
// length of the mean of their unit vectors, each turned by its place as a part
// of the spacing. Places strewn without order have values above k with
// probability near exp(-k) (Rayleigh's test; K. V. Mardia and P. E. Jupp,
// Directional Statistics, Wiley 2000, 6.3.1).
func order(places []float64, spacing float64) float64 {
	sum, cross := 0.0, 0.0
	for _, d := range places {
		s, c := math.Sincos(2 * math.Pi * d / spacing)
		sum, cross = sum+c, cross+s
	}
	if len(places) == 0 {
		return 0
	}
	return (sum*sum + cross*cross) / float64(len(places))
}
