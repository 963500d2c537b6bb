package lanes

import "encoding/binary"

// In plain Go the sum and the sum of squares of a sample share one word, words
// 0 to 3 of a cell; words 4 and 5 are the counts of even and of odd bins, a
// byte each.
const (
	squareBits = 40                    // of a sum of squares: 256 times 32 bits
	binnedRun  = 15                    // pixels that are binned at a time, so that a count fits 4 bits
	nibbles    = 0x0f0f_0f0f_0f0f_0f0f // every other four bits
	laneTops   = 0x8000_8000_8000_8000
	laneOnes   = 0x0001_0001_0001_0001
)

func (s *Scheme) portableAdd(row []byte, runs []Run, cells []Sums, empty []uint32) {
	from := 0
	for _, r := range runs {
		for from < r.End {
			end := min(r.End, from+binnedRun)
			px := row[from*8 : end*8]
			from = end
			if r.Cell < 0 {
				continue
			}
			to := &cells[r.Cell]
			s0, s1, s2, s3 := addPixels(px)
			to[0] += s0
			to[1] += s1
			to[2] += s2
			to[3] += s3
			s.binInto(px, to, &empty[r.Cell])
		}
	}
}

func (s *Scheme) portableAddDifferences(row []byte, runs []Run, cells []Sums, empty []uint32) {
	from, last := 0, uint64(0)
	var off Sums // pixels that lie in no cell
	for _, r := range runs {
		for from < r.End {
			end := min(r.End, from+binnedRun)
			px := row[from*8 : end*8]
			from = end
			to := &off
			if r.Cell >= 0 {
				to = &cells[r.Cell]
			}
			var s0, s1, s2, s3 uint64
			s0, s1, s2, s3, last = addUndone(px, last, laneTops)
			to[0] += s0
			to[1] += s1
			to[2] += s2
			to[3] += s3
			if r.Cell >= 0 {
				s.binInto(px, to, &empty[r.Cell])
			}
		}
	}
}

// binInto bins the pixels of a run that was summed into a cell.
func (s *Scheme) binInto(px []byte, to *Sums, empty *uint32) {
	bins, without := s.bins(px)
	to[4] += bins & nibbles
	to[5] += bins >> 4 & nibbles
	*empty += uint32(without)
}

// bins counts the bins of up to binnedRun pixels, in four bits each, and the
// pixels without data.
func (s *Scheme) bins(px []byte) (bins uint64, empty int) {
	logs, void := s.Logs, uint64(s.Void)*laneOnes
	over, under, low := 2*s.Over&6, 2*s.Under&6, s.Low
	for i := 0; i <= len(px)-8; i += 8 {
		p := px[i : i+8 : i+8]
		if binary.LittleEndian.Uint64(p) == void {
			if s.HasVoid {
				empty++
				continue
			}
		}
		bin := (logs[binary.LittleEndian.Uint16(p[over:])] - logs[binary.LittleEndian.Uint16(p[under:])] - low) >> 16
		if uint32(bin) >= Bins {
			bin = min(max(bin, 0), Bins-1)
		}
		bins += 1 << (4 * uint32(bin) & 63)
	}
	return bins, empty
}

// addUndone sums a run of differences and puts the pixels in their place. last
// is the pixel before; the last one is returned. tops are laneTops: given as a
// number, they stay in a register.
func addUndone(px []byte, last, tops uint64) (s0, s1, s2, s3, end uint64) {
	keep := ^tops
	for i := 0; i <= len(px)-8; i += 8 {
		p := px[i : i+8 : i+8]
		v := binary.LittleEndian.Uint64(p)
		last = (last&keep + v&keep) ^ ((last ^ v) & tops)
		binary.LittleEndian.PutUint64(p, last)
		a, b, c, d := last&0xffff, last>>16&0xffff, last>>32&0xffff, last>>48
		s0 += a * (a | 1<<squareBits)
		s1 += b * (b | 1<<squareBits)
		s2 += c * (c | 1<<squareBits)
		s3 += d * (d | 1<<squareBits)
	}
	return s0, s1, s2, s3, last
}

// addPixels sums a run of pixels.
func addPixels(px []byte) (s0, s1, s2, s3 uint64) {
	for i := 0; i <= len(px)-8; i += 8 {
		v := binary.LittleEndian.Uint64(px[i : i+8 : i+8])
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		s0 += a * (a | 1<<squareBits)
		s1 += b * (b | 1<<squareBits)
		s2 += c * (c | 1<<squareBits)
		s3 += d * (d | 1<<squareBits)
	}
	return s0, s1, s2, s3
}

func (s *Scheme) portableUnpack(c *Sums, empty uint32) (t Tally) {
	t.binCounts(c[4], c[5])
	void := uint64(s.Void)
	for k := range t.Sum {
		word := c[k] - uint64(empty)*void*(void|1<<squareBits)
		t.Sum[k], t.Squares[k] = word>>squareBits, word&(1<<squareBits-1)
	}
	return t
}
