// Package structure finds what a field is made of: levees, checks, water,
// roads, wheel tracks, shade and edges, each cell left out with its reason.
package structure

import (
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A Reason says why a cell is not looked at.
type Reason uint8

// The reasons. Outside is ground beyond the boundary; LookedAt is no reason.
const (
	LookedAt Reason = iota
	Outside
	Levee
	BorrowDitch
	Water
	Road
	Track
	Edge
	Shade
	Tree
	NoData
	ByHand
)

// A Check is one paddy: the ground that levees enclose.
type Check struct {
	ID      string           // "1", "2", ...: north-west first
	Outline geo.MultiPolygon // m, grid zone, along cell edges
	Cells   int              // looked-at and left-out cells of the check
}

// A LeveeLine is the centre line of one levee.
type LeveeLine struct {
	Line   geo.Line // m, grid zone
	WidthM float64  // m, ground left out across it
}

// What Layout.Found says.
const (
	FromPicture = "from the picture"
	FromGrower  = "from the grower's lines"
	NoneFound   = "none found"
)

// A Layout is what the stage returns. Slices are row-major on Grid.
type Layout struct {
	Grid       grid.Grid
	Reason     []Reason // per cell
	Kept       []Reason // per cell: why it would be left out had the question not kept it, LookedAt elsewhere; nil when it keeps nothing
	Check      []int32  // per cell: index into Checks, -1 where none
	Checks     []Check
	Levees     []LeveeLine
	Found      string  // where the levees came from: "from the picture", "from the grower's lines", "none found"
	PerimeterM float64 // m, width of the strip left out inside the boundary
	Doubts     []doubt.Doubt
}
