package inflate

import "math/bits"

const (
	maxLit, maxDist = 288, 32

	litBits, distBits, smallBits = 11, 8, 7

	// A complete code has two codewords or more in each subtable, so there are
	// at most half as many subtables as symbols.
	litSize  = 1<<litBits + maxLit/2*(1<<(15-litBits))
	distSize = 1<<distBits + maxDist/2*(1<<(15-distBits))
)

// An entry of the table for literals and lengths:
//
//	bits 0-5    bits to use up
//	bits 8-15   a literal, or how many extra bits a length has
//	bits 16-24  a length, or its base
//	bits 26-31  flags
//
// The entry of a subtable has its size in bits 0-5 and its place in bits 8-23.
// An entry without lit and without rare is a length without extra bits; with
// both a literal and pair it is a literal and the length behind it.
const (
	flagLit  = 1 << 31 // a literal alone
	flagPair = 1 << 30 // a literal before the length
	flagRare = 1 << 29 // anything that the fast path does not know
	flagSub  = 1 << 28 // look into the subtable
	flagEnd  = 1 << 27 // end of block
	flagBad  = 1 << 26 // no such code

	bad = flagRare | flagBad
)

// An entry of the table for distances:
//
//	bits 0-5    bits to use up, extra ones included
//	bits 8-11   bits of the code alone
//	bits 16-30  base of the distance
//	bit 31      rare
//
// The entry of a subtable is as above. A distance that does not exist points to
// a subtable of one entry that is rare again, which no distance is.
const (
	flagDistRare = 1 << 31
	badDist      = flagDistRare | distSize<<8
)

// tables are the decoding tables of one block.
type tables struct {
	lits    [litSize]uint32
	dists   [distSize + 1]uint32  // the last one is badDist
	small   [1 << smallBits]uint8 // for code lengths: symbol << 3 | bits; 0 is no code
	isFixed bool

	sorted [maxLit]uint16 // symbols by code length
	codes  [maxLit]uint16 // codewords of the symbols, first bit lowest
}

// litEntries and distEntries are the symbols' entries without code lengths.
var (
	litEntries  = makeLitEntries()
	distEntries = makeDistEntries()
)

func makeLitEntries() (out [maxLit]uint32) {
	for i := range 256 {
		out[i] = flagLit | uint32(i)<<8
	}
	out[256] = flagRare | flagEnd
	base, extra := uint32(3), uint32(0)
	for i := 257; i < 285; i++ {
		out[i] = base << 16
		if extra > 0 {
			out[i] |= flagRare | extra<<8
		}
		base += 1 << extra
		if i >= 264 && i%4 == 0 { // four lengths share a number of extra bits
			extra++
		}
	}
	out[285] = 258 << 16
	out[286], out[287] = bad, bad
	return out
}

func makeDistEntries() (out [maxDist]uint32) {
	base, extra := uint32(1), uint32(0)
	for i := range 30 {
		out[i] = base<<16 | extra
		base += 1 << extra
		if i >= 3 && i%2 == 1 {
			extra++
		}
	}
	out[30], out[31] = badDist, badDist
	return out
}

// A canon is a canonical code: how many codewords of each length, and the
// symbols by length.
type canon struct {
	count  [16]int
	symbol []uint16
	max    int
}

// sort orders the symbols of a code and reports whether the code is allowed:
// complete, or empty, or one codeword of one bit.
func (t *tables) sort(lengths []uint8) (c canon, ok bool) {
	for _, l := range lengths {
		c.count[l]++
	}
	c.count[0] = 0
	left, next := 1, [17]int{}
	for l := 1; l <= 15; l++ {
		left = left<<1 - c.count[l]
		if left < 0 {
			return c, false
		}
		if next[l+1] = next[l] + c.count[l]; c.count[l] > 0 {
			c.max = l
		}
	}
	if left > 0 && c.max != 0 && (c.max != 1 || c.count[1] != 1) {
		return c, false
	}
	c.symbol = t.sorted[:next[16]]
	for s, l := range lengths {
		if l != 0 {
			c.symbol[next[l]] = uint16(s)
			next[l]++
		}
	}
	return c, true
}

// following returns the codeword after code among those of length l, both
// with their first bit lowest.
func following(code, l uint) uint {
	free := ^code & (1<<l - 1)
	if free == 0 {
		return 0
	}
	top := uint(1) << (bits.Len(free) - 1)
	return code&(top-1) | top
}

