package question

import (
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// insects looks for thinned ground, also on edges and beside levees: armyworm
// starts by woods and turnrows and on the windward side of levees
// (docs/references.md, armyworm). Edges are held against edges. The full effect is
// a canopy that is gone with wet soil in its place, per part of it that is gone.
//
// Where an earlier flight is given, what ground looked like then takes the place of
// the crop round about: stand, soil and banks stay. One norm holds for the whole
// field, since a check can be eaten over more than half of it and grows with the
// rest in between. An effect of 0.08 is then told.
func insects() Question {
	eaten := []norm.Target{{Look: norm.Thinned, Adds: thinned()}}
	return Question{
		Name: "insects", Priced: true,
		Words: Words{
			Called: "defoliation", Patch: [2]string{"patch is thinner and stands", "patches are thinner and stand"},
			Clear:   "That is no proof that nothing feeds there: larvae are counted on foot.",
			NoCrop:  noCrop,
			Next:    "Walk %s and count larvae and leaf lost; colour cannot tell chewed rice from a thin stand.",
			Planted: "%s of the leaf gone",
			Sure:    "On one date chewed rice looks like any thin stand: two flights some days apart, or a walk, decide.",
			Since:   "This is ground that lost leaf since the earlier flight; an old thin stand does not show. What took the leaf, a walk decides.",
		},
		keep: []structure.Reason{structure.Edge, structure.BorrowDitch},
		search: &norm.Search{
			Targets: eaten,
			Varies:  []norm.Variation{{Adds: paled(), Part: 0.2}},
			Even:    &norm.Even{StreakM: 40, SlowM: 40, Departs: 0.07, ByItself: 1.3},
			SmoothM: 1.5, Floor: 0.03, Share: 0.6, Least: 2, From: 0.10, Field: true,
		},
		change: &norm.Search{
			Targets: eaten,
			SmoothM: 1.5, Floor: 0.03, Share: 0.75, Least: 2, From: 0.08, Field: true,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts, p.Evident = []norm.Look{norm.Thinned}, []norm.Look{norm.Thinned}
			p.Low, p.High = 0.10, 0.24
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.ThinCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 200, 0, 3, 4
			p.FaintBelow, p.HeavyFrom = 0.18, 0.4
			if p.Norm.Search.Then != nil {
				p.Low, p.High, p.FaintBelow = 0.08, 0.15, 0.12
				p.LeastM2, p.NarrowM = 100, 3
			}
		},
	}
}

// thinned is what a canopy that is gone, with wet soil in its place, adds.
func thinned() adds { return adds{"blue": 0.25, "red": 0.85, "rededge": -0.25, "nir": -0.48} }
