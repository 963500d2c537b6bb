package cells

import (
	"encoding/binary"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"bittern/internal/grid"
)

// rusty is a picture of 16 bits whose ratio drifts over the field, and counts
// how often a window of it is read.
func rusty(side int, pixelM float64, reads *atomic.Int32) Source {
	return Source{
		Cols: side, Rows: side, Affine: grid.Affine{A: 700000, B: pixelM, D: 3900000, F: -pixelM}, Bands: []string{"red", "green"}, Sample: Uint16,
		Fill: func(w grid.Window, dst []byte) error {
			reads.Add(1)
			for i := range w.Cols * w.Rows {
				col, row := w.Col+i%w.Cols, w.Row+i/w.Cols
				r := rand.New(rand.NewPCG(uint64(col), uint64(row)))
				binary.LittleEndian.PutUint16(dst[4*i:], uint16(2000+3*col+r.IntN(500)))
				binary.LittleEndian.PutUint16(dst[4*i+2:], uint16(3000+row+r.IntN(500)))
			}
			return nil
		},
	}
}

// TestTheRangeIsThatOfThePlacesOneByOne places the histogram as if each place
// were looked at alone, in its turn.
func TestTheRangeIsThatOfThePlacesOneByOne(t *testing.T) {
	for _, c := range []struct {
		side   int
		pixelM float64
		cells  int
	}{{90, 0.5, 90}, {260, 0.25, 120}, {1400, 0.05, 140}, {1100, 0.013, 28}} {
		var reads atomic.Int32
		g := grid.Grid{EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: c.cells, Rows: c.cells}
		p := &pass{Options: Options{MarginM: -1}, sum: &Summary{Grid: g, Inside: make([]bool, g.Len())}}
		for i := range p.sum.Inside {
			p.sum.Inside[i] = i%g.Cols > i/g.Cols/3
		}
		src := rusty(c.side, c.pixelM, &reads)
		if err := p.setBands([]placedBands{{src.Bands, src.Sample, false}}); err != nil {
			t.Fatal(err)
		}
		p.addSource(src)
		p.layUpon([]ground{groundOfSource(src)})
		p.jobs = p.plan()
		var logs []float64
		for k, spot := range p.spots() {
			if k >= sampleSpots && len(logs) >= sampleEnough {
				break
			}
			for _, j := range p.jobs {
				var alone [1][]float64
				if err := p.sample(j, &shelf{}, spotsByCell(g, []rect{spot}), alone[:]); err != nil {
					t.Fatal(err)
				}
				logs = append(logs, alone[0]...)
			}
		}
		p.setLow(median(logs))
		want := p.sum.Low
		reads.Store(0)
		if err := p.chooseRange(t.Context()); err != nil {
			t.Fatal(err)
		}
		if p.sum.Low != want || want == 0 {
			t.Errorf("%d pixels of %g m: the range begins at %g, not at %g", c.side, c.pixelM, p.sum.Low, want)
		}
		if n := int(reads.Load()); n > len(p.jobs) {
			t.Errorf("%d pixels of %g m: %d windows are read %d times", c.side, c.pixelM, len(p.jobs), n)
		}
	}
}

// TestWhatLiesOnOthersIsDecodedOnceMore lays a picture on two others, with many
// workers.
func TestWhatLiesOnOthersIsDecodedOnceMore(t *testing.T) {
	var below, above atomic.Int32
	g := grid.Grid{EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: 110, Rows: 110}
	in := make([]bool, g.Len())
	for i := range in {
		in[i] = true
	}
	a, b := rusty(1024, 0.05, &below), rusty(1024, 0.05, &above)
	b.Affine.A += 0.02
	s, err := FromSource(t.Context(), []Source{a, a, b}, g, in, 4)
	if err != nil {
		t.Fatal(err)
	}
	// Four windows each: for the range, for the sums, and for what lies below.
	if n := above.Load(); n > 12 {
		t.Errorf("the windows on top are read %d times", n)
	}
	for cell, n := range s.Pixels {
		if n > 110 {
			t.Fatalf("cell %d has %d pixels", cell, n)
		}
	}
}

func TestWhatIsKeptOfCoversIsBounded(t *testing.T) {
	var reads atomic.Int32
	src := rusty(1, 1, &reads)
	src.Cols, src.Rows = 512*300, 512*2
	src.Fill = func(_ grid.Window, dst []byte) error { reads.Add(1); clear(dst); dst[0] = 1; return nil }
	p := &pass{sum: &Summary{Grid: grid.Grid{EPSG: 32615, CellM: 0.5, Cols: 1, Rows: 1}, Bands: []string{"red", "green"}}}
	p.addSource(src)
	p.layUpon([]ground{groundOfSource(src)})
	var readers shelf
	for round := range 2 {
		for col := 0; col < src.Cols; col += 512 {
			for _, row := range []int{0, 600} {
				b, err := p.shown.block(0, col, row, &readers)
				if err != nil || !b.has(col, row/512*512) || b.has(col+1, row/512*512) {
					t.Fatalf("round %d, column %d: %v", round, col, err)
				}
			}
		}
		if p.shown.bytes > keptShown || len(p.shown.by) != len(p.shown.order) || len(p.shown.by)*512*512/8 != p.shown.bytes {
			t.Fatalf("%d blocks of %d bytes are kept", len(p.shown.by), p.shown.bytes)
		}
	}
	if reads.Load() != 2*600 {
		t.Errorf("%d windows are read", reads.Load())
	}
}
