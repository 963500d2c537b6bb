package geotiff

import "errors"

var errPackBits = errors.New("runs of bytes do not fill the rows")

// packBits undoes PackBits (TIFF 6.0, section 9): a count and that many bytes
// as they are, or a negative count and one byte to repeat.
func packBits(out, in []byte) error {
	for len(out) > 0 {
		if len(in) < 2 {
			return errPackBits
		}
		n := int(int8(in[0]))
		in = in[1:]
		switch {
		case n == -128: // no operation
		case n < 0:
			k := min(1-n, len(out))
			for i := range k {
				out[i] = in[0]
			}
			out, in = out[k:], in[1:]
		default:
			k := min(n+1, len(out))
			if k > len(in) {
				return errPackBits
			}
			copy(out, in[:k])
			out, in = out[k:], in[min(n+1, len(in)):]
		}
	}
	return nil
}
