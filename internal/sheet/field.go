package sheet

import (
	"image"
	"io"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/geo"
)

// Units says in which units a sheet is printed. Inputs are always as their
// fields say; only the printing changes.
type Units string

// The units. The zero Units prints as US.
const (
	US     Units = "us"     // acres, feet, bushels as typed
	Metric Units = "metric" // hectares, metres
)

// A Bounds is a rectangle on the ground, m, grid zone.
type Bounds struct{ MinX, MinY, MaxX, MaxY float64 }

// A Picture is an image with north up and the ground that it covers. The
// image's first row is the northernmost. A nil Image draws nothing.
type Picture struct {
	Image  image.Image
	Bounds Bounds
}

// A LeftOut is ground that no answer speaks of, with its reason.
type LeftOut struct {
	Reason  string           // in words: "levee", "shade", "no data"
	Acres   float64          // acres on the ellipsoid
	Outline geo.MultiPolygon // m, grid zone; may be empty: then only the acres are printed
}

// A CheckMark is a check as it is drawn: its outline and its id.
type CheckMark struct {
	ID      string
	Outline geo.MultiPolygon // m, grid zone
	Apart   string           // why the check stands apart, in words; empty when it does not
}

// A Hint is one cause that a suspect is consistent with.
type Hint struct {
	Cause   string
	For     []string
	Against []string
	LookFor string // what to look for on foot
}

// A FieldSuspect is one suspect as the field sheet shows it.
type FieldSuspect struct {
	Letter   string // "A".. ; rows are printed in the order given
	Acres    float64
	Look     string // "browned", or a few words
	Severity string // "faint", "some", "heavy"; faint is drawn dashed
	State    string // "suspect", "confirmed" (drawn solid), "cleared" (drawn as grey dots); empty is "suspect"
	Where    string // "check 3, 340 ft from the north turnrow": a place in words
	Verdict  string // "walk"; "same either way: worth it"; "same either way: not worth it"; "not crop"
	Chance   string // the break-even chance in words: "worth it if at least 1 in 6"; may be empty
	Hints    []Hint
	Outline  geo.MultiPolygon // m, grid zone
	Center   geo.Point        // m, grid zone; a point inside it, where the letter's line ends
}

// Small is the suspects without a letter, told together.
type Small struct {
	Count    int
	Acres    float64
	Look     string // what they mostly are, in words; may be empty
	Verdict  string // as a suspect's; may be empty
	Outlines []geo.MultiPolygon
}

// An Alternative is one row of the money table. A nil figure is printed as
// "not known".
type Alternative struct {
	Name     string // "leave it", "spray blocks 1 to 3", "spray the whole field"
	Acres    *float64
	Cost     *float64 // dollars
	LossLow  *float64 // dollars, expected loss that remains, low end
	LossHigh *float64 // dollars, high end
	Minutes  *float64
	Chosen   bool   // the choice of the reckoning
	Note     string // "billed the 30-acre minimum"; may be empty
}

// A Planting is one row of what planted patches showed.
type Planting struct {
	Acres          float64
	Strength       float64 // spreads
	Cover          float64 // part of the ground that the planted weeds hide, 0..1, or of the full effect; 0 when not known
	Found, Planted int
}

// An Input is one file that the sheet rests on.
type Input struct {
	Role   string // "imagery", "boundary", ...
	Name   string // the file's name, without its folder
	SHA256 string // hexadecimal; the first twelve digits are printed
}

// A FieldSheet is all that a field sheet prints. Nothing is worked out from
// it but the layout: every figure and sentence comes from the day. Empty
// strings and slices leave their part out, unless their comment says that
// words take its place.
type FieldSheet struct {
	Field    string // the field's name
	Where    string // where and when, one line
	Question string // "escapes"

	// The five things that a reader must see in one look. Answer is two
	// sentences: what stands out and how much; what to do next.
	Answer  []string
	HowSure string // one or two sentences
	Missed  string // what would have been missed: "Of 40 planted patches of 0.05 acre this flight showed 36."
	Cost    string // what it costs: one or two sentences; "Prices are not typed ..." when there are none

	Doubts []doubt.Doubt // in the order given

	Units          Units
	ConvergenceDeg float64 // degrees clockwise from true north to grid north, turns the north arrow

	// The maps. Drawn in grid metres, grid north up.
	Boundary   geo.MultiPolygon
	Levees     []geo.Line
	Skips      []geo.Line // centre lines of strips that passes missed
	Checks     []CheckMark
	Plain      Picture // the flight in plain colour
	Departure  Picture // the plum ramp; transparent or white where nothing departs. Drawn on white under the vector map
	Killed     geo.MultiPolygon
	KilledSays string // "14.0 acres of killed weeds: the good news"; may be empty

	Suspects []FieldSuspect
	Small    Small

	// The ground: LookedAt and LeftOut add up to Acres.
	Acres, LookedAt, KilledAcres float64
	LeftOut                      []LeftOut

	Plantings []Planting // the table behind Missed
	PlantedAs string     // what a Cover is of: "weeds over that share of the ground"; may be empty

	Alternatives []Alternative
	Flips        []string // what would flip the choice, one sentence each
	Notes        []string // other findings, one sentence each: trends, checks apart, skips, levee weeds

	Cautions []string // printed at the foot
	Inputs   []Input
	Program  string    // "bittern 0.3.0"
	Stamp    time.Time // goes into the file's properties; the zero time is replaced by a fixed one, never by the clock
}

// Field writes the field sheet as a PDF of one letter page or more. The same
// FieldSheet gives the same bytes. Errors are those of w, wrapped.
func Field(w io.Writer, f FieldSheet) error {
	faces := newTypefaces()
	about := properties{"Field sheet, " + f.Field, f.Where, f.Program, f.Stamp}
	return writePDF(w, layField(f, faces), about.cleaned(faces))
}

// FieldPNG writes the pages of Field, one under the other, as one picture in
// colour, dpi pixels to the inch. Errors are those of w, wrapped.
func FieldPNG(w io.Writer, f FieldSheet, dpi float64) error {
	faces := newTypefaces()
	return writePNG(w, drawPages(layField(f, faces), faces, dpi))
}
