package sheet

import (
	"io"
	"time"

	"bittern/internal/geo"
)

// A Position is a place in degrees, WGS84.
type Position struct{ Lon, Lat float64 }

// A Product is one line of the mix as it was typed, in mixing order. An empty
// string is a blank to write on.
type Product struct {
	Name         string
	Registration string
	Rate         string // "1.0 qt/ac"
	Total        string // "14.6 qt"
	PerLoad      string // "7.3 qt"
	REI          string // "12 h"
	PHI          string // "60 days"
	Season       string // season used and left: "1.0 of 2.0 qt/ac left"
}

// A JobBlock is one block of the job.
type JobBlock struct {
	ID           string // "1"
	Acres        float64
	ValveOnAcres float64
	Outline      geo.Polygon // m, grid zone
	Center       Position    // the zero Position is a blank
	Runs         int
	RunLines     []geo.Line // m, grid zone: where the valve is open; drawn when given
	HeadingDeg   float64    // degrees clockwise from true north, 0 to 180
	LongestRunFt float64
	ShortestOpen float64 // s
	WindNotFrom  string  // "170 to 285"; empty is a blank to write on
}

// A HeadingChoice is one of the good headings that the pilot may choose from.
type HeadingChoice struct {
	HeadingDeg float64
	Acres      float64 // valve-on acres at this heading
	Runs       int
	Cost       *float64 // dollars; nil when not known
	Minutes    *float64
	Chosen     bool // the one that the blocks are cut for
}

// A MarkKind says what a fixed thing is, for its symbol.
type MarkKind string

// The kinds of mark that a job sheet draws. Any other kind is drawn as a ring.
const (
	MarkEntry     MarkKind = "entry"
	MarkWire      MarkKind = "wire" // a line
	MarkPole      MarkKind = "pole" // also towers
	MarkTree      MarkKind = "tree"
	MarkHome      MarkKind = "home"
	MarkPad       MarkKind = "pad"
	MarkInlet     MarkKind = "inlet"
	MarkOutlet    MarkKind = "outlet"
	MarkGate      MarkKind = "gate"
	MarkRoad      MarkKind = "road"
	MarkNeighbour MarkKind = "neighbour" // sensitive: bees, organic, a pond
	MarkLandmark  MarkKind = "landmark"
)

// A Mark is a fixed thing on or beside the field. Exactly one of its places
// is used: the first that is not empty.
type Mark struct {
	Kind    MarkKind
	Label   string // short, drawn beside it: "wire 28 ft"
	Outline geo.MultiPolygon
	Lines   []geo.Line
	At      *geo.Point
}

// A Listed is one line of the list of hazards or of sensitive neighbours.
type Listed struct {
	What    string // "power line, 28 ft, along the east side"
	Entered string // date; empty is not printed
	By      string // by whom; empty is not printed
}

// A JobSheet is all that a job sheet prints. An empty string is a blank line
// to write on; an empty list of hazards or neighbours prints the words that
// nothing was entered.
type JobSheet struct {
	State    string   // "draft" or "ready"; anything but "ready" is printed as DRAFT
	WhyDraft []string // why it is a draft, one short sentence each
	Unpinned string   // a sentence when the picture was never pinned to the ground; else empty

	Number   string // job number; blank when empty
	Revision int
	Date     string // as it is to be printed
	Code     string // the six-character read-back code

	Grower, PhoneDay, PhoneNight, OrderedBy, BillTo, Service string

	Field       string // as the service knows it
	FarmNumbers string // "farm 12, tract 3456, field 3"
	County      string
	Section     string    // section-township-range
	FromStrip   string    // "5 miles, 040 degrees from the strip"
	Road        string    // nearest road
	Center      Position  // the zero Position is a blank
	Entry       *Position // nil: a blank to write on

	Crop, Stage, Height, Flood, DropWaterBy string

	Products []Product
	NoMix    string // said when there are no products; a sentence of our own when empty
	// How the mix goes on; empty ones are blanks.
	Carrier, Droplet, MaxWind, ReleaseHeight, Group string

	WeedsAcres          *float64 // weeds estimated; nil when not estimated
	WeedsLow, WeedsHigh *float64
	BlockAcres          float64
	ValveOnAcres        float64
	BilledAcres         *float64
	Loads               string // "3 loads of 178 gal"
	Gallons             string // "534 gal in all"
	Balance             string // "last load 22 gal under"
	FieldAcres          float64
	Machine             string // "plane, 65 ft swath, 145 mph"
	Blocks              []JobBlock
	Headings            []HeadingChoice // at most three are printed
	Hazards, Neighbours []Listed

	Units          Units
	ConvergenceDeg float64 // degrees clockwise from true north to grid north

	Boundary geo.MultiPolygon
	Levees   []geo.Line
	NoSpray  geo.MultiPolygon // buffers, m, grid zone
	Marks    []Mark

	Cautions []string // beside the fixed ones
	Inputs   []Input
	Program  string
	Stamp    time.Time // goes into the file's properties; the zero time is replaced by a fixed one, never by the clock
}

// Job writes the job sheet as a PDF of one letter page, or more when the job
// has more blocks than a page holds. The same JobSheet gives the same bytes.
// Errors are those of w, wrapped.
func Job(w io.Writer, j JobSheet) error {
	faces := newTypefaces()
	about := properties{joined(" ", "Job sheet", j.Number, j.Field), j.Machine, j.Program, j.Stamp}
	return writePDF(w, layJob(j, faces), about.cleaned(faces))
}

// jobDPI is how finely the job sheet is drawn to be texted: fine enough to
// read 7-point type on a telephone.
const jobDPI = 150

// JobPNG writes the same pages as Job, one under the other, as one picture in
// greys that is small enough to text. Errors are those of w, wrapped.
func JobPNG(w io.Writer, j JobSheet) error {
	faces := newTypefaces()
	pages := layJob(j, faces)
	img := drawPages(pages, faces, jobDPI)
	if len(pages) > 1 {
		img = withoutTail(img, jobDPI/3)
	}
	return writeGreys(w, img)
}
