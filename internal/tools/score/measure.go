package main

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/invent"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// A measure says how a set of cells agrees with the truth. Light weeds, below
// the density worth acting on, are neither right nor wrong.
type measure struct {
	truth, hit, wrong float64 // acres worth acting on; of them marked; marked without need
}

func (m measure) recall() float64    { return m.hit / m.truth }
func (m measure) precision() float64 { return m.hit / (m.hit + m.wrong) }
func (m measure) iou() float64       { return m.hit / (m.truth + m.wrong) }

// compare measures marked cells against the truth inside the boundary.
func compare(d *day, marked func(i int) bool) measure {
	var m measure
	for i, in := range d.Summary.Inside {
		if !in {
			continue
		}
		act, mark := d.Truth.Acting(i), marked(i)
		if act {
			m.truth++
		}
		switch {
		case act && mark:
			m.hit++
		case mark && !d.Truth.Light(i):
			m.wrong++
		}
	}
	a := d.Summary.Grid.AcresPerCell
	return measure{m.truth * a, m.hit * a, m.wrong * a}
}

// A result is what the chain made of one scene.
type result struct {
	measure
	suspects, wrong int     // suspects, and those of which under a quarter is weeds
	patches, found  int     // planted patches of 0.025 acre or more, and those found at half their area
	killed, called  float64 // acres of killed weeds, and acres reported as killed
	killedIn        float64 // part of the killed ground that is in suspects
	faint           int     // suspects called faint
	looked          float64 // part of the weeds worth acting on that structure leaves to be looked at
}

// killedCover is the cover of dead weeds from which ground counts as killed:
// as dense as living weeds worth acting on.
const killedCover = invent.ActDensity

// judge measures a finding.
func judge(d *day, f *suspect.Finding) result {
	in := make([]bool, len(d.Summary.Inside))
	r := result{suspects: len(f.Suspects)}
	for _, s := range f.Suspects {
		weeds := 0
		for _, i := range s.Cells {
			in[i] = true
			if d.Truth.Acting(int(i)) || d.Truth.Light(int(i)) {
				weeds++
			}
		}
		if 4*weeds < len(s.Cells) {
			r.wrong++
		}
		if s.Severity == suspect.Faint {
			r.faint++
		}
	}
	r.measure = compare(d, func(i int) bool { return in[i] })
	r.countPatches(d, in)
	dead, deadIn := 0.0, 0.0
	for i, k := range d.Truth.Killed {
		if k >= killedCover && d.Summary.Inside[i] && !d.Truth.Acting(i) {
			dead++
			if in[i] {
				deadIn++
			}
		}
	}
	r.killed, r.killedIn, r.called = dead*d.Summary.Grid.AcresPerCell, deadIn/dead, f.KilledAcres
	return r
}

// lookedPart is the part of the weeds worth acting on that is looked at: no
// recall can be above it.
func lookedPart(d *day, l *structure.Layout) float64 {
	m := compare(d, func(i int) bool { return l.Reason[i] == structure.LookedAt })
	return m.recall()
}

// countPatches counts planted patches that are found at half their area.
func (r *result) countPatches(d *day, in []bool) {
	all, hit := make([]float64, len(d.Truth.Patches)), make([]float64, len(d.Truth.Patches))
	for i, p := range d.Truth.Patch {
		if p >= 0 && d.Truth.Acting(i) && d.Summary.Inside[i] {
			all[p]++
			if in[i] {
				hit[p]++
			}
		}
	}
	for p := range all {
		if all[p]*d.Summary.Grid.AcresPerCell < 0.025 {
			continue
		}
		r.patches++
		if 2*hit[p] >= all[p] {
			r.found++
		}
	}
}

// bestRule applies the one-line rule "share of pixels redder than green above a
// threshold" at the threshold that the truth likes best, out of a hundred.
func bestRule(d *day) (measure, float32) {
	var best measure
	at, top := float32(1), -1.0
	for k := 1; k < 100; k++ {
		t := float32(k) / 100
		m := compare(d, func(i int) bool { return d.redder[i] > t })
		if v := m.iou(); v > top {
			best, at, top = m, t, v
		}
	}
	return best, at
}

// otsu applies the threshold that parts the index's histogram best into two
// (Otsu, IEEE Transactions on Systems, Man, and Cybernetics 9 (1979), 62-66) and marks the side
// that is less green: the normalised difference of near infrared and red where
// there is near infrared, else of green and red.
func otsu(d *day) measure {
	index := greenness(d.Summary)
	const bins = 256
	var hist [bins]float64
	for i, in := range d.Summary.Inside {
		if in && !math.IsNaN(index[i]) {
			hist[bin(index[i], bins)]++
		}
	}
	at := otsuBin(hist[:])
	return compare(d, func(i int) bool { return !math.IsNaN(index[i]) && bin(index[i], bins) <= at })
}

func bin(v float64, n int) int { return min(max(int((v+1)/2*float64(n)), 0), n-1) }

// otsuBin returns the last bin of the lower class.
func otsuBin(hist []float64) int {
	total, sum := 0.0, 0.0
	for b, n := range hist {
		total += n
		sum += float64(b) * n
	}
	best, at, w, s := -1.0, 0, 0.0, 0.0
	for b, n := range hist {
		w += n
		s += float64(b) * n
		if w == 0 || w == total {
			continue
		}
		gap := s/w - (sum-s)/(total-w)
		if v := w * (total - w) * gap * gap; v > best {
			best, at = v, b
		}
	}
	return at
}

// greenness is a normalised difference of each cell's means.
func greenness(s *cells.Summary) []float64 {
	over, _ := s.Band("nir")
	red, _ := s.Band("red")
	under := red
	if over == nil {
		over, _ = s.Band("green")
	}
	out := make([]float64, s.Grid.Len())
	for i := range out {
		out[i] = float64(over[i]-under[i]) / float64(over[i]+under[i])
	}
	return out
}
