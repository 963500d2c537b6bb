package geotiff

import (
	"errors"

	"bittern/internal/geotiff/inflate"
)

// An unpacker undoes compressions and keeps what they need from one segment
// to the next.
type unpacker struct {
	deflate inflate.Decoder
	whole   []byte
}

// unpack fills out with the rows that the part's segment holds; in is its
// stored form.
func (u *unpacker) unpack(im *Image, in, out []byte) error {
	switch im.Compression {
	case "deflate":
		return u.zlib(im, in, out)
	}
	return errors.ErrUnsupported
}

// zlib undoes Deflate. The last strip of a picture may have been stored whole,
// with rows below the picture; some writers do that.
func (u *unpacker) zlib(im *Image, in, out []byte) error {
	err := u.deflate.Zlib(out, in)
	full := im.layout.rows * int(im.layout.rowBytes(im))
	if !errors.Is(err, inflate.ErrTooLong) || len(out) == full {
		return err
	}
	if cap(u.whole) < full {
		u.whole = make([]byte, full)
	}
	if err := u.deflate.Zlib(u.whole[:full], in); err != nil {
		return err
	}
	copy(out, u.whole)
	return nil
}
