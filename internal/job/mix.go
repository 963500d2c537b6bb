// Package job turns blocks and a typed mix into an order: amounts, loads, the
// winds that are not allowed, limits as typed, and what still makes it a draft.
//
// It recommends no product and no rate: it multiplies what a person copied from
// a label. The label is the law.
package job

import (
	"fmt"
	"math"
	"strings"

	"bittern/internal/unit"
)

// A Product is one line of a mix as it was copied from the label. A nil figure
// was not given.
type Product struct {
	Name           string
	Registration   string
	Rate           *float64
	RateUnit       string // "qt/ac"; see Units
	DollarsPerUnit *float64
	MaxPerSeason   *float64 // in the rate's unit
	REIHours       *float64
	PHIDays        *float64
}

// A Mix is the products in mixing order and their carrier.
type Mix struct {
	CopiedFromLabelOn     string // "2026-06-30"; empty when not given
	CarrierGallonsPerAcre *float64
	Products              []Product
}

// An Amount is so much of a product, in the unit that its rate was typed in.
type Amount struct {
	Value float64
	Unit  string // "qt"
}

// Units lists what a rate may be counted in. An ounce is whatever the label
// means by it, of weight or of volume: it is never converted.
func Units() []string { return []string{"oz", "pt", "qt", "gal", "lb", "g", "kg", "L", "mL"} }

// Gallons is the amount in U.S. gallons; false where the unit is no volume for
// sure.
//
// Source: NIST SP 811 (2008), appendix B.8: the gallon is 3.785411784 L.
func (a Amount) Gallons() (float64, bool) {
	switch a.Unit {
	case "pt":
		return a.Value / 8, true
	case "qt":
		return a.Value / 4, true
	case "gal":
		return a.Value, true
	case "L":
		return a.Value / 3.785411784, true
	case "mL":
		return a.Value / 3785.411784, true
	}
	return 0, false
}

// ParseRateUnit takes a rate's unit apart: "qt/ac" is quarts for an acre,
// "kg/ha" kilograms for a hectare. The error lists what is read.
func ParseRateUnit(s string) (of string, acres float64, err error) {
	of, ground, _ := strings.Cut(s, "/")
	known := false
	for _, u := range Units() {
		known = known || u == of
	}
	switch {
	case known && ground == "ac":
		return of, 1, nil
	case known && ground == "ha":
		return of, unit.SquareMetersPerHectare / unit.SquareMetersPerAcre, nil
	}
	return "", 0, fmt.Errorf("rate unit %q is none of %s, each for /ac or /ha", s, strings.Join(Units(), ", "))
}

// PerAcre is the product's rate for an acre; false when rate or unit is not
// given or not read.
func (p Product) PerAcre() (Amount, bool) {
	of, acres, err := ParseRateUnit(p.RateUnit)
	if err != nil || p.Rate == nil {
		return Amount{}, false
	}
	return Amount{*p.Rate / acres, of}, true
}

// Over is the amount of the product on so many acres.
func (p Product) Over(acres float64) (Amount, bool) {
	a, ok := p.PerAcre()
	a.Value *= acres
	return a, ok
}

// DollarsPerAcre is what all products of the mix cost for an acre. It is false
// when there are none, or when one lacks its rate or price.
func (m Mix) DollarsPerAcre() (float64, bool) {
	sum := 0.0
	for _, p := range m.Products {
		a, ok := p.PerAcre()
		if !ok || p.DollarsPerUnit == nil {
			return 0, false
		}
		sum += float64(a.Value * *p.DollarsPerUnit)
	}
	return sum, len(m.Products) > 0
}

// REIHours is the longest restricted-entry interval of the mix, which governs
// it; nil when one product's is not given.
//
// Source: 40 CFR 170, the longest REI governs a tank mix (docs/references.md R11.REI).
func (m Mix) REIHours() *float64 {
	return m.longest(func(p Product) *float64 { return p.REIHours })
}

// PHIDays is the longest pre-harvest interval of the mix; nil when one
// product's is not given.
func (m Mix) PHIDays() *float64 { return m.longest(func(p Product) *float64 { return p.PHIDays }) }

func (m Mix) longest(of func(Product) *float64) *float64 {
	longest := math.Inf(-1)
	for _, p := range m.Products {
		v := of(p)
		if v == nil {
			return nil
		}
		longest = max(longest, *v)
	}
	if len(m.Products) == 0 {
		return nil
	}
	return &longest
}
