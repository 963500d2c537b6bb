//go:build !amd64

package inflate

// stepBytes is larger than any slice, so that byteSums is never asked.
const stepBytes = 1 << 30

func byteSums([]byte) (sum, before, weighed uint64) { return 0, 0, 0 }
