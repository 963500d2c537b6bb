package cells

import "encoding/binary"

// A pixel of four 16-bit samples is one word of four lanes.
const (
	laneTops  = 0x8000_8000_8000_8000
	laneEvens = 0x0000_ffff_0000_ffff
	laneOnes  = 0x0001_0001_0001_0001
)

// quadMost is how many pixels of 16 bits fit a sum of 32 bits.
const quadMost = 1 << 16

// quads is the four sums of one cell.
type quads = [4]uint64

// quad is the kernel for four used 16-bit samples.
func quad(l *layout, px []byte, runs []run, base int, b *block) {
	quadRow(l, px, runs, base, b, false)
}

// quadDifferences is quad for rows of differences.
func quadDifferences(l *layout, px []byte, runs []run, base int, b *block) {
	quadRow(l, px, runs, base, b, true)
}

// quadRow sums pixels without data like others, counts them, and takes them
// off again.
func quadRow(l *layout, px []byte, runs []run, base int, b *block, differences bool) {
	var off, offSq quads // sums of pixels that lie in no cell
	last := uint64(0)
	for from, i := 0, 0; i < len(runs); {
		end := min(runs[i].End, from+quadMost)
		row := px[from*8 : end*8]
		cell := runs[i].Cell
		sum, sq := &off, &offSq
		if cell >= 0 {
			cell += base
			sum, sq = (*quads)(b.sum[cell*4:]), (*quads)(b.sq[cell*4:])
		}
		if differences {
			last = addDifferences(row, last, sum, sq)
		} else if cell >= 0 {
			addWords(row, sum, sq)
		}
		if cell >= 0 {
			l.countQuads(row, cell, b)
		}
		if from = end; end == runs[i].End {
			i++
		}
	}
}

// addDifferences sums a run of differences and puts the samples in their
// place. last is the pixel before; the last one is returned.
func addDifferences(row []byte, last uint64, sum, sq *quads) uint64 {
	var even, odd, q0, q1, q2, q3 uint64
	for i := 0; i <= len(row)-8; i += 8 {
		p := row[i : i+8 : i+8]
		v := binary.LittleEndian.Uint64(p)
		last = ((last &^ laneTops) + (v &^ laneTops)) ^ ((last ^ v) & laneTops)
		binary.LittleEndian.PutUint64(p, last)
		even += last & laneEvens
		odd += last >> 16 & laneEvens
		a, b, c, d := last&0xffff, last>>16&0xffff, last>>32&0xffff, last>>48
		q0 += a * a
		q1 += b * b
		q2 += c * c
		q3 += d * d
	}
	addQuads(sum, even, odd)
	sq[0] += q0
	sq[1] += q1
	sq[2] += q2
	sq[3] += q3
	return last
}

// addWords sums a run of samples.
func addWords(row []byte, sum, sq *quads) {
	var even, odd, q0, q1, q2, q3 uint64
	for i := 0; i <= len(row)-8; i += 8 {
		v := binary.LittleEndian.Uint64(row[i : i+8 : i+8])
		even += v & laneEvens
		odd += v >> 16 & laneEvens
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		q0 += a * a
		q1 += b * b
		q2 += c * c
		q3 += d * d
	}
	addQuads(sum, even, odd)
	sq[0] += q0
	sq[1] += q1
	sq[2] += q2
	sq[3] += q3
}

// addQuads adds two words of two 32-bit sums.
func addQuads(sum *quads, even, odd uint64) {
	sum[0] += even & 0xffff_ffff
	sum[1] += odd & 0xffff_ffff
	sum[2] += even >> 32
	sum[3] += odd >> 32
}

// countQuads counts the pixels of row, which were already summed into the
// cell, and takes those without data off its sums.
func (l *layout) countQuads(row []byte, cell int, b *block) {
	var empty int
	void := uint64(l.void) * laneOnes
	switch {
	case l.ratio != nil:
		empty = l.ratio.countWords(row, void, l.hasVoid, (*[Bins]uint32)(b.hist[cell*Bins:]))
	case l.hasVoid:
		empty = countEqual(row, void)
	}
	b.n[cell] += uint32(len(row)/8 - empty)
	if empty == 0 {
		return
	}
	b.empty[cell] += uint32(empty)
	v := uint64(l.void)
	sum, sq := (*quads)(b.sum[cell*4:]), (*quads)(b.sq[cell*4:])
	for i := range sum {
		sum[i] -= uint64(empty) * v
		sq[i] -= uint64(empty) * v * v
	}
}

// countEqual counts the words of row that equal void.
func countEqual(row []byte, void uint64) (n int) {
	for i := 0; i <= len(row)-8; i += 8 {
		if binary.LittleEndian.Uint64(row[i:i+8:i+8]) == void {
			n++
		}
	}
	return n
}

// countWords bins pixels of four 16-bit samples. Where hasVoid is true, those
// that equal void are counted instead.
func (r *ratio) countWords(row []byte, void uint64, hasVoid bool, hist *[Bins]uint32) (empty int) {
	logs := (*[1 << 16]int32)(r.logs)
	over, under, low := 16*r.over, 16*r.under, r.low
	for i := 0; i <= len(row)-8; i += 8 {
		v := binary.LittleEndian.Uint64(row[i : i+8 : i+8])
		if v == void && hasVoid {
			empty++
			continue
		}
		bin := (logs[v>>(over&63)&0xffff] - logs[v>>(under&63)&0xffff] - low) >> 16
		hist[uint(min(max(bin, 0), Bins-1))%Bins]++
	}
	return empty
}
