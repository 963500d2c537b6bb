// Package lanes sums pixels of four 16-bit samples cell by cell, where few
// pixels lie in a cell. It is the innermost loop of the pass over a picture
// and, like all below internal/tight, written for speed first: where the
// processor has it, in assembly, which is held to plain Go by tests.
package lanes

// Most is how many pixels one cell may take.
const Most = 255

// Bins is how many bins a cell's histogram has.
const Bins = 16

// A Run is a stretch of pixels of one row that lie in one cell.
type Run struct {
	End  int // the pixel after the last, from the left of the row
	Cell int // which of the cells; negative where none is
}

// Sums are those of one cell, packed: only [Scheme.Unpack] knows how. They
// begin as zeros.
type Sums [8]uint64

// A Scheme says how pixels are binned and which hold no data. It must not be
// changed while it is used.
type Scheme struct {
	Logs        *[1 << 16]int32 // of a sample, in units of 1/65536 bin
	Over, Under int             // samples, 0 to 3: the bin is that of one over the other
	Low         int32           // lower edge of bin 0, in the units of Logs
	HasVoid     bool            // whether a pixel may hold no data
	Void        uint16          // what all its samples are then
}

// A Tally is what the pixels of one cell that hold data add up to.
type Tally struct {
	Pixels       uint32
	Sum, Squares [4]uint64
	Hist         [Bins]uint32
}

// Add adds a row of pixels, eight bytes each, to the cells under it. Runs
// follow one another from the row's first pixel. Pixels without data are
// counted in empty, cell by cell. Add panics when a run lies outside row or
// cells.
func (s *Scheme) Add(row []byte, runs []Run, cells []Sums, empty []uint32) {
	s.add(row, runs, cells, empty)
}

// AddDifferences is Add for a row of differences to the pixel before, which it
// replaces by the pixels.
func (s *Scheme) AddDifferences(row []byte, runs []Run, cells []Sums, empty []uint32) {
	s.addDifferences(row, runs, cells, empty)
}

// Unpack is the tally of a cell to which empty pixels without data were added
// as well.
func (s *Scheme) Unpack(c *Sums, empty uint32) Tally { return s.unpack(c, empty) }

// binCounts puts the two packed words of a histogram, even and odd bins, into
// a tally.
func (t *Tally) binCounts(evens, odds uint64) {
	for k := 0; k < Bins; k += 2 {
		even, odd := uint32(evens&0xff), uint32(odds&0xff)
		t.Hist[k], t.Hist[k+1] = even, odd
		t.Pixels += even + odd
		evens >>= 8
		odds >>= 8
	}
}
