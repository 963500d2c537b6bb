package geotiff

import (
	"errors"

	"github.com/klauspost/compress/zstd"

	"bittern/internal/geotiff/baseline"
	"bittern/internal/tight/inflate"
)

var errLess = errors.New("compressed data hold less than expected")

// An unpacker undoes compressions and keeps what they need from one segment
// to the next.
type unpacker struct {
	deflate  inflate.Decoder
	lzw      *lzwTable
	zstd     *zstd.Decoder
	baseline baseline.Decoder
	mixer    *mixer
	whole    []byte
	joined   []byte
}

// unpack fills out with the rows that the part's segment holds; in is its
// stored form.
func (u *unpacker) unpack(im *Image, in, out []byte) error {
	switch im.Compression {
	case "deflate":
		return u.zlib(im, in, out)
	case "lzw":
		if u.lzw == nil {
			u.lzw = newLZW()
		}
		return u.lzw.any(out, in)
	case "packbits":
		return packBits(out, in)
	case "zstd":
		return u.zstandard(im, in, out)
	case "webp":
		return u.webp(im, in, out)
	case "jpeg":
		return u.jpeg(im, in, out)
	}
	return errors.ErrUnsupported
}

// zstandard undoes ZSTD, with memory bounded by what one segment needs.
func (u *unpacker) zstandard(im *Image, in, out []byte) (err error) {
	const window = 64 << 20 // beyond what any writer of pictures uses
	if u.zstd == nil {
		most := uint64(window) + im.layout.bytes(im, im.layout.rows)
		u.zstd, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(most))
		if err != nil {
			return err
		}
	}
	var head zstd.Header
	if err := head.Decode(in); err != nil {
		return err
	}
	if head.HasFCS && head.FrameContentSize < uint64(len(out)) {
		return errLess
	}
	got, err := u.zstd.DecodeAll(in, out[:0])
	switch {
	case err != nil:
		return err
	case len(got) < len(out):
		return errLess
	case len(got) > len(out):
		copy(out, got) // a last strip that was stored whole
	}
	return nil
}

// zlib undoes Deflate. The last strip of a picture may have been stored whole,
// with rows below the picture; some writers do that.
func (u *unpacker) zlib(im *Image, in, out []byte) error {
	err := u.deflate.Zlib(out, in)
	full := int(im.layout.bytes(im, im.layout.rows))
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
