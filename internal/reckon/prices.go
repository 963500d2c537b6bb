package reckon

import (
	"bittern/internal/norm"
	"bittern/internal/unit"
)

// Prices are what the grower typed about the crop. A nil figure was not given;
// none has a default.
type Prices struct {
	CropDollarsPerBushel *float64
	YieldBushelsPerAcre  *float64
	LossPercent          *float64              // of yield, on suspect ground that is left
	LossByLook           map[norm.Look]float64 // percent by look, where that was typed; it goes before LossPercent
	ControlPercent       *float64              // of the loss that treating prevents
}

// Missing lists, in the trade's words, the figures that are not typed and without
// which nothing can be reckoned.
func (p Prices) Missing() []string {
	var out []string
	for _, k := range []struct {
		words string
		given bool
	}{
		{"the price of the crop", p.CropDollarsPerBushel != nil},
		{"the yield that is expected", p.YieldBushelsPerAcre != nil},
		{"the share of it that is lost when the ground is left", p.LossPercent != nil || len(p.LossByLook) > 0},
		{"the share of the weeds that treating kills", p.ControlPercent != nil},
	} {
		if !k.given {
			out = append(out, k.words)
		}
	}
	return out
}

// Loss is what ground of a look loses when it is left: price times yield times
// share of loss. It is false when a figure is missing, or no loss was typed for
// the look.
func (p Prices) Loss(look norm.Look) (unit.DollarsPerAcre, bool) {
	percent, ok := p.LossByLook[look]
	if !ok && p.LossPercent != nil {
		percent, ok = *p.LossPercent, true
	}
	if !ok || p.CropDollarsPerBushel == nil || p.YieldBushelsPerAcre == nil {
		return 0, false
	}
	return unit.DollarsPerAcre(*p.CropDollarsPerBushel * *p.YieldBushelsPerAcre * percent / 100), true
}

// Avoided is what treating an acre of a look prevents: its loss times control.
func (p Prices) Avoided(look norm.Look) (unit.DollarsPerAcre, bool) {
	loss, ok := p.Loss(look)
	if !ok || p.ControlPercent == nil {
		return 0, false
	}
	return loss * unit.DollarsPerAcre(*p.ControlPercent/100), true
}

// BreakEvenChance is how likely a suspect must be real for treating it to pay:
// the cost of an acre of suspect over what treating it would prevent. Above 1
// it does not pay at all. It is false when nothing would be prevented.
//
// Source: docs/references.md W8, p* = C / (Y P loss H).
func BreakEvenChance(costPerSuspectAcre, avoided unit.DollarsPerAcre) (float64, bool) {
	if avoided <= 0 {
		return 0, false
	}
	return float64(costPerSuspectAcre / avoided), true
}
