package cells

// The kernels for 8-bit samples sum a run first and bin it then: one loop for
// both would have more to keep than a processor has registers. That the loops
// are functions of their own, with steps that are constants, spares them all
// checks. Pixels without data are summed like others and taken off again.

// triple is the kernel for pixels of three used bytes.
func triple(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		row := px[3*from : 3*r.End]
		from = r.End
		if r.Cell >= 0 {
			cell := base + r.Cell
			s0, s1, s2, q0, q1, q2 := sumThrees(row, l.values)
			addThree(b.sum[3*cell:], s0, s1, s2)
			addThree(b.sq[3*cell:], q0, q1, q2)
			l.countRun(row, cell, b)
		}
	}
}

// tripleAlpha is the kernel for pixels of three used bytes and alpha.
func tripleAlpha(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		row, cell := px[4*from:4*r.End], base+r.Cell
		from = r.End
		if r.Cell < 0 {
			continue
		}
		switch through := countThrough(row); {
		case through == 0 && !l.hasVoid:
			s0, s1, s2, q0, q1, q2 := sumThreesOfFour(row, l.values)
			addThree(b.sum[3*cell:], s0, s1, s2)
			addThree(b.sq[3*cell:], q0, q1, q2)
			l.countRun(row, cell, b)
		case through == len(row)/4:
			b.empty[cell] += uint32(through)
		default:
			l.addRun(row, cell, b)
		}
	}
}

// four is the kernel for pixels of four used bytes.
func four(l *layout, px []byte, runs []run, base int, b *block) {
	from := 0
	for _, r := range runs {
		row := px[4*from : 4*r.End]
		from = r.End
		if r.Cell >= 0 {
			cell := base + r.Cell
			s0, s1, s2, s3, q0, q1, q2, q3 := sumFours(row, l.values)
			addFour(b.sum[4*cell:], s0, s1, s2, s3)
			addFour(b.sq[4*cell:], q0, q1, q2, q3)
			l.countRun(row, cell, b)
		}
	}
}

// sumThrees sums pixels of three bytes, and their squares.
func sumThrees(row []byte, values *codes) (s0, s1, s2, q0, q1, q2 uint64) {
	for i := 0; i <= len(row)-3; i += 3 {
		v0, v1, v2 := row[i], row[i+1], row[i+2]
		s0 += values.value[v0]
		q0 += values.square[v0]
		s1 += values.value[v1]
		q1 += values.square[v1]
		s2 += values.value[v2]
		q2 += values.square[v2]
	}
	return s0, s1, s2, q0, q1, q2
}

// sumThreesOfFour sums the first three bytes of pixels of four.
func sumThreesOfFour(row []byte, values *codes) (s0, s1, s2, q0, q1, q2 uint64) {
	for i := 0; i <= len(row)-4; i += 4 {
		v0, v1, v2 := row[i], row[i+1], row[i+2]
		s0 += values.value[v0]
		q0 += values.square[v0]
		s1 += values.value[v1]
		q1 += values.square[v1]
		s2 += values.value[v2]
		q2 += values.square[v2]
	}
	return s0, s1, s2, q0, q1, q2
}

// sumFours sums pixels of four bytes.
func sumFours(row []byte, values *codes) (s0, s1, s2, s3, q0, q1, q2, q3 uint64) {
	for i := 0; i <= len(row)-4; i += 4 {
		v0, v1, v2, v3 := row[i], row[i+1], row[i+2], row[i+3]
		s0 += values.value[v0]
		q0 += values.square[v0]
		s1 += values.value[v1]
		q1 += values.square[v1]
		s2 += values.value[v2]
		q2 += values.square[v2]
		s3 += values.value[v3]
		q3 += values.square[v3]
	}
	return s0, s1, s2, s3, q0, q1, q2, q3
}

func addThree(sums []uint64, a, b, c uint64) {
	to := (*[3]uint64)(sums)
	to[0] += a
	to[1] += b
	to[2] += c
}

func addFour(sums []uint64, a, b, c, d uint64) {
	to := (*quads)(sums)
	to[0] += a
	to[1] += b
	to[2] += c
	to[3] += d
}

// countThrough counts the pixels of four bytes whose alpha is 0.
func countThrough(row []byte) (n int) {
	for i := 0; i <= len(row)-4; i += 4 {
		if row[i+3] == 0 {
			n++
		}
	}
	return n
}

// byteBins is what each code of each sample adds to the place of a pixel's
// bin, in the units of [ratio]: nothing where the sample is not of the ratio.
type byteBins [4][256]int32

// binThrees counts the bins of up to binRun pixels of three bytes, in four
// bits each. It stops and says so at a pixel whose first sample is void, and
// which may be without data.
func (t *byteBins) binThrees(row []byte, void uint32) (bins uint64, voids bool) {
	for i := 0; i <= len(row)-3; i += 3 {
		v0, v1, v2 := row[i], row[i+1], row[i+2]
		bin := (t[0][v0] + t[1][v1] + t[2][v2]) >> 16
		if uint32(bin) >= Bins {
			bin = min(max(bin, 0), Bins-1)
		}
		if uint32(v0) == void {
			return 0, true
		}
		bins += 1 << (4 * uint32(bin) & 63)
	}
	return bins, false
}

// binFours is binThrees for pixels of four bytes.
func (t *byteBins) binFours(row []byte, void uint32) (bins uint64, voids bool) {
	for i := 0; i <= len(row)-4; i += 4 {
		v0, v1, v2, v3 := row[i], row[i+1], row[i+2], row[i+3]
		bin := (t[0][v0] + t[1][v1] + t[2][v2] + t[3][v3]) >> 16
		if uint32(bin) >= Bins {
			bin = min(max(bin, 0), Bins-1)
		}
		if uint32(v0) == void {
			return 0, true
		}
		bins += 1 << (4 * uint32(bin) & 63)
	}
	return bins, false
}
