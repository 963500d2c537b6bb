package cells

import "encoding/binary"

// triple is the kernel for pixels of three used bytes.
func triple(l *layout, px []byte, runs []run, base int, b *block) {
	void := l.void * 0x01_01_01
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			row, cell := px[from*3:r.End*3], base+r.Cell
			sumTriples(row, 3, l.values, (*[3]uint64)(b.sum[cell*3:]), (*[3]uint64)(b.sq[cell*3:]))
			empty := 0
			if l.hasVoid {
				empty = countTriples(row, void)
			}
			l.countBytes(row, cell, empty, b)
		}
		from = r.End
	}
}

// tripleAlpha is the kernel for pixels of three used bytes and alpha.
func tripleAlpha(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			row, cell := px[from*4:r.End*4], base+r.Cell
			if through := countMasked(row, 0xff00_0000, 0); through == 0 && !l.hasVoid {
				sumTriples(row, 4, l.values, (*[3]uint64)(b.sum[cell*3:]), (*[3]uint64)(b.sq[cell*3:]))
				l.countBytes(row, cell, 0, b)
			} else if through == len(row)/4 {
				b.empty[cell] += uint32(through)
			} else {
				l.addRun(row, cell, b)
			}
		}
		from = r.End
	}
}

// four is the kernel for pixels of four used bytes.
func four(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			row, cell := px[from*4:r.End*4], base+r.Cell
			sumFours(row, l.values, (*quads)(b.sum[cell*4:]), (*quads)(b.sq[cell*4:]))
			empty := 0
			if l.hasVoid {
				empty = countMasked(row, ^uint32(0), l.void*0x01_01_01_01)
			}
			l.countBytes(row, cell, empty, b)
		}
		from = r.End
	}
}

// sumTriples sums the first three bytes of pixels of size bytes.
func sumTriples(row []byte, size int, values *[256]uint32, sum, sq *[3]uint64) {
	var s0, s1, s2, q0, q1, q2 uint64
	for i := 0; i <= len(row)-size; i += size {
		p := row[i : i+3 : i+3]
		a, b, c := uint64(values[p[0]]), uint64(values[p[1]]), uint64(values[p[2]])
		s0 += a
		s1 += b
		s2 += c
		q0 += a * a
		q1 += b * b
		q2 += c * c
	}
	sum[0] += s0
	sum[1] += s1
	sum[2] += s2
	sq[0] += q0
	sq[1] += q1
	sq[2] += q2
}

// sumFours sums pixels of four bytes.
func sumFours(row []byte, values *[256]uint32, sum, sq *quads) {
	var s0, s1, s2, s3, q0, q1, q2, q3 uint64
	for i := 0; i <= len(row)-4; i += 4 {
		p := row[i : i+4 : i+4]
		a, b, c, d := uint64(values[p[0]]), uint64(values[p[1]]), uint64(values[p[2]]), uint64(values[p[3]])
		s0 += a
		s1 += b
		s2 += c
		s3 += d
		q0 += a * a
		q1 += b * b
		q2 += c * c
		q3 += d * d
	}
	for k, s := range [4]uint64{s0, s1, s2, s3} {
		sum[k] += s
	}
	for k, q := range [4]uint64{q0, q1, q2, q3} {
		sq[k] += q
	}
}

// countTriples counts the pixels of three bytes that equal void.
func countTriples(row []byte, void uint32) (n int) {
	for i := 0; i <= len(row)-3; i += 3 {
		p := row[i : i+3 : i+3]
		if uint32(p[0])|uint32(p[1])<<8|uint32(p[2])<<16 == void {
			n++
		}
	}
	return n
}

// countMasked counts the pixels of four bytes that equal want under mask.
func countMasked(row []byte, mask, want uint32) (n int) {
	for i := 0; i <= len(row)-4; i += 4 {
		if binary.LittleEndian.Uint32(row[i:i+4:i+4])&mask == want {
			n++
		}
	}
	return n
}

// countBytes counts the pixels of row, which were already summed into the
// cell and of which empty equal void, and takes those off its sums.
func (l *layout) countBytes(row []byte, cell, empty int, b *block) {
	n := len(row)/l.samples - empty
	b.n[cell] += uint32(n)
	if empty > 0 {
		b.empty[cell] += uint32(empty)
		v, lanes := uint64(l.values[l.void&255]), len(l.lanes)
		for k := range lanes {
			b.sum[cell*lanes+k] -= uint64(empty) * v
			b.sq[cell*lanes+k] -= uint64(empty) * v * v
		}
	}
	switch {
	case l.ratio == nil || n == 0:
	case empty == 0:
		l.ratio.countBytes(row, l.samples, (*[Bins]uint32)(b.hist[cell*Bins:]))
	default:
		for i := 0; i < len(row); i += l.samples {
			if p := row[i:]; l.has(p) {
				b.hist[cell*Bins+l.ratio.bin(l, p)]++
			}
		}
	}
}

// countBytes bins pixels of size bytes.
func (r *ratio) countBytes(row []byte, size int, hist *[Bins]uint32) {
	logs, low := (*[256]int32)(r.logs), r.low
	over, under := row[r.over:], row[r.under:]
	for i := 0; i < len(over) && i < len(under); i += size {
		bin := (logs[over[i]] - logs[under[i]] - low) >> 16
		hist[uint(min(max(bin, 0), Bins-1))%Bins]++
	}
}
