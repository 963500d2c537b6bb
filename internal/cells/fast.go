package cells

import "encoding/binary"

// chooseKernel is the fastest kernel for a layout whose rows come as they
// are or, when differences is true, may come as differences to the pixel
// before; the second result says whether that kernel wants them so.
func chooseKernel(l *layout, differences bool) (kernel, bool) {
	differences = differences && l.kind != Float32
	if l.kind == Uint16 && l.samples == 4 && len(l.lanes) == 4 && l.alpha < 0 {
		if differences {
			return quadDifferences, true
		}
		return quad, false
	}
	if differences {
		return genericDifferences, true
	}
	return generic, false
}

// genericDifferences is generic for rows of differences.
func genericDifferences(l *layout, px []byte, runs []run, base int, b *block) {
	undo(l, px)
	generic(l, px, runs, base, b)
}

// undo turns a row of differences into samples of 8 or 16 bits, in place.
func undo(l *layout, px []byte) {
	if l.kind == Uint8 {
		for i := l.samples; i < len(px); i++ {
			px[i] += px[i-l.samples]
		}
		return
	}
	for i := 2 * l.samples; i+2 <= len(px); i += 2 {
		v := binary.LittleEndian.Uint16(px[i:]) + binary.LittleEndian.Uint16(px[i-2*l.samples:])
		binary.LittleEndian.PutUint16(px[i:], v)
	}
}
