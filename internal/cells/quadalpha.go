package cells

import "encoding/binary"

// quadAlpha reports whether a pixel is four used 16-bit samples and alpha.
func (l *layout) quadAlpha() bool {
	return l.kind == Uint16 && l.firstLanes(4) && l.samples == 5 && l.alpha == 4
}

// newQuadAlpha is the kernel for four used 16-bit samples and alpha: the samples
// are moved together, clear pixels made such without data, and summed as quad does.
func newQuadAlpha(l *layout) kernel {
	quads := *l
	quads.samples, quads.alpha = 4, -1
	if !l.hasVoid {
		quads.hasVoid, quads.void = true, 0
	}
	return func(l *layout, px []byte, runs []run, base int, b *block) {
		b.joined = resized(b.joined, len(px)/10*8)
		if !joinQuads(b.joined, px, uint64(quads.void)*laneOnes, l.hasVoid) {
			generic(l, px, runs, base, b)
			return
		}
		quad(&quads, b.joined, runs, base, b)
	}
}

// joinQuads moves the samples of pixels of ten bytes together, and puts void
// where alpha is 0. It returns false at a pixel that is as void and holds data,
// which is so where nothing else than alpha says that it does not.
func joinQuads(to, px []byte, void uint64, declared bool) bool {
	for i := 0; i <= len(px)-10 && len(to) >= 8; i += 10 {
		p := px[i : i+10 : i+10]
		v := binary.LittleEndian.Uint64(p)
		if p[8]|p[9] == 0 {
			v = void
		} else if v == void && !declared {
			return false
		}
		binary.LittleEndian.PutUint64(to, v)
		to = to[8:]
	}
	return true
}
