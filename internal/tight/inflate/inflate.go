// Package inflate undoes Deflate (RFC 1951) in zlib's wrapping (RFC 1950),
// from one whole slice into another whole slice whose length is known. That
// is what a tile of a picture is, and it allows what a stream does not: no
// window, no copies in between, and few checks on the way.
package inflate

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// The ways in which compressed bytes can be wrong.
var (
	ErrHeader   = errors.New("not zlib data")
	ErrCorrupt  = errors.New("wrong codes in compressed data")
	ErrShort    = errors.New("compressed data end too early")
	ErrTooLong  = errors.New("compressed data hold more than expected")
	ErrTooFew   = errors.New("compressed data hold less than expected")
	ErrChecksum = errors.New("wrong checksum")
)

// A Decoder holds the tables that decoding needs, about 30 KiB. Its zero value
// is ready; it may be used again and again, but by one goroutine at a time.
type Decoder struct {
	t       tables
	lengths [maxLit + maxDist + 138]uint8 // code lengths of a block, with room for the last repeat
}

// Zlib fills dst with the decompressed form of src, which must be exactly as
// long, and verifies its checksum. Bytes of src behind the checksum do not
// matter. After an error the content of dst is undefined.
func (d *Decoder) Zlib(dst, src []byte) error {
	if len(src) < 2 || src[0]&0x0f != 8 || src[0]>>4 > 7 || src[1]&0x20 != 0 ||
		binary.BigEndian.Uint16(src)%31 != 0 {
		return ErrHeader
	}
	s := state{in: src[2:], out: dst}
	got := uint32(1)
	err := d.blocks(&s, func(from int) { got = adler(got, dst[from:s.op]) })
	if err != nil {
		return err
	}
	tail := src[2+s.used():]
	if len(tail) < 4 {
		return ErrShort
	}
	if want := binary.BigEndian.Uint32(tail); want != got {
		return fmt.Errorf("%w: %08x instead of %08x", ErrChecksum, got, want)
	}
	return nil
}

// Deflate fills dst with the decompressed form of src, which must be exactly
// as long, and returns how many bytes of src it took.
func (d *Decoder) Deflate(dst, src []byte) (used int, err error) {
	s := state{in: src, out: dst}
	if err := d.blocks(&s, func(int) {}); err != nil {
		return 0, err
	}
	return s.used(), nil
}

// blocks decodes all blocks. It says after each where its output begins,
// which is then still in the processor's cache.
func (d *Decoder) blocks(s *state, done func(from int)) (err error) {
	for last := false; !last; {
		from := s.op
		s.refill()
		last = s.buf&1 != 0
		kind := s.buf >> 1 & 3
		s.drop(3)
		switch kind {
		case 0:
			err = s.stored()
		case 1:
			d.fixed()
			err = d.block(s)
		case 2:
			if err = d.dynamic(s); err == nil {
				err = d.block(s)
			}
		default:
			err = ErrCorrupt
		}
		if err != nil {
			return err
		}
		if s.overrun() {
			return ErrShort
		}
		done(from)
	}
	if s.op != len(s.out) {
		return ErrTooFew
	}
	return nil
}

// block decodes the symbols of one block with the tables that are set: by the
// fast loop while there is room on both sides, then by the careful one.
func (d *Decoder) block(s *state) error {
	if end, err := d.t.fast(s); end || err != nil {
		return err
	}
	return d.t.careful(s)
}

// A state is how far a decoding has come.
type state struct {
	in, out []byte
	ip, op  int
	buf     uint64 // bits that were read but not used, the next one lowest
	n       uint   // how many bits of buf count
	fake    uint   // bits of n that were made up after the end of in
}

// refill makes at least 56 bits count. After the end of the input they are
// zeros, which overrun notices when they were used.
func (s *state) refill() {
	if s.ip+8 <= len(s.in) {
		s.buf |= binary.LittleEndian.Uint64(s.in[s.ip:]) << (s.n & 63)
		s.ip += int((63 - s.n) >> 3)
		s.n |= 56
		return
	}
	for s.n < 56 {
		if s.ip < len(s.in) {
			s.buf |= uint64(s.in[s.ip]) << s.n
			s.ip++
		} else {
			s.fake += 8
		}
		s.n += 8
	}
}

