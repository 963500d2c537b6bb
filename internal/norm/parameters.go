package norm

import (
	"bittern/internal/geo"
	"bittern/internal/progress"
)

// Parameters steer the stage. A question starts from Defaults and changes what
// it must; a zero length, step or quantile is refused by Find.
type Parameters struct {
	FineM        float64 // m, half the side of the square that the fine norm is taken from
	FineQuantile float64 // of the square's pixels, 0 to 1: the crop pixel that the norm is
	FineBelow    float64 // ln units that the fine norm may lie below the check's norm
	FineAbove    float64 // ln units that it may lie above

	StepSpreads float64 // the off-colour step in standard deviations of the crop's pixels
	StepLeast   float64 // ln units, the least step
	StepMost    float64 // ln units, the largest step
	Ramp        float64 // ln units from the step, over which a pixel comes to count in full

	SmoothM float64 // m, standard deviation of the smoothing of the share
	Floor   float64 // ln units, the least spread of any quantity

	Apart        float64 // ln units that a check's norm may lie from its neighbours' in what is read below the cell
	LeastCheckM2 float64 // m2; a check of this size rests half on itself and half on its neighbours

	// Given are the norms of the layout's checks where they are known already:
	// a part of a field is held against the norms of the whole, for its evidence
	// only. Nil finds them.
	Given []CheckNorm

	// Taught is what the whole field's sure weeds taught, beside Given; nil for nothing.
	Taught *Fitted

	// Fitted is the sum that was fitted to the whole field, beside Given; nil for none.
	Fitted *Fitted

	// Shaded is what shade changes over the whole field, beside Given; nil for nothing.
	Shaded *Shaded

	// Search replaces what escapes are told by, for the questions that look for
	// something else; nil for escapes.
	Search *Search

	// Then is what an earlier flight of the same layout says; nil without one. A part
	// of a field, held against given norms, goes by the day alone.
	Then *Then

	Inlets   []geo.Point // m, grid zone: where water comes in, when the grower marked it
	NoTrends bool        // leave trends in

	Workers  int // goroutines, at least 1
	Progress progress.Func
}

// Defaults returns the parameters that every question starts from. They were
// chosen on invented fields with odd seeds; docs/methods/norm.md says what each
// is worth.
func Defaults() Parameters {
	return Parameters{
		FineM:        2,
		FineQuantile: 0.35,
		FineBelow:    0.10,
		FineAbove:    0.25,
		StepSpreads:  2.7,
		StepLeast:    0.25,
		StepMost:     0.60,
		Ramp:         0.15,
		SmoothM:      1.0,
		Floor:        0.05,
		Apart:        0.06,
		LeastCheckM2: 2000,
		Workers:      1,
	}
}

// apart returns how far a check's norm may lie from its neighbours' in a
// quantity, and whether that is bounded: weeds that fill a check must not
// become its norm, while colour and brightness differ between checks for many
// reasons.
func (p Parameters) apart(name string) (float64, bool) {
	switch name {
	case GreenEnd, Middle, BrownEnd, GreenContrast:
		return p.Apart, true
	case RedContrast, InfraredContrast:
		return 2 * p.Apart, true
	}
	return 0, false
}
