// Package baseline decodes baseline JPEG (ITU-T T.81) from one whole slice
// into planes that are used again, which is several times faster than a stream
// is. It takes what pieces of pictures are: one scan, of one, three or four
// components. All else, and all that is damaged, it leaves to the decoder of
// the standard library, which also is what the tests hold it to.
package baseline

import (
	"bytes"
	"encoding/binary"
	"image"
	"slices"
)

// Markers, after their 0xff.
const (
	startOfBaseline = 0xc0
	startOfExtended = 0xc1
	huffmanTables   = 0xc4
	firstRestart    = 0xd0
	startOfImage    = 0xd8
	endOfImage      = 0xd9
	startOfScan     = 0xda
	quantTables     = 0xdb
	restartInterval = 0xdd
	firstApp        = 0xe0
	adobeApp        = 0xee
	lastApp         = 0xef
	comment         = 0xfe
)

// blockSize is the coefficients of a block of 8 x 8 samples.
const blockSize = 64

// A Decoder holds tables and planes. Its zero value is ready; it may be used
// again and again, but by one goroutine at a time.
type Decoder struct {
	quant          [4][blockSize]int32 // as stored, in zigzag order
	hasQuant       [4]bool
	dc, ac         [2]huffman
	frame          frame
	interval       int // MCUs between restart markers, 0 for none
	jfif           bool
	adobe          bool // whether there is Adobe's marker, and
	untransformed  bool // whether it says that samples are what they are
	bits           bits
	coef           coefficients // of one block, zeros in between
	across, pixels coefficients
	plane          [4][]byte
	ycc            image.YCbCr
	gray           image.Gray
	four           image.NRGBA
}

// A frame is what the header says of the picture.
type frame struct {
	cols, rows int
	across     int // MCUs
	down       int
	comps      []component
	array      [4]component
}

// A component is one plane of samples.
type component struct {
	id     byte
	h, v   int // blocks of one MCU
	quant  byte
	dc, ac byte
	pix    []byte
	stride int
	last   int32 // DC coefficient of the block before
}

// Decode returns the picture that data hold, which is valid until the next
// call: an [*image.Gray], an [*image.YCbCr], or an [*image.NRGBA] whose four
// samples are as stored, whatever they mean. It returns nil when they
// are damaged, of a kind that is not decoded here, or larger than mostCols x
// mostRows.
func (d *Decoder) Decode(data []byte, mostCols, mostRows int) image.Image {
	d.hasQuant, d.interval, d.frame, d.coef = [4]bool{}, 0, frame{}, coefficients{}
	d.jfif, d.adobe, d.untransformed = false, false, false
	d.dc[0].made, d.dc[1].made, d.ac[0].made, d.ac[1].made = false, false, false, false
	if len(data) < 2 || data[0] != 0xff || data[1] != startOfImage {
		return nil
	}
	data = data[2:]
	for len(data) >= 4 && data[0] == 0xff {
		n := 2 + int(binary.BigEndian.Uint16(data[2:]))
		if n < 4 || n > len(data) {
			return nil
		}
		marker, body := data[1], data[4:n]
		data = data[n:]
		if marker == startOfScan {
			if rest := d.scan(body, data); len(rest) < 2 || rest[1] != endOfImage {
				return nil
			}
			return d.picture()
		}
		if !d.segment(marker, body) {
			return nil
		}
		if f := &d.frame; f.cols > mostCols || f.rows > mostRows {
			return nil
		}
	}
	return nil
}

// segment takes one segment before the scan, and reports whether it is one
// that is understood.
func (d *Decoder) segment(marker byte, body []byte) bool {
	switch {
	case marker == quantTables:
		return d.quantization(body)
	case marker == huffmanTables:
		return d.huffmans(body)
	case marker == startOfBaseline, marker == startOfExtended:
		return d.start(body)
	case marker == restartInterval && len(body) == 2:
		d.interval = int(binary.BigEndian.Uint16(body))
		return true
	case marker == adobeApp && len(body) >= 12 && bytes.HasPrefix(body, []byte("Adobe")):
		d.adobe, d.untransformed = true, body[11] == 0
		return true
	case marker == firstApp && len(body) >= 5:
		d.jfif = string(body[:5]) == "JFIF\x00"
		return true
	}
	return marker >= firstApp && marker <= lastApp || marker == comment
}

func (d *Decoder) quantization(body []byte) bool {
	for len(body) > 0 {
		size, to := 1+int(body[0]>>4), body[0]&15
		if size > 2 || to > 3 || len(body) < 1+size*blockSize {
			return false
		}
		for i := range blockSize {
			if size == 1 {
				d.quant[to][i] = int32(body[1+i])
			} else {
				d.quant[to][i] = int32(binary.BigEndian.Uint16(body[1+2*i:]))
			}
		}
		d.hasQuant[to] = true
		body = body[1+size*blockSize:]
	}
	return true
}

