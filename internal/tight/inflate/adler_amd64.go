package inflate

import "unsafe"

// stepBytes is how many bytes [byteSums] takes at a time.
const stepBytes = 16

// byteSums is, of a whole number of steps: the sum of all bytes, the sum of
// what that sum was before each step, and the sum of the bytes each weighed by
// how many bytes of its step begin with it, 16 to 1. Steps are at most 4,096.
func byteSums(p []byte) (sum, before, weighed uint64) {
	return sumSteps(unsafe.Pointer(unsafe.SliceData(p)), len(p)/stepBytes)
}

// sumSteps is byteSums of n steps at p, in SSE2, which every processor of
// this kind has.
//
//go:noescape
func sumSteps(p unsafe.Pointer, n int) (sum, before, weighed uint64)