// drop uses up k bits.
func (s *state) drop(k uint) {
	s.buf >>= k & 63
	s.n -= k
}

// used is how many bytes of the input were used.
func (s *state) used() int { return s.ip - int((s.n-s.fake)>>3) }

// overrun reports whether bits were used that the input does not have.
func (s *state) overrun() bool { return s.fake > s.n }

// stored copies a block that was not compressed.
func (s *state) stored() error {
	s.drop(s.n & 7)
	if s.fake > 0 && s.fake > s.n {
		return ErrShort
	}
	// Give the whole bytes back, and the made-up ones up.
	s.ip -= int((s.n - s.fake) >> 3)
	s.buf, s.n, s.fake = 0, 0, 0
	if len(s.in)-s.ip < 4 {
		return ErrShort
	}
	head := s.in[s.ip : s.ip+4]
	size := int(binary.LittleEndian.Uint16(head))
	s.ip += 4
	switch {
	case size != int(^binary.LittleEndian.Uint16(head[2:])):
		return ErrCorrupt
	case size > len(s.in)-s.ip:
		return ErrShort
	case size > len(s.out)-s.op:
		return ErrTooLong
	}
	copy(s.out[s.op:], s.in[s.ip:s.ip+size])
	s.ip += size
	s.op += size
	return nil
}

// dynamic reads the code lengths of a block and sets the tables.
func (d *Decoder) dynamic(s *state) error {
	s.refill()
	lits, dists, codes := int(s.buf&31)+257, int(s.buf>>5&31)+1, int(s.buf>>10&15)+4
	s.drop(14)
	if lits > 286 || dists > 30 {
		return ErrCorrupt
	}
	order := [19]uint8{16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15}
	var small [19]uint8
	for i := range codes {
		s.refill()
		small[order[i]] = uint8(s.buf & 7)
		s.drop(3)
	}
	if !d.t.buildCodeLengths(&small) {
		return ErrCorrupt
	}
	if err := d.codeLengths(s, lits+dists); err != nil {
		return err
	}
	if s.overrun() {
		return ErrShort
	}
	if !d.t.buildLits(d.lengths[:lits]) || !d.t.buildDists(d.lengths[lits:lits+dists]) {
		return ErrCorrupt
	}
	return nil
}

// codeLengths reads n code lengths, which are themselves compressed.
func (d *Decoder) codeLengths(s *state, n int) error {
	for i := 0; i < n; {
		s.refill()
		e := d.t.small[s.buf&(1<<smallBits-1)]
		if e == 0 {
			return ErrCorrupt
		}
		s.drop(uint(e & 7))
		symbol := e >> 3
		if symbol < 16 {
			d.lengths[i] = symbol
			i++
			continue
		}
		repeat := s.repeat(symbol)
		if i+repeat > n || symbol == 16 && i == 0 {
			return ErrCorrupt
		}
		value := uint8(0)
		if symbol == 16 {
			value = d.lengths[i-1]
		}
		for ; repeat > 0; repeat-- {
			d.lengths[i] = value
			i++
		}
		if s.overrun() {
			return ErrShort
		}
	}
	return nil
}

// repeat reads how often a code length repeats: symbol 16 the one before, 17
// and 18 a zero.
func (s *state) repeat(symbol uint8) int {
	var bits, least uint
	switch symbol {
	case 16:
		bits, least = 2, 3
	case 17:
		bits, least = 3, 3
	default:
		bits, least = 7, 11
	}
	n := least + uint(s.buf&(1<<bits-1))
	s.drop(bits)
	return int(n)
}

// fixed sets the tables of the codes that need no description.
func (d *Decoder) fixed() {
	if d.t.isFixed {
		return
	}
	l := d.lengths[:288]
	for i := range l {
		switch {
		case i < 144:
			l[i] = 8
		case i < 256:
			l[i] = 9
		case i < 280:
			l[i] = 7
		default:
			l[i] = 8
		}
	}
	d.t.buildLits(l)
	for i := range 32 {
		l[i] = 5
	}
	d.t.buildDists(l[:32])
	d.t.isFixed = true
}
