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

var (
	errLZWCode = errors.New("a code that does not exist in compressed data")
	errLZWOld  = errors.New("compressed data of a kind older than TIFF 6.0")
)

// An lzwTable undoes LZW (TIFF 6.0, section 13). A string of the table is where it
// lies in the output that is already there, and how long it is.
type lzwTable struct {
	at     [lzwMax]int32
	length [lzwMax]int32
}

// decode fills out with the decompressed form of in. What in holds beyond that
// is left.
func (z *lzwTable) decode(out, in []byte) error {
	if len(in) >= 2 && in[0] == 0 && in[1]&1 != 0 {
		return errLZWOld
	}
	bits := bitReader{in: in}
	next, width, op := lzwFirst, uint(9), 0
	last, lastLen := 0, 0 // the string before, none after a clear
	for op < len(out) {
		code, ok := bits.read(width)
		switch {
		case !ok || code == lzwEnd:
			return errLess
		case code == lzwClear:
			next, width, lastLen = lzwFirst, 9, 0
			continue
		}
		// The string before and the first byte of this one are a new string;
		// they lie together in the output, once this one is written.
		if lastLen > 0 && next < lzwMax {
			z.at[next], z.length[next] = int32(last), int32(lastLen+1)
			next++
			if next >= 1<<width-1 && width < 12 {
				width++
			}
		}
		last = op
		if code < 256 {
			out[op] = byte(code)
			op++
			lastLen = 1
			continue
		}
		if int(code) >= next {
			return errLZWCode
		}
		lastLen = int(z.length[code])
		op += copyString(out, op, int(z.at[code]), lastLen)
	}
	return nil
}

// copyString copies n bytes within out from at to op, or as many as there is
// room for, and returns how many. The last one may be the first one copied.
func copyString(out []byte, op, at, n int) int {
	if op+n+8 <= len(out) {
		for i := 0; i < n-1; i += 8 { // all but the last: they lie before op
			binary.LittleEndian.PutUint64(out[op+i:], binary.LittleEndian.Uint64(out[at+i:]))
		}
		out[op+n-1] = out[at+n-1]
		return n
	}
	n = min(n, len(out)-op)
	for i := range n {
		out[op+i] = out[at+i]
	}
	return n
}

// A bitReader reads codes whose first bit is the highest of a byte.
type bitReader struct {
	in  []byte
	buf uint64 // the next bit highest
	n   uint   // bits of buf that count
}

// read returns the next width bits, at most 12, and whether there are so many.
func (b *bitReader) read(width uint) (uint32, bool) {
	if b.n < width {
		if len(b.in) >= 8 {
			b.buf |= binary.BigEndian.Uint64(b.in) >> b.n
			b.in = b.in[(63-b.n)>>3:]
			b.n |= 56
		} else {
			for ; b.n <= 56 && len(b.in) > 0; b.in = b.in[1:] {
				b.buf |= uint64(b.in[0]) << (56 - b.n)
				b.n += 8
			}
			if b.n < width {
				return 0, false
			}
		}
	}
	code := uint32(b.buf >> (64 - width))
	b.buf <<= width
	b.n -= width
	return code, true
}
