package cells

import (
	"slices"
	"testing"

	"bittern/internal/grid"
)

// TestFewRowsOfCellsAreOpenAtATime holds the memory of the pass to its
// promise: wide sums under two rows of windows, whatever the picture's
// height, and blocks for the workers only.
func TestFewRowsOfCellsAreOpenAtATime(t *testing.T) {
	const rows = 500
	g := grid.Grid{CellM: 0.5, Cols: 55, Rows: rows}
	in := slices.Repeat([]bool{true}, g.Len())
	for _, turned := range []float64{0, 0.02} {
		p := &pass{Options: Options{Workers: 3, MarginM: Margin}, sum: &Summary{Grid: g, Inside: in}}
		names := []string{"red", "green"}
		if err := p.setBands([]placedBands{{names: names, kind: Uint16}}); err != nil {
			t.Fatal(err)
		}
		p.addSource(Source{
			Cols: 550, Rows: 10 * rows, Bands: names, Sample: Uint16,
			Affine: grid.Affine{B: 0.05, C: turned * 0.05, E: turned * 0.05, F: -0.05},
			Fill: func(_ grid.Window, dst []byte) error {
				for i := range dst {
					dst[i] = byte(i%13 + 1)
				}
				return nil
			},
		})
		if err := p.run(t.Context()); err != nil {
			t.Fatal(err)
		}
		const window = side/10 + 2 // rows of cells under a window
		if most := len(p.collect.free); most > 3*window {
			t.Errorf("turned by %g: %d rows of cells were open at once, want %d at most", turned, most, 3*window)
		}
		if n := len(p.blocks); n > 4*(p.Workers+1)+1 {
			t.Errorf("%d blocks for %d workers", n, p.Workers)
		}
	}
}
