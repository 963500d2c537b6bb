// Package block cuts runs and blocks that an applicator can fly or drive.
package block

import "bittern/internal/geo"

// A Run is a stretch of a pass with the valve open.
type Run struct {
	Block     string    // id of its block
	Order     int       // 1 is flown first
	From, To  geo.Point // m, grid zone: valve open, valve shut (lead and trail included)
	LengthM   float64
	OpenS     float64 // seconds with the valve open
	ValveOnM2 float64 // ground metres² of the strip, length times swath
}

// A Block is the runs that are flown together, drawn as one polygon.
type Block struct {
	ID            string      // "1", "2", ...
	Outline       geo.Polygon // m, grid zone, a single part without holes
	Acres         float64     // of the outline, on the ellipsoid
	ValveOnAcres  float64
	Runs          []Run
	HeadingDeg    float64 // clockwise from true north, 0 to 180
	LongestRunM   float64
	ShortestOpenS float64
}
