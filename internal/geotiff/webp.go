package geotiff

import (
	"bytes"
	"fmt"
	"image"

	"golang.org/x/image/webp"
)

// webpKind refuses WebP pieces of other than bytes in three or four bands,
// and looks whether they are lossless.
func (im *Image) webpKind(*directory) error {
	if im.Compression != "webp" {
		return nil
	}
	n := im.storedBands()
	if im.Sample != Uint8 || im.packed != nil || n != 3 && n != 4 {
		return unread("the picture has WebP pieces of %d bands of %v, which are not read", n, im.Sample)
	}
	im.Lossy = true
	for i, count := range im.layout.counts {
		if count < 16 {
			continue
		}
		head, err := im.src.read(im.layout.offsets[i], 16)
		if err != nil {
			return err
		}
		im.Lossy = string(head[12:]) != "VP8L"
		break
	}
	return nil
}

// webp fills out with the pixels of a WebP piece.
func (u *unpacker) webp(im *Image, in, out []byte) error {
	cols, rows := im.layout.cols, len(out)/int(im.layout.rowBytes(im))
	head, err := webp.DecodeConfig(bytes.NewReader(in))
	if err != nil {
		return err
	}
	// Held to the size of a piece before its pixels are allocated.
	if head.Width != cols || head.Height > im.layout.rows {
		return fmt.Errorf("WebP data of %d x %d pixels instead of %d x %d", head.Width, head.Height, cols, rows)
	}
	if head.Height < rows {
		return errLess
	}
	pic, err := webp.Decode(bytes.NewReader(in))
	if err != nil {
		return err
	}
	im.webpPixels(pic, out, cols, rows)
	return nil
}

// webpPixels copies the samples of a decoded piece. A piece without
// transparency is opaque.
func (im *Image) webpPixels(pic image.Image, out []byte, cols, rows int) {
	bands := im.storedBands()
	switch p := pic.(type) {
	case *image.NRGBA:
		for r := range rows {
			from, to := p.Pix[r*p.Stride:], out[r*cols*bands:]
			for c := range cols {
				copy(to[c*bands:][:bands], from[4*c:])
			}
		}
	case *image.YCbCr:
		narrowRGB(p, out, bands, rows, func(int, int) byte { return 255 })
	case *image.NYCbCrA:
		narrowRGB(&p.YCbCr, out, bands, rows, func(c, r int) byte { return p.A[r*p.AStride+c] })
	}
}

// narrowRGB turns luminance of 16 to 235 and colour differences of 16 to 240
// into red, green and blue, as ITU-R BT.601 (section 2.5) says and RFC 6386
// (section 9.2) asks for, in fixed point with 14 bits.
func narrowRGB(p *image.YCbCr, out []byte, bands, rows int, alpha func(c, r int) byte) {
	const (
		one  = 1 << 14
		luma = one * 255 / 219
	)
	cols := p.Rect.Dx()
	clamp := func(v int32) byte { return byte(max(0, min((v+one/2)>>14, 255))) }
	cb, cr := newChroma(p, p.Cb), newChroma(p, p.Cr)
	for r := range rows {
		blue, red := cb.row(r), cr.row(r)
		for c, y := range p.Y[r*p.YStride:][:cols] {
			l, u, v := luma*(int32(y)-16), int32(blue[c])-128, int32(red[c])-128
			px := out[(r*cols+c)*bands:][:bands]
			px[0], px[1], px[2] = clamp(l+26149*v), clamp(l-6419*u-13320*v), clamp(l+33050*u)
			if bands == 4 {
				px[3] = alpha(c, r)
			}
		}
	}
}
