package question

import (
	"bittern/internal/norm"
	"bittern/internal/suspect"
)

// harvest puts the checks in the order in which they have turned, and names ground
// that is ahead of its check and green ground in it: weeds above the canopy, or
// rice that is late. The full effect is from green leaf to straw: redder than green,
// with little red edge and less near infrared (ordinary spectra of dead leaf, from
// memory). Green ground is the same way backwards.
func harvest() Question {
	straw := adds{"red": 0.60, "rededge": -0.35, "nir": -0.55}
	green := adds{}
	for band, v := range straw {
		green[band] = -v
	}
	return Question{
		Name: "harvest",
		Words: Words{
			Called: "the order of checks for harvest", Patch: patchStands(),
			Clear:     "Every check is even within itself as far as colour tells.",
			Next:      "Look at %s on the way: ripe before the rest, or green in it.",
			Planted:   "a greener crop by %s of the way from straw to leaf",
			Sure:      "Colour tells which check has turned further, not how dry the grain is.",
			Unchanged: "Moisture was not measured, so no day of harvest is told. Lodged ground is not told from standing by colour.",
		},
		Tables: Tables{
			Ripeness: true, Looks: []norm.Look{norm.Ripened, norm.Lush},
			LookWords: map[norm.Look]string{norm.Ripened: "ripe ahead", norm.Lush: "green"},
		},
		search: &norm.Search{
			Targets: []norm.Target{{Look: norm.Lush, Adds: green}, {Look: norm.Ripened, Adds: straw}},
			SmoothM: 1, Floor: 0.04, Share: 0.6, Least: 2.5, From: 0.2,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts = []norm.Look{norm.Ripened, norm.Lush}
			p.Evident = p.Counts
			p.Low, p.High = 0.2, 0.35
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.RipeCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 400, 0, 3, 6
			p.FaintBelow, p.HeavyFrom = 0.3, 0.6
		},
	}
}
