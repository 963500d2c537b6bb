package inflate

import (
	"encoding/binary"
	"unsafe"
)

// The fast loop runs while this much is left: a step takes at most 24 bytes of
// input, and writes at most three literals, a match of 258, and what the word
// copies write beyond its end.
const (
	fastIn  = 32
	fastOut = 300
)

// fast decodes symbols until the block ends (end), the data are wrong, or
// either side comes near its end.
func (t *tables) fast(s *state) (end bool, err error) {
	if s.fake > 0 || len(s.in)-s.ip < fastIn || len(s.out)-s.op < fastOut {
		return false, nil
	}
	in, out := unsafe.Pointer(&s.in[0]), unsafe.Pointer(&s.out[0])
	ip, op, buf, n, stop := t.loop(
		unsafe.Add(in, s.ip), unsafe.Add(in, len(s.in)-fastIn),
		unsafe.Add(out, s.op), out, unsafe.Add(out, len(s.out)-fastOut), s.buf, uint32(s.n))
	if stop == stopBad {
		return false, ErrCorrupt
	}
	s.ip = int(uintptr(ip) - uintptr(in))
	s.op = int(uintptr(op) - uintptr(out))
	s.n = uint(n & 63)
	s.buf = buf & (1<<s.n - 1) // what lies above was read but does not count
	return stop == stopEnd, nil
}

// Why the loop stopped.
const (
	stopRoom = iota // near the end of the input or the output
	stopEnd         // the block has ended
	stopBad         // there is no such code or distance
)

// load and store are a word at p, the first byte lowest.
func load(p unsafe.Pointer) uint64     { return binary.LittleEndian.Uint64((*[8]byte)(p)[:]) }
func store(p unsafe.Pointer, v uint64) { binary.LittleEndian.PutUint64((*[8]byte)(p)[:], v) }

// loop is the hot loop of [tables.fast]. It is a function of its own with few
// variables, which are cursors instead of slices, so that most of them stay in
// registers: that is a tenth of the time, and the reason for package unsafe.
//
// What keeps it inside its slices: at the top, at least fastIn bytes from ip
// on and fastOut bytes from op on exist. A step reads the input in words at
// three places, each at most 7 bytes on: 7+7+7+8 < fastIn. It writes four
// literals, or no more than three and then a match of 258 bytes and two words
// copied too many. A match is copied from at most op-first bytes before op, and
// reads beyond op what two words hold.
//
// Bits above the lowest six of n are rubbish, so that a whole entry can be
// taken off it. After a refill 56 bits count. Four codes of the main table
// take 44; three take 33, and a distance of the main table with its extra bits
// 21: only what is rare needs another refill on the way.
func (t *tables) loop(ip, lastIn, op, first, lastOut unsafe.Pointer, buf uint64, n uint32) (unsafe.Pointer, unsafe.Pointer, uint64, uint32, int) {
	buf |= load(ip) << (n & 63)
	ip = unsafe.Add(ip, (63-n&63)>>3)
	n |= 56
	e := t.lits[buf&(1<<litBits-1)]
	for uintptr(ip) <= uintptr(lastIn) && uintptr(op) <= uintptr(lastOut) {
		if int32(e) < 0 {
			*(*byte)(op) = byte(e >> 8)
			op = unsafe.Add(op, 1)
			buf >>= e & 63
			n -= e
			e = t.lits[buf&(1<<litBits-1)]
			if int32(e) < 0 {
				*(*byte)(op) = byte(e >> 8)
				op = unsafe.Add(op, 1)
				buf >>= e & 63
				n -= e
				e = t.lits[buf&(1<<litBits-1)]
				if int32(e) < 0 {
					*(*byte)(op) = byte(e >> 8)
					op = unsafe.Add(op, 1)
					buf >>= e & 63
					n -= e
					e = t.lits[buf&(1<<litBits-1)]
					if int32(e) < 0 {
						*(*byte)(op) = byte(e >> 8)
						op = unsafe.Add(op, 1)
						buf >>= e & 63
						n -= e
					}
					buf |= load(ip) << (n & 63)
					ip = unsafe.Add(ip, (63-n&63)>>3)
					n |= 56
					e = t.lits[buf&(1<<litBits-1)]
					continue
				}
			}
		}
		length := uintptr(e >> 16 & 0x1ff)
		if e&flagRare == 0 {
			*(*byte)(op) = byte(e >> 8)
			op = unsafe.Add(op, e>>30)
			buf >>= e & 63
			n -= e
		} else {
			if e&flagSub != 0 {
				// Up to 22 bits are gone and this code has up to 15.
				e = t.lits[uint64(e>>8&0xffff)+buf>>litBits&(1<<(e&63)-1)]
				length = uintptr(e >> 16 & 0x1ff)
			}
			buf >>= e & 63
			n -= e
			if int32(e) >= 0 {
				if e&(flagEnd|flagBad) != 0 {
					if e&flagEnd != 0 {
						return ip, op, buf, n, stopEnd
					}
					return ip, op, buf, n, stopBad
				}
				if e&flagRare != 0 {
					extra := e >> 8 & 15
					length += uintptr(buf & (1<<extra - 1))
					buf >>= extra & 63
					n -= extra
				}
			}
			buf |= load(ip) << (n & 63)
			ip = unsafe.Add(ip, (63-n&63)>>3)
			n |= 56
			if int32(e) < 0 {
				*(*byte)(op) = byte(e >> 8)
				op = unsafe.Add(op, 1)
				e = t.lits[buf&(1<<litBits-1)]
				continue
			}
		}
		d := t.dists[buf&(1<<distBits-1)]
		if int32(d) < 0 {
			buf |= load(ip) << (n & 63)
			ip = unsafe.Add(ip, (63-n&63)>>3)
			n |= 56
			d = t.dists[uint64(d>>8&0xffff)+buf>>distBits&(1<<(d&63)-1)]
			if int32(d) < 0 {
				return ip, op, buf, n, stopBad
			}
		}
		dist := uintptr(d>>16) + uintptr(buf&(1<<(d&63)-1)>>(d>>8&15))
		buf >>= d & 63
		n -= d
		if dist > uintptr(op)-uintptr(first) {
			return ip, op, buf, n, stopBad
		}
		buf |= load(ip) << (n & 63)
		ip = unsafe.Add(ip, (63-n&63)>>3)
		n |= 56
		e = t.lits[buf&(1<<litBits-1)]

		from, to := unsafe.Add(op, -int(dist)), op
		op = unsafe.Add(op, length)
		if dist >= 8 {
			store(to, load(from))
			store(unsafe.Add(to, 8), load(unsafe.Add(from, 8)))
			for length > 16 {
				from, to, length = unsafe.Add(from, 16), unsafe.Add(to, 16), length-16
				store(to, load(from))
				if length <= 8 {
					break
				}
				store(unsafe.Add(to, 8), load(unsafe.Add(from, 8)))
			}
			continue
		}
		// One word holds the pattern, repeated; it is written at steps that
		// are whole repetitions.
		p := &patterns[dist]
		w := load(from) & p.mask * p.times
		for uintptr(to) < uintptr(op) {
			store(to, w)
			to = unsafe.Add(to, p.step)
		}
	}
	return ip, op, buf, n, stopRoom
}

