// Package norm says what the crop of each check looks like where nothing is
// wrong, and how far each cell departs from that, in which direction.
package norm

import "bittern/internal/doubt"

// A Look is the direction of a departure, in plain words.
type Look string

// The looks. NoLook is a cell that does not depart.
const (
	NoLook   Look = ""
	Browned  Look = "browned"
	Yellowed Look = "yellowed"
	Thinned  Look = "thinned"
	Drowned  Look = "drowned"
	Ripened  Look = "ripened"
	Lush     Look = "lush"
	Coarse   Look = "coarse"
	Regrown  Look = "regrown"
)

// The names of the quantities in CheckNorm. All but OffColor are natural
// logarithms of ratios or of a brightness, so a spread of 0.05 is five percent.
const (
	RatioPixel  = "ratio"      // Summary.Ratio at the fine norm's quantile of the pixels
	Brightness  = "brightness" // ln of the green band (or of the first band) in the picture's units
	Infrared    = "infrared"   // ln(nir/green), or ln(rededge/green) without near infrared
	Weight      = "evidence"   // Departure.Evidence, near a log-odds; its spread has a floor of its own
	PixelSpread = "pixel sd"   // standard deviation of the ratio between crop pixels; it has a center only

	GreenEnd         = "green end"         // the ratio's 0.20 quantile over 3 m
	Middle           = "middle"            // the ratio's median over 3 m
	BrownEnd         = "brown end"         // the ratio's 0.90 quantile over 3 m
	GreenContrast    = "green contrast"    // ln of the green band's within-cell deviation over its mean
	RedContrast      = "red contrast"      // the same of the red band
	InfraredContrast = "infrared contrast" // the same of the near infrared
)

// A CheckNorm is the norm of one check: the robust centre and spread of each
// quantity that was used, by its name.
type CheckNorm struct {
	Check  string
	Cells  int // cells that the norm rests on
	Center map[string]float64
	Spread map[string]float64
	// Scatter is the deviation of evidence over the whole field's crop, the same in every
	// check; 0 when not known.
	Scatter float64
	// Standing against the field's other checks; nil with fewer than four checks.
	Standing *Standing
}

// Standing is how a whole check compares with its peers.
type Standing struct {
	Spreads float64 // robust spreads of the peers
	Apart   bool
	Look    Look // NoLook when not apart
}

// A Departure is what the stage returns. Slices are row-major on the day's grid.
type Departure struct {
	Norms   []CheckNorm // one for each of the layout's checks, in their order
	Spreads []float32   // size of the departure in robust spreads, at least 0; NaN where not looked at
	Share   []float32   // share of the cell's pixels that are off-colour, 0..1, smoothed at the treatable scale; NaN where not looked at
	// Evidence says how much more a cell looks like brown specks over a living
	// canopy, or like rough living leaf above it (its look is Coarse then), than like
	// crop, thin stand or open ground: near a log-odds, above 0 for more likely
	// than not; NaN where not looked at.
	Evidence []float32
	Toward   []uint8  // direction: index into Looks
	Looks    []Look   // Looks[0] is NoLook
	Matched  *Matched // what a search went by; nil without one. Evidence is then its effect, 0 to 1 and above
	Fitted   *Fitted  // the sum for browned ground that is fitted to the field; nil for none
	Taught   *Fitted  // what evidence has learnt from the field's own sure weeds; nil for nothing
	Shaded   *Shaded  // what shade changes; nil for no shade that is looked at
	Killed   []bool   // browned, open, without living green: treated weeds that died
	Fate     *Fate    // whether the weeds of a patch died; nil where that is not asked
	Trends   []Trend  // from edges and inlets, the one that explains most first
	Doubts   []doubt.Doubt
}
