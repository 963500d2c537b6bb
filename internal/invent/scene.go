// Package invent makes an invented rice field and its drone flight from a
// seed: the demo, the teaching tool and the bench of the detector.
//
// A [Scene] says what the field holds and how the flight went wrong, each
// nuisance as an explicit amount. [New] plans the field, [Field.Fill] renders
// any window of its picture, and [Field.Truth] says what really stands there.
// The same scene gives the same pixels, whatever the order or the number of
// workers.
//
// Nothing in a picture is tied to the truth but the plants themselves: weeds
// stand beside look-alikes (dry grass on levees, dead leaf, bare soil, killed
// weeds) that are drawn with the same hand.
package invent

import (
	"fmt"
	"math"
)

// A Sensor is a kind of camera and of file that it leaves.
type Sensor int

// The sensors.
const (
	ColorJPEGLike8 Sensor = iota // red, green, blue, 8-bit, camera tone curve, damaged by JPEG at quality 85
	ColorNIR8                    // red, green, blue, nir, 8-bit, sRGB curve in every band
	FourBand16                   // green, red, rededge, nir, uint16, 20,000 counts a unit of reflectance
	FiveBandFloat                // blue, green, red, rededge, nir, float32 reflectance
)

// String is the sensor in plain words.
func (s Sensor) String() string {
	switch s {
	case ColorJPEGLike8:
		return "colour 8-bit"
	case ColorNIR8:
		return "colour and near infrared 8-bit"
	case FourBand16:
		return "four bands 16-bit"
	case FiveBandFloat:
		return "five bands float"
	}
	return fmt.Sprintf("sensor %d", int(s))
}

// A Pattern is how a field's levees run.
type Pattern int

// The patterns. Every pattern has a perimeter levee.
const (
	Contour  Pattern = iota // along the contours, every 0.2 ft of fall
	Straight                // straight and parallel, on graded ground
	NoLevees                // none inside the perimeter
)

// Weeds are the live escapes that a scene holds.
type Weeds struct {
	Acres        float64 // acres of ground at or above [ActDensity]
	Patches      int     // how many patches share them
	Light, Heavy float64 // range of the patches' peak cover, 0 to 1
	Burn         float64 // share of a plant's cover that is burnt leaf, 0 to 1; 0 means by the days since the herbicide, and patch by patch
	Strays       float64 // single plants all over the field, too few to act on; 1 is about 25 an acre
}

// A Trouble is one kind of poor ground that a scene holds in patches.
type Trouble struct {
	Acres        float64 // acres of ground at or above what counts in [Truth]
	Patches      int     // how many patches share them
	Light, Heavy float64 // range of the patches' peaks, 0 to 1
}

// Skips are strips that the applicator missed between its passes.
type Skips struct {
	Strips     int
	SwathFt    float64 // feet between passes; strips lie on whole numbers of it
	HeadingDeg float64 // degrees clockwise from true north, of the passes, 0 to 180
}

// A Scene is the recipe of a field and of its flight. The zero amount of a
// nuisance is none of it. Amounts without a unit run from 0 to about 1, where
// 1 is a bad but ordinary case.
type Scene struct {
	Name      string
	Seed      uint64
	Acres     float64 // of the field
	PixelM    float64 // m, side of a pixel
	Sensor    Sensor
	Levees    Pattern
	SpacingM  float64 // m, mean distance between levees; 0 means 60
	AskewDeg  float64 // degrees counterclockwise, of the field's sides against the grid
	RotateDeg float64 // degrees counterclockwise, of the picture's axes against the grid
	Lon, Lat  float64 // degrees, south-west corner of the field; both 0 means a place in zone 15 north
	FlownDays int     // days since the herbicide; 0 means 10

	Weeds       Weeds
	KilledAcres float64 // acres of weeds that died
	Skip        float64 // 0 to 1: live weeds along one strip that an airplane missed
	NewAcres    float64 // acres of weeds that came up after the treatment: on no ground that was treated for them
	Skips       Skips   // strips between passes with partly burnt, living weeds
	Untreated   float64 // 0 to 1: one whole check that no pass reached, weeds all over it
	NoNitrogen  float64 // 0 to 1: one whole check that was given none
	LeveeWeeds  float64 // tall live weeds on stretches of the levees

	Defoliation   Trouble // leaf eaten, spreading from edges and levees; the peak is the share of the leaf
	NitrogenShort Trouble // ground short of nitrogen; a peak of 1 is a crop given none
	Drift         float64 // a neighbour's drift: yellowed and specked, fading from one edge
	Fan           float64 // cold water: thin, pale and wet, fading from the inlet within its check

	Lodged       float64 // acres of lodged crop: smooth swirls, bright and dark
	Hogs         float64 // trails and rooted ground from an edge
	Flooding     float64 // flooded and dry checks side by side
	TwoVarieties float64 // two varieties, parted by a straight line along the drill

	StandVariation float64 // smooth variation of the stand and of its colour at several scales
	BareSoil       float64 // soil between the plants, missing plants
	DeadLeaf       float64 // dead leaves lying on the canopy everywhere
	ThinStand      float64 // areas and drill strips of thin stand
	PaleStrips     float64 // strips of paler crop, along the drill
	Seep           float64 // wet ground below levees, with thinner stand
	Rows           float64 // drill rows, 7.5 in apart
	Tracks         float64 // paired wheel tracks along the drill
	GrassyLevees   float64 // grass on the levees, green and dry; 0 is a mown green bank
	BrokenLevees   float64 // stretches of bank that are worn down
	BorrowDitches  float64 // borrow ditches with water and gaps in the stand
	DitchWeeds     float64 // weeds in borrow ditches and on levee shoulders; no escapes of the crop

	Road    bool // a field road on one side or two
	Ditch   bool // a ditch outside the field on the other sides
	Pond    bool // a pond in a corner, inside the boundary
	PumpPad bool // a pump pad at the inlet, with open water before it

	TreeShade  float64 // trees along a side, and their shade on the crop: 0.7 to 1.8 of their height long
	CloudShade float64 // soft cloud shade, the same ratio in every band

	Noise     float64 // shot and read noise, every band its own; 1 is an ordinary camera
	BlurPx    float64 // pixels, standard deviation of the lens blur
	BandShift float64 // pixels, largest shift of a band against the others
	StripGain float64 // line-to-line gain; 1 is 3 % between mapping lines
	Haze      float64 // haze; 1 adds 0.018 of reflectance in the blue, less in longer waves
	Vignette  float64 // what is left of vignetting and view angle across a mapping line

	LineHeadingDeg float64 // degrees clockwise from true north, of the mapping lines; by the seed when LineSpacingFt is 0
	LineSpacingFt  float64 // feet between mapping lines; 0 leaves both to the seed

	HazeGradient float64 // haze that grows across the field; 1 as for Haze, at the far side
	WhiteBalance float64 // half of the field was balanced otherwise; 1 is 6 % in red and blue
	HotSpot      float64 // bright spots along the mapping lines, where the sun stands behind the camera
	Glint        float64 // the sun's mirror on open water along the mapping lines
	Seams        float64 // pieces of the mosaic that do not meet; 1 is half a metre
	Ghosts       float64 // share of the seams along which two pictures lie over each other
	JPEGQuality  int     // of a colour picture; 0 means 85

	Before         bool    // the flight on the day of treatment: everything green, nothing eaten or come up yet, another light
	ShiftE, ShiftN float64 // m, how far off its place the picture says it lies

	Collar bool // the mosaic ends raggedly 9 to 17 m outside the field; beyond there is no data

	HandDrawnM float64 // m, how far the boundary as drawn strays from the field's edge
}

