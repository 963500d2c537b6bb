package app

import (
	"fmt"

	"bittern/internal/norm"
	"bittern/internal/unit"
)

// What looked_at.shows says.
const (
	showsCrop    = "crop"
	showsNoCrop  = "no crop"
	showsWater   = "open water"
	showsNothing = "nothing"
)

// allOf is the part of the ground from which all of it is called so (common
// practice, no source).
const allOf = 0.9

func showsWord(s norm.Shown) string {
	switch {
	case s.NoCrop && s.Water >= allOf:
		return showsWater
	case s.NoCrop:
		return showsNoCrop
	case s.Even:
		return showsNothing
	}
	return showsCrop
}

// showsNothing is the answer, its first sentence without a full stop, when nothing
// stands out in a picture that has no crop or in which nothing differs: silence
// says nothing then.
func (d *Day) showsNothing(units unit.System) (first, second string) {
	acres := units.Area(unit.Acres(d.LookedAt.Acres))
	second = d.words().NoCrop
	switch d.LookedAt.Shows {
	case showsWater:
		first = fmt.Sprintf("Nothing but open water shows in %s", acres)
		if second == "" {
			second = "Without a crop there is no order of checks to tell."
		}
	case showsNoCrop:
		first = fmt.Sprintf("No crop shows in %s", acres)
	default:
		first = fmt.Sprintf("This picture shows nothing that differs from place to place in %s", acres)
		second = "That is no all-clear: silence here says nothing about the field."
	}
	if second == "" {
		second = "Nothing green shows: ripe straw, stubble and bare soil look alike in it."
	}
	return first, second
}
