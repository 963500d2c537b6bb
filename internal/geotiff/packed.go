package geotiff

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// A packing is how samples lie in the file where that is not how they are
// handed on.
type packing uint8

const (
	packedWhole       packing = iota // unsigned whole numbers of any number of bits up to 32
	packedSigned                     // signed whole numbers of 8 or 64 bits
	packedWide                       // unsigned whole numbers of 64 bits
	packedFloat                      // floats of 16 or 24 bits
	packedTable                      // places in a colour table
	packedMask                       // one bit, 1 where a pixel counts
	packedDifferences                // luminance and colour differences
)

// A packed picture has samples of other kinds in its file than it hands on.
type packed struct {
	packing packing
	bits    int
	bands   int    // samples of a pixel in the file
	table   []byte // the colours, four bytes each: red, green, blue, alpha

	differences *differences
}

// bytes is the length of a stored sample, 0 when it is no whole bytes.
func (p *packed) bytes() int {
	if p.bits%8 != 0 || p.packing == packedWhole {
		return 0 // bits in a row, in either byte order
	}
	return p.bits / 8
}

// pack sets how samples of a format and a number of bits are stored and what
// they are handed on as; it reports whether they are read at all.
func (im *Image) pack(format, size uint64) bool {
	p := &packed{bits: int(min(size, 999)), bands: im.Bands}
	switch unsigned := format == 1 || format == 4; {
	case unsigned && size == 64:
		p.packing, im.Sample = packedWide, Float64
	case unsigned && size >= 1 && size < 8:
		im.Sample = Uint8
	case unsigned && size > 8 && size < 16:
		im.Sample = Uint16
	case unsigned && size > 16 && size < 32:
		im.Sample = Uint32
	case format == 2 && size == 8:
		p.packing, im.Sample = packedSigned, Int16
	case format == 2 && size == 64:
		p.packing, im.Sample = packedSigned, Float64
	case format == 3 && (size == 16 || size == 24):
		p.packing, im.Sample = packedFloat, Float32
	default:
		return false
	}
	im.packed = p
	return true
}

// colorTable reads the colours that the samples are places in. Those of a
// place that stands for no data are transparent.
func (im *Image) colorTable(d *directory, size uint64) error {
	colors, err := d.uints(tagColorMap)
	if err != nil {
		return err
	}
	const options = "-expand rgb "
	switch {
	case im.Bands != 1:
		return unreadUnless(options, "the picture has a colour table for %d bands, which is not read", im.Bands)
	case size != 1 && size != 2 && size != 4 && size != 8:
		return unreadUnless(options, "the picture has a colour table for samples of %d bits, which is not read", size)
	case len(colors) != 3<<size:
		return damaged("its colour table has %d numbers instead of %d", len(colors), 3<<size)
	}
	text, err := d.text(tagNoData)
	if err != nil {
		return err
	}
	n := 1 << size
	p := &packed{packing: packedTable, bits: int(size), bands: 1, table: make([]byte, 0, 4*n)}
	narrow := true // some writers put 8 bits where 16 belong
	for _, v := range colors {
		narrow = narrow && v < 256
	}
	for i := range n {
		for _, v := range []uint64{colors[i], colors[n+i], colors[2*n+i]} {
			if !narrow {
				v /= 257
			}
			p.table = append(p.table, byte(v))
		}
		p.table = append(p.table, 255)
	}
	im.Sample, im.Bands, im.packed = Uint8, 3, p
	if v := parseNoData(text); v != nil && *v >= 0 && *v < float64(n) && *v == math.Trunc(*v) {
		p.table[4*int(*v)+3] = 0
		im.Bands, im.Alpha = 4, 3
	}
	return nil
}

// storedBands is how many samples of a pixel one segment holds.
func (im *Image) storedBands() int {
	if im.packed != nil {
		return im.packed.bands / im.layout.planes
	}
	return im.Bands / im.layout.planes
}

// storedBytes is the length of a stored sample, 0 when it is no whole bytes.
func (im *Image) storedBytes() int {
	if im.packed != nil {
		return im.packed.bytes()
	}
	return im.Sample.Bytes()
}

