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
		for c, y := range luma {
			px[3*c], px[3*c+1], px[3*c+2] = toRGB(int32(y), int32(blue[c])-128, int32(red[c])-128)
		}
	}
}

// toRGB is the conversion of ITU-T T.871 (JFIF), section 7, in fixed point with 16
// bits.
func toRGB(y, cb, cr int32) (r, g, b byte) {
	const half = 1 << 15
	clamp := func(v int32) byte { return byte(max(0, min(v, 255))) }
	return clamp(y + (91881*cr+half)>>16),
		clamp(y + (-22554*cb-46802*cr+half)>>16),
		clamp(y + (116130*cb+half)>>16)
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
	near, scale, round := r, int32(1), [2]int32{1, 2}
	at := r
	if c.halfRow {
		at, scale, round = r/2, 4, [2]int32{8, 7}
		near = max(0, min(at+r%2*2-1, c.rows-1))
	}
	for i := range c.sum {
		c.sum[i] = int32(c.plane[at*c.stride+i])
		if c.halfRow {
			c.sum[i] = 3*c.sum[i] + int32(c.plane[near*c.stride+i])
		}
	}
	for i, s := range c.sum {
		left, right := c.sum[max(i-1, 0)], c.sum[min(i+1, len(c.sum)-1)]
		c.wide[2*i] = byte((3*s + left + round[0]) / (4 * scale))
		if 2*i+1 < len(c.wide) {
			c.wide[2*i+1] = byte((3*s + right + round[1]) / (4 * scale))
		}
	}
	return c.wide
}
