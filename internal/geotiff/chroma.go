package geotiff

import (
	"image"
	"slices"
)

// A mixer turns luminance and colour differences into red, green and blue by
// the conversion of ITU-T T.871 (JFIF), section 7, in fixed point with 16 bits.
//
// A word holds blue in its lowest 16 bits, then red, and green in its upper
// half, of which 16 bits are a fraction. Where all three are within 0 to 255,
// the bits of mixBeyond are 0.
type mixer struct {
	blue, red [256]uint64 // what each difference adds to a word
	sums      []uint64    // of a row: both differences in the halves of a word
	word      [mixRun]uint64
}

const (
	mixOnes   = 1 | 1<<16 | 1<<48 // one level of luminance
	mixBeyond = 0xff00 * mixOnes
	both      = 1 | 1<<32
)

func newMixer() *mixer {
	const half = 1 << 15
	m := &mixer{}
	for i := range m.blue {
		d := int64(i) - 128
		m.blue[i] = uint64((116130*d+half)>>16) + uint64(-22554*d)<<32
		m.red[i] = uint64((91881*d+half)>>16)<<16 + uint64(-46802*d+half)<<32
	}
	return m
}

// put stores the pixel that the word t stands for.
func put(px *[3]byte, t uint64) {
	if t&mixBeyond != 0 { // 256 more in each, so that none borrows from the next
		t += 256 * mixOnes
		level := func(v uint64) byte { return byte(max(256, min(v&0xffff, 511))) }
		px[0], px[1], px[2] = level(t>>16), level(t>>48), level(t)
		return
	}
	px[0], px[1], px[2] = byte(t>>16), byte(t>>48), byte(t)
}

// row fills px with the first pixels of row r of p.
func (m *mixer) row(px []byte, p *image.YCbCr, r int) {
	luma := p.Y[r*p.YStride:][:len(px)/3]
	switch p.SubsampleRatio {
	case image.YCbCrSubsampleRatio420, image.YCbCrSubsampleRatio422:
		m.halved(px, luma, p, r)
	case image.YCbCrSubsampleRatio444:
		blue, red := p.Cb[r*p.CStride:][:len(luma)], p.Cr[r*p.CStride:][:len(luma)]
		for x, y := range luma {
			put((*[3]byte)(px[3*x:]), m.blue[blue[x]]+m.red[red[x]]+uint64(y)*mixOnes)
		}
	case image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410: // the nearest difference
		for x, y := range luma {
			at := p.COffset(x, r)
			put((*[3]byte)(px[3*x:]), m.blue[p.Cb[at]]+m.red[p.Cr[at]]+uint64(y)*mixOnes)
		}
	}
}

// mixRun is how many pixels are mixed together. That it is a constant spares
// the loops over them all checks.
const mixRun = 32

// halved is row where two pixels lie over one difference. The differences of
// a pixel are interpolated as those of a [chroma].
func (m *mixer) halved(px, luma []byte, p *image.YCbCr, r int) {
	sums, even, odd := m.rowSums(p, r)
	for ; len(luma) >= mixRun; px, luma, sums = px[3*mixRun:], luma[mixRun:], sums[mixRun/2:] {
		m.words((*[mixRun/2 + 2]uint64)(sums), even, odd)
		if m.mix((*[3 * mixRun]byte)(px), (*[mixRun]byte)(luma))&mixBeyond != 0 { // rare
			m.single(px, luma[:mixRun], sums, even, odd)
		}
	}
	m.single(px, luma, sums, even, odd)
}

// words is what the differences add to the words of pixels.
func (m *mixer) words(sums *[mixRun/2 + 2]uint64, even, odd uint64) {
	last, s := sums[0], sums[1]
	for i := range mixRun / 2 {
		next := sums[i+2]
		left, right := (3*s+last+even)>>4, (3*s+next+odd)>>4
		last, s = s, next
		m.word[2*i] = m.blue[byte(left)] + m.red[byte(left>>32)]
		m.word[2*i+1] = m.blue[byte(right)] + m.red[byte(right>>32)]
	}
}

// mix adds luminance to words and stores the pixels. The bits of mixBeyond tell
// whether all were within 0 to 255, as they must be.
func (m *mixer) mix(px *[3 * mixRun]byte, luma *[mixRun]byte) (beyond uint64) {
	for i, y := range luma {
		t := m.word[i] + uint64(y)*mixOnes
		beyond |= t
		px[3*i], px[3*i+1], px[3*i+2] = byte(t>>16), byte(t>>48), byte(t)
	}
	return beyond
}

