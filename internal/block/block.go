// Package block cuts runs and blocks that an applicator can fly or drive.
//
// The ground comes in as dollars won by treating each cell. For one heading and
// one placing of the passes the set of valve-open runs that wins most after its
// own cost is found exactly, by dynamic programming along every pass; see
// docs/methods/blocks.md.
package block

import "bittern/internal/geo"

// A Run is a stretch of a pass with the valve open.
type Run struct {
	Block     string    // id of its block
	Order     int       // 1 is flown first
	From, To  geo.Point // m, grid zone: valve open, valve shut (lead and trail included)
	LengthM   float64   // ground metres
	OpenS     float64   // seconds with the valve open; 0 when the speed is not given
	ValveOnM2 float64   // ground metres² of the strip, length times swath
	Pass      int       // which pass it lies on, counted from 1 across the heading
}

// A Block is the runs that are flown together, drawn as one polygon. It holds
// one run of each of its passes, so that its outline is exactly the ground
// under the open valve.
type Block struct {
	ID            string      // "1", "2", ...
	Outline       geo.Polygon // m, grid zone, a single part without holes
	Acres         float64     // of the outline, on the ellipsoid
	ValveOnAcres  float64
	Runs          []Run   // in the order of the passes
	HeadingDeg    float64 // clockwise from true north, 0 to 180
	LongestRunM   float64 // ground metres
	ShortestOpenS float64 // seconds; 0 when the speed is not given
}
