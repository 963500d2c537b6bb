package geotiff

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
)

// FromPicture makes a picture of pixels that are already in memory, as the
// decoders of the standard library leave them: gray, colour, or colour with
// transparency, of 8 or 16 bits. It has no place on the ground, and may keep
// pic's pixels, which must not change any more. Colours of
// JPEG are turned into red, green and blue; a colour table becomes colours.
//
// The error wraps errors.ErrUnsupported for pixels of other kinds, such as
// printing colours.
func FromPicture(pic image.Image) (*Image, error) {
	size := pic.Bounds().Size()
	im := &Image{
		Cols: size.X, Rows: size.Y, Bands: 3, Sample: Uint8, StoredBits: 8, Alpha: -1,
		Compression: "none", Predictor: 1, Interleaved: true,
	}
	switch pic.(type) {
	case *image.Gray:
		im.Bands = 1
	case *image.Gray16:
		im.Bands, im.Sample, im.StoredBits = 1, Uint16, 16
	case *image.RGBA64:
		im.Sample, im.StoredBits = Uint16, 16
	case *image.NRGBA64:
		im.Bands, im.Sample, im.StoredBits, im.Alpha = 4, Uint16, 16, 3
	case *image.NRGBA, *image.Paletted:
		im.Bands, im.Alpha = 4, 3
	case *image.RGBA:
	case *image.YCbCr:
		im.ycc, im.Lossy = true, true
	default:
		return nil, errors.ErrUnsupported
	}
	if size.X < 1 || size.Y < 1 {
		return nil, damaged("it has no pixels")
	}
	im.nameNothing()
	photo := uint64(photoRGB)
	if im.Bands == 1 {
		photo = photoBlackIsZero
	}
	im.bandColors(photo)
	im.layout = layout{
		cols: size.X, rows: size.Y, segAcross: 1, segDown: 1, planes: 1, gather: 1, cut: 1, offsets: []uint64{0},
	}
	data := im.memory(pic)
	im.src = &source{r: bytes.NewReader(data), size: int64(len(data)), order: binary.LittleEndian}
	im.layout.counts = []uint64{uint64(len(data))}
	return im, im.layout.blocks(im)
}

// memory is the pixels of pic as the picture's only strip.
func (im *Image) memory(pic image.Image) []byte {
	n := im.Cols * im.Bands * im.Sample.Bytes()
	switch p := pic.(type) { // nothing to change: nothing to copy
	case *image.Gray:
		if p.Stride == n {
			return p.Pix[:n*im.Rows]
		}
	case *image.NRGBA:
		if p.Stride == n {
			return p.Pix[:n*im.Rows]
		}
	}
	out := make([]byte, n*im.Rows)
	if p, ok := pic.(*image.YCbCr); ok {
		m := newMixer()
		for r := range im.Rows {
			m.row(out[r*n:][:n], p, r)
		}
		return out
	}
	for r := range im.Rows {
		row := out[r*n:][:n]
		switch p := pic.(type) {
		case *image.Gray:
			copy(row, p.Pix[r*p.Stride:])
		case *image.NRGBA:
			copy(row, p.Pix[r*p.Stride:])
		case *image.RGBA: // of a decoder: opaque
			for c := range im.Cols {
				copy(row[3*c:][:3], p.Pix[r*p.Stride+4*c:])
			}
		case *image.Paletted:
			for c := range im.Cols {
				tableColor(row[4*c:], p, c, r)
			}
		case *image.Gray16:
			swapped(row, p.Pix[r*p.Stride:], 2, 2)
		case *image.RGBA64:
			swapped(row, p.Pix[r*p.Stride:], 6, 8)
		case *image.NRGBA64:
			swapped(row, p.Pix[r*p.Stride:], 8, 8)
		}
	}
	return out
}

// tableColor writes a pixel's colour of the table, red first.
func tableColor(px []byte, p *image.Paletted, c, r int) {
	at := p.Pix[r*p.Stride+c]
	if int(at) >= len(p.Palette) {
		return
	}
	red, green, blue, alpha := p.Palette[at].RGBA()
	if alpha > 0 { // the colours come multiplied by it
		px[0], px[1], px[2] = byte(red*0xffff/alpha>>8), byte(green*0xffff/alpha>>8), byte(blue*0xffff/alpha>>8)
	}
	px[3] = byte(alpha >> 8)
}

// swapped copies 16-bit samples in the other byte order: n bytes out of every
// step.
func swapped(dst, src []byte, n, step int) {
	for ; len(dst) >= n; dst, src = dst[n:], src[min(step, len(src)):] {
		for i := 0; i < n; i += 2 {
			dst[i], dst[i+1] = src[i+1], src[i]
		}
	}
}