// fill sets table for a canonical code. entry gives a symbol's entry with the
// code's length put in; sub makes the entry of a subtable. The table for codes
// of up to l bits is the one for l-1 bits twice over, so each codeword is
// written once and the rest is copying.
func (t *tables) fill(table []uint32, root int, c canon, entry func(symbol uint16, l int) uint32, sub func(at, size int) uint32, none uint32) {
	table[0] = none
	code, size, i := uint(0), 1, 0
	for l := 1; l <= min(root, c.max); l++ {
		copy(table[size:2*size], table[:size])
		size *= 2
		for range c.count[l] {
			s := c.symbol[i]
			i++
			table[code] = entry(s, l)
			t.codes[s] = uint16(code)
			code = following(code, uint(l))
		}
	}
	for ; size < 1<<root; size *= 2 {
		copy(table[size:2*size], table[:size])
	}
	t.subtables(table, root, c, i, code, entry, sub)
}

// subtables places the codewords that are longer than root bits, from the
// i-th symbol on.
func (t *tables) subtables(table []uint32, root int, c canon, i int, code uint, entry func(symbol uint16, l int) uint32, sub func(at, size int) uint32) {
	at, prefix, width := 1<<root, ^uint(0), 0
	for l := root + 1; l <= c.max; l++ {
		for left := c.count[l]; left > 0; left-- {
			if p := code & (1<<root - 1); p != prefix {
				if prefix != ^uint(0) {
					at += 1 << width
				}
				prefix, width = p, subWidth(c, l, left, root)
				table[p] = sub(at, width)
			}
			e := entry(c.symbol[i], l)
			for k := code >> root; k < 1<<width; k += 1 << (l - root) {
				table[at+int(k)] = e
			}
			i++
			code = following(code, uint(l))
		}
	}
}

// subWidth is how many bits a subtable needs that begins with a codeword of
// length l, of which left are left: as many as fill it.
func subWidth(c canon, l, left, root int) int {
	width := l - root
	for space := 1<<width - left; space > 0 && root+width < c.max; {
		width++
		space = space<<1 - c.count[root+width]
	}
	return width
}

// buildLits sets the table for literals and lengths.
func (t *tables) buildLits(lengths []uint8) bool {
	t.isFixed = false
	c, ok := t.sort(lengths)
	if !ok {
		return false
	}
	entry := func(s uint16, l int) uint32 { return litEntries[s] | uint32(l) }
	sub := func(at, size int) uint32 { return flagRare | flagSub | uint32(at)<<8 | uint32(size) }
	t.fill(t.lits[:], litBits, c, entry, sub, bad)
	t.pairs(lengths, c.symbol)
	return true
}

// pairs puts entries for a literal and the length code after it wherever both
// codewords fit the table.
func (t *tables) pairs(lengths []uint8, sorted []uint16) {
	for s := 257; s < min(265, len(lengths)); s++ { // lengths without extra bits
		second := uint(lengths[s])
		if second == 0 {
			continue
		}
		for _, lit := range sorted {
			first := uint(lengths[lit])
			if first+second > litBits {
				break
			}
			if lit > 255 {
				continue
			}
			e := litEntries[s] | flagPair | uint32(lit)<<8 | uint32(first+second)
			for at := uint(t.codes[lit]) | uint(t.codes[s])<<first; at < 1<<litBits; at += 1 << (first + second) {
				t.lits[at] = e
			}
		}
	}
}

// buildDists sets the table for distances.
func (t *tables) buildDists(lengths []uint8) bool {
	c, ok := t.sort(lengths)
	if !ok {
		return false
	}
	entry := func(s uint16, l int) uint32 {
		if s >= 30 {
			return badDist
		}
		return distEntries[s] + uint32(l) | uint32(l)<<8
	}
	sub := func(at, size int) uint32 { return flagDistRare | uint32(at)<<8 | uint32(size) }
	t.dists[distSize] = badDist
	t.fill(t.dists[:], distBits, c, entry, sub, badDist)
	return true
}

// buildCodeLengths sets the table for code lengths.
func (t *tables) buildCodeLengths(lengths *[19]uint8) bool {
	c, ok := t.sort(lengths[:])
	if !ok {
		return false
	}
	clear(t.small[:])
	code, i := uint(0), 0
	for l := 1; l <= c.max; l++ {
		for range c.count[l] {
			for at := code; at < 1<<smallBits; at += 1 << l {
				t.small[at] = uint8(c.symbol[i])<<3 | uint8(l)
			}
			i++
			code = following(code, uint(l))
		}
	}
	return true
}
