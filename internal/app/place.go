package app

import (
	"fmt"
	"math"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// placeWords says where in the field a point lies, as one would say it in the
// truck: the part of the field, and how far in from its nearest side, which is
// what one paces off.
func placeWords(p geo.Point, boundary geo.MultiPolygon, units unit.System) string {
	part := partOf(p, boundary.Bounds())
	side, away := nearestSide(p, boundary)
	if away = roundTo(away, units); away == 0 {
		return fmt.Sprintf("%s, on the %s side", part, side)
	}
	return fmt.Sprintf("%s, %s in from the %s side", part, units.Length(unit.Meters(away)), side)
}

// roundTo keeps a length in metres to what a person can pace: tens of feet, or
// whole metres in fives.
func roundTo(m float64, units unit.System) float64 {
	step := float64(unit.Feet(10).Meters())
	if units == unit.Metric {
		step = 5
	}
	return math.Round(m/step) * step
}

// partOf names the ninth of the box that holds p.
func partOf(p geo.Point, b geo.Box) string {
	row := third(p.Y, b.Min.Y, b.Max.Y)
	col := third(p.X, b.Min.X, b.Max.X)
	return [3][3]string{
		{"south-west", "south", "south-east"},
		{"west", "middle", "east"},
		{"north-west", "north", "north-east"},
	}[row][col]
}

func third(v, low, high float64) int {
	if !(high > low) {
		return 1
	}
	return max(0, min(2, int(3*(v-low)/(high-low))))
}

// nearestSide is the side of the field that p lies closest to, named by the
// way it faces, and how far it is. Holes, a well say, are no sides.
func nearestSide(p geo.Point, boundary geo.MultiPolygon) (string, float64) {
	away, out := math.Inf(1), geo.Point{}
	for _, part := range boundary {
		if q := part.Outer.Nearest(p); p.Distance(q) < away {
			away, out = p.Distance(q), q.Sub(p)
		}
	}
	eighth := int(math.Round(math.Atan2(out.X, out.Y) / (math.Pi / 4)))
	return [8]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}[(eighth+8)%8], away
}
