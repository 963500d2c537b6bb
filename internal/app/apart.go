package app

import (
	"fmt"
	"math"

	"bittern/internal/doubt"
	"bittern/internal/imagery"
	"bittern/internal/unit"
)

// farM is how far a picture may lie from every other one of its flight: the pieces
// of a mosaic touch, and a turnrow or a canal between two is far narrower.
const farM = 500

// A box is the ground that a picture covers, in degrees.
type box struct{ west, south, east, north float64 }

// fromM is about how far apart two boxes are, in metres; 0 where they meet.
func (a box) fromM(b box) float64 {
	const degreeM = 111320.0 // of latitude
	gap := func(lowA, highA, lowB, highB float64) float64 { return max(0, lowA-highB, lowB-highA) * degreeM }
	return math.Hypot(gap(a.south, a.north, b.south, b.north), gap(a.west, a.east, b.west, b.east)*math.Cos(a.south*math.Pi/180))
}

// apartDoubts say which pictures lie away from all others, as those of two fields do.
func apartDoubts(f *imagery.Flight) []doubt.Doubt {
	var boxes []box
	for _, file := range f.Files {
		if !file.CRS.Valid() || file.Image.Affine == nil {
			return nil
		}
		b := box{west: math.Inf(1), south: math.Inf(1), east: math.Inf(-1), north: math.Inf(-1)}
		for _, c := range [][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			lon, lat := file.LonLat(c[0]*float64(file.Image.Cols), c[1]*float64(file.Image.Rows))
			b = box{west: min(b.west, lon), south: min(b.south, lat), east: max(b.east, lon), north: max(b.north, lat)}
		}
		boxes = append(boxes, b)
	}
	for i, a := range boxes {
		near := math.Inf(1)
		for k, b := range boxes {
			if k != i {
				near = min(near, a.fromM(b))
			}
		}
		if near > farM && len(boxes) > 1 {
			return []doubt.Doubt{{
				About: "picture", Weight: 0.9,
				Says: fmt.Sprintf("%s lies %.1f miles from the other pictures: these are not of one field.",
					f.Files[i].Name, unit.Meters(near).Feet()/5280),
				Settle: "Give the pictures of one field, and make another day of the rest.",
			}}
		}
	}
	return nil
}
