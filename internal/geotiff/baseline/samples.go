package baseline

import "encoding/binary"

// coefficients are a block of 8 x 8, row after row.
type coefficients [blockSize]int32

// Fixed point with 13 bits of the factors of the transform of C. Loeffler, A.
// Ligtenberg and G. Moschytz, Practical fast 1-D DCT algorithms with 11
// multiplications, ICASSP 1989, pp. 988-991. With these the results are those
// of the accurate integer transform that most programs use, to the last bit.
const (
	fixed = 13
	spare = 2 // more bits between the passes
)

// Where no coefficient lies beyond the first four columns, or rows, the bit
// that says so is in none of their places.
const (
	farColumn = 4
	farRow    = 32
)

// samples puts the samples of a block into dst and clears the block. The
// places of its coefficients, or-ed, are known. What across and down hold does
// not matter.
func (c *coefficients) samples(spread int, across, down *coefficients, dst []byte, stride int) {
	c[0] += 128 << 3 // samples lie about 128
	if spread == 0 {
		v := uint64(clamp((c[0]+4)>>3)) * 0x0101_0101_0101_0101
		c[0] = 0
		for r := range 8 {
			binary.LittleEndian.PutUint64(dst[r*stride:], v)
		}
		return
	}
	columns := 8
	if spread&farColumn == 0 {
		columns = 4
	}
	if spread&farRow == 0 {
		c.few(across, columns, fixed-spare)
		clear(c[:32])
	} else {
		c.transform(across, columns, fixed-spare)
		clear(c[:])
	}
	if spread&farColumn == 0 {
		across.few(down, 8, fixed+spare+3)
	} else {
		across.transform(down, 8, fixed+spare+3)
	}
	for r := range 8 {
		to := dst[r*stride:][:8]
		v := down[8*r : 8*r+8 : 8*r+8]
		if uint32(v[0]|v[1]|v[2]|v[3]|v[4]|v[5]|v[6]|v[7]) > 255 { // rare
			for i, v := range v {
				to[i] = clamp(v)
			}
			continue
		}
		low := uint32(v[0]) | uint32(v[1])<<8 | uint32(v[2])<<16 | uint32(v[3])<<24
		high := uint32(v[4]) | uint32(v[5])<<8 | uint32(v[6])<<16 | uint32(v[7])<<24
		binary.LittleEndian.PutUint64(to, uint64(low)|uint64(high)<<32)
	}
}

func clamp(v int32) byte {
	if uint32(v) > 255 {
		return byte(^v >> 31)
	}
	return byte(v)
}

// transform is the inverse transform of the first columns, each turned into a
// row of out, and divided by 2^shift.
func (c *coefficients) transform(out *coefficients, columns int, shift uint) {
	half := int32(1) << (shift - 1)
	for i := range columns & 15 {
		x0, x1, x2, x3 := c[i], c[8+i], c[16+i], c[24+i]
		x4, x5, x6, x7 := c[32+i], c[40+i], c[48+i], c[56+i]

		z := (x2 + x6) * 4433
		e2, e3 := z-x6*15137, z+x2*6270
		e0, e1 := (x0+x4)<<fixed+half, (x0-x4)<<fixed+half
		a0, a1, a2, a3 := e0+e3, e1+e2, e1-e2, e0-e3

		z5 := (x7 + x3 + x5 + x1) * 9633
		z3, z4 := z5-(x7+x3)*16069, z5-(x5+x1)*3196
		z1, z2 := (x7+x1)*7373, (x5+x3)*20995
		b0, b1 := x1*12299-z1+z4, x3*25172-z2+z3
		b2, b3 := x5*16819-z2+z4, x7*2446-z1+z3

		o := out[8*i : 8*i+8 : 8*i+8]
		o[0], o[7] = (a0+b0)>>(shift&31), (a0-b0)>>(shift&31)
		o[1], o[6] = (a1+b1)>>(shift&31), (a1-b1)>>(shift&31)
		o[2], o[5] = (a2+b2)>>(shift&31), (a2-b2)>>(shift&31)
		o[3], o[4] = (a3+b3)>>(shift&31), (a3-b3)>>(shift&31)
	}
}

// few is transform where only the first four rows are not 0.
func (c *coefficients) few(out *coefficients, columns int, shift uint) {
	half := int32(1) << (shift - 1)
	for i := range columns & 15 {
		x0, x1, x2, x3 := c[i], c[8+i], c[16+i], c[24+i]
		e := x0<<fixed + half
		z, y := x2*10703, x2*4433
		a0, a1, a2, a3 := e+z, e+y, e-y, e-z
		b0, b1 := x1*11363+x3*9633, x1*9633-x3*2259
		b2, b3 := x1*6437-x3*11362, x1*2260-x3*6436

		o := out[8*i : 8*i+8 : 8*i+8]
		o[0], o[7] = (a0+b0)>>(shift&31), (a0-b0)>>(shift&31)
		o[1], o[6] = (a1+b1)>>(shift&31), (a1-b1)>>(shift&31)
		o[2], o[5] = (a2+b2)>>(shift&31), (a2-b2)>>(shift&31)
		o[3], o[4] = (a3+b3)>>(shift&31), (a3-b3)>>(shift&31)
	}
}
