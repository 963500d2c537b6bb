package suspect

import (
	"slices"

	"bittern/internal/norm"
	"bittern/internal/progress"
)

// Parameters steer the stage. A question starts from Defaults and changes what
// it must.
type Parameters struct {
	Counts []norm.Look // looks that make a suspect; the rest is context
	Hints  Causes      // the causes that hints speak of

	// Evident are the looks whose ground is told by its evidence, each apart from
	// the others; those of Counts that are not named here go by their spreads.
	// Coarse ground goes with browned: weeds of one patch burn or do not.
	Evident []norm.Look

	Low  float64 // evidence that belongs to a patch
	High float64 // evidence that a patch reaches somewhere

	// Wide ground need reach High nowhere: what it has above WideLow, summed over its
	// square metres, is WideMass or more. 0 for no such patches.
	WideLow, WideMass float64

	HemM    float64 // m, how far a patch may reach beyond Low; 0 for not
	HemFrom float64 // evidence that such ground has at least

	EdgeAt float64 // where a patch's edge lies between the evidence of the crop, 0, and its own, 1; 0 for wherever it belongs to the patch
	EdgeM  float64 // m round about, whose mean is taken for a patch's own evidence

	// Where the field's own patches tell what differs from the crop beside them, an edge lies where a patch is EdgeOwn
	// as unlike that crop as it is round about, and up to EdgeReachM farther out. EdgeOwn 0 for by evidence alone.
	EdgeOwn    float64
	EdgeReachM float64 // m

	EdgeShare float64 // part of a heavy patch's own off-colour share below which ground is not of it; 0 for none

	LeastM2    float64 // m2, the smallest patch
	LeastMass  float64 // evidence summed over the square metres: a faint patch must be larger to be told from chance
	JoinM      float64 // m, gaps in a patch up to which its parts are one suspect
	NarrowM    float64 // m, limbs narrower than this are taken off; 0 leaves them
	FaintBelow float64 // mean evidence below which a suspect is faint
	HeavyFrom  float64 // and from which it is heavy

	Skips []bool // cells of strips that are told as skips; in no suspect and in no killed ground. Nil for none

	DaysSinceTreatment float64 // days from treatment to flight; NaN or 0 when not known

	Norm     norm.Parameters // for SmallestSeen, which finds the norm of planted patches again
	Progress progress.Func
}

// Defaults returns the parameters that a question starts from: browned, coarse
// and lush ground counts. They were chosen on invented fields with odd
// seeds and on those of a second generator.
func Defaults() Parameters {
	return Parameters{
		Hints:      EscapeCauses(),
		Counts:     []norm.Look{norm.Browned, norm.Coarse, norm.Lush},
		Evident:    []norm.Look{norm.Browned},
		Low:        -1.5,
		High:       2.5,
		WideLow:    -2,
		WideMass:   400,
		HemM:       0.5,
		HemFrom:    -4,
		EdgeAt:     0.61,
		EdgeM:      4,
		EdgeOwn:    0.4,
		EdgeReachM: 2.5,
		EdgeShare:  0.4,
		LeastM2:    40,
		LeastMass:  30,
		JoinM:      2,
		NarrowM:    1,
		FaintBelow: 1.2,
		HeavyFrom:  3.5,
		Norm:       norm.Defaults(),
	}
}

// evident says whether a look is told by its evidence.
func (p Parameters) evident(l norm.Look) bool {
	return slices.Contains(p.Evident, l) || l == norm.Coarse && slices.Contains(p.Evident, norm.Browned)
}

// counts says whether a look makes a suspect.
func (p Parameters) counts(l norm.Look) bool {
	for _, c := range p.Counts {
		if c == l {
			return true
		}
	}
	return false
}
