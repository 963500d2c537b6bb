package app

import (
	"context"
	"fmt"
	"strings"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// Under is what lies at one place of the picture.
type Under struct {
	Says string `json:"says"` // one line; empty where nothing can be said
	ID   string `json:"id"`   // of the suspect there, or the block; empty for neither
}

// Under says what lies at a place of a day's picture, in the picture's own units:
// whatever is drawn there with its acres, the reason for leaving it out, or the
// check with nothing in it.
func (d *Days) Under(ctx context.Context, id string, at PointXY) (Under, error) {
	s, err := d.open(ctx, id)
	if err != nil || s.day == nil {
		return Under{}, err
	}
	shapes, err := s.shapes()
	if err != nil {
		return Under{}, err
	}
	units, _ := unit.ParseSystem(s.day.Options.Units)
	area := func(acres float64) string { return units.Area(unit.Acres(acres)) }
	if len(shapes.Field) > 0 && shapeAt(shapes.Field, at) == nil {
		return Under{Says: "Outside the field"}, nil
	}
	var out Under
	var says []string
	if hit := shapeAt(shapes.Suspects, at); hit != nil {
		out.ID = hit.ID
		says = append(says, s.day.suspectUnder(hit.ID, area))
	}
	if shapeAt(shapes.Killed, at) != nil {
		says = append(says, "Killed ground, "+area(s.day.Killed.Acres)+" in all")
	}
	if hit := shapeAt(shapes.Skips, at); hit != nil {
		says = append(says, "A strip that a pass missed, "+s.day.skipUnder(hit.ID, area))
	}
	if hit := shapeAt(shapes.Blocks, at); hit != nil {
		if out.ID == "" {
			out.ID = hit.ID
		}
		for _, b := range s.day.Blocks {
			if b.ID == hit.ID {
				says = append(says, fmt.Sprintf("Block %s, %s", b.ID, area(b.Acres)))
			}
		}
	}
	if s.ground != nil {
		ground, err := s.ground()
		if err != nil {
			return Under{}, err
		}
		if k := int(s.picture.KindAt(ground, geo.Point{X: at[0], Y: at[1]})); k > 0 && k <= len(reasonsOnMap()) {
			says = append(says, s.day.leftOutUnder(reasonsOnMap()[k-1], area))
		}
	}
	if hit := shapeAt(shapes.Checks, at); hit != nil {
		says = append(says, s.day.checkUnder(hit.ID, area, len(says) == 0))
	}
	if len(says) == 0 {
		says = append(says, "In the field, in no check")
	}
	out.Says = strings.Join(says, "; ")
	return out, nil
}

func (d *Day) suspectUnder(id string, area func(float64) string) string {
	for _, s := range d.Suspects {
		if s.ID != id {
			continue
		}
		name := "A small suspect"
		if s.Letter != nil {
			name = "Suspect " + *s.Letter
		}
		return fmt.Sprintf("%s, %s, %s, %s", name, area(s.Acres), s.Look, s.Severity)
	}
	return "A suspect"
}

func (d *Day) skipUnder(id string, area func(float64) string) string {
	if d.Skips != nil {
		for _, s := range d.Skips.Strips {
			if s.ID == id {
				return area(s.Acres)
			}
		}
	}
	return "acres not known"
}

func (d *Day) leftOutUnder(reason string, area func(float64) string) string {
	for _, l := range d.LeftOut {
		if l.Reason == reason {
			return fmt.Sprintf("Left out: %s, %s in all", reason, area(l.Acres))
		}
	}
	return "Left out: " + reason
}

func (d *Day) checkUnder(id string, area func(float64) string, plain bool) string {
	text := "Check " + id
	for _, c := range d.Checks {
		if c.ID != id {
			continue
		}
		text += ", " + area(c.Acres)
		if c.Standing != nil && c.Standing.Apart {
			text += ", apart from its peers"
		}
	}
	if plain {
		text += "; nothing stands out here"
	}
	return text
}

// shapeAt is the first shape that covers a place, by the even-odd rule of its
// rings; nil for none.
func shapeAt(shapes []Shape, at PointXY) *Shape {
	for i := range shapes {
		s := &shapes[i]
		if e := s.Extent; at[0] < e[0] || at[1] < e[1] || at[0] > e[2] || at[1] > e[3] {
			continue
		}
		in := false
		for _, ring := range s.Rings {
			for k := range ring {
				a, b := ring[k], ring[(k+1)%len(ring)]
				if (a[1] > at[1]) != (b[1] > at[1]) && at[0] < a[0]+(at[1]-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
					in = !in
				}
			}
		}
		if in {
			return s
		}
	}
	return nil
}
