// Package suspect joins departing cells into patches that are large enough to
// act on, letters them, and says what they are consistent with.
package suspect

import (
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/norm"
)

// Severity is how strongly a suspect departs, in words; never a figure.
type Severity string

// The severities.
const (
	Faint Severity = "faint"
	Some  Severity = "some"
	Heavy Severity = "heavy"
)

// A Hint is one cause that a suspect's shape, place and timing fit.
type Hint struct {
	Cause   string
	For     []string
	Against []string
	LookFor string // what to look for on foot
}

// A Suspect is a patch of departing cells that nobody has walked yet.
type Suspect struct {
	ID       string           // "s-3f2a": from its place, stable over runs
	Letter   string           // "A".. for at most nine; empty for the rest
	Check    string           // the id of the check that holds most of it
	Cells    []int32          // cell indices, ascending
	Outline  geo.MultiPolygon // m, grid zone, along cell edges
	Acres    float64          // on the ellipsoid, of its cells
	Severity Severity
	Look     norm.Look
	Center   geo.Point // m, grid zone; a point inside the suspect
	Share    float64   // mean off-colour share of its cells, 0..1
	Evidence float64   // mean evidence of its cells without the hem, near a log-odds
	Spreads  float64   // median departure of its cells, robust spreads
	Hints    []Hint    // at most three
}

// SmallestSeen is what planted patches say about this flight.
type SmallestSeen struct {
	Acres      *float64 // smallest planted size of which at least nine in ten were found; nil when none was
	AsStrongAs string   // letter of the suspect whose strength was planted; empty without suspects
	Found      int      // of that size, or of the largest when Acres is nil
	Planted    int
	Cover      float64 // of theirs
	Table      []Planting
}

// A Planting is one row of the table behind SmallestSeen. Cover is what the strength stands for, 0..1: the part of the ground
// that planted weeds hide, about, or the part of the full effect of what the question looks for.
type Planting struct {
	Acres    float64
	Strength float64 // robust spreads
	Cover    float64
	Found    int
	Planted  int
}

// Earlier is a suspect of an earlier run of the same day, so that letters stay
// with their ground.
type Earlier struct {
	ID, Letter string
	Outline    geo.MultiPolygon // m, grid zone
}

// A Finding is what the stage returns.
type Finding struct {
	Suspects    []Suspect // by letter, then unlettered by acres downwards
	Killed      geo.MultiPolygon
	KilledAcres float64
	KilledCells []int32
	Context     []Context // the most first
	Doubts      []doubt.Doubt
}
