package question

import (
	"bittern/internal/norm"
	"bittern/internal/suspect"
)

// stand looks for gaps: ground of the check on which seedlings are missing. The full
// effect is from a young stand, four tenths of canopy over soil, to bare soil, with
// the rows "canopy" and "drysoil" of docs/references.md (illustrative there); so it
// is the part of the stand that is missing. Brightness is left out, since soil may
// be wet or dry.
func stand() Question {
	return Question{
		Name: "stand",
		Words: Words{
			Called: "gaps in the stand", Patch: [2]string{"gap stands", "gaps stand"},
			Clear:     "Plants were not counted: thin rows do not show as gaps.",
			NoCrop:    "A stand that failed whole looks like this, and so does one too young or too thin to show: walk it and count; tell your insurer before ground is destroyed or planted again.",
			Next:      "Walk %s and count plants before deciding anything; tell your insurer before ground is destroyed or planted again.",
			Planted:   "%s of the stand missing",
			Sure:      "Bare ground shows; how many plants stand in a row does not.",
			Unchanged: "Plants were not counted.",
		},
		Tables: Tables{Looks: []norm.Look{norm.Thinned}, LookWords: map[norm.Look]string{norm.Thinned: "gap"}},
		search: &norm.Search{
			Targets: []norm.Target{{Look: norm.Thinned, Adds: adds{"red": 0.30, "rededge": -0.14, "nir": -0.44, "blue": 0.08}}},
			Varies:  []norm.Variation{{Adds: paled(), Part: 0.3}},
			SmoothM: 1, Floor: 0.04, Share: 0.6, Least: 2.5, From: 0.35,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts, p.Evident = []norm.Look{norm.Thinned}, []norm.Look{norm.Thinned}
			p.Low, p.High = 0.35, 0.55
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.GapCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 100, 0, 3, 2
			p.FaintBelow, p.HeavyFrom = 0.5, 0.8
		},
	}
}
