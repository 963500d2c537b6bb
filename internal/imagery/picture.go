package imagery

import (
	"bufio"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
)

// mostPixels is the largest JPEG or PNG picture that is read: such pictures
// must be held in memory whole.
const mostPixels = 64 << 20

// A codec decodes pictures of one kind.
type codec struct {
	name   string
	config func(io.Reader) (image.Config, error)
	decode func(io.Reader) (image.Image, error)
}

// codecOf is the codec of a file that begins with head, or nil.
func codecOf(head string) *codec {
	switch {
	case len(head) >= 3 && head[:3] == "\xff\xd8\xff":
		return &codec{"JPEG", jpeg.DecodeConfig, jpeg.Decode}
	case len(head) >= 8 && head[:8] == "\x89PNG\r\n\x1a\n":
		return &codec{"PNG", png.DecodeConfig, png.Decode}
	}
	return nil
}

// open decodes a picture of size bytes into memory.
func (c *codec) open(r io.ReaderAt, size int64) (*geotiff.Image, error) {
	whole := func() io.Reader { return bufio.NewReader(io.NewSectionReader(r, 0, size)) }
	head, err := c.config(whole())
	if err != nil {
		return nil, c.problem(err)
	}
	pixels := int64(head.Width) * int64(head.Height)
	switch {
	case pixels > mostPixels:
		return nil, convert(fmt.Sprintf("is a %s picture of %d x %d pixels, and such are read up to %d million pixels", c.name, head.Width, head.Height, mostPixels>>20), nil)
	case pixels > 4<<20 && pixels > size*8300: // more than either kind can hold: eight pixels a byte, a thousandfold
		return nil, c.problem(io.ErrUnexpectedEOF)
	}
	pic, err := c.decode(whole())
	if err != nil {
		return nil, c.problem(err)
	}
	im, err := geotiff.FromPicture(pic)
	switch {
	case errors.Is(err, errors.ErrUnsupported):
		return nil, convert("is a "+c.name+" picture in printing colours or of another kind that is not read", err)
	case err != nil:
		return nil, err
	}
	im.Compression = "none"
	return im, nil
}

// problem is what is wrong with a picture that does not decode.
func (c *codec) problem(err error) error {
	_, unsupported := errors.AsType[jpeg.UnsupportedError](err)
	_, unsupportedPNG := errors.AsType[png.UnsupportedError](err)
	if unsupported || unsupportedPNG {
		return convert("is a "+c.name+" picture of a kind that is not read", err)
	}
	return &doubt.Problem{
		What:   "the " + c.name + " picture is damaged or incomplete",
		Remedy: "copy or export it again and compare the sizes of the two files", Err: err,
	}
}

// convert is the problem of a sound picture that has to be converted.
func convert(what string, err error) error {
	return &doubt.Problem{
		What: what, Remedy: "convert it with: gdal_translate -co COMPRESS=DEFLATE -co TILED=YES in out.tif", Err: err,
	}
}
