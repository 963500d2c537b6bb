package cells

import "encoding/binary"

// pentaRun is how many pixels are summed at a time: a sample's sum and sum of
// squares share one word, of which squareBits are for the squares.
const (
	pentaRun   = 255
	squareBits = 40
)

// penta reports whether a pixel is five used 16-bit samples, with alpha behind
// them or without.
func (l *layout) penta() bool {
	return l.kind == Uint16 && l.firstLanes(5) && (l.samples == 5 && l.alpha < 0 || l.samples == 6 && l.alpha == 5)
}

// penta is the kernel for five used 16-bit samples, and for such with alpha.
func penta(l *layout, px []byte, runs []run, base int, b *block) {
	from, size := 0, 2*l.samples
	for _, r := range runs {
		for from < r.End {
			end := min(r.End, from+pentaRun)
			row := px[size*from : size*end]
			from = end
			if r.Cell < 0 {
				continue
			}
			cell := base + r.Cell
			var s0, s1, s2, s3, s4 uint64
			switch {
			case l.alpha < 0:
				s0, s1, s2, s3, s4 = sumFives(row)
			case opaqueFives(row):
				s0, s1, s2, s3, s4 = sumFivesOfSix(row)
			default:
				l.addRun(row, cell, b)
				continue
			}
			sum, sq := (*[5]uint64)(b.sum[5*cell:]), (*[5]uint64)(b.sq[5*cell:])
			for k, s := range [5]uint64{s0, s1, s2, s3, s4} {
				sum[k] += s >> squareBits
				sq[k] += s & (1<<squareBits - 1)
			}
			l.countRun(row, cell, b)
		}
	}
}

// opaqueFives reports whether no pixel of five samples and alpha is clear.
func opaqueFives(row []byte) bool {
	for i := 0; i <= len(row)-12; i += 12 {
		if row[i+10]|row[i+11] == 0 {
			return false
		}
	}
	return true
}

// sumFives sums up to pentaRun pixels of ten bytes.
func sumFives(row []byte) (s0, s1, s2, s3, s4 uint64) {
	const one = 1 << squareBits
	for i := 0; i <= len(row)-10; i += 10 {
		p := row[i : i+10 : i+10]
		v, e := binary.LittleEndian.Uint64(p), uint64(binary.LittleEndian.Uint16(p[8:]))
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		s0 += a * (a | one)
		s1 += b * (b | one)
		s2 += c * (c | one)
		s3 += d * (d | one)
		s4 += e * (e | one)
	}
	return s0, s1, s2, s3, s4
}

// sumFivesOfSix sums the first five samples of up to pentaRun pixels of twelve
// bytes.
func sumFivesOfSix(row []byte) (s0, s1, s2, s3, s4 uint64) {
	const one = 1 << squareBits
	for i := 0; i <= len(row)-12; i += 12 {
		p := row[i : i+10 : i+10]
		v, e := binary.LittleEndian.Uint64(p), uint64(binary.LittleEndian.Uint16(p[8:]))
		a, b, c, d := v&0xffff, v>>16&0xffff, v>>32&0xffff, v>>48
		s0 += a * (a | one)
		s1 += b * (b | one)
		s2 += c * (c | one)
		s3 += d * (d | one)
		s4 += e * (e | one)
	}
	return s0, s1, s2, s3, s4
}

// undoFives is undo for five samples of 16 bits: four of them are added in one
// word.
func undoFives(px []byte) {
	last, fifth := uint64(0), uint16(0)
	for i := 0; i <= len(px)-10; i += 10 {
		p := px[i : i+10 : i+10]
		v := binary.LittleEndian.Uint64(p)
		last = ((last &^ laneTops) + (v &^ laneTops)) ^ ((last ^ v) & laneTops)
		fifth += binary.LittleEndian.Uint16(p[8:])
		binary.LittleEndian.PutUint64(p, last)
		binary.LittleEndian.PutUint16(p[8:], fifth)
	}
}

// binFives is binPart for samples of 16 bits, of which a pixel has size bytes.
func (r *ratio) binFives(row []byte, size int, void uint32) (bins uint64, voids bool) {
	if len(row) < size {
		return 0, false
	}
	logs, low := (*[1 << 16]int32)(r.logs), r.low
	over := row[2*r.over:][:len(row)-size+2]
	under := row[2*r.under:][:len(over)]
	for i := 0; i <= len(over)-2; i += size {
		o, u := binary.LittleEndian.Uint16(over[i:]), binary.LittleEndian.Uint16(under[i:])
		bin := (logs[o] - logs[u] - low) >> 16
		if uint32(bin) >= Bins {
			bin = min(max(bin, 0), Bins-1)
		}
		if uint32(o) == void {
			return 0, true
		}
		bins += 1 << (4 * uint32(bin) & 63)
	}
	return bins, false
}
