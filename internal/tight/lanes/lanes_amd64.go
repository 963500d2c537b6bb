package lanes

import "unsafe"

// In assembly a cell is 64 bytes: four sums of 32 bits and four sums of
// squares of 64 bits, both of samples less 32,768, so that they can be
// multiplied as signed numbers; then the counts of even and of odd bins, a
// byte each.
const middle = 1 << 15

// row is what the assembly is given; it knows the offsets.
type row struct {
	px      unsafe.Pointer // of the first pixel
	pixels  int
	runs    unsafe.Pointer
	nRuns   int
	cells   unsafe.Pointer
	nCells  int
	empty   unsafe.Pointer
	logs    unsafe.Pointer
	over    int // bytes from the start of a pixel
	under   int
	low     int64
	void    uint64 // a whole pixel
	hasVoid int64
}

// addRow adds a row in SSE2, which every processor of this kind has, and
// returns false where a run lies outside the row, or a cell is none.
//
//go:noescape
func addRow(r *row) bool

// addRowOfDifferences is addRow for differences.
//
//go:noescape
func addRowOfDifferences(r *row) bool

func (s *Scheme) row(px []byte, runs []Run, cells []Sums, empty []uint32) row {
	if len(empty) < len(cells) {
		panic("lanes: fewer counts than cells")
	}
	r := row{
		px: unsafe.Pointer(unsafe.SliceData(px)), pixels: len(px) / 8,
		runs: unsafe.Pointer(unsafe.SliceData(runs)), nRuns: len(runs),
		cells: unsafe.Pointer(unsafe.SliceData(cells)), nCells: len(cells),
		empty: unsafe.Pointer(unsafe.SliceData(empty)),
		logs:  unsafe.Pointer(s.Logs),
		over:  2 * (s.Over & 3), under: 2 * (s.Under & 3), low: int64(s.Low),
		void: uint64(s.Void) * laneOnes,
	}
	if s.HasVoid {
		r.hasVoid = 1
	}
	return r
}

func (s *Scheme) add(px []byte, runs []Run, cells []Sums, empty []uint32) {
	r := s.row(px, runs, cells, empty)
	if !addRow(&r) {
		panic("lanes: a run lies outside its row or its cells")
	}
}

func (s *Scheme) addDifferences(px []byte, runs []Run, cells []Sums, empty []uint32) {
	r := s.row(px, runs, cells, empty)
	if !addRowOfDifferences(&r) {
		panic("lanes: a run lies outside its row or its cells")
	}
}

func (s *Scheme) unpack(c *Sums, empty uint32) (t Tally) {
	t.binCounts(c[6], c[7])
	n, void := int64(t.Pixels)+int64(empty), int64(s.Void)
	for k := range t.Sum {
		sum := int64(int32(c[k/2] >> (k % 2 * 32)))
		t.Sum[k] = uint64(sum + middle*n - int64(empty)*void)
		t.Squares[k] = c[2+k] + uint64(2*middle*sum+middle*middle*n-int64(empty)*void*void)
	}
	return t
}
