package app

import (
	"fmt"
	"math"

	"bittern/internal/doubt"
	"bittern/internal/unit"
)

// unseenShare is the part of a field without a picture from which the answer
// says so: half a hundredth, a seam or a corner being nothing to worry about
// (common practice, no source).
const unseenShare = 0.005

// noData is the ground, in acres, of which there is no picture.
func (d *Day) noData() float64 {
	for _, o := range d.LeftOut {
		if o.Reason == "no data" {
			return o.Acres
		}
	}
	return 0
}

// coverDoubts say what the pictures did not cover, or not alike.
func (r *run) coverDoubts() {
	if lacks := r.day.noData(); lacks > unseenShare*r.day.Field.Acres {
		r.doubt(doubt.Doubt{
			About: "picture", Weight: min(1, 0.2+lacks/r.day.Field.Acres),
			Says: fmt.Sprintf("No picture shows %s of the field's %s: nothing is known of it.",
				r.units.Area(unit.Acres(lacks)), r.units.AreaNumber(unit.Acres(r.day.Field.Acres))),
			Settle: "Fly the rest, or give its picture as well.",
		})
	}
	fine, coarse := math.Inf(1), 0.0
	for _, f := range r.flight.Files {
		fine, coarse = min(fine, f.PixelM), max(coarse, f.PixelM)
	}
	if coarse > unlikePixels*fine {
		r.doubt(doubt.Doubt{
			About: "pixels", Weight: 0.6,
			Says: fmt.Sprintf("The pictures have pixels of %.1f to %.1f cm: specks blur in the coarser ones, so patches may be missed there that the finer ones would show.",
				100*fine, 100*coarse),
			Settle: "Give pictures of one pixel size.",
		})
	}
}

// unlikePixels is the quotient of two pixel sizes from which they are not alike:
// at a tenth, the spread of the pixels of a cell, by which specks are told,
// differs by no more than between places of one picture (common practice, no source).
const unlikePixels = 1.1
