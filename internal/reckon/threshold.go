package reckon

import "bittern/internal/unit"

// A Stand is what an economic threshold is worked out from.
type Stand struct {
	Cost                unit.DollarsPerAcre // of control
	YieldBushelsPerAcre float64
	DollarsPerBushel    float64
	Control             float64 // share of the loss that control prevents, 0 to 1
}

// needed is the share of yield that must be at stake for control to pay.
func (s Stand) needed() (float64, bool) {
	value := s.YieldBushelsPerAcre * s.DollarsPerBushel * s.Control
	if value <= 0 {
		return 0, false
	}
	return float64(s.Cost) / value, true
}

// LinearThreshold is the density of weeds, in plants a square metre, whose
// control costs as much as it saves, when each plant takes lossPerPlant of the
// yield (a share, not per cent). It is false for "never". The straight line
// must not be carried beyond the densities that it was measured at.
//
// Source: docs/references.md T5.5, ET = C / (Y P L H), after Cousens 1987 and Coble and
// Mortensen 1990.
func LinearThreshold(s Stand, lossPerPlant float64) (float64, bool) {
	f, ok := s.needed()
	if !ok || lossPerPlant <= 0 || f > 1 {
		return 0, false
	}
	return f / lossPerPlant, true
}

// A Hyperbola is a curve of yield loss over weed density that levels off.
//
// Source: docs/references.md T5.1, Cousens 1985.
type Hyperbola struct {
	First float64 // I: share of yield that the first plants take, for each plant a square metre
	Most  float64 // A: share of yield lost to very many plants
}

// Loss is the share of yield lost at a density in plants a square metre.
func (h Hyperbola) Loss(density float64) float64 {
	if density <= 0 || h.Most <= 0 {
		return 0
	}
	return h.First * density / (1 + h.First*density/h.Most)
}

// Threshold is the density whose control costs as much as it saves. It is
// false where no density justifies control: the loss that would be needed is
// above the most that weeds can take.
//
// Source: docs/references.md T5.5, d = f / (I (1 - f/A)).
func (h Hyperbola) Threshold(s Stand) (float64, bool) {
	f, ok := s.needed()
	if !ok || h.First <= 0 || f >= h.Most {
		return 0, false
	}
	return f / (h.First * (1 - f/h.Most)), true
}

// SpotAcres is the area at which treating spots, at a price for an acre and a
// call-out, costs as much as the whole field. Below it spots are cheaper. It
// is false when spots are never cheaper.
//
// Source: docs/references.md T5.5, spot against whole.
func SpotAcres(whole unit.Cents, spot unit.DollarsPerAcre, callOut unit.Cents) (unit.Acres, bool) {
	if spot <= 0 || whole <= callOut {
		return 0, false
	}
	return unit.Acres((whole - callOut).Dollars() / float64(spot)), true
}
