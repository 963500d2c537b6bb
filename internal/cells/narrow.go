package cells

import (
	"encoding/binary"
	"math"
)

// Where few pixels lie in a cell, four 16-bit samples are summed narrowly: the
// sum and the sum of squares of a sample share one word, and the histogram of
// a cell is 16 bytes. It is the same sums, with half of the memory traffic.
const (
	narrowMost   = 255                   // pixels in a cell
	narrowSquare = 40                    // bits of a sum of squares: 256 times 32 bits
	narrowRun    = 15                    // pixels of a run that are binned at a time, so that a count fits 4 bits
	nibbles      = 0x0f0f_0f0f_0f0f_0f0f // every other four bits
)

// narrowFits tells whether no cell can hold more than narrowMost pixels of a
// picture of cols x rows pixels. at takes picture coordinates to cells.
//
// The pixels whose centres lie in a cell all lie in the cell widened by half a
// diagonal of a pixel, and do not overlap there.
func narrowFits(at func(col, row float64) (x, y float64), cols, rows int) bool {
	w, h := float64(cols), float64(rows)
	for _, p := range [...]spot{{0, 0}, {w, 0}, {0, h}, {w, h}, {w / 2, h / 2}} {
		x0, y0 := at(p.x, p.y)
		x1, y1 := at(p.x+1, p.y)
		x2, y2 := at(p.x, p.y+1)
		ax, ay, bx, by := x1-x0, y1-y0, x2-x0, y2-y0
		area := math.Abs(float64(ax*by) - float64(ay*bx))
		diagonal := max(math.Hypot(ax+bx, ay+by), math.Hypot(ax-bx, ay-by))
		if most := (1 + diagonal) * (1 + diagonal) / area; !(most < 0.95*narrowMost) { // 0.95: the scale varies over a picture
			return false
		}
	}
	return true
}

// narrow is the kernel for four used 16-bit samples with a histogram, where
// narrowFits.
func narrow(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		for from < r.end {
			end := min(r.end, from+narrowRun)
			row := px[from*8 : end*8]
			from = end
			if r.cell < 0 {
				continue
			}
			to := (*[6]uint64)(b.narrow[(base+r.cell)*6:])
			s0, s1, s2, s3 := narrowWords(row)
			to[0] += s0
			to[1] += s1
			to[2] += s2
			to[3] += s3
			l.binNarrow(row, to, base+r.cell, b)
		}
	}
}

// narrowDifferences is narrow for rows of differences.
func narrowDifferences(l *layout, px []byte, runs []run, base int, b *block) {
	from, last := 0, uint64(0)
	var off [6]uint64 // sums of pixels that lie in no cell
	for _, r := range runs {
		for from < r.end {
			end := min(r.end, from+narrowRun)
			row := px[from*8 : end*8]
			from = end
			to := &off
			if r.cell >= 0 {
				to = (*[6]uint64)(b.narrow[(base+r.cell)*6:])
			}
			var s0, s1, s2, s3 uint64
			s0, s1, s2, s3, last = narrowAdd(row, last, laneTops)
			to[0] += s0
			to[1] += s1
			to[2] += s2
			to[3] += s3
			if r.cell >= 0 {
				l.binNarrow(row, to, base+r.cell, b)
			}
		}
	}
}

// binNarrow bins the pixels of a run that was added to a cell; those without
// data are taken off again.
func (l *layout) binNarrow(row []byte, to *[6]uint64, cell int, b *block) {
	bins, empty := l.ratio.bins(row, uint64(l.void)*laneOnes, l.hasVoid)
	to[4] += bins & nibbles
	to[5] += bins >> 4 & nibbles
	if empty > 0 {
		b.empty[cell] += uint32(empty)
		void := uint64(l.void)
		for i := range 4 {
			to[i] -= uint64(empty) * void * (void | 1<<narrowSquare)
		}
	}
}

// narrowAdd sums a run of differences and puts the samples in their place.
// last is the pixel before; the last one is returned. tops are laneTops: given
// as a number, they stay in a register.
func narrowAdd(row []byte, last, tops uint64) (s0, s1, s2, s3, end uint64) {
	keep := ^tops
	for i := 0; i <= len(row)-8; i += 8 {
		p := row[i : i+8 : i+8]
		v := binary.LittleEndian.Uint64(p)
		last = (last&keep + v&keep) ^ ((last ^ v) & tops)
		binary.LittleEndian.PutUint64(p, last)
		a, b, c, d := last&0xffff, last>>16&0xffff, last>>32&0xffff, last>>48
		s0 += a * (a | 1<<narrowSquare)
		s1 += b * (b | 1<<narrowSquare)
		s2 += c * (c | 1<<narrowSquare)
		s3 += d * (d | 1<<narrowSquare)
	}
	return s0, s1, s2, s3, last
}

// narrowWords sums a run of samples.
func narrowWords(row []byte) (s0, s1, s2, s3 uint64) {
	for i := 0; i <= len(row)-8; i += 8 {
		v := binary.LittleEndian.Uint64(row[i : i+8 : i+8])
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		s0 += a * (a | 1<<narrowSquare)
		s1 += b * (b | 1<<narrowSquare)
		s2 += c * (c | 1<<narrowSquare)
		s3 += d * (d | 1<<narrowSquare)
	}
	return s0, s1, s2, s3
}

// bins counts the bins of up to narrowRun pixels, in four bits each, and the
// pixels that equal void where there are such.
func (r *ratio) bins(row []byte, void uint64, hasVoid bool) (bins uint64, empty int) {
	logs := (*[1 << 16]int32)(r.logs)
	over, under, low := 2*r.over&6, 2*r.under&6, r.low
	for i := 0; i <= len(row)-8; i += 8 {
		p := row[i : i+8 : i+8]
		if binary.LittleEndian.Uint64(p) == void {
			if hasVoid {
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

// widen turns narrow sums into the usual ones.
func (b *block) widen() {
	const squares = 1<<narrowSquare - 1
	for cell := range b.n {
		from := (*[6]uint64)(b.narrow[cell*6:])
		sum, sq := (*quads)(b.sum[cell*4:]), (*quads)(b.sq[cell*4:])
		for k := range sum {
			sum[k], sq[k] = from[k]>>narrowSquare, from[k]&squares
		}
		hist := (*[Bins]uint32)(b.hist[cell*Bins:])
		evens, odds := from[4], from[5]
		n := uint32(0)
		for k := 0; k < Bins; k += 2 {
			even, odd := uint32(evens&0xff), uint32(odds&0xff)
			hist[k], hist[k+1] = even, odd
			n += even + odd
			evens >>= 8
			odds >>= 8
		}
		b.n[cell] = n
	}
}