// ActDensity is the cover of live escapes, 0 to 1, from which ground counts as
// worth acting on in [Truth]. It is a choice of this bench, not a threshold of
// agronomy.
const ActDensity = 0.06

// ChewedShare and ShortShare are the share of the leaf eaten, and of the whole
// lack of nitrogen, from which ground counts in [Truth]: choices of this bench.
const (
	ChewedShare = 0.12
	ShortShare  = 0.35
)

// Version changes when the same scene gives other pixels or another truth:
// what was kept of a scene under another version is stale.
const Version = 1

// validate reports the first unusable field of s.
func (s Scene) validate() error {
	switch {
	case !(s.Acres >= 1 && s.Acres <= 2000):
		return fmt.Errorf("a field of %g acres cannot be invented: 1 to 2,000", s.Acres)
	case !(s.PixelM >= 0.02 && s.PixelM <= 0.25):
		return fmt.Errorf("a pixel of %g m cannot be invented: 0.02 to 0.25", s.PixelM)
	case s.Sensor < ColorJPEGLike8 || s.Sensor > FiveBandFloat:
		return fmt.Errorf("no such sensor: %d", int(s.Sensor))
	case s.Levees < Contour || s.Levees > NoLevees:
		return fmt.Errorf("no such levee pattern: %d", int(s.Levees))
	case s.Weeds.Acres+s.KilledAcres+s.NewAcres > s.Acres/2:
		return fmt.Errorf("%g acres of weeds do not fit on %g acres", s.Weeds.Acres+s.KilledAcres+s.NewAcres, s.Acres)
	case s.Defoliation.Acres+s.NitrogenShort.Acres+s.Lodged > s.Acres/2:
		return fmt.Errorf("%g acres of trouble do not fit on %g acres", s.Defoliation.Acres+s.NitrogenShort.Acres+s.Lodged, s.Acres)
	case s.Skips.Strips > 0 && !(s.Skips.SwathFt >= 15 && s.Skips.SwathFt <= 120):
		return fmt.Errorf("skips need a swath of 15 to 120 feet, not %g", s.Skips.SwathFt)
	case s.Weeds.Acres > 0 && (s.Weeds.Patches < 1 || s.Weeds.Heavy < s.Weeds.Light || s.Weeds.Light < ActDensity):
		return fmt.Errorf("weeds need a patch and a cover from %g up", ActDensity)
	case math.Abs(s.BandShift) > 1 || s.BlurPx < 0 || s.BlurPx > 1:
		return fmt.Errorf("blur and band shift reach one pixel at most")
	}
	return nil
}

// withDefaults fills in what the scene leaves open.
func (s Scene) withDefaults() Scene {
	if s.SpacingM == 0 {
		s.SpacingM = 60
	}
	if s.FlownDays == 0 {
		s.FlownDays = 10
	}
	if s.Lon == 0 && s.Lat == 0 {
		s.Lon, s.Lat = -91.347, 35.118
	}
	return s
}
