package app

import (
	"fmt"
	"math"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// placeWords says where in the field a point lies, as one would say it in the
// truck: the part of the field, and how far in from its nearest side.
func placeWords(p geo.Point, boundary geo.MultiPolygon, units unit.System) string {
	b := boundary.Bounds()
	part := partOf(p, b)
	side, away := nearestSide(p, b)
	return fmt.Sprintf("%s, %s in from the %s side", part, units.Length(unit.Meters(roundTo(away, units))), side)
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

// nearestSide is the side of the box that p lies closest to, and how far.
func nearestSide(p geo.Point, b geo.Box) (string, float64) {
	names := [4]string{"north", "south", "east", "west"}
	away := [4]float64{b.Max.Y - p.Y, p.Y - b.Min.Y, b.Max.X - p.X, p.X - b.Min.X}
	best := 0
	for i, d := range away {
		if d < away[best] {
			best = i
		}
	}
	return names[best], max(0, away[best])
}
