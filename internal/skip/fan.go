package skip

import (
	"math"

	"bittern/internal/stat"
)

const (
	binM      = 2.0   // m, across the lines
	pieceM    = 60.96 // m, 200 ft: the length that a strip has one vote for (TRADE's rule: one long strip is not one patch)
	baseDeg   = 3.0   // degrees between the headings that all ground is summed along
	fineDeg   = 0.5   // degrees between the headings that pieces are put together along
	leastFull = 0.35  // share of a piece that must be looked at
	pieceClip = 3.5
	pieceOn   = 1.2
)

// A sheaf is the ground summed along one heading: pieces of pieceM along it, by
// bins of binM across it.
type sheaf struct {
	rad    float64 // radians clockwise from grid north
	pieces int
	bins   int
	halfAt float64   // m from the first bin's left side to the middle
	t      []float32 // [piece*bins + bin] spreads that a piece of line stands out; NaN where too little is looked at
}

// along sums the ground along the heading. flank is how far off the ground lies
// that a line is held against, in bins.
func (g *ground) along(rad float64, flank int) *sheaf {
	half := g.spanM + 2*binM
	f := &sheaf{rad: rad, pieces: int(math.Ceil(2 * half / pieceM)), bins: int(math.Ceil(2*half/binM)) + 2, halfAt: half}
	// Half bins first, then each bin from the four about it, the inner two in full:
	// a square is as wide as a bin and lies anywhere.
	fine := 2 * f.bins
	sums := make([][2]float32, f.pieces*fine)
	sin, cos := math.Sincos(rad)
	ax, ay := float32(2*cos/binM), float32(-2*sin/binM)
	lx, ly := float32(sin/pieceM), float32(cos/pieceM)
	d0, l0 := float32(2*half/binM), float32(float64(f.pieces)/2)
	for i := range g.points {
		p := &g.points[i]
		s := &sums[int(p.x*lx+p.y*ly+l0)*fine+int(p.x*ax+p.y*ay+d0)]
		s[0] += p.v
		s[1] += p.w
	}
	f.t = make([]float32, f.pieces*f.bins)
	full := float32(pieceM * binM / (poolM * poolM))
	nan := float32(math.NaN())
	for k := range f.pieces {
		row := sums[k*fine : (k+1)*fine]
		for b := range f.bins {
			v, w := row[2*b][0]+row[2*b+1][0], row[2*b][1]+row[2*b+1][1]
			if b > 0 && b+1 < f.bins {
				v += (row[2*b-1][0] + row[2*b+2][0]) / 2
				w += (row[2*b-1][1] + row[2*b+2][1]) / 2
			}
			if v, w = v*2/3, w*2/3; w < leastFull*full {
				f.t[k*f.bins+b] = nan
				continue
			}
			f.t[k*f.bins+b] = v / float32(math.Sqrt(float64(w)))
		}
	}
	f.standOut(flank)
	return f
}

// standOut takes the ground on the two sides off each piece: the side that
// stands out more, so that the rim of a patch is no line. flank is how far off
// that ground is, in bins.
func (f *sheaf) standOut(flank int) {
	out := make([]float32, len(f.t))
	for k := range f.pieces {
		row, to := f.t[k*f.bins:(k+1)*f.bins], out[k*f.bins:(k+1)*f.bins]
		side := func(b int) float32 {
			if b < 0 || b+1 >= len(row) {
				return float32(math.NaN())
			}
			return (row[b] + row[b+1]) / 2
		}
		for b, t := range row {
			left, right := side(b-flank-1), side(b+flank)
			if left != left {
				left = right
			}
			if right != right {
				right = left
			}
			to[b] = t - max(left, right)
		}
	}
	middle, spread := stat.CenterSpread(stat.Sample(out, nil, 4000))
	for at := range out {
		if out[at] -= float32(middle); spread > 0 {
			out[at] /= float32(spread)
		}
	}
	f.t = out
}

// across is the place of a bin, m from the middle.
func (f *sheaf) across(bin float64) float64 { return bin*binM - f.halfM() }

// bin is the bin of a place, m across from the middle.
func (f *sheaf) bin(across float64) float64 { return (across + f.halfM()) / binM }

// halfM is how far left of the middle bin 0 is, m.
func (f *sheaf) halfM() float64 { return f.halfAt - binM/2 }

// A profile is how much lines along one heading stand out, by their place
// across it.
type profile struct {
	rad    float64
	l      []float32 // spreads; NaN where there is too little line
	pieces []float32 // pieces that a line rests on
	on     []float32 // of them, those that stand out by themselves
}

// turned puts the pieces together along a heading a little off the sheaf's.
func (f *sheaf) turned(by float64) profile {
	p := profile{rad: f.rad + by, l: make([]float32, f.bins), pieces: make([]float32, f.bins), on: make([]float32, f.bins)}
	tan := math.Tan(by)
	for k := range f.pieces {
		// A line turned clockwise lies farther to the right, the farther along.
		shift := (float64(k) + 0.5 - float64(f.pieces)/2) * pieceM * tan / binM
		whole := int(math.Floor(shift))
		part := float32(shift - math.Floor(shift))
		row := f.t[k*f.bins : (k+1)*f.bins]
		for b := max(0, -whole); b < f.bins && b+whole+1 < f.bins; b++ {
			t := row[b+whole]*(1-part) + row[b+whole+1]*part
			if t != t {
				continue
			}
			p.pieces[b]++
			if t >= pieceOn {
				p.on[b]++
			}
			p.l[b] += min(max(t, -pieceClip), pieceClip)
		}
	}
	for b, n := range p.pieces {
		if n == 0 {
			p.l[b] = float32(math.NaN())
			continue
		}
		p.l[b] /= float32(math.Sqrt(float64(n)))
	}
	return p
}
