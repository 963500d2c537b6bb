// Package geo is planar geometry: points, lines and polygons in one flat
// coordinate system, whatever its unit. It knows no projection and no file.
//
// Coordinates are X to the right (east) and Y up (north). Where positions in
// degrees are meant, X is the longitude and Y the latitude.
package geo

// A Point is a position in the plane.
type Point struct{ X, Y float64 }

// A Line is a polyline of two points or more.
type Line []Point

// A Ring is a closed curve of three points or more. The closing point is not
// repeated. Its direction carries no meaning here; writers turn rings as their
// format wants them.
type Ring []Point

// A Polygon is an outer ring less its holes.
type Polygon struct {
	Outer Ring
	Holes []Ring
}

// A MultiPolygon is a set of polygons that do not overlap.
type MultiPolygon []Polygon
