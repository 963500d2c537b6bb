package norm

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/stat"
)

const (
	leastChecks  = 4     // in the field, for a standing
	apartSpreads = 3.5   // spreads of its peers from which a check is apart
	weedySpreads = 3.0   // the same of a check of weeds that leads the next check, and
	someWeeds    = 1.25  // spreads of evidence of a coarse check of a kind: a rough stand or a variety's leaf has no brown in it
	farLead      = 1.0   // spreads by which a check does, which another that is wrong in part may join to the rest
	alikeSpreads = 2.5   // floors of spread within which two checks share a look
	allOver      = 0.5   // of the check's own distance: what the nearer part of it must show, or a part of the check only is wrong
	nearPart     = 0.15  // of the check, the nearer part: a patch may fill more than three quarters of a small one
	leastWeedyM2 = 4000  // m2 looked at, of a check that is weeds all over; a smaller one may be one patch, and is drawn as such
	leastPeerM2  = 400   // m2 looked at, of a check that others are held against
	smallCheck   = 0.5   // of the middle one of the checks: smaller ones, and under leastWeedyM2, are corners that one patch may fill
	evidenceStep = 1.25  // evidence, the floor under the spread between checks
	ratioStep    = 0.04  // ln units, the same of the ratio
	nearStep     = 0.05  // ln units, the same of the infrared
	coarseStep   = 0.022 // ln units, the same of the green contrast
)

// apart says whether check c stands apart.
func (w *work) apart(c int) bool {
	s := w.out.Norms[c].Standing
	return s != nil && s.Apart
}

// A bearing is one thing that whole checks are compared in: the median of each
// check, the quantiles of its nearer part, and the floor under the spread between healthy checks.
type bearing struct {
	name           string
	low, at, upper []float64
	floor          float64
}

// bearings are the ratio, the infrared, the green contrast and the evidence, all
// from the checks' own medians. Evidence is held against the middle one of the checks.
func (w *work) bearings() []bearing {
	var out []bearing
	for _, b := range [...]bearing{
		{name: RatioPixel, floor: ratioStep},
		{name: Infrared, floor: nearStep},
		{name: GreenContrast, floor: coarseStep},
		{name: Brightness, floor: math.Inf(1)}, // light differs between checks for many reasons: it only names the look
	} {
		if q := w.of[b.name]; q != nil {
			b.low, b.at, b.upper = q.low, q.median, q.upper
			out = append(out, b)
		}
	}
	if w.s.Ratio != "" {
		b := bearing{name: Weight, floor: evidenceStep}
		b.at = w.checkEvidence(func(q *quantity) []float64 { return q.median })
		b.low = w.checkEvidence(func(q *quantity) []float64 { return q.low })
		b.upper = b.at
		out = append(out, b)
	}
	return out
}

// checkEvidence weighs a figure of every check as if it were a place, against the
// median of that of all checks.
func (w *work) checkEvidence(of func(*quantity) []float64) []float64 {
	n := len(w.l.Checks)
	like := &work{s: w.s, p: w.p, near: w.near, of: map[string]*quantity{}, pool: &pool{check: make([]int32, n)}, bright: make([]float32, n)}
	for c := range like.pool.check {
		like.pool.check[c] = -1
	}
	for name, q := range w.of {
		base := stat.Median(q.median[:n])
		figures := &quantity{v: make([]float32, n), center: []float64{base}, spread: []float64{1}}
		for c := range n {
			figures.v[c] = float32(of(q)[c])
		}
		like.of[name] = figures
	}
	like.read()
	out := make([]float64, n)
	for c := range n {
		out[c] = like.evidence(like.balance(), c)
	}
	return out
}

