package cells

import "encoding/binary"

// A pixel of four 16-bit samples is one word of four lanes.
const (
	laneTops  = 0x8000_8000_8000_8000
	laneEvens = 0x0000_ffff_0000_ffff
)

// quadSums are the sums over some pixels of four 16-bit samples.
type quadSums struct {
	even, odd  uint64 // two sums of 32 bits each: samples 0 and 2, 1 and 3
	sq         [4]uint64
	last       uint64 // the last pixel
	empty, all int
}

// quadMost is how many pixels fit sums of 32 bits.
const quadMost = 1 << 16

// quad is the kernel for four used 16-bit samples.
func quad(l *layout, px []byte, runs []run, base int, b *block) { quadRow(l, px, runs, base, b, false) }

// quadDifferences is quad for rows of differences.
func quadDifferences(l *layout, px []byte, runs []run, base int, b *block) {
	quadRow(l, px, runs, base, b, true)
}

func quadRow(l *layout, px []byte, runs []run, base int, b *block, differences bool) {
	void := uint64(l.void) * 0x0001_0001_0001_0001
	last := uint64(0)
	for from, i := 0, 0; i < len(runs); i++ {
		r := runs[i]
		for from < r.end {
			end := min(r.end, from+quadMost)
			row := px[from*8 : end*8]
			from = end
			var s quadSums
			if differences {
				s = addDifferences(row, last, void)
				last = s.last
			} else {
				s = addWords(row, void)
			}
			if r.cell >= 0 {
				l.addQuads(row, base+r.cell, &s, b)
			}
		}
	}
}

// addDifferences sums a run of differences and puts the samples in their
// place. last is the pixel before.
func addDifferences(row []byte, last, void uint64) quadSums {
	var even, odd, q0, q1, q2, q3 uint64
	empty := 0
	for p := row; len(p) >= 8; p = p[8:] {
		v := binary.LittleEndian.Uint64(p)
		last = ((last &^ laneTops) + (v &^ laneTops)) ^ ((last ^ v) & laneTops)
		binary.LittleEndian.PutUint64(p, last)
		if last == void {
			empty++
		}
		even += last & laneEvens
		odd += last >> 16 & laneEvens
		a, b, c, d := last&0xffff, last>>16&0xffff, last>>32&0xffff, last>>48
		q0 += a * a
		q1 += b * b
		q2 += c * c
		q3 += d * d
	}
	return quadSums{even: even, odd: odd, sq: [4]uint64{q0, q1, q2, q3}, last: last, empty: empty}
}

// addWords sums a run of samples.
func addWords(row []byte, void uint64) quadSums {
	var even, odd, q0, q1, q2, q3 uint64
	empty := 0
	for p := row; len(p) >= 8; p = p[8:] {
		v := binary.LittleEndian.Uint64(p)
		if v == void {
			empty++
		}
		even += v & laneEvens
		odd += v >> 16 & laneEvens
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		q0 += a * a
		q1 += b * b
		q2 += c * c
		q3 += d * d
	}
	return quadSums{even: even, odd: odd, sq: [4]uint64{q0, q1, q2, q3}, empty: empty}
}

// addQuads adds a run of pixels, whose samples are in row and whose sums are
// s, to a cell.
func (l *layout) addQuads(row []byte, cell int, s *quadSums, b *block) {
	n := len(row) / 8
	if s.empty > 0 && l.hasVoid {
		l.addRun(row, cell, b)
		return
	}
	b.n[cell] += uint32(n)
	sum, sq := (*[4]uint64)(b.sum[cell*4:]), (*[4]uint64)(b.sq[cell*4:])
	sum[0] += s.even & 0xffff_ffff
	sum[1] += s.odd & 0xffff_ffff
	sum[2] += s.even >> 32
	sum[3] += s.odd >> 32
	sq[0] += s.sq[0]
	sq[1] += s.sq[1]
	sq[2] += s.sq[2]
	sq[3] += s.sq[3]
	if l.ratio != nil {
		l.ratio.count16(row, 8, (*[Bins]uint32)(b.hist[cell*Bins:]))
	}
}

// count16 bins pixels of size bytes with 16-bit samples.
func (r *ratio) count16(row []byte, size int, hist *[Bins]uint32) {
	logs := (*[1 << 16]int32)(r.logs)
	over, under, low := 2*r.over, 2*r.under, r.low
	for ; len(row) >= size; row = row[size:] {
		o, u := binary.LittleEndian.Uint16(row[over:]), binary.LittleEndian.Uint16(row[under:])
		hist[uint(min(max((logs[o]-logs[u]-low)>>16, 0), Bins-1))%Bins]++
	}
}
