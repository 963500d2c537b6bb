package cells

import "encoding/binary"

// chooseKernel is the fastest kernel for a layout whose rows come as they
// are or, when differences is true, may come as differences to the pixel
// before; the second result says whether that kernel wants them so.
func chooseKernel(l *layout, differences bool) (kernel, bool) {
	differences = differences && l.kind != Float32
	switch {
	case l.quad():
		if differences {
			return quadDifferences, true
		}
		return quad, false
	case l.quadAlpha():
		return afterUndo(newQuadAlpha(l), differences), differences
	case l.penta():
		return afterUndo(penta, differences), differences
	case l.kind == Uint8 && l.firstLanes(3) && l.samples == 3:
		return afterUndo(triple, differences), differences
	case l.kind == Uint8 && l.firstLanes(3) && l.samples == 4 && l.alpha == 3:
		return afterUndo(tripleAlpha, differences), differences
	case l.kind == Uint8 && l.firstLanes(4) && l.samples == 4:
		return afterUndo(four, differences), differences
	case l.kind == Float32 && l.alpha < 0:
		return floats, false
	}
	return afterUndo(generic, differences), differences
}

// quad reports whether a pixel is four used 16-bit samples.
func (l *layout) quad() bool {
	return l.kind == Uint16 && l.samples == 4 && len(l.lanes) == 4 && l.alpha < 0
}

// firstLanes reports whether the lanes are the first n samples.
func (l *layout) firstLanes(n int) bool {
	return len(l.lanes) == n && l.lanes[n-1].sample == n-1
}

// afterUndo is k for rows of differences, if they are such.
func afterUndo(k kernel, differences bool) kernel {
	if !differences {
		return k
	}
	return func(l *layout, px []byte, runs []run, base int, b *block) {
		undo(l, px)
		k(l, px, runs, base, b)
	}
}

// undo turns a row of differences into samples of 8 or 16 bits, in place.
func undo(l *layout, px []byte) {
	switch {
	case l.kind == Uint8 && l.samples == 3:
		var r, g, b byte
		for i := 0; i <= len(px)-3; i += 3 {
			p := px[i : i+3 : i+3]
			r, g, b = r+p[0], g+p[1], b+p[2]
			p[0], p[1], p[2] = r, g, b
		}
	case l.kind == Uint8 && l.samples == 4:
		undoWords(px)
	case l.kind == Uint8:
		for i := l.samples; i < len(px); i++ {
			px[i] += px[i-l.samples]
		}
	case l.samples == 5:
		undoFives(px)
	default:
		for i := 2 * l.samples; i+2 <= len(px); i += 2 {
			v := binary.LittleEndian.Uint16(px[i:]) + binary.LittleEndian.Uint16(px[i-2*l.samples:])
			binary.LittleEndian.PutUint16(px[i:], v)
		}
	}
}

// undoWords is undo for four bytes a pixel: the top bit of each byte is added
// apart, so that no carry crosses into the next.
func undoWords(px []byte) {
	const tops = 0x8080_8080
	last := uint32(0)
	for i := 0; i <= len(px)-4; i += 4 {
		p := px[i : i+4 : i+4]
		v := binary.LittleEndian.Uint32(p)
		last = ((last &^ tops) + (v &^ tops)) ^ ((last ^ v) & tops)
		binary.LittleEndian.PutUint32(p, last)
	}
}
