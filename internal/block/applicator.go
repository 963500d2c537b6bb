package block

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"bittern/internal/doubt"
	"bittern/internal/unit"
)

// A Kind says what sort of machine, or none, applies.
type Kind string

// The kinds of applicator, as they are typed.
const (
	Aircraft   Kind = "aircraft"
	GroundRig  Kind = "ground rig"
	SprayDrone Kind = "spray drone"
	ByHand     Kind = "by hand"
)

// An Applicator is one machine and what it charges, as the grower typed it. A
// nil figure was not given; none has a default.
type Applicator struct {
	Name         string
	Kind         Kind
	SwathFt      *float64     // ft, width of one pass
	SpeedMph     *float64     // mph over the ground while spraying
	LeadFt       *float64     // ft that the valve opens before ground worth treating
	TrailFt      *float64     // ft that it stays open behind it
	MinimumOpenS *float64     // s, the shortest time that the valve can be open
	BridgeGapS   *float64     // s, shut times shorter than this cannot be flown
	TurnS        *float64     // s, one turn from pass to pass
	FerryMiles   *float64     // miles from the strip, one way
	TankGallons  *float64     // U.S. gallons
	NotFlown     [][2]float64 // sectors of headings not flown, degrees from true north, clockwise from the first to the second
	Charge       Charge
}

// A Charge is what an applicator bills. Any of the figures may be nil.
type Charge struct {
	PerAcreDollars *float64 // for an acre with the valve open
	MinimumAcres   *float64 // fewest acres that are billed at PerAcreDollars
	CallOutDollars *float64 // once for a job
	PerHourDollars *float64 // for work, turns and ferry
}

// Given tells whether any price was typed.
func (c Charge) Given() bool {
	return c.PerAcreDollars != nil || c.CallOutDollars != nil || c.PerHourDollars != nil
}

// What keeps runs from being cut for an applicator, in words for its owner.
var (
	ErrNoSwath   = errors.New("its swath_ft is not typed")
	ErrNoKind    = errors.New("its kind is none of aircraft, ground rig, spray drone, by hand")
	ErrNoHeading = errors.New("no heading is left that it flies")
)

// Check reports the first thing that keeps runs from being cut for a: it wraps
// ErrNoSwath or ErrNoKind; nil when there is none.
func (a Applicator) Check() error {
	switch a.Kind {
	case ByHand:
		return nil
	case Aircraft, GroundRig, SprayDrone:
	default:
		return fmt.Errorf("applicator %q: %w", a.Called(), ErrNoKind)
	}
	if a.SwathFt == nil || !(*a.SwathFt > 0) || math.IsInf(*a.SwathFt, 0) {
		return fmt.Errorf("applicator %q: %w", a.Called(), ErrNoSwath)
	}
	return nil
}

// Doubts says what was not given of a and what follows from that.
func (a Applicator) Doubts() []doubt.Doubt {
	var out []doubt.Doubt
	name := a.Called()
	add := func(missing bool, weight float64, says, key string) {
		if missing {
			out = append(out, doubt.Doubt{
				About: name, Says: says, Weight: weight,
				Settle: "Type " + key + " in the applicator's file.",
			})
		}
	}
	add(!a.Charge.Given(), 0.5, "Nothing was typed that the "+name+" charges, so its own cost is missing from every figure.", "a [charge]")
	if a.Kind == ByHand {
		return out
	}
	add(a.SpeedMph == nil, 0.3, "The speed of the "+name+" was not typed, so times, the shortest opening and the gaps it can bridge are not known.", "speed_mph")
	add(a.LeadFt == nil || a.TrailFt == nil, 0.3, "Lead and trail of the "+name+" were not typed, so the valve opens and shuts exactly at the edge of the ground to treat.", "lead_ft and trail_ft")
	add(a.Kind == Aircraft && (a.MinimumOpenS == nil || a.BridgeGapS == nil), 0.3, "The shortest opening or the gap worth bridging of the "+name+" was not typed, so runs may be shorter than it can fly.", "minimum_open_s and bridge_gap_s")
	add(a.TurnS == nil || a.FerryMiles == nil, 0.1, "Turn or ferry of the "+name+" was not typed, so its minutes leave them out.", "turn_s and ferry_miles")
	return out
}

// Called is a's name, or its kind where it has none.
func (a Applicator) Called() string {
	return cmp.Or(a.Name, string(a.Kind), "applicator")
}

// flies tells whether the line heading deg, in either direction, is outside of
// every sector that is not flown.
func (a Applicator) flies(deg float64) bool {
	for _, s := range a.NotFlown {
		if inSector(deg, s) || inSector(deg+180, s) {
			return false
		}
	}
	return true
}

// inSector tells whether direction deg lies in the sector that goes clockwise
// from s[0] to s[1], both ends included.
func inSector(deg float64, s [2]float64) bool {
	return turn(deg-s[0]) <= turn(s[1]-s[0])
}

// turn brings an angle in degrees to 0 (included) to 360 (not included).
func turn(deg float64) float64 {
	t := math.Mod(deg, 360)
	if t < 0 {
		t += 360
	}
	return t
}

// A Bill is the cost of a job, line by line, each rounded to the cent, so that
// the lines add up to the total.
type Bill struct {
	Product     unit.Cents // product and carrier, for every acre with the valve open
	Acres       unit.Cents // charge for the billed acres
	CallOut     unit.Cents
	Hours       unit.Cents // charge by the hour
	Total       unit.Cents
	BilledAcres float64 // valve-on acres, or the minimum where that is more
}

// Work is what a bill is made out for.
type Work struct {
	Acres                 float64 // with the valve open
	ProductDollarsPerAcre float64
	Minutes               *float64 // nil when not known; then nothing is billed by the hour
}

// Bill makes out the bill of w. No work costs nothing.
func (c Charge) Bill(w Work) Bill {
	if w.Acres <= 0 {
		return Bill{}
	}
	b := Bill{
		Product:     unit.DollarsPerAcre(w.ProductDollarsPerAcre).Over(unit.Acres(w.Acres)),
		CallOut:     unit.FromDollars(or(c.CallOutDollars)),
		BilledAcres: max(w.Acres, or(c.MinimumAcres)),
	}
	b.Acres = unit.DollarsPerAcre(or(c.PerAcreDollars)).Over(unit.Acres(b.BilledAcres))
	if w.Minutes != nil {
		b.Hours = unit.FromDollars(or(c.PerHourDollars) * *w.Minutes / 60)
	}
	b.Total = b.Product + b.Acres + b.CallOut + b.Hours
	return b
}

// or is *p, or 0 when p is nil.
func or(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}
