package job

import (
	"fmt"
	"math"
	"time"
)

// Loads are equal tankfuls.
type Loads struct {
	Count   int
	Acres   float64 // each
	Gallons float64 // each
}

// Balance shares acres out over as few tankfuls as hold them, all alike. It is
// false where rate or tank is not above zero.
//
// Source: docs/references.md T8.8, loads = ceil(acres * rate / tank).
func Balance(acres, gallonsPerAcre, tankGallons float64) (Loads, bool) {
	if !(acres > 0) || !(gallonsPerAcre > 0) || !(tankGallons > 0) {
		return Loads{}, false
	}
	n := math.Ceil(acres*gallonsPerAcre/tankGallons - 1e-9) // a tank that is just full is one load
	n = max(n, 1)
	return Loads{int(n), acres / n, acres * gallonsPerAcre / n}, true
}

// AcresPerMinute is what a swath covers at a speed.
//
// Source: docs/references.md T8.1, mph * swath_ft / 495.
func AcresPerMinute(mph, swathFt float64) float64 { return mph * swathFt / 495 }

// GallonsPerMinute is the flow that a rate needs.
//
// Source: docs/references.md T8.3, gallons per acre * mph * swath_ft / 495.
func GallonsPerMinute(gallonsPerAcre, mph, swathFt float64) float64 {
	return gallonsPerAcre * AcresPerMinute(mph, swathFt)
}

// EarliestHarvest is the first day on which the pre-harvest interval has
// passed: the day of application, "2006-01-02", and so many days more. A part
// of a day counts as one.
func EarliestHarvest(applied string, phiDays float64) (string, error) {
	day, err := time.Parse(time.DateOnly, applied)
	if err != nil {
		return "", fmt.Errorf("day of application %q is not like 2026-07-14", applied)
	}
	return day.AddDate(0, 0, int(math.Ceil(phiDays))).Format(time.DateOnly), nil
}

// EntryFrom is when the restricted-entry interval ends. It runs from the end
// of the application.
func EntryFrom(ended time.Time, reiHours float64) time.Time {
	return ended.Add(time.Duration(math.Ceil(reiHours*3600)) * time.Second)
}
