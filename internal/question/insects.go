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
func insects() Question {
	return Question{
		Name: "insects", Priced: true,
		Words: Words{
			Called: "defoliation", Patch: [2]string{"patch is thinner and stands", "patches are thinner and stand"},
			Clear:  "That is no proof that nothing feeds there: larvae are counted on foot.",
			NoCrop: noCrop,
			Next:   "Walk %s and count larvae and leaf lost; colour cannot tell chewed rice from a thin stand.",
			Sure:   "On one date chewed rice looks like any thin stand: two flights some days apart, or a walk, decide.",
		},
		keep: []structure.Reason{structure.Edge, structure.BorrowDitch},
		search: &norm.Search{
			Targets: []norm.Target{{Look: norm.Thinned, Adds: adds{"blue": 0.25, "red": 0.85, "rededge": -0.25, "nir": -0.48}}},
			SmoothM: 1.5, Floor: 0.03, Share: 0.6, Least: 2, From: 0.10,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts, p.Evident = []norm.Look{norm.Thinned}, []norm.Look{norm.Thinned}
			p.Low, p.High = 0.10, 0.20
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.ThinCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 200, 0, 3, 4
			p.FaintBelow, p.HeavyFrom = 0.18, 0.4
		},
	}
}
