package geotiff

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
)

var errJPEGKind = errors.New("JPEG data of an unexpected kind")

// jpegTables reads the tables that all pieces of the picture share, without
// the end marker, so that a piece can follow.
func (im *Image) jpegTables(d *directory) error {
	if im.Compression != "jpeg" {
		return nil
	}
	tables, _, err := d.bytes(tagJPEGTables)
	if err != nil {
		return err
	}
	im.jpegHead = []byte{0xff, 0xd8}
	if bytes.HasPrefix(tables, im.jpegHead) {
		im.jpegHead = bytes.Clone(bytes.TrimSuffix(tables, []byte{0xff, 0xd9}))
	}
	// Three samples are decoded as if they were luminance and colour
	// differences, four as they are: what they mean is TIFF's to say.
	transform := byte(1)
	if im.segmentBands() == 4 {
		transform = 0
	}
	im.jpegHead = append(im.jpegHead, 0xff, 0xee, 0, 14, 'A', 'd', 'o', 'b', 'e', 0, 100, 0, 0, 0, 0, transform)
	switch n := im.segmentBands(); {
	case im.StoredBits > 8 && im.StoredBits <= 16: // GDAL is mostly built without such, too
		return unconverted("the picture has JPEG pieces of %d bits a sample, which are not read", im.StoredBits)
	case im.Sample != Uint8 || im.packed != nil || n != 1 && n != 3 && n != 4:
		return unread("the picture has JPEG pieces of %d bands of %v, which are not read", n, im.Sample)
	case im.ycc && n != 3:
		return unread("the picture has luminance and colour in %d bands, which is not read", n)
	}
	return nil
}

// jpeg fills out with the pixels of a JPEG piece.
func (u *unpacker) jpeg(im *Image, in, out []byte) error {
	if len(in) < 2 || in[0] != 0xff || in[1] != 0xd8 {
		return errJPEGKind
	}
	whole := append(append(u.joined[:0], im.jpegHead...), in[2:]...)
	u.joined = whole
	cols, rows := im.layout.cols, len(out)/int(im.layout.rowBytes(im))
	head, err := jpeg.DecodeConfig(bytes.NewReader(whole))
	if err != nil {
		return jpegError(err)
	}
	// Held to the size of a piece before its pixels are allocated.
	if head.Width > cols+15 || head.Height > im.layout.rows+15 {
		return fmt.Errorf("%w: %d x %d pixels instead of %d x %d", errJPEGKind, head.Width, head.Height, cols, rows)
	}
	if head.Width < cols && head.Width < im.Cols || head.Height < rows {
		return errLess
	}
	pic, err := jpeg.Decode(bytes.NewReader(whole))
	if err != nil {
		return jpegError(err)
	}
	return im.jpegPixels(pic, out, min(cols, head.Width), rows)
}

// jpegError tells data that are damaged from such that are not decoded here.
func jpegError(err error) error {
	if _, ok := errors.AsType[jpeg.UnsupportedError](err); ok {
		return errors.Join(errors.ErrUnsupported, err)
	}
	return err
}

// jpegPixels copies the samples of a decoded piece.
func (im *Image) jpegPixels(pic image.Image, out []byte, cols, rows int) error {
	bands := im.segmentBands()
	rowBytes := im.layout.cols * bands
	switch p := pic.(type) {
	case *image.Gray:
		if bands != 1 {
			return errJPEGKind
		}
		for r := range rows {
			copy(out[r*rowBytes:], p.Pix[r*p.Stride:][:cols])
		}
	case *image.YCbCr:
		if bands != 3 {
			return errJPEGKind
		}
		im.threeBands(p, out, cols, rows)
	case *image.RGBA: // marked as red, green, blue by the names of its components
		if bands != 3 {
			return errJPEGKind
		}
		for r := range rows {
			for c := range cols {
				copy(out[r*rowBytes+c*3:][:3], p.Pix[r*p.Stride+c*4:])
			}
		}
	case *image.CMYK:
		if bands != 4 {
			return errJPEGKind
		}
		for r := range rows {
			for c, v := range p.Pix[r*p.Stride:][:cols*4] {
				out[r*rowBytes+c] = 255 - v // the standard library has inverted them
			}
		}
	default:
		return errJPEGKind
	}
	return nil
}

// threeBands copies three samples a pixel, turning luminance and colour
// differences into red, green and blue where that is what they are.
func (im *Image) threeBands(p *image.YCbCr, out []byte, cols, rows int) {
	cb, cr := newChroma(p, p.Cb), newChroma(p, p.Cr)
	for r := range rows {
		luma := p.Y[r*p.YStride:][:cols]
		blue, red := cb.row(r), cr.row(r)
		px := out[r*im.layout.cols*3:][:cols*3]
		if !im.ycc {
			for c, y := range luma {
				px[3*c], px[3*c+1], px[3*c+2] = y, blue[c], red[c]
			}
			continue
		}
		blue, red = blue[:len(luma)], red[:len(luma)]
		for c, y := range luma {
			p := px[3*c:][:3]
			p[0], p[1], p[2] = toRGB(int32(y), int32(blue[c])-128, int32(red[c])-128)
		}
	}
}

// toRGB is the conversion of ITU-T T.871 (JFIF), section 7, in fixed point with 16
// bits.
func toRGB(y, cb, cr int32) (r, g, b byte) {
	const half = 1 << 15
	red, green, blue := y+(91881*cr+half)>>16, y+(-22554*cb-46802*cr+half)>>16, y+(116130*cb+half)>>16
	if uint32(red|green|blue) > 255 { // rare: one is below 0 or above 255
		red, green, blue = max(0, min(red, 255)), max(0, min(green, 255)), max(0, min(blue, 255))
	}
	return byte(red), byte(green), byte(blue)
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
