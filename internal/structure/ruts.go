package structure

import (
	"math"

	"bittern/internal/stat"
)

// Settings of what is too wide for a wheel's rut. Lengths in metres.
const (
	rutReachM = 6.0 // to each side of a line that is looked at
	rutFlankM = 3.5 // from which the ground beside it counts; a pair's other rut lies nearer
	rutWideM  = 1.3 // at half its height, from which a band is no rut: a tyre's half metre, and a cell that it only touches
	bankRise  = 2.5 // spreads that a bank's middle rises over its flanks, as a levee's
)

// dropBanks takes the lines that are banks out of the tracks: a straight levee
// may well run as the drill does. A bank is a single band several times as wide
// as a tyre, of one material along its length; a pair of ruts is two narrow ones
// with crop between. What runs along the perimeter is the perimeter's own bank
// and no line of the field.
func (f *finder) dropBanks(mask []bool, h float64) {
	runs, sizes := stat.Runs(mask, f.fine.size, true)
	ps := make([]rutProfile, len(sizes))
	half := int(rutReachM / f.cell())
	for i := range ps {
		ps[i] = newRutProfile(half)
	}
	across := make([][2]int, 2*half+1) // columns and rows to the sides
	for k := range across {
		off := float64(k - half)
		across[k] = [2]int{int(math.Round(off * math.Sin(h))), int(math.Round(off * math.Cos(h)))}
	}
	s, rim := f.fine.size, float32((f.out.PerimeterM+alongEdgeM)/f.cell())
	within := make([]int, len(sizes))
	for _, r := range runs {
		p := ps[r.Part]
		for i := int(r.From); i < int(r.To); i++ {
			x, y := i%s.Cols, i/s.Cols
			if f.depth[i] > rim {
				within[r.Part]++
			}
			for k, off := range across {
				u, v := x+off[0], y+off[1]
				if u >= 0 && v >= 0 && u < s.Cols && v < s.Rows && f.ok[v*s.Cols+u] {
					p.sum[k] += float64(f.fineStep[v*s.Cols+u])
					p.n[k]++
				}
			}
		}
	}
	bank := make([]bool, len(ps))
	for i, p := range ps {
		width, rise := p.width(int(rutFlankM/f.cell()), f.cell())
		bank[i] = width > rutWideM && rise >= bankRise && 2*within[i] > sizes[i]
	}
	for _, r := range runs {
		if bank[r.Part] {
			clear(mask[r.From:r.To])
		}
	}
}

// A rutProfile is the mean distance from the ground round about across a line,
// a cell at a time, in steps.
type rutProfile struct{ sum, n []float64 }

func newRutProfile(half int) rutProfile {
	return rutProfile{make([]float64, 2*half+1), make([]float64, 2*half+1)}
}

// width is how wide the middle is at half its height over the flanks, in metres,
// and that height in spreads; NaN where nothing lies beside it.
func (p rutProfile) width(flank int, cell float64) (width, rise float64) {
	mid := len(p.sum) / 2
	at := make([]float64, len(p.sum))
	base, n := 0.0, 0.0
	for k := range at {
		at[k] = p.sum[k] / p.n[k] / stepsPer
		if off := k - mid; (off >= flank || off <= -flank) && p.n[k] > 0 {
			base, n = base+p.sum[k]/stepsPer, n+p.n[k]
		}
	}
	base /= n
	top := mid
	for k := max(0, mid-2); k <= min(len(at)-1, mid+2); k++ {
		if at[k] > at[top] {
			top = k
		}
	}
	rise = at[top] - base
	side := func(step int) float64 {
		for k := top; k+step >= 0 && k+step < len(at); k += step {
			if p.n[k+step] == 0 {
				return math.Abs(float64(k-top)) + 0.5
			}
			if !(at[k+step]-base > rise/2) {
				part := (at[k] - base - rise/2) / (at[k] - at[k+step])
				return math.Abs(float64(k-top)) + max(0, min(part, 1))
			}
		}
		return float64(mid)
	}
	return (side(-1) + side(1)) * cell, rise
}