func (d *Decoder) huffmans(body []byte) bool {
	for len(body) > 0 {
		if len(body) < 17 || body[0]&15 > 1 || body[0]>>4 > 1 {
			return false
		}
		n := 0
		for _, c := range body[1:17] {
			n += int(c)
		}
		if n == 0 || n > 256 || len(body) < 17+n {
			return false
		}
		to := &d.dc[body[0]&15]
		if body[0]>>4 == 1 {
			to = &d.ac[body[0]&15]
		}
		if !to.make([16]byte(body[1:17]), body[17:17+n]) {
			return false
		}
		body = body[17+n:]
	}
	return true
}

// start takes the header of a frame.
func (d *Decoder) start(body []byte) bool {
	f := &d.frame
	if f.comps != nil || len(body) < 6 || body[0] != 8 {
		return false
	}
	n := int(body[5])
	if n != 1 && n != 3 && n != 4 || len(body) != 6+3*n {
		return false
	}
	f.rows, f.cols = int(binary.BigEndian.Uint16(body[1:])), int(binary.BigEndian.Uint16(body[3:]))
	if f.rows == 0 || f.cols == 0 {
		return false
	}
	f.comps = f.array[:n]
	for i := range f.comps {
		c, s := &f.comps[i], body[6+3*i:]
		c.id, c.h, c.v, c.quant = s[0], int(s[1]>>4), int(s[1]&15), s[2]
		if n == 1 && c.h >= 1 && c.h <= 2 && c.v >= 1 && c.v <= 2 { // one component has no ratio to another
			c.h, c.v = 1, 1
		}
		most := 1
		if i == 0 && n == 3 {
			most = 2
		}
		if c.h < 1 || c.h > most || c.v < 1 || c.v > most || c.quant > 3 {
			return false
		}
		if slices.ContainsFunc(f.comps[:i], func(o component) bool { return o.id == c.id }) {
			return false
		}
	}
	f.across = (f.cols + 8*f.comps[0].h - 1) / (8 * f.comps[0].h)
	f.down = (f.rows + 8*f.comps[0].v - 1) / (8 * f.comps[0].v)
	return true
}

// RGB reports whether the picture that was decoded last is marked as holding
// red, green and blue where an [*image.YCbCr] has luminance and colour.
func (d *Decoder) RGB() bool {
	c := d.frame.comps
	return len(c) == 3 && !d.jfif && (d.untransformed || c[0].id == 'R' && c[1].id == 'G' && c[2].id == 'B')
}

// picture is what was decoded.
func (d *Decoder) picture() image.Image {
	f := &d.frame
	r := image.Rect(0, 0, f.cols, f.rows)
	if len(f.comps) == 1 {
		d.gray = image.Gray{Pix: f.comps[0].pix, Stride: f.comps[0].stride, Rect: r}
		return &d.gray
	}
	if len(f.comps) == 4 {
		return d.interleaved(r)
	}
	ratio := [...]image.YCbCrSubsampleRatio{
		image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420,
	}[2*(f.comps[0].h-1)+f.comps[0].v-1]
	d.ycc = image.YCbCr{
		Y: f.comps[0].pix, Cb: f.comps[1].pix, Cr: f.comps[2].pix,
		YStride: f.comps[0].stride, CStride: f.comps[1].stride, SubsampleRatio: ratio, Rect: r,
	}
	return &d.ycc
}

// interleaved puts four planes together.
func (d *Decoder) interleaved(r image.Rectangle) image.Image {
	c := d.frame.comps
	n := 4 * r.Dx()
	d.four = image.NRGBA{Pix: slices.Grow(d.four.Pix[:0], n*r.Dy())[:n*r.Dy()], Stride: n, Rect: r}
	for y := range r.Dy() {
		from := y * c[0].stride // all have the same
		p0, p1, p2, p3 := c[0].pix[from:], c[1].pix[from:], c[2].pix[from:], c[3].pix[from:]
		for x := range r.Dx() {
			to := d.four.Pix[y*n+4*x:][:4]
			to[0], to[1], to[2], to[3] = p0[x], p1[x], p2[x], p3[x]
		}
	}
	return &d.four
}

// planes gives every component its plane.
func (d *Decoder) planes() {
	f := &d.frame
	for i := range f.comps {
		c := &f.comps[i]
		c.stride = 8 * c.h * f.across
		n := 8 * c.v * f.down * c.stride
		d.plane[i] = slices.Grow(d.plane[i][:0], n)[:n]
		c.pix = d.plane[i]
	}
}