// expand turns one stored row into samples: as many as out has room for.
func (im *Image) expand(row, out []byte) {
	p := im.packed
	n := im.Sample.Bytes()
	switch size := p.bytes(); {
	case p.packing == packedTable:
		im.expandTable(row, out)
	case size == 0:
		for i := range len(out) / n {
			im.put(out[i*n:], bitsAt(row, i*p.bits, p.bits))
		}
	default:
		for i := range len(out) / n {
			im.put(out[i*n:], littleEndian(row[i*size:][:size]))
		}
	}
}

// expandTable looks the places up.
func (im *Image) expandTable(row, out []byte) {
	p := im.packed
	for i := range len(out) / im.Bands {
		place := bitsAt(row, i*p.bits, p.bits)
		copy(out[i*im.Bands:][:im.Bands], p.table[4*place:])
	}
}

// put writes one sample, whose stored bits are v.
func (im *Image) put(out []byte, v uint64) {
	p := im.packed
	switch p.packing {
	case packedMask:
		out[0] = -byte(v)
	case packedFloat:
		mantissa := 10
		if p.bits == 24 {
			mantissa = 16
		}
		binary.LittleEndian.PutUint32(out, smallFloat(uint32(v), p.bits, mantissa))
	case packedSigned:
		if p.bits == 8 {
			binary.LittleEndian.PutUint16(out, uint16(int8(v)))
			return
		}
		binary.LittleEndian.PutUint64(out, math.Float64bits(float64(int64(v))))
	case packedWide:
		binary.LittleEndian.PutUint64(out, math.Float64bits(float64(v)))
	default:
		switch im.Sample.Bytes() {
		case 1:
			out[0] = byte(v)
		case 2:
			binary.LittleEndian.PutUint16(out, uint16(v))
		default:
			binary.LittleEndian.PutUint32(out, uint32(v))
		}
	}
}

// bitsAt is the n bits from bit at on, the first one highest; n is at most 32.
func bitsAt(row []byte, at, n int) (v uint64) {
	for first := at / 8; first <= (at+n-1)/8; first++ {
		v = v<<8 | uint64(row[first])
	}
	return v >> uint((8-(at+n)%8)%8) & (1<<n - 1)
}

// littleEndian is the number of up to eight bytes, the first one lowest.
func littleEndian(b []byte) (v uint64) {
	for i, x := range b {
		v |= uint64(x) << (8 * i)
	}
	return v
}

// smallFloat is the 32-bit form of a float of fewer bits that is laid out as
// IEEE 754 lays out its own: a sign, an exponent, and mantissa bits.
func smallFloat(v uint32, size, mantissa int) uint32 {
	exponentBits := size - 1 - mantissa
	bias := 1<<(exponentBits-1) - 1
	sign := v >> (size - 1) << 31
	exponent := int(v>>mantissa) & (1<<exponentBits - 1)
	fraction := v & (1<<mantissa - 1)
	switch {
	case exponent == 1<<exponentBits-1: // infinite, or no number
		return sign | 0x7f80_0000 | fraction<<(23-mantissa)
	case exponent == 0 && fraction == 0:
		return sign
	case exponent == 0: // too small for its first bit to be implied
		shift := mantissa + 1 - bits.Len32(fraction)
		exponent, fraction = 1-shift, fraction<<shift&(1<<mantissa-1)
	}
	return sign | uint32(exponent-bias+127)<<23 | fraction<<(23-mantissa)
}

// inverted is what v, as stored, counts where white is zero.
func (im *Image) inverted(v float64) float64 { return im.whitest() - v }

// whitest is the largest number that the stored samples can be.
func (im *Image) whitest() float64 {
	size := 8 * im.Sample.Bytes()
	if im.packed != nil {
		size = im.packed.bits
	}
	return float64(uint64(1)<<size - 1)
}

// invert turns samples of a picture in which white is zero round, in place.
func (im *Image) invert(out []byte) {
	var white [8]byte
	n := im.Sample.Bytes()
	binary.LittleEndian.PutUint64(white[:], uint64(im.whitest()))
	for i := range out {
		out[i] ^= white[i%n]
	}
}

// reverseBits turns the bits of every byte round.
func reverseBits(b []byte) {
	for i, v := range b {
		b[i] = bits.Reverse8(v)
	}
}
