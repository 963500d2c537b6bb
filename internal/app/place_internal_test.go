package app

import (
	"math"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/unit"
)

// A side is named and paced off from the side itself, however the field lies:
// a square of 1000 ft, turned about its south-west corner.
func TestPlaceIsPacedFromTheFieldsOwnSide(t *testing.T) {
	ft := func(x, y float64) geo.Point {
		return geo.Point{X: float64(unit.Feet(x).Meters()), Y: float64(unit.Feet(y).Meters())}
	}
	turned := func(p geo.Point, degrees float64) geo.Point {
		s, c := math.Sincos(degrees * math.Pi / 180)
		return geo.Point{X: c*p.X - s*p.Y, Y: s*p.X + c*p.Y}
	}
	well := geo.Ring{ft(480, 880), ft(520, 880), ft(520, 960), ft(480, 960)}
	for _, c := range []struct {
		name    string
		degrees float64
		at      geo.Point
		want    string
	}{
		{"square to north", 0, ft(500, 860), "north, 140 ft in from the north side"},
		{"twenty degrees askew", 20, ft(900, 860), "north-east, 100 ft in from the east side"},
		{"on the diagonal", 45, ft(500, 860), "north-west, 140 ft in from the north-west side"},
		{"turned the other way", -20, ft(100, 300), "west, 100 ft in from the west side"},
		{"at the fence", 0, ft(2, 500), "west, on the west side"},
	} {
		field := geo.MultiPolygon{{Outer: geo.Ring{ft(0, 0), ft(1000, 0), ft(1000, 1000), ft(0, 1000)}, Holes: []geo.Ring{well}}}
		field = field.Map(func(p geo.Point) geo.Point { return turned(p, c.degrees) })
		if got := placeWords(turned(c.at, c.degrees), field, unit.US); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
