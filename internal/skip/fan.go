package skip

import (
	"math"

	"bittern/internal/stat"
)

const (
	binM      = 0.5   // m, across the lines
	coreBins  = 4     // bins that a line is wide
	flankFrom = 5     // bins from a line's middle to the ground beside it that it is held against
	flankBins = 8     // and how many of them
	pieceM    = 30.48 // m, 100 ft: pieces that are moved when a heading is turned
	baseDeg   = 2.0   // degrees between the headings that all ground is summed along
	leastM2   = 60.0  // m2 of a line that must be looked at: 100 ft of it
	leastSide = 30.0  // m2 of the ground beside it
	voteM2    = 40.0  // m2 of 200 ft of a line that must be
)

// A sheaf is the ground summed along one heading: pieces of pieceM along it, by
// bins of binM across it.
type sheaf struct {
	rad    float64 // radians clockwise from grid north
	pieces int
	bins   int
	halfM  float64   // m from bin 0's left side to the middle
	v, n   []float32 // [piece*bins + bin] what the ground stands out by, summed over its m2, and those m2
	unit   scale
}

// A scale is what lines of a field without strips stand out by.
type scale struct{ middle, spread float64 }

// of is how many spreads x lies above the middle.
func (u scale) of(x float32) float32 { return float32((float64(x) - u.middle) / u.spread) }

// along sums the ground along the heading.
func (g *ground) along(rad float64) *sheaf {
	half := g.spanM + 2*pieceM
	f := &sheaf{rad: rad, pieces: int(math.Ceil(2 * half / pieceM)), bins: int(math.Ceil(2*half/binM)) + 1, halfM: half, unit: scale{0, 1}}
	f.v, f.n = make([]float32, f.pieces*f.bins), make([]float32, f.pieces*f.bins)
	sin, cos := math.Sincos(rad)
	ax, ay := float32(cos/binM), float32(-sin/binM)
	lx, ly := float32(sin/pieceM), float32(cos/pieceM)
	d0, l0 := float32(half/binM), float32(float64(f.pieces)/2)
	for i := range g.points {
		p := &g.points[i]
		at := int(p.x*lx+p.y*ly+l0)*f.bins + int(p.x*ax+p.y*ay+d0)
		f.v[at] += p.v
		f.n[at] += p.w
	}
	return f
}

// shift is by how many bins a turn moves a piece: a line turned clockwise lies farther to the right, the farther along.
func (f *sheaf) shift(piece int, tan float64) int {
	return int(math.Round((float64(piece) + 0.5 - float64(f.pieces)/2) * pieceM * tan / binM))
}

// A profile is how much lines along one heading stand out, by their place across it.
type profile struct {
	rad   float64
	sheaf *sheaf
	tan   float64   // of the angle from the sheaf's heading
	l     []float32 // by bin, of the line whose middle is the bin's left side, in units of the scale; NaN where too little is looked at
}

// turned puts the pieces together along a heading a little off the sheaf's.
func (f *sheaf) turned(by float64) profile {
	p := profile{rad: f.rad + by, sheaf: f, tan: math.Tan(by)}
	s := newStripe(0, f.bins)
	for k := range f.pieces {
		s.add(f, k, f.shift(k, p.tan))
	}
	p.l = s.stands(0, f.bins, leastM2)
	for b, x := range p.l {
		p.l[b] = f.unit.of(x)
	}
	return p
}

// A stripe is ground summed along a heading, by bins from one of a sheaf's on.
type stripe struct {
	from int
	v, n []float32
}

func newStripe(from, to int) stripe {
	return stripe{from, make([]float32, to-from), make([]float32, to-from)}
}

// add adds a piece of a sheaf, moved by so many bins.
func (s stripe) add(f *sheaf, piece, shift int) {
	first := s.from + shift // bin of the piece that belongs to the stripe's first
	from, to := max(0, -first), min(len(s.v), f.bins-first)
	if from >= to {
		return
	}
	at := piece*f.bins + first
	v, n := f.v[at+from:at+to], f.n[at+from:at+to]
	for i, x := range v {
		s.v[from+i] += x
		s.n[from+i] += n[i]
	}
}

func (s stripe) clear() {
	clear(s.v)
	clear(s.n)
}

// stands is how much the lines between bins stand out: the mean of the line less that of the ground on
// the side that stands out more, so that the rim of a patch is no line, times the root of the line's m2. NaN where less
// than least m2 of it are looked at, or nothing beside it.
func (s stripe) stands(from, to int, least float64) []float32 {
	sums, m2 := running(s.v), running(s.n)
	mean := func(a, b int, least float64) (v, n float64) {
		a, b = max(a, 0), min(b, len(s.v))
		if a >= b || m2[b]-m2[a] < least {
			return math.NaN(), 0
		}
		return (sums[b] - sums[a]) / (m2[b] - m2[a]), m2[b] - m2[a]
	}
	out := make([]float32, to-from)
	for b := range out {
		at := from + b
		v, n := mean(at-coreBins/2, at+coreBins/2, least)
		left, _ := mean(at-flankFrom-flankBins, at-flankFrom, least*leastSide/leastM2)
		right, _ := mean(at+flankFrom, at+flankFrom+flankBins, least*leastSide/leastM2)
		if left != left || right > left {
			left = right
		}
		out[b] = float32((v - left) * math.Sqrt(n))
	}
	return out
}

// running are the sums of the values before each place, and of all.
func running(v []float32) []float64 {
	out := make([]float64, len(v)+1)
	for i, x := range v {
		out[i+1] = out[i] + float64(x)
	}
	return out
}

// measure sets the scale of a sheaf by the lines along its own heading: ground has a grain, and lines along it stand out
// more by chance. Least is the spread that it has at least.
func (f *sheaf) measure(least float64) {
	f.unit = scale{0, 1}
	middle, spread := stat.CenterSpread(stat.Sample(f.turned(0).l, nil, 4000))
	if spread = max(spread, least); spread > 0 {
		f.unit = scale{middle, spread}
	}
}

// across is the place of a bin's left side, m from the middle.
func (f *sheaf) across(bin float64) float64 { return bin*binM - f.halfM }

// bin is the bin of a place, m across from the middle.
func (f *sheaf) bin(across float64) float64 { return (across + f.halfM) / binM }

// stretches is how much each 200 ft of the line at a bin stands out by itself; NaN where too little is looked at.
func (p *profile) stretches(bin int) []float32 {
	f := p.sheaf
	s := newStripe(max(0, bin-flankFrom-flankBins), min(f.bins, bin+flankFrom+flankBins))
	var out []float32
	p.eachStretch(s, func() {
		out = append(out, f.unit.of(s.stands(bin-s.from, bin-s.from+1, voteM2)[0]))
	})
	return out
}

// eachStretch sums 200 ft after 200 ft of the ground into s and calls fn.
func (p *profile) eachStretch(s stripe, fn func()) {
	f := p.sheaf
	for k := 0; k < f.pieces; k += 2 {
		s.clear()
		for i := k; i < min(k+2, f.pieces); i++ {
			s.add(f, i, f.shift(i, p.tan))
		}
		fn()
	}
}
