package baseline

import (
	"bytes"
	"encoding/binary"
)

// scan decodes the scan whose header is given and whose data follow. It
// returns what follows the scan, from a marker on, or nothing when the scan is
// damaged.
func (d *Decoder) scan(header, data []byte) []byte {
	f := &d.frame
	if !d.begin(header) {
		return nil
	}
	d.planes()
	all := f.across * f.down
	each := d.interval
	if each == 0 {
		each = all
	}
	restart := byte(firstRestart)
	for from := 0; ; from += each {
		data = d.bits.load(data)
		if data == nil {
			return nil
		}
		for i := range f.comps {
			f.comps[i].last = 0
		}
		to := min(from+each, all)
		for mcu := from; mcu < to; mcu++ {
			if !d.unit(mcu%f.across, mcu/f.across) {
				return nil
			}
		}
		if to == all {
			return data
		}
		if data[1] != restart {
			return nil
		}
		data = data[2:]
		restart = firstRestart + (restart+1)%8
	}
}

// begin takes the header of the scan, which must name all components in the
// order of the frame.
func (d *Decoder) begin(header []byte) bool {
	f := &d.frame
	n := len(f.comps)
	if n == 0 || len(header) != 4+2*n || int(header[0]) != n {
		return false
	}
	if n == 4 && !(d.adobe && d.untransformed) {
		return false
	}
	for i := range f.comps {
		c, s := &f.comps[i], header[1+2*i:]
		c.dc, c.ac = s[1]>>4, s[1]&15
		if s[0] != c.id || c.dc > 1 || c.ac > 1 || !d.dc[c.dc].made || !d.ac[c.ac].made || !d.hasQuant[c.quant] {
			return false
		}
	}
	return true
}

// unit decodes the blocks of one MCU.
func (d *Decoder) unit(across, down int) bool {
	for i := range d.frame.comps {
		c := &d.frame.comps[i]
		quant, dc, ac := &d.quant[c.quant&3], &d.dc[c.dc&1], &d.ac[c.ac&1]
		for v := range c.v {
			for h := range c.h {
				spread := d.bits.block(&d.coef, dc, ac, quant, &c.last)
				if spread < 0 {
					return false
				}
				at := 8*(down*c.v+v)*c.stride + 8*(across*c.h+h)
				d.coef.samples(spread, &d.across, &d.pixels, c.pix[at:], c.stride)
			}
		}
	}
	return true
}

// bits are the entropy-coded data between two markers.
type bits struct {
	in  []byte // without the zeros that follow each 0xff, and room behind
	end int    // bytes of in that count
	at  int    // of in that were taken into buf
	buf uint64 // what comes next is at the top
	n   uint   // bits of buf that count
}

// room is more than what one block may take, 31 bits for each coefficient, and
// one look ahead.
const room = blockSize*4 + 16

// load takes the data up to the next marker, and returns them from that one on.
func (b *bits) load(data []byte) []byte {
	b.in = b.in[:0]
	for {
		i := bytes.IndexByte(data, 0xff)
		if i < 0 || i+1 == len(data) {
			return nil
		}
		if data[i+1] != 0 {
			b.in = append(b.in, data[:i]...)
			data = data[i:]
			break
		}
		b.in = append(b.in, data[:i+1]...)
		data = data[i+2:]
	}
	b.end = len(b.in)
	b.in = append(b.in, make([]byte, room)...)
	b.at, b.buf, b.n = 0, 0, 0
	return data
}

// block decodes the coefficients of one block, multiplied by quant, into
// coef, which holds zeros before. dc is the coefficient of the block before.
// It returns the places of all coefficients, or-ed: so that 0 says that there is
// but the first. It returns -1 when the data are damaged.
func (b *bits) block(coef *coefficients, dcTable, acTable *huffman, quant *[blockSize]int32, dc *int32) int {
	in, at, buf, n := b.in, b.at, b.buf, b.n
	buf |= binary.BigEndian.Uint64(in[at:at+8:at+8]) >> (n & 63)
	at += int(63-n) >> 3
	n |= 56

	e := dcTable.fast[buf>>(64-fastBits)]
	if e == 0 {
		e = dcTable.slow(buf)
	}
	buf <<= e & 63
	n -= uint(e & 63)
	v := int32(e) >> 16
	if size := uint(e >> 12 & 15); size > 0 {
		v = extend(buf, size)
		buf <<= size
		n -= size
	}
	if e == 0 || e&0xf00 != 0 {
		return -1
	}
	*dc += v
	coef[0] = *dc * quant[0]

	spread := 0
	for k := 1; k < blockSize; {
		if n < 32 {
			buf |= binary.BigEndian.Uint64(in[at:at+8:at+8]) >> (n & 63)
			at += int(63-n) >> 3
			n |= 56
		}
		e := acTable.fast[buf>>(64-fastBits)]
		if e == 0 {
			e = acTable.slow(buf)
		}
		buf <<= e & 63
		n -= uint(e & 63)
		v, run := int32(e)>>16, int(e>>8&15)
		if v == 0 {
			size := uint(e >> 12 & 15)
			if size == 0 {
				if run == 15 { // sixteen zeros
					k += 16
					continue
				}
				if run > 0 || e == 0 {
					return -1
				}
				break // no more
			}
			v = extend(buf, size)
			buf <<= size
			n -= size
		}
		k += run
		if k >= blockSize {
			return -1
		}
		place := int(zigzag[k] & 63)
		coef[place] = v * quant[k]
		spread |= place
		k++
	}
	b.at, b.buf, b.n = at, buf, n
	if 8*at-int(n) > 8*b.end {
		return -1
	}
	return spread
}

// zigzag is where the coefficients of a block lie, row after row.
var zigzag = [blockSize]uint8{
	0, 1, 8, 16, 9, 2, 3, 10,
	17, 24, 32, 25, 18, 11, 4, 5,
	12, 19, 26, 33, 40, 48, 41, 34,
	27, 20, 13, 6, 7, 14, 21, 28,
	35, 42, 49, 56, 57, 50, 43, 36,
	29, 22, 15, 23, 30, 37, 44, 51,
	58, 59, 52, 45, 38, 31, 39, 46,
	53, 60, 61, 54, 47, 55, 62, 63,
}
