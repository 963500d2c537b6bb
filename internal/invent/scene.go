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

	Collar bool // the mosaic ends raggedly 9 to 17 m outside the field; beyond there is no data

	HandDrawnM float64 // m, how far the boundary as drawn strays from the field's edge
}

// ActDensity is the cover of live escapes, 0 to 1, from which ground counts as
// worth acting on in [Truth]. It is a choice of this bench, not a threshold of
// agronomy.
const ActDensity = 0.06

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
	case s.Weeds.Acres+s.KilledAcres > s.Acres/2:
		return fmt.Errorf("%g acres of weeds do not fit on %g acres", s.Weeds.Acres+s.KilledAcres, s.Acres)
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
