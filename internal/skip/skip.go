// Package skip finds the strips that passes of an applicator missed: straight,
// narrow, parallel, as far apart as passes are. It names them only when the
// mapping lines of the camera could not have made them.
package skip

import (
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/progress"
)

// A Verdict says whether there are strips.
type Verdict string

// The verdicts, as day.json has them.
const (
	Named      Verdict = "named"
	None       Verdict = "none"
	CannotTell Verdict = "cannot tell"
)

// Parameters are what is known of the treatment.
type Parameters struct {
	SwathM     float64 // m on the ground, the applicator's swath; 0 when not given
	HeadingDeg float64 // degrees clockwise from true north, of the passes; NaN when not given

	Workers  int // goroutines, at least 1; never changes a result
	Progress progress.Func
}

// A Strip is ground along which a pass left weeds.
type Strip struct {
	ID      string     // "1", "2", ...: from the left as one looks along the heading
	Lines   []geo.Line // m, grid zone: the centre line, clipped to the field
	Cells   []int32    // looked-at cells of its ground, ascending
	WidthM  float64    // m on the ground
	LengthM float64    // m on the ground, of Lines together
	Acres   float64    // of Cells, on the ellipsoid
}

// A Camera is the pattern that the mapping lines left in the picture's brightness.
type Camera struct {
	HeadingDeg float64 // degrees clockwise from true north, 0 to 180
	SpacingM   float64 // m on the ground, between lines; 0 when no even spacing is seen
	Swing      float64 // ln units, standard deviation of the brightness from line to line
}

// A Finding is what the stage returns.
type Finding struct {
	Verdict    Verdict
	Why        string  // plain words, whole sentences
	HeadingDeg float64 // degrees clockwise from true north, 0 to 180; NaN unless strips were seen
	SpacingM   float64 // m on the ground, from one strip's place to the next; NaN unless strips were seen
	Strips     []Strip // only when Named
	Ground     []bool  // per cell: in a strip; nil unless Named
	Votes      int     // pieces of 200 ft that stand out along the heading
	Order      float64 // n R^2 of their places for the spacing
	Camera     *Camera // nil when the brightness shows no lines
	Doubts     []doubt.Doubt
}