// stand compares every check with the others. Checks that share a look are one
// kind (two varieties, flooded beside dry); a check is held against the kind
// that it belongs to, or when it belongs to none, against the nearest.
func (w *work) stand() {
	var all []int
	for c := range w.out.Norms {
		if w.checkM2(c) >= leastPeerM2 {
			all = append(all, c)
		}
	}
	if len(w.out.Norms) < leastChecks || len(all) < leastChecks {
		return
	}
	bs := w.bearings()
	kinds, kindOf := kindsOf(bs, all, len(w.out.Norms))
	w.kindOf = kindOf
	leastM2 := w.leastApartM2(all)
	for c := range w.out.Norms {
		if w.out.Norms[c].Cells > 0 {
			w.out.Norms[c].Standing = w.standing(bs, kinds, kindOf[c], c, leastM2)
		}
	}
	w.notCoarseTwice()
	if len(kinds) > 1 {
		w.out.Doubts = append(w.out.Doubts, w.kindsDoubt(kinds))
	}
}

// notCoarseTwice takes back that checks stand apart as coarse where more than one
// does: a pass misses one check, while a variety of another leaf is sown in several.
// Their patches are sought as in any other check.
func (w *work) notCoarseTwice() {
	var coarse []*Standing
	for _, n := range w.out.Norms {
		if n.Standing != nil && n.Standing.Apart && n.Standing.Look == Coarse {
			coarse = append(coarse, n.Standing)
		}
	}
	if len(coarse) < 2 {
		return
	}
	for _, s := range coarse {
		s.Apart, s.Look = false, ""
	}
}

func (w *work) checkM2(c int) float64 {
	return float64(w.out.Norms[c].Cells) * w.s.Grid.CellM * w.s.Grid.CellM
}

// leastApartM2 is the least ground looked at, m2, of a check that may stand apart.
// What is left in a field's corner is small beside its checks, and one patch,
// or the shade of a tree, may fill it.
func (w *work) leastApartM2(all []int) float64 {
	sizes := make([]float64, len(all))
	for i, c := range all {
		sizes[i] = w.checkM2(c)
	}
	return held(smallCheck*stat.Median(sizes), leastPeerM2, leastWeedyM2)
}

// standing holds check c against its kind, or against the nearest when it is of
// none (kind -1). A check of less than leastM2 does not stand apart.
func (w *work) standing(bs []bearing, kinds [][]int, kind, c int, leastM2 float64) *Standing {
	var best *reading
	for k, peers := range kinds {
		if kind >= 0 && k != kind {
			continue
		}
		if d := readStanding(bs, peers, c); best == nil || math.Abs(d.spreads) < math.Abs(best.spreads) {
			best = &d
		}
	}
	if best == nil {
		return nil
	}
	st := &Standing{Spreads: best.spreads}
	look := best.look()
	switch {
	case !best.allOver || w.checkM2(c) < leastM2:
	case look == Browned || look == Coarse:
		from := weedySpreads
		if kind >= 0 && look == Coarse {
			from = apartSpreads
		}
		leads := best.lead >= farLead && best.spreads >= from && (kind < 0 || best.weeds >= someWeeds)
		st.Apart = (kind < 0 && best.spreads >= apartSpreads || leads) && w.checkM2(c) >= leastWeedyM2
	default:
		st.Apart = (kind < 0 || best.lead >= farLead) && math.Abs(best.spreads) >= apartSpreads
	}
	if st.Apart {
		st.Look = look
	}
	return st
}

// A reading is how far one check lies from a kind: the farthest bearing decides.
type reading struct {
	distance
	spreads float64
	weeds   float64 // spreads of evidence
	coarse  float64 // spreads of the green contrast: leaves of another kind stand among the crop
	fall    float64 // of ln(nir/green), ln units; below 0 for a fall
	allOver bool    // the nearer part departs too
	lead    float64 // spreads by which it is ahead of the next check in the bearing that decides
}

// paler is the least part of the fall of ln(nir/green) that is a rise of green where
// the leaf is paler; where the stand is thin the near infrared falls.
const paler = 0.3

// look names the direction.
func (r *reading) look() Look {
	look := r.distance.look()
	switch {
	case r.weeds >= max(r.size(), departs):
		return Browned
	case r.coarse >= max(r.size(), departs):
		return Coarse
	case look == Thinned && r.ratio > 0 && r.brighter >= -paler*r.fall:
		return Yellowed
	}
	return look
}

