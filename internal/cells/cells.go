// Package cells summarises a flight's pixels in one streaming pass: for each
// 0.5 m cell the mean and spread of every band and a small histogram of one
// well-chosen ratio. It is the only stage that touches every pixel.
package cells

import "bittern/internal/grid"

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
	Mean   [][]float32 // [band][cell], linear light; 8-bit sRGB in 0..1, others in the file's units
	Spread [][]float32 // [band][cell], standard deviation within the cell, same unit

	Ratio string   // what the histogram counts, "ln(red/green)"; empty when the bands allow none
	Low   float64  // ln units, lower edge of bin 0; pixels below count in bin 0
	Width float64  // ln units, of one bin; pixels above the last edge count in bin 15
	Hist  []uint16 // [cell*Bins + bin], saturating

	PixelM float64 // m, the side of a pixel on the ground (of the finest picture)
	Bits   int     // bits of a sample as stored: 8, 16, 32
	Lossy  bool    // the picture was stored with a lossy compression, or is 8-bit display colour
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
