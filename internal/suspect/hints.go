package suspect

import (
	"cmp"
	"slices"

	"bittern/internal/norm"
)

const mostHints = 3

// A view is what a cause is judged by.
type view struct {
	shape
	Suspect
	many  bool    // there are at least three suspects
	dead  bool    // its weeds look rather dead than alive
	after float64 // days since the treatment, 0 when not known
}

// strip says whether the patch is long, narrow and straight.
func (v view) strip() bool {
	return v.length > 25 && v.length > 5*v.width && v.width < 9 && v.bent < 0.6
}

// A reading is one thing that a cause goes by.
type reading struct {
	holds func(view) bool
	says  string
}

// A cause is one thing that a suspect can be consistent with.
type cause struct {
	name    string
	look    norm.Look
	needs   func(view) bool // without this it is not spoken of
	speaks  []reading
	against []reading
	lookFor string
}

// hint gives each suspect the causes that its look, shape and place fit, the
// best first.
func (w *work) hint(all []Suspect) {
	for i := range all {
		v := view{shape: w.shape(all[i].Cells), Suspect: all[i], many: len(all) >= 3, dead: w.looksDead(all[i])}
		if w.p.DaysSinceTreatment > 0 {
			v.after = w.p.DaysSinceTreatment
		}
		all[i].Hints = judge(w.p.Hints, v)
	}
}

// looksDead says whether the weeds of a suspect look rather dead than alive, where no more than that is known.
func (w *work) looksDead(s Suspect) bool {
	return s.Look == norm.Browned && w.d.Fate != nil && w.d.Fate.Died(s.Cells) > 0
}

// judge weighs the causes: what speaks for one less what speaks against it.
func judge(causes []cause, v view) []Hint {
	type scored struct {
		hint  Hint
		score int
	}
	var fit []scored
	for _, c := range causes {
		if c.look != v.Look || c.needs != nil && !c.needs(v) {
			continue
		}
		h := Hint{Cause: c.name, For: said(c.speaks, v), Against: said(c.against, v), LookFor: c.lookFor}
		if score := len(h.For) - len(h.Against); len(h.For) > 0 && score >= 0 {
			fit = append(fit, scored{h, score})
		}
	}
	slices.SortStableFunc(fit, func(a, b scored) int { return cmp.Compare(b.score, a.score) })
	var out []Hint
	for _, s := range fit[:min(len(fit), mostHints)] {
		out = append(out, s.hint)
	}
	return out
}

func said(rs []reading, v view) []string {
	var out []string
	for _, r := range rs {
		if r.holds(v) {
			out = append(out, r.says)
		}
	}
	return out
}

// escapeCauses are the causes that one flight can speak to after a herbicide.
func escapeCauses() []cause { return slices.Concat(brownCauses(), coarseCauses(), lushCauses()) }

// longStrip is what a skip or a double dose looks like.
func longStrip() reading { return reading{view.strip, "long, narrow and straight"} }

func brownCauses() []cause {
	specks := reading{func(v view) bool { return v.Share < 0.6 }, "brown specks with living green between them"}
	strip := longStrip()
	soon := reading{func(v view) bool { return v.after > 0 && v.after < 5 }, "under five days after treatment, when dying and living look alike"}
	return []cause{
		{
			name: "escapes", look: norm.Browned,
			speaks: []reading{
				specks,
				{func(v view) bool { return v.ragged > 1.3 && !v.strip() }, "a ragged outline"},
				{func(v view) bool { return v.many }, "several patches, as weeds grow from a seed bank"},
			},
			against: []reading{
				strip, soon,
				{func(v view) bool { return v.Share >= 0.6 }, "little living green between the brown"},
			},
			lookFor: "weeds standing above the rice with burnt leaves and new green growth at the base",
		},
		{
			name: "a strip missed between passes", look: norm.Browned, needs: view.strip,
			speaks: []reading{
				strip,
				{func(v view) bool { return v.levee < 0.3 && v.border < 0.3 }, "away from levees and edges"},
			},
			against: []reading{{func(v view) bool { return v.track > 0.5 }, "beside wheel tracks"}},
			lookFor: "dead weeds right beside the strip and living ones in it, and where the strip starts and stops",
		},
		{
			name: "weeds spreading from a levee", look: norm.Browned,
			needs:   func(v view) bool { return v.levee > 0.4 },
			speaks:  []reading{{func(v view) bool { return v.levee > 0.4 }, "lies along a levee"}, {func(v view) bool { return v.width < 5 }, "narrow"}},
			lookFor: "the same weeds on the levee, thinning out into the check",
		},
		{
			name: "a missed edge or corner", look: norm.Browned,
			needs:   func(v view) bool { return v.border > 0.4 },
			speaks:  []reading{{func(v view) bool { return v.border > 0.4 }, "lies along the field's edge"}},
			lookFor: "trees, poles or wires that a plane would keep off",
		},
		{
			name: "weeds on high ground", look: norm.Browned,
			needs:   func(v view) bool { return v.bare > 0.25 },
			speaks:  []reading{{func(v view) bool { return v.bare > 0.25 }, "thin or pale rice round about"}},
			against: []reading{strip},
			lookFor: "soil that stands out of the flood, and thin rice",
		},
		{
			name: "killed weeds that have not sunk", look: norm.Browned,
			needs: func(v view) bool { return v.killed > 0.2 || v.Share >= 0.6 || v.dead },
			speaks: []reading{
				{func(v view) bool { return v.dead }, "brown throughout, as weeds are that died"},
				{func(v view) bool { return v.killed > 0.2 }, "lies beside killed ground"},
				{func(v view) bool { return v.Share >= 0.6 }, "little living green between the brown"},
				soon,
			},
			against: []reading{{func(v view) bool { return v.Share < 0.35 }, "much living green between the brown"}},
			lookFor: "stems that pull out limp and show no green when split",
		},
	}
}

// coarseCauses are those of ground that is rougher than the crop from pixel to
// pixel while nothing in it has browned.
func coarseCauses() []cause {
	return []cause{
		{
			name: "escapes without burnt leaf", look: norm.Coarse,
			speaks: []reading{
				{func(view) bool { return true }, "rougher than the rice, with no browner leaf"},
				raggedPatch(),
				{func(v view) bool { return v.many }, "several patches, as weeds grow from a seed bank"},
			},
			against: []reading{longStrip()},
			lookFor: "whole green weeds above the rice: what the product did not reach or does not touch",
		},
		{
			name: "rice of another kind", look: norm.Coarse,
			speaks:  []reading{smoothPatch()},
			lookFor: "volunteer or red rice, taller or paler than what was planted",
		},
	}
}

func lushCauses() []cause {
	return []cause{
		{
			name: "grass standing above the rice", look: norm.Lush,
			speaks: []reading{
				{func(v view) bool { return v.ragged > 1.3 && !v.strip() }, "greener than the crop, with a ragged outline"},
			},
			against: []reading{longStrip()},
			lookFor: "a lighter green, coarser grass above the rice, with a flat sheath",
		},
		{
			name: "a double dose of fertiliser", look: norm.Lush, needs: view.strip,
			speaks:  []reading{longStrip()},
			lookFor: "tall dark rice without weeds, and a strip like it one spreader's width away",
		},
	}
}
