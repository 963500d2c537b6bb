package geotiff

import (
	"encoding/binary"
	"errors"
)

// Codes of TIFF's LZW.
const (
	lzwClear = 256
	lzwEnd   = 257
	lzwFirst = 258
	lzwMax   = 4096
)

var errLZWCode = errors.New("a code that does not exist in compressed data")

// An lzwTable undoes LZW (TIFF 6.0, section 13). Most strings are short, so a
// string of the table has its first eight bytes at hand, which are written
// without asking how many count; a longer one is also where it lies in the
// output that is already there.
type lzwTable struct {
	head  [lzwMax]uint64 // first bytes, the first one lowest, then zeros
	place [lzwMax]uint64 // where it lies in the upper half, how long it is in the lower
}

// newLZW returns a table that knows the strings of one byte.
func newLZW() *lzwTable {
	z := &lzwTable{}
	for i := range 256 {
		z.head[i], z.place[i] = uint64(i), 1
	}
	return z
}

// any is decode for either kind of LZW. The kind older than TIFF 6.0 is known
// by its first code, which clears the table.
func (z *lzwTable) any(out, in []byte) error {
	if len(in) >= 2 && in[0] == 0 && in[1]&1 != 0 {
		return z.decodeOld(out, in)
	}
	return z.decode(out, in)
}

// decodeOld is decode for the kind of LZW that was written before TIFF 6.0:
// its codes run from the lowest bit of a byte, and widen one code later.
func (z *lzwTable) decodeOld(out, in []byte) error {
	var buf uint64 // the next bit lowest
	var n uint
	next, width, op := lzwFirst, uint(9), 0
	at, length := 0, 0 // the string before; none after a clear
	for op < len(out) {
		for ; n < width; n += 8 {
			if len(in) == 0 {
				return errLess
			}
			buf, in = buf|uint64(in[0])<<n, in[1:]
		}
		code := int(buf & (1<<width - 1))
		buf, n = buf>>width, n-width
		switch {
		case code == lzwClear:
			next, width, length = lzwFirst, 9, 0
			continue
		case code == lzwEnd:
			return errLess
		case code > next || length == 0 && code > 255 || code == next && next == lzwMax:
			return errLZWCode
		}
		// A new string is the one before with one more byte, which lies behind
		// it in the output: the first of this one.
		if length > 0 && next < lzwMax {
			z.head[next], z.place[next] = 0, uint64(at)<<32|uint64(length+1)
			next++
			if next >= 1<<width && width < 12 {
				width++
			}
		}
		start := op
		if code < 256 {
			out[op] = byte(code)
			op++
		} else {
			from, count := int(z.place[code]>>32), int(uint32(z.place[code]))
			for ; count > 0 && op < len(out); count-- {
				out[op] = out[from]
				op, from = op+1, from+1
			}
		}
		at, length = start, op-start
	}
	return nil
}

// decode fills out with the decompressed form of in. What in holds beyond that
// is left.
func (z *lzwTable) decode(out, in []byte) error {
	var buf uint64 // the next bit highest
	var n uint     // bits of buf that count
	next, width, op := lzwFirst, uint(9), 0
	lastHead, last := uint64(0), uint64(0) // the string before; none after a clear
	for op < len(out) {
		if n < width {
			if buf, n, in = refillHigh(buf, n, in); n < width {
				return errLess
			}
		}
		code := int(buf >> 52 >> (12 - width))
		buf <<= width
		n -= width
		head, s := z.head[code&(lzwMax-1)], z.place[code&(lzwMax-1)]
		switch {
		case code == lzwClear:
			next, width, last = lzwFirst, 9, 0
			continue
		case code == lzwEnd:
			return errLess
		case code >= next && code > 255: // the string that this code itself completes
			if code > next || last == 0 {
				return errLZWCode
			}
			head, s = lastHead|lastHead&0xff<<(8*(last&0xffff_ffff)), last+1
		}
		// The string before and the first byte of this one are a new string;
		// they lie together in the output, once this one is written.
		if last != 0 && next < lzwMax {
			z.head[next] = lastHead | head&0xff<<(8*(last&0xffff_ffff))
			z.place[next] = last + 1
			next++
			if next >= 1<<width-1 && width < 12 {
				width++
			}
		}
		length := int(uint32(s))
		lastHead, last = head, uint64(op)<<32|uint64(length)
		if length <= 8 && op+8 <= len(out) {
			binary.LittleEndian.PutUint64(out[op:], head)
			op += length
			continue
		}
		op += copyString(out, op, head, int(s>>32), length)
	}
	return nil
}

// refillHigh makes at least 56 bits of buf count, or as many as in has. The
// next bit is the highest.
func refillHigh(buf uint64, n uint, in []byte) (uint64, uint, []byte) {
	if len(in) >= 8 {
		buf |= binary.BigEndian.Uint64(in) >> n
		return buf, n | 56, in[(63-n)>>3:]
	}
	for ; n <= 56 && len(in) > 0; in = in[1:] {
		buf |= uint64(in[0]) << (56 - n)
		n += 8
	}
	return buf, n, in
}

// copyString writes a string of n bytes at op, or as many as there is room
// for, and returns how many. It begins with the bytes of head and lies at at;
// its last byte may be the first one that is written.
func copyString(out []byte, op int, head uint64, at, n int) int {
	n = min(n, len(out)-op)
	for i := range min(n, 8) {
		out[op+i] = byte(head >> (8 * i))
	}
	if n > 8 {
		copy(out[op+8:op+n-1], out[at+8:])
		out[op+n-1] = out[at+n-1]
	}
	return n
}
