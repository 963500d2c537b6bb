package question

import (
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// water looks for dry and for wet ground while the canopy is open, against the
// whole field: a check can be dry all over. Water, levees, ditches and the edge are
// looked at and counted, and nothing is sought in them: a levee is dry and a ditch
// wet by rights.
//
// Both effects are from the field's usual mixture, four tenths of canopy over
// water, to dry soil and to open water with few plants, with the rows "canopy",
// "drysoil" and "water" of docs/references.md (illustrative there).
func water() Question {
	quiet := []structure.Reason{structure.Water, structure.Levee, structure.BorrowDitch, structure.Edge}
	return Question{
		Name: "water",
		Words: Words{
			Called: "dry and wet ground", Patch: patchStands(),
			Clear:     "The flood lies even as far as colour tells.",
			NoCrop:    "Without a crop dry and wet ground were not told apart: look from the levee.",
			Next:      "Look at %s from the levee: soil that stands out, or water that is deep or open.",
			Planted:   "%s of the way to dry soil",
			Sure:      "Colour tells wet from dry while the canopy is open, and nothing once it has closed.",
			Unchanged: "Depth was not measured: it hardly shows under a crop. Stakes tell it.",
		},
		Tables: Tables{
			Looks:     []norm.Look{norm.Thinned, norm.Drowned},
			LookWords: map[norm.Look]string{norm.Thinned: "dry", norm.Drowned: "wet"},
			Kept:      map[structure.Reason]norm.Look{structure.Water: norm.Drowned},
		},
		keep: quiet,
		search: &norm.Search{
			Targets: []norm.Target{
				{Look: norm.Thinned, Adds: adds{"red": 0.65, "rededge": 0.19, "nir": -0.10, "blue": -0.28, norm.Brightness: 0.55}},
				{Look: norm.Drowned, Adds: adds{"rededge": -0.50, "nir": -0.69, "blue": 0.22, norm.Brightness: -0.13}},
			},
			SmoothM: 1, Floor: 0.05, Share: 0.6, Least: 2.5, From: 0.3, Field: true, Quiet: quiet,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts = []norm.Look{norm.Thinned, norm.Drowned}
			p.Evident = p.Counts
			p.Low, p.High = 0.3, 0.5
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.WaterCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 100, 0, 3, 3
			p.FaintBelow, p.HeavyFrom = 0.45, 0.8
		},
	}
}
