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
	pic, rgb, err := u.picture(whole, cols+15, im.layout.rows+15)
	if err != nil {
		return err
	}
	size := pic.Bounds().Size()
	if size.X < cols && size.X < im.Cols || size.Y < rows {
		return errLess
	}
	return u.jpegPixels(im, pic, rgb, out, min(cols, size.X), rows)
}

// picture decodes a whole JPEG, held to the size of a piece before its pixels
// are allocated. What the decoder of plain pieces does not take, the standard
// library does. The second result says that an [*image.YCbCr] holds red, green
// and blue.
func (u *unpacker) picture(whole []byte, cols, rows int) (image.Image, bool, error) {
	if pic := u.baseline.Decode(whole, cols, rows); pic != nil {
		return pic, u.baseline.RGB(), nil
	}
	head, err := jpeg.DecodeConfig(bytes.NewReader(whole))
	if err != nil {
		return nil, false, jpegError(err)
	}
	if head.Width > cols || head.Height > rows {
		return nil, false, fmt.Errorf("%w: %d x %d pixels instead of %d x %d", errJPEGKind, head.Width, head.Height, cols-15, rows-15)
	}
	pic, err := jpeg.Decode(bytes.NewReader(whole))
	if err != nil {
		return nil, false, jpegError(err)
	}
	return pic, false, nil
}

// jpegError tells data that are damaged from such that are not decoded here.
func jpegError(err error) error {
	if _, ok := errors.AsType[jpeg.UnsupportedError](err); ok {
		return errors.Join(errors.ErrUnsupported, err)
	}
	return err
}

// jpegPixels copies the samples of a decoded piece.
func (u *unpacker) jpegPixels(im *Image, pic image.Image, rgb bool, out []byte, cols, rows int) error {
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
		if rgb || !im.ycc {
			im.threeBands(p, out, cols, rows)
			break
		}
		if u.mixer == nil {
			u.mixer = newMixer()
		}
		for r := range rows {
			u.mixer.row(out[r*rowBytes:][:3*cols], p, r)
		}
	case *image.RGBA: // marked as red, green, blue by the names of its components
		if bands != 3 {
			return errJPEGKind
		}
		for r := range rows {
			for c := range cols {
				copy(out[r*rowBytes+c*3:][:3], p.Pix[r*p.Stride+c*4:])
			}
		}
	case *image.NRGBA:
		if bands != 4 {
			return errJPEGKind
		}
		for r := range rows {
			copy(out[r*rowBytes:], p.Pix[r*p.Stride:][:cols*4])
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

// threeBands copies three samples a pixel as they are.
func (im *Image) threeBands(p *image.YCbCr, out []byte, cols, rows int) {
	second, third := newChroma(p, p.Cb), newChroma(p, p.Cr)
	for r := range rows {
		first := p.Y[r*p.YStride:][:cols]
		second, third := second.row(r), third.row(r)
		px := out[r*im.layout.cols*3:][:cols*3]
		for c, v := range first {
			px[3*c], px[3*c+1], px[3*c+2] = v, second[c], third[c]
		}
	}
}
