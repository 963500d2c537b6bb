//go:build !amd64

package lanes

func (s *Scheme) add(row []byte, runs []Run, cells []Sums, empty []uint32) {
	s.portableAdd(row, runs, cells, empty)
}

func (s *Scheme) addDifferences(row []byte, runs []Run, cells []Sums, empty []uint32) {
	s.portableAddDifferences(row, runs, cells, empty)
}

func (s *Scheme) unpack(c *Sums, empty uint32) Tally { return s.portableUnpack(c, empty) }
