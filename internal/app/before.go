package app

import (
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/imagery"
	"bittern/internal/norm"
	"bittern/internal/register"
	"bittern/internal/unit"
)

// An earlierFlight is the flight before the treatment took hold, laid on the day's.
type earlierFlight struct {
	flight *imagery.Flight
	shift  register.Shift
	shown  *image.NRGBA   // in plain colour, laid back
	gain   float64        // that it is shown with
	then   *norm.Then     // nil but after a treatment
	beside *cells.Summary // laid back, where the question holds it beside the day's; else nil
}

// checkBefore refuses dates that cannot be, and says what is left unused.
func (c *checked) checkBefore() error {
	if c.Before == "" {
		return nil
	}
	if c.flown != nil && c.beforeFlown != nil && c.beforeFlown.time.After(c.flown.time) {
		return &doubt.Problem{
			What:   fmt.Sprintf("the earlier picture was flown %s, after the day's, %s", c.beforeFlown.text, c.flown.text),
			Remedy: "exchange the pictures, or correct --before-flown",
		}
	}
	path := filepath.Clean(c.Before)
	if slices.ContainsFunc(c.Imagery, func(p string) bool { return filepath.Clean(p) == path }) {
		return &doubt.Problem{File: c.Before, What: "the same picture is named as the day's and as the earlier one", Remedy: "give each its own picture"}
	}
	return nil
}

// openEarlier opens an earlier picture; bands are the names that were given to the
// day's.
func openEarlier(ctx context.Context, path string, bands []string) (*imagery.Flight, error) {
	flight, err := imagery.Open(ctx, []string{path}, imagery.Options{Bands: bands})
	if err != nil && len(bands) > 0 { // another sensor has other bands
		flight, err = imagery.Open(ctx, []string{path}, imagery.Options{})
	}
	return flight, err
}

// openBefore opens the earlier picture, so that a wrong one is said before the
// long work.
func (r *run) openBefore(ctx context.Context) error {
	if r.Before == "" {
		return nil
	}
	flight, err := openEarlier(ctx, r.Before, r.Bands)
	if err != nil {
		return ofBefore(err)
	}
	r.before = &earlierFlight{flight: flight}
	for _, f := range flight.Files {
		r.inputs = append(r.inputs, &fileRead{role: "before", name: f.Name, bytes: f.Bytes, digest: f.Digest})
	}
	if flight.Sensor != r.flight.Sensor {
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.6,
			Says: fmt.Sprintf("The earlier picture is of another sensor (%s, the day's %s): each is held against its own crop only, so that faint weeds are missed on the poorer one and may be told as new.",
				flight.Sensor, r.flight.Sensor),
			Settle: "Fly both with one camera.",
		})
	}
	return nil
}

// ofBefore says that an earlier picture that cannot be used is a wrong input: the
// day's picture may answer without it.
func ofBefore(err error) error {
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Unfit {
		return err
	}
	out := *p
	out.Kind, out.What, out.Remedy = doubt.Input, "this earlier picture cannot be used: "+p.What, "give the earlier picture of this field, or leave --before out"
	return &out
}

// leastCovered is the part of the field below which an earlier picture leaves
// ground that is told of one date only.
const leastCovered = 0.95

// layBefore sums the earlier picture, finds how far it lies off, and reads it on the
// day's structure, so that the day's departures are found from both.
func (r *run) layBefore(ctx context.Context) error {
	b := r.before
	if b == nil {
		return nil
	}
	s, err := cells.Pass(ctx, b.flight, r.grid, r.inside, cells.Options{Workers: r.set.Workers, MarginM: cells.Margin, Progress: r.set.Progress})
	if err != nil {
		return ofBefore(err)
	}
	if b.shift, err = register.Find(ctx, r.cells, s); err != nil {
		return err
	}
	r.shiftDoubts(s.Covered)
	moved := register.Moved(s, b.shift)
	b.gain = displayGain(moved)
	b.shown = plainColor(moved, b.gain)
	if _, ok := r.ask.Beside(r.normParameters(), moved); ok {
		b.beside = moved
		return nil
	}
	if !r.ask.Treated {
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.4, Says: "The earlier picture was laid on the day's and not used further: this question is asked of one flight.",
			Settle: "Read the earlier day beside this one.",
		})
		return nil
	}
	b.then, err = norm.Before(ctx, moved, r.layout, r.normParameters())
	return err
}