// A pattern says how to make eight bytes that repeat the first few: keep those
// few, multiply, and go on after a whole number of repetitions.
type pattern struct {
	mask, times uint64
	step        int
}

// patterns are for distances below 8.
var patterns = [8]pattern{
	1: {0xff, 0x0101_0101_0101_0101, 8},
	2: {0xffff, 0x0001_0001_0001_0001, 8},
	3: {0xff_ffff, 0x0001_0000_0100_0001, 6},
	4: {0xffff_ffff, 0x0000_0001_0000_0001, 8},
	5: {0xff_ffff_ffff, 0x0000_0100_0000_0001, 5},
	6: {0xffff_ffff_ffff, 0x0001_0000_0000_0001, 6},
	7: {0xff_ffff_ffff_ffff, 0x0100_0000_0000_0001, 7},
}

// careful decodes symbols until the block ends, minding both ends.
func (t *tables) careful(s *state) error {
	for {
		s.refill()
		e := t.lits[s.buf&(1<<litBits-1)]
		if e&(flagRare|flagSub) == flagRare|flagSub {
			e = t.lits[int(e>>8&0xffff)+int(s.buf>>litBits&(1<<(e&63)-1))]
		}
		s.drop(uint(e & 63))
		switch {
		case e&flagBad != 0 && e&flagLit == 0:
			return ErrCorrupt
		case s.overrun():
			return ErrShort
		case e&(flagRare|flagEnd) == flagRare|flagEnd:
			return nil
		}
		if e&(flagLit|flagPair) != 0 {
			if s.op == len(s.out) {
				return ErrTooLong
			}
			s.out[s.op] = byte(e >> 8)
			s.op++
		}
		if e&flagLit == 0 {
			if err := t.match(s, e); err != nil {
				return err
			}
		}
	}
}

// match finishes a length entry: its extra bits, the distance, the copy.
func (t *tables) match(s *state, e uint32) error {
	length := int(e >> 16 & 0x1ff)
	if e&flagRare != 0 {
		extra := uint(e >> 8 & 15)
		length += int(s.buf & (1<<extra - 1))
		s.drop(extra)
	}
	s.refill()
	d := t.dists[s.buf&(1<<distBits-1)]
	if int32(d) < 0 {
		d = t.dists[int(d>>8&0xffff)+int(s.buf>>distBits&(1<<(d&63)-1))]
	}
	if int32(d) < 0 {
		return ErrCorrupt
	}
	dist := int(d>>16) + int(s.buf&(1<<(d&63)-1)>>(d>>8&15))
	s.drop(uint(d & 63))
	switch {
	case s.overrun():
		return ErrShort
	case dist > s.op:
		return ErrCorrupt
	case length > len(s.out)-s.op:
		return ErrTooLong
	}
	for range length {
		s.out[s.op] = s.out[s.op-dist]
		s.op++
	}
	return nil
}
