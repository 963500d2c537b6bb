package cells

// packedBins are the counts of a cell's histogram, 16 bits each: of bins k,
// k+4, k+8 and k+12 in word k. Kernels whose pixels are binned apart from
// their sums add to them up to binRun pixels at once, whose counts are nibbles.
type packedBins [4]uint64

const (
	binRun = 15 // what a nibble holds
	// packedMost is how many pixels are added at once, and after how many those
	// of a cell are unpacked: twice as many fit 16 bits.
	packedMost = 1 << 15
)

// packs reports whether the layout's kernel, if it has one of its own, packs.
func (l *layout) packs() bool { return l.kind == Uint8 || l.penta() }

// countRun counts and bins the pixels of row, which were already summed into
// the cell, and takes those without data off its sums.
func (l *layout) countRun(row []byte, cell int, b *block) {
	size := l.samples * l.kind.Bytes()
	for ; len(row) > packedMost*size; row = row[packedMost*size:] {
		l.countRun(row[:packedMost*size], cell, b)
	}
	pixels, empty := len(row)/size, 0
	if l.ratio == nil {
		empty = l.voids(row, size)
	}
	for l.ratio != nil && len(row) > 0 {
		part := row[:min(len(row), binRun*size)]
		row = row[len(part):]
		bins, voids := l.binPart(part)
		if voids {
			var n int
			bins, n = l.binWithVoids(part, size)
			empty += n
		}
		b.packed[cell].add(bins)
	}
	before := b.n[cell]
	b.n[cell] += uint32(pixels - empty)
	if b.n[cell]/packedMost != before/packedMost {
		b.unpackCell(cell)
	}
	if empty > 0 {
		l.takeOff(empty, cell, b)
	}
}

// binPart counts the bins of up to binRun pixels, in four bits each. It stops
// and says so at a pixel that may be without data.
func (l *layout) binPart(part []byte) (bins uint64, voids bool) {
	void := uint32(1 << 16) // what one sample of a pixel without data is
	if l.hasVoid {
		void = l.void
	}
	switch {
	case l.kind == Uint16:
		return l.ratio.binFives(part, 2*l.samples, void)
	case l.samples == 3:
		return l.ratio.bytes.binThrees(part, void)
	}
	return l.ratio.bytes.binFours(part, void)
}

// binWithVoids is binPart where some pixels of size bytes may have no data,
// and counts those.
func (l *layout) binWithVoids(part []byte, size int) (bins uint64, empty int) {
	if l.allVoid(part) {
		return 0, len(part) / size
	}
	for ; len(part) > 0; part = part[size:] {
		if !l.has(part) {
			empty++
			continue
		}
		bins += 1 << (4 * uint(l.ratio.bin(l, part)) & 63)
	}
	return bins, empty
}

// allVoid reports whether no pixel of row has data. It may say no although
// none has, when the bytes of a void sample differ.
func (l *layout) allVoid(row []byte) bool {
	if l.kind == Uint16 && l.void>>8 != l.void&0xff {
		return false
	}
	for _, v := range row {
		if v != byte(l.void) {
			return false
		}
	}
	return true
}

// voids is how many pixels of row, of size bytes, have no data.
func (l *layout) voids(row []byte, size int) (n int) {
	for ; l.hasVoid && len(row) > 0; row = row[size:] {
		if !l.has(row) {
			n++
		}
	}
	return n
}

// takeOff takes pixels without data off the sums of a cell.
func (l *layout) takeOff(empty, cell int, b *block) {
	b.empty[cell] += uint32(empty)
	v, lanes := uint64(l.void), len(l.lanes)
	if l.kind == Uint8 {
		v = l.values.value[l.void&255]
	}
	for k := range lanes {
		b.sum[cell*lanes+k] -= uint64(empty) * v
		b.sq[cell*lanes+k] -= uint64(empty) * v * v
	}
}

// add adds the counts that binPart makes.
func (p *packedBins) add(bins uint64) {
	const everyFourth = 0x000f_000f_000f_000f
	p[0] += bins & everyFourth
	p[1] += bins >> 4 & everyFourth
	p[2] += bins >> 8 & everyFourth
	p[3] += bins >> 12 & everyFourth
}

// unpack adds the packed histograms to the cells'.
func (b *block) unpack() {
	for cell := range b.packed {
		b.unpackCell(cell)
	}
}

func (b *block) unpackCell(cell int) {
	hist := (*[Bins]uint32)(b.hist[cell*Bins:])
	for k, w := range b.packed[cell] {
		hist[k] += uint32(w & 0xffff)
		hist[k+4] += uint32(w >> 16 & 0xffff)
		hist[k+8] += uint32(w >> 32 & 0xffff)
		hist[k+12] += uint32(w >> 48)
	}
	b.packed[cell] = packedBins{}
}