// single mixes pixels one by one, whatever their colours.
func (m *mixer) single(px, luma []byte, sums []uint64, even, odd uint64) {
	for i, y := range luma {
		near, half := sums[i/2], even
		if i%2 != 0 {
			near, half = sums[i/2+2], odd
		}
		d := (3*sums[i/2+1] + near + half) >> 4
		put((*[3]byte)(px[3*i:]), m.blue[byte(d)]+m.red[byte(d>>32)]+uint64(y)*mixOnes)
	}
}

// rowSums is the differences of row r, four times as large, or sixteen times
// where rows are interpolated, too; the first and the last come twice. With it
// comes what rounds a sixteenth of four of them.
func (m *mixer) rowSums(p *image.YCbCr, r int) (sums []uint64, even, odd uint64) {
	size := p.Rect.Size()
	n := (size.X + 1) / 2
	m.sums = slices.Grow(m.sums[:0], n+2)[:n+2]
	at, near := r, r
	even, odd = 4*both, 8*both
	if p.SubsampleRatio == image.YCbCrSubsampleRatio420 {
		at, near = r/2, max(0, min(r/2+r%2*2-1, (size.Y+1)/2-1))
		even, odd = 8*both, 7*both
	}
	inner := m.sums[1 : n+1]
	b0, b1 := p.Cb[at*p.CStride:][:len(inner)], p.Cb[near*p.CStride:][:len(inner)]
	r0, r1 := p.Cr[at*p.CStride:][:len(inner)], p.Cr[near*p.CStride:][:len(inner)]
	for i := range inner {
		inner[i] = 3*(uint64(b0[i])|uint64(r0[i])<<32) + (uint64(b1[i]) | uint64(r1[i])<<32)
	}
	m.sums[0], m.sums[n+1] = inner[0], inner[n-1]
	return m.sums, even, odd
}

// A chroma is a plane of colour differences that may have half the columns
// and half the rows of the picture. Samples in between are the linear
// interpolation of the two nearest ones, three parts to one.
type chroma struct {
	plane            []byte
	stride           int
	cols, rows       int // of the plane
	halfCol, halfRow bool
	plain            *image.YCbCr // for other ratios: the nearest sample
	wide             []byte
	sum              []int32
}

func newChroma(p *image.YCbCr, plane []byte) *chroma {
	size := p.Rect.Size()
	c := &chroma{plane: plane, stride: p.CStride, cols: size.X, rows: size.Y}
	switch p.SubsampleRatio {
	case image.YCbCrSubsampleRatio444:
	case image.YCbCrSubsampleRatio422:
		c.halfCol = true
	case image.YCbCrSubsampleRatio420:
		c.halfCol, c.halfRow = true, true
	case image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410:
		c.plain = p
	default:
		c.plain = p
	}
	if c.halfCol {
		c.cols = (size.X + 1) / 2
	}
	if c.halfRow {
		c.rows = (size.Y + 1) / 2
	}
	c.wide, c.sum = make([]byte, size.X+1), make([]int32, c.cols)
	return c
}

// row returns row r of the picture's size; it is valid until the next call.
func (c *chroma) row(r int) []byte {
	switch {
	case c.plain != nil:
		for x := range c.wide[:len(c.wide)-1] {
			c.wide[x] = c.plane[c.plain.COffset(x, r)]
		}
		return c.wide
	case !c.halfCol:
		return c.plane[r*c.stride:][:c.cols]
	}
	sums := c.sum
	shift, even, odd := 2, int32(1), int32(2)
	if c.halfRow {
		shift, even, odd = 4, 8, 7
		at, near := r/2, max(0, min(r/2+r%2*2-1, c.rows-1))
		here, there := c.plane[at*c.stride:][:len(sums)], c.plane[near*c.stride:][:len(sums)]
		for i := range sums {
			sums[i] = 3*int32(here[i]) + int32(there[i])
		}
	} else {
		for i, v := range c.plane[r*c.stride:][:len(sums)] {
			sums[i] = int32(v)
		}
	}
	// Each sample gives two, beside its neighbours; the first and the last one
	// are their own neighbour.
	wide, left := c.wide, sums[0]
	for i, s := range sums[:len(sums)-1] {
		pair := wide[2*i:][:2]
		pair[0] = byte((3*s + left + even) >> (shift & 31))
		pair[1] = byte((3*s + sums[i+1] + odd) >> (shift & 31))
		left = s
	}
	last := len(sums) - 1
	wide[2*last] = byte((3*sums[last] + left + even) >> shift)
	if 2*last+1 < len(wide) {
		wide[2*last+1] = byte((4*sums[last] + odd) >> shift)
	}
	return c.wide
}
