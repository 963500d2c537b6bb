package inflate

import "encoding/binary"

// The fast loop runs while this much is left: a step takes at most 16 bytes
// of input, and writes at most four literals and a match with what its word
// copies write beyond its end.
const (
	fastIn  = 24
	fastOut = 300
)

// fast decodes symbols until the block ends (end), the data are wrong, or
// either side comes near its end.
//
// Bits above the lowest eight of n are rubbish, so that a whole entry can be
// taken off it.
func (t *tables) fast(s *state) (end bool, err error) {
	in, out, ip, op, buf, n := s.in, s.out, s.ip, s.op, s.buf, uint32(s.n)
	if s.fake > 0 || len(in)-ip < fastIn || len(out)-op < fastOut {
		return false, nil
	}
	lastIn, lastOut := len(in)-fastIn, len(out)-fastOut
	lits := (*[1 << litBits]uint32)(t.lits[:])
	dists := (*[1 << distBits]uint32)(t.dists[:])
loop:
	for ip <= lastIn && op <= lastOut {
		buf |= binary.LittleEndian.Uint64(in[ip:]) << (n & 63)
		ip += int((63 - n&63) >> 3)
		n |= 56
		e := lits[buf&(1<<litBits-1)]
		if int32(e) < 0 {
			out[op] = byte(e >> 8)
			op++
			buf >>= e & 63
			n -= e
			e = lits[buf&(1<<litBits-1)]
			if int32(e) < 0 {
				out[op] = byte(e >> 8)
				op++
				buf >>= e & 63
				n -= e
				e = lits[buf&(1<<litBits-1)]
				if int32(e) < 0 {
					out[op] = byte(e >> 8)
					op++
					buf >>= e & 63
					n -= e
					continue
				}
				// 33 bits may be gone, so there need not be enough for a match.
				buf |= binary.LittleEndian.Uint64(in[ip:]) << (n & 63)
				ip += int((63 - n&63) >> 3)
				n |= 56
			}
		}
		length := int(e >> 16 & 0x1ff)
		if e&flagRare == 0 {
			out[op] = byte(e >> 8)
			op += int(e >> 30)
			buf >>= e & 63
			n -= e
		} else {
			if e&flagSub != 0 {
				e = t.lits[int(e>>8&0xffff)+int(buf>>litBits&(1<<(e&63)-1))]
				if int32(e) < 0 {
					out[op] = byte(e >> 8)
					op++
					buf >>= e & 63
					n -= e
					continue
				}
				length = int(e >> 16 & 0x1ff)
			}
			buf >>= e & 63
			n -= e
			switch {
			case e&flagEnd != 0:
				end = true
				break loop
			case e&flagBad != 0:
				return false, ErrCorrupt
			case e&flagRare != 0:
				extra := e >> 8 & 15
				length += int(buf & (1<<extra - 1))
				buf >>= extra & 63
				n -= extra
			}
			// The code and its extra bits may have taken 20 more.
			buf |= binary.LittleEndian.Uint64(in[ip:]) << (n & 63)
			ip += int((63 - n&63) >> 3)
			n |= 56
		}
		d := dists[buf&(1<<distBits-1)]
		if int32(d) < 0 {
			d = t.dists[int(d>>8&0xffff)+int(buf>>distBits&(1<<(d&63)-1))]
			if int32(d) < 0 {
				return false, ErrCorrupt
			}
		}
		dist := int(d>>16) + int(buf&(1<<(d&63)-1)>>(d>>8&15))
		buf >>= d & 63
		n -= d
		from := op - dist
		if from < 0 {
			return false, ErrCorrupt
		}
		stop := op + length
		if dist >= 8 {
			binary.LittleEndian.PutUint64(out[op:], binary.LittleEndian.Uint64(out[from:]))
			binary.LittleEndian.PutUint64(out[op+8:], binary.LittleEndian.Uint64(out[from+8:]))
			for op += 16; op < stop; op += 8 {
				from += 8
				binary.LittleEndian.PutUint64(out[op:], binary.LittleEndian.Uint64(out[from+8:]))
			}
		} else {
			// One word holds the pattern, repeated; it is written at steps
			// that are whole repetitions.
			p := &patterns[dist]
			w := binary.LittleEndian.Uint64(out[from:]) & p.mask * p.times
			for ; op < stop; op += p.step {
				binary.LittleEndian.PutUint64(out[op:], w)
			}
		}
		op = stop
	}
	s.ip, s.op, s.buf, s.n = ip, op, buf, uint(n&63)
	// Whole bytes above the counted bits were not consumed: forget them.
	s.buf &= 1<<s.n - 1
	return end, nil
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
