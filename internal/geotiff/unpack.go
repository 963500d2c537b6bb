package geotiff

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zlib"
)

// An unpacker undoes compressions and keeps what they need from one segment
// to the next.
type unpacker struct {
	zlib io.ReadCloser
}

// unpack fills out with the rows of the part that in is the stored form of.
func (u *unpacker) unpack(im *Image, in, out []byte, p part) error {
	switch im.Compression {
	case "deflate":
		return u.deflate(in, out)
	}
	return errors.ErrUnsupported
}

func (u *unpacker) deflate(in, out []byte) (err error) {
	r := bytes.NewReader(in)
	if u.zlib == nil {
		u.zlib, err = zlib.NewReader(r)
	} else {
		err = u.zlib.(zlib.Resetter).Reset(r, nil)
	}
	if err != nil {
		return err
	}
	if n, err := io.ReadFull(u.zlib, out); err != nil {
		return fmt.Errorf("%d of %d bytes: %w", n, len(out), err)
	}
	return nil
}
