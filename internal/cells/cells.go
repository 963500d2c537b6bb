// Package cells summarises a flight's pixels in one streaming pass: for each
// 0.5 m cell the mean and spread of every band and a small histogram of one
// well-chosen ratio. It is the only stage that touches every pixel.
//
// A pixel belongs to the cell that holds its centre; a centre within a
// thousandth of a millimetre of an edge counts as east or south of it. Integer
// samples are summed as integers and float samples in the order of the tiles,
// so the number of workers never changes a result.
package cells

import (
	"bittern/internal/doubt"
	"bittern/internal/grid"
)

// Bins is the number of bins of the ratio's histogram in each cell.
const Bins = 16

// A Summary is what the pass leaves of a flight. All slices are row-major on
// Grid and as long as it; cells outside Inside still carry data where a
// picture covers them (levees and edges need the surroundings).
type Summary struct {
	Grid   grid.Grid
	Inside []bool // the cell's centre lies in the field's boundary

	Bands  []string    // "blue", "green", "red", "rededge", "nir": what is there, in that order
	Pixels []uint32    // pixels with data seen in the cell, over all bands' pictures the least
	Mean   [][]float32 // [band][cell], linear light; 8-bit sRGB in 0..1, others in the file's units; NaN without pixels
	Spread [][]float32 // [band][cell], standard deviation of the cell's pixels (divisor n), same unit; NaN without pixels

	Ratio string   // what the histogram counts, "ln(red/green)"; empty when the bands allow none
	Low   float64  // ln units, lower edge of bin 0; pixels below count in bin 0
	Width float64  // ln units, of one bin; pixels above the last edge count in bin 15
	Hist  []uint16 // [cell*Bins + bin], saturating; all 0 when Ratio is empty

	PixelM float64 // m, the side of a pixel on the ground (of the finest picture)
	Bits   int     // bits of a sample as stored: 8, 16, 32
	Lossy  bool    // the picture was stored with a lossy compression, or is 8-bit display colour

	Covered float64       // share of the cells inside that have a pixel, 0..1
	Doubts  []doubt.Doubt // what the pass noticed about the pixels
}

// Band returns the mean and spread of the named band, or nil, nil.
func (s *Summary) Band(name string) (mean, spread []float32) {
	for i, b := range s.Bands {
		if b == name {
			return s.Mean[i], s.Spread[i]
		}
	}
	return nil, nil
}
