package cells

import (
	"encoding/binary"
	"math"
)

// floats is the kernel for 32-bit floats without alpha. Runs in which every
// pixel has data are summed lane by lane; others one pixel at a time.
func floats(l *layout, px []byte, runs []run, base int, b *block) {
	size := 4 * l.samples
	whole := l.wholeFloats(px)
	from := 0
	for _, r := range runs {
		if r.Cell >= 0 {
			row, cell := px[from*size:r.End*size], base+r.Cell
			if whole || l.wholeFloats(row) {
				l.addWholeFloats(row, cell, b)
			} else {
				l.addRun(row, cell, b)
			}
		}
		from = r.End
	}
}

// wholeFloats reports whether every pixel of row has data. It may say no
// although one has, when single samples are void or are not used.
func (l *layout) wholeFloats(row []byte) bool {
	void := l.floatVoid
	for i := 0; i <= len(row)-4; i += 4 {
		w := binary.LittleEndian.Uint32(row[i : i+4 : i+4])
		if beyond(w) || l.hasVoid && math.Float32frombits(w) == void {
			return false
		}
	}
	return true
}

func (l *layout) addWholeFloats(row []byte, cell int, b *block) {
	size := 4 * l.samples
	b.n[cell] += uint32(len(row) / size)
	at := cell * len(l.lanes)
	for k, n := range l.lanes {
		s, q := sumFloats(row[4*n.sample:], size)
		b.fsum[at+k] += s
		b.fsq[at+k] += q
	}
	if l.ratio != nil {
		l.ratio.countFloats(row, size, (*[Bins]uint32)(b.hist[cell*Bins:]))
	}
}

// sumFloats sums the float at the start of every size bytes.
func sumFloats(row []byte, size int) (sum, sq float64) {
	for i := 0; i <= len(row)-4; i += size {
		v := float64(math.Float32frombits(binary.LittleEndian.Uint32(row[i : i+4 : i+4])))
		sum += v
		sq += float64(v * v)
	}
	return sum, sq
}

// countFloats bins pixels of size bytes.
func (r *ratio) countFloats(row []byte, size int, hist *[Bins]uint32) {
	over, under := row[4*r.over:], row[4*r.under:]
	for i := 0; i <= len(over)-4 && i <= len(under)-4; i += size {
		o := math.Float32frombits(binary.LittleEndian.Uint32(over[i : i+4 : i+4]))
		u := math.Float32frombits(binary.LittleEndian.Uint32(under[i : i+4 : i+4]))
		hist[r.slotBin(o/u)%Bins]++
	}
}

// slotShift leaves of a float32 its sign, its exponent and the six foremost
// bits of its fraction: a slot is at most 1/64 wide, far less than a bin.
const slotShift = 17

// slotBins is the bin of the lower end of every slot of positive floats.
func slotBins(r *ratio) *[1 << (31 - slotShift)]uint8 {
	var t [1 << (31 - slotShift)]uint8
	for s := range t {
		t[s] = uint8(r.quotientBin(math.Float32frombits(uint32(s) << slotShift)))
	}
	return &t
}

// slotBin is the bin of a quotient: that of its slot, or the next one when
// the edge between them lies in the slot and below q.
func (r *ratio) slotBin(q float32) int {
	w := math.Float32bits(q)
	if w > 0x7f80_0000 { // negative, or no number
		return 0
	}
	bin := int(r.slots[w>>slotShift])
	if q >= r.edges[bin+1] {
		bin++
	}
	return bin
}
