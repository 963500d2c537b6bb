package question

import (
	"bittern/internal/norm"
	"bittern/internal/suspect"
)

// nitrogen looks for paler ground. A leaf short of nitrogen has less
// chlorophyll: it reflects more green, a little more red, and its red edge moves
// to shorter waves; there is less leaf, so less near infrared. The full effect is
// about that of the rows "canopy" and "lowN" of docs/references.md, table of
// indices (illustrative there, not measured), with the red of ordinary leaf spectra
// (from memory) between. Of brightness only a third is asked, since the ground round
// about that it is held against lies in part on the patch itself.
func nitrogen() Question {
	paler := paled()
	paler[norm.Brightness] = 0.10
	return Question{
		Name: "nitrogen", NearInfrared: true, Priced: true,
		Words: Words{
			Called: "ground short of nitrogen", Patch: [2]string{"patch is paler and stands", "patches are paler and stand"},
			Clear:     "Without strips that had extra nitrogen this does not say that the crop has enough.",
			NoCrop:    noCrop,
			Planted:   "%s of what a crop given none lacks",
			Sure:      "Paler is not short: water, cold, salt, roots and variety pale a crop too. Only a strip with extra nitrogen, or a leaf sent in, tells.",
			Unchanged: "No rate of nitrogen can be read from colour.",
		},
		Tables: Tables{Sufficiency: true},
		search: &norm.Search{
			Targets: []norm.Target{{Look: norm.Yellowed, Adds: paler}},
			Varies:  []norm.Variation{{Adds: thinned(), Part: 0.2}},
			Even:    &norm.Even{StreakM: 40, SlowM: 40, Departs: 0.07, ByItself: 1.3},
			SmoothM: 3.5, Floor: 0.03, Share: 0.5, Least: 1, From: 0.12, Field: true,
		},
		fill: func(p *suspect.Parameters) {
			p.Counts, p.Evident = []norm.Look{norm.Yellowed}, []norm.Look{norm.Yellowed}
			p.Low, p.High = 0.12, 0.32
			p.EdgeAt, p.EdgeM = 0.7, 10
			p.HemM, p.HemFrom = 0, 0
			p.Hints = suspect.PaleCauses()
			p.LeastM2, p.LeastMass, p.JoinM, p.NarrowM = 400, 0, 3, 4
			p.FaintBelow, p.HeavyFrom = 0.2, 0.4
		},
	}
}

// paled is what a crop that was given no nitrogen adds.
func paled() adds { return adds{"red": 0.12, "rededge": -0.20, "nir": -0.47} }