// readStanding measures check c against peers, itself left out.
func readStanding(bs []bearing, peers []int, c int) reading {
	var r reading
	for _, b := range bs {
		m, spread := ofPeers(b.at, peers, c)
		size := b.at[c] - m
		if math.IsNaN(size) {
			continue
		}
		spread = held(spread, b.floor, math.Inf(1))
		z, nearer := size/spread, b.low
		if size < 0 {
			nearer = b.upper
		}
		like, _ := ofPeers(nearer, peers, c)
		switch b.name {
		case RatioPixel:
			r.ratio = z
		case Infrared:
			r.infrared, r.fall = z, size
		case Brightness:
			r.brighter = size
		case GreenContrast:
			z = max(z, 0)
			r.coarse = z
		case Weight:
			z = max(z, 0)
			r.weeds = z
		}
		if math.Abs(z) > math.Abs(r.spreads) {
			r.spreads, r.allOver = z, (nearer[c]-like)/size >= allOver
			r.lead = math.Abs(z) - nextTo(b.at, peers, c, m, math.Copysign(spread, z))
		}
	}
	return r
}

// nextTo is how many spreads from m, towards the sign of spread, the farthest of
// the peers of check c lies.
func nextTo(v []float64, peers []int, c int, m, spread float64) float64 {
	next := 0.0
	for _, o := range peers {
		if x := (v[o] - m) / spread; o != c && x > next { // NaN is not
			next = x
		}
	}
	return next
}

// ofPeers is the median and the robust spread of v over the peers of check c.
func ofPeers(v []float64, peers []int, c int) (center, spread float64) {
	var xs []float64
	for _, o := range peers {
		if x := v[o]; o != c && x == x {
			xs = append(xs, x)
		}
	}
	center = stat.Median(xs)
	return center, stat.Spread(xs, center)
}

// kindsOf joins checks that share a look, through others if need be, and returns
// the kinds: groups of more than one check and of more than a quarter of all; all
// checks when no group is. kindOf has the kind of each of n checks, -1 for none.
func kindsOf(bs []bearing, all []int, n int) (kinds [][]int, kindOf []int) {
	group := make([]int, n)
	for c := range group {
		group[c] = c
	}
	for i, c := range all {
		for _, o := range all[:i] {
			if from, to := group[c], group[o]; from != to && alike(bs, c, o) {
				for x := range group {
					if group[x] == from {
						group[x] = to
					}
				}
			}
		}
	}
	members := make([][]int, n)
	for _, c := range all {
		members[group[c]] = append(members[group[c]], c)
	}
	kindOf = slices.Repeat([]int{-1}, n)
	for _, of := range members {
		if len(of) >= 2 && 4*len(of) > len(all) {
			for _, c := range of {
				kindOf[c] = len(kinds)
			}
			kinds = append(kinds, of)
		}
	}
	if len(kinds) == 0 {
		for _, c := range all {
			kindOf[c] = 0
		}
		kinds = [][]int{all}
	}
	return kinds, kindOf
}

// alike says whether two checks share a look in every bearing.
func alike(bs []bearing, c, o int) bool {
	for _, b := range bs {
		if math.Abs(b.at[c]-b.at[o]) > alikeSpreads*b.floor {
			return false
		}
	}
	return true
}

// kindsDoubt says that the checks are of several kinds.
func (w *work) kindsDoubt(kinds [][]int) doubt.Doubt {
	var lists []string
	for _, k := range kinds {
		var ids []string
		for _, c := range k {
			ids = append(ids, w.l.Checks[c].ID)
		}
		lists = append(lists, strings.Join(ids, ", "))
	}
	return doubt.Doubt{
		About: "checks", Weight: 0.35,
		Says: fmt.Sprintf("The checks are of %d kinds by their colour (%s); each was held against its own kind only.",
			len(kinds), strings.Join(lists, "; ")),
		Settle: "Two varieties or planting dates, or flooded beside dry checks, explain that; if there are none, look at why.",
	}
}
