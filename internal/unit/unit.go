// Package unit holds the quantities that bittern computes with, one Go type per
// quantity, so that mixing metres with feet or acres with hectares does not
// compile.
//
// Every type is a float64 (money: an integer) in the unit that its name states.
// Crossing types goes through a named method. Feet are international feet and
// acres international acres throughout.
package unit

import "math"

// MetersPerFoot is the international foot, exact.
//
// Source: NIST SP 811 (2008), appendix B.6. The U.S. survey foot, 1200/3937 m,
// is longer by 2 parts per million.
const MetersPerFoot = 0.3048

// MetersPerSurveyFoot is the U.S. survey foot, in which State Plane coordinates
// are often given. It was retired at the end of 2022.
//
// Source: NIST SP 811 (2008), appendix B.6.
const MetersPerSurveyFoot = 1200.0 / 3937

// MetersPerMile is the international mile of 5,280 feet, exact.
//
// Source: NIST SP 811 (2008), appendix B.8.
const MetersPerMile = 5280 * MetersPerFoot

// SquareMetersPerAcre is the international acre, 43,560 square feet, exact.
//
// Source: NIST SP 811 (2008), appendix B.6 and B.8. The U.S. survey acre, on
// which public-land records were drawn, is larger by 4 parts per million.
const SquareMetersPerAcre = 43560 * MetersPerFoot * MetersPerFoot

// SquareMetersPerHectare is exact by definition.
const SquareMetersPerHectare = 10000

// Meters is a length or distance.
type Meters float64

// Feet is a length or distance.
type Feet float64

// Miles is a distance.
type Miles float64

// SquareMeters is an area.
type SquareMeters float64

// Acres is an area.
type Acres float64

// Hectares is an area.
type Hectares float64

// MilesPerHour is a speed over the ground.
type MilesPerHour float64

// MetersPerSec is a speed over the ground.
type MetersPerSec float64

// DollarsPerAcre is a price or cost per area.
type DollarsPerAcre float64

// Cents is an amount of money. It is an integer, so that a column of figures
// adds up to its total.
type Cents int64

// Feet converts m to international feet.
func (m Meters) Feet() Feet { return Feet(m / MetersPerFoot) }

// Miles converts m to international miles.
func (m Meters) Miles() Miles { return Miles(m / MetersPerMile) }

// Meters converts f to metres.
func (f Feet) Meters() Meters { return Meters(f * MetersPerFoot) }

// Meters converts m to metres.
func (m Miles) Meters() Meters { return Meters(m * MetersPerMile) }

// Acres converts a to international acres.
func (a SquareMeters) Acres() Acres { return Acres(a / SquareMetersPerAcre) }

// SquareMeters converts a to square metres.
func (a Acres) SquareMeters() SquareMeters { return SquareMeters(a * SquareMetersPerAcre) }

// Hectares converts a to hectares.
func (a Acres) Hectares() Hectares {
	return Hectares(float64(a) * SquareMetersPerAcre / SquareMetersPerHectare)
}

// MetersPerSec converts v to metres per second.
func (v MilesPerHour) MetersPerSec() MetersPerSec { return MetersPerSec(v * MetersPerMile / 3600) }

// Over returns the cost of area a at price p, rounded half away from zero to a
// whole cent. Round once, at the end: Over is for a line that will be shown.
func (p DollarsPerAcre) Over(a Acres) Cents { return FromDollars(float64(p) * float64(a)) }

// FromDollars rounds dollars half away from zero to whole cents.
func FromDollars(dollars float64) Cents { return Cents(math.Round(dollars * 100)) }

// Dollars returns c as a number of dollars.
func (c Cents) Dollars() float64 { return float64(c) / 100 }
