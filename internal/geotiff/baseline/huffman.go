package baseline

// fastBits is how many bits are looked up at once.
const fastBits = 10

// A huffman is a table of codes. An entry of it is
//
//	bits 0 to 7:   how many bits it takes
//	bits 8 to 11:  zeros before the coefficient
//	bits 12 to 15: bits of the coefficient that are still to come
//	bits 16 to 31: the coefficient, where none are
//
// and 0 where no code is.
type huffman struct {
	made   bool
	fast   [1 << fastBits]uint32 // by the bits that come next
	first  [17]int32             // the first code of each length, and of none
	count  [17]int32
	offset [17]int32 // of the first in symbols
	symbol [256]byte
}

// make fills the table for so many codes of each length, and reports whether
// there is room for so many.
func (h *huffman) make(counts [16]byte, symbols []byte) bool {
	clear(h.fast[:])
	copy(h.symbol[:], symbols)
	code, offset := int32(0), int32(0)
	for i, n := range counts {
		length := i + 1
		h.first[length], h.count[length], h.offset[length] = code, int32(n), offset
		for range n {
			if length <= fastBits && code < 1<<length {
				h.enter(uint32(code)<<(fastBits-length), length, h.symbol[offset&255])
			}
			code++
			offset++
		}
		if code > 1<<length {
			return false
		}
		code <<= 1
	}
	h.made = true
	return true
}

// enter puts a symbol wherever its code comes first.
func (h *huffman) enter(from uint32, length int, symbol byte) {
	free := fastBits - length
	size := int(symbol & 15)
	for rest := range uint32(1) << free {
		e := entry(length, symbol)
		if size > 0 && size <= free { // the coefficient is there, too
			v := extend(uint64(rest)<<(64-free), uint(size))
			e = uint32(length+size) | uint32(symbol>>4)<<8 | uint32(v)<<16
		}
		h.fast[from|rest] = e
	}
}

func entry(length int, symbol byte) uint32 {
	return uint32(length) | uint32(symbol>>4)<<8 | uint32(symbol&15)<<12
}

// slow finds the code at the top of buf, whatever its length; 0 when there is
// none.
func (h *huffman) slow(buf uint64) uint32 {
	for length := 1; length <= 16; length++ {
		if i := int32(buf>>(64-length)) - h.first[length]; i >= 0 && i < h.count[length] {
			return entry(length, h.symbol[(h.offset[length]+i)&255])
		}
	}
	return 0
}

// extend is the number of size bits at the top of buf: the lower half of them
// are negative (T.81, F.2.2.1).
func extend(buf uint64, size uint) int32 {
	v := int32(buf >> ((64 - size) & 63))
	if buf>>63 == 0 {
		v += -1<<(size&31) + 1
	}
	return v
}