// shiftDoubts say how well the two pictures lie on each other.
func (r *run) shiftDoubts(covered float64) {
	if covered < leastCovered {
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.5,
			Says:   fmt.Sprintf("The earlier picture shows %.0f%% of the field; the rest is told by the day's flight alone.", 100*covered),
			Settle: "Fly the whole field both times.",
		})
	}
	switch s := r.before.shift; {
	case !s.Sure:
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.7,
			Says:   "Nothing that stays on the ground, levee, track or edge, showed how far the earlier picture lies off the day's; they were laid as they are placed.",
			Settle: "Compare one levee on both.",
		})
	case s.Far() > r.grid.CellM:
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.2,
			Says:   fmt.Sprintf("The earlier picture lies %s off the day's, to the %s; it was moved back.", r.units.Length(unit.Meters(s.Far())), towards(s.East, s.North)),
			Settle: "Pin both flights to the same marks on the ground.",
		})
	}
}

// towards names the direction of a step.
func towards(east, north float64) string {
	names := [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	eighth := int(math.Round(math.Atan2(east, north) / (math.Pi / 4)))
	return names[(eighth+len(names))%len(names)]
}

// Before is what the earlier flight says beside the day's.
type Before struct {
	ShiftFt      float64 `json:"shift_ft"`       // how far the earlier picture lay off the day's
	ShiftEastFt  float64 `json:"shift_east_ft"`  // to the east
	ShiftNorthFt float64 `json:"shift_north_ft"` // to the north
	ShiftSure    bool    `json:"shift_sure"`     // false: nothing showed it, and the shift is 0
	StillAcres   float64 `json:"still_acres"`    // suspects that departed on the earlier flight too
	KilledAcres  float64 `json:"killed_acres"`   // departed then, dead now
	NewAcres     float64 `json:"new_acres"`      // green suspects that did not depart then
	UntoldAcres  float64 `json:"untold_acres"`   // suspects of which the earlier flight does not tell: not shown, or like the crop then
}

// The words of a suspect's before.
const (
	stillThere = "still there"
	newlyGreen = "newly green"
)

// stoodPart is the part of a suspect that must have stood out on the earlier flight:
// of crop one cell in ten does by chance.
const stoodPart = 0.3

// fillBefore turns the comparison into plain data, after the suspects.
func (r *run) fillBefore() {
	b := r.before
	if b == nil || b.then == nil && b.beside == nil {
		return
	}
	ft := func(m float64) float64 { return float64(unit.Meters(m).Feet()) }
	out := &Before{ShiftFt: ft(b.shift.Far()), ShiftEastFt: ft(b.shift.East), ShiftNorthFt: ft(b.shift.North), ShiftSure: b.shift.Sure}
	r.day.Before = out
	if b.then == nil {
		return
	}
	for i, s := range r.finding.Suspects {
		stood, known := b.then.Part(s.Cells)
		word := ""
		switch green := s.Look == norm.Lush || s.Look == norm.Coarse; {
		case known < 0.5: // the earlier picture does not show most of it
		case stood >= stoodPart:
			word = stillThere
			out.StillAcres += s.Acres
		case green:
			word = newlyGreen
			out.NewAcres += s.Acres
		}
		if word == "" {
			out.UntoldAcres += s.Acres
			continue
		}
		r.day.Suspects[i].Before = &word
		if word == stillThere {
			r.day.Suspects[i].stoodThen()
		}
	}
	for _, i := range r.finding.KilledCells {
		if b.then.Stood[i] {
			out.KilledAcres += r.grid.AcresPerCell
		}
	}
}

// stoodThen lets the earlier flight speak for escapes: killed ground is no suspect,
// so what stood then and stands out now lived.
func (s *Suspect) stoodThen() {
	for k := range s.Hints {
		if h := &s.Hints[k]; h.Cause == "escapes" {
			h.For = append(h.For, "stood out on the earlier flight too")
		}
	}
}

// beforeWords says in a sentence what two flights say together.
func (d *Day) beforeWords(units unit.System) string {
	b := d.Before
	if b == nil || d.words().Since != "" {
		return ""
	}
	var parts []string
	say := func(acres float64, format string) {
		if acres > 0 {
			parts = append(parts, fmt.Sprintf(format, units.Area(unit.Acres(acres))))
		}
	}
	say(b.StillAcres, "of what stands out now %s stood out then")
	say(b.NewAcres, "%s came up green since")
	say(b.UntoldAcres, "of %s it does not tell")
	say(b.KilledAcres, "of the killed weeds %s stood out then")
	if len(parts) == 0 {
		return "Against the earlier flight: it has nothing to add."
	}
	return "Against the earlier flight: " + strings.Join(parts, "; ") + "."
}

// since says how far an answer that an earlier flight was held beside can be
// trusted; empty where none was.
func (d *Day) since() string {
	if d.Before == nil {
		return ""
	}
	return d.words().Since
}
