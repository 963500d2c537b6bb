package cells

import (
	"slices"

	"bittern/internal/imagery"
)

// A stack is one file, or several whose pixels coincide: a camera that
// writes every band into a file of its own. Read together they are one
// picture, whose bands can be compared pixel by pixel.
type stack struct {
	files []*imagery.File
	bands []string // of each sample, file after file; "" is not used
}

// stacksOf gathers the files that have bands in use.
func stacksOf(files []*imagery.File) (stacks []stack) {
	used := func(name string) bool { return name != "" }
	for _, f := range files {
		if !slices.ContainsFunc(f.Bands, used) {
			continue
		}
		i := slices.IndexFunc(stacks, func(s stack) bool { return s.takes(f) })
		if i < 0 {
			stacks, i = append(stacks, stack{}), len(stacks)
		}
		stacks[i].files = append(stacks[i].files, f)
		stacks[i].bands = append(stacks[i].bands, f.Bands...)
	}
	return stacks
}

// takes reports whether f's pixels coincide with those of the stack, are
// stored alike, and hold other bands.
func (s stack) takes(f *imagery.File) bool {
	g := s.files[0]
	a, b := g.Image, f.Image
	for _, name := range f.Bands {
		if name != "" && slices.Contains(s.bands, name) {
			return false
		}
	}
	return a.Cols == b.Cols && a.Rows == b.Rows && *a.Affine == *b.Affine && g.CRS == f.CRS &&
		a.Sample == b.Sample && g.SRGB == f.SRGB && a.Alpha < 0 && b.Alpha < 0 && g.Mask == nil && f.Mask == nil &&
		a.BlockCols == b.BlockCols && a.BlockRows == b.BlockRows && sameVoid(a.NoData, b.NoData)
}

func sameVoid(a, b *float64) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// reader returns a reader of the stack. raw asks one file alone for
// differences along the row, floats for numbers of the bands' units.
func (s stack) reader(raw, floats bool) reader {
	switch first := s.files[0]; {
	case first.Mask != nil: // alone
		return newMaskedReader(first, floats)
	case len(s.files) == 1:
		return newFileReader(first, raw, floats)
	}
	r := &stackReader{size: len(s.bands) * sampleOf(s.files[0], floats).Bytes()}
	for _, f := range s.files {
		r.files = append(r.files, newFileReader(f, false, floats))
	}
	return r
}

// A stackReader reads the same block of several files into one pixel.
type stackReader struct {
	files []*fileReader
	size  int // bytes of a pixel
	buf   []byte
}

func (r *stackReader) read(c chunk) (pixels, error) {
	im := r.files[0].file.Image
	if !slices.ContainsFunc(r.files, func(f *fileReader) bool { return !f.file.Image.BlockEmpty(c.block) }) {
		return pixels{}, nil
	}
	n := im.BlockCols * im.BlockRows * r.size
	r.buf = slices.Grow(r.buf[:0], n)[:n]
	at := 0
	for _, f := range r.files {
		px, err := f.decode(c)
		if err != nil {
			return pixels{}, err
		}
		size := px.stride / im.BlockCols
		weave(r.buf[at:], r.size, px.data, size)
		at += size
	}
	return pixels{r.buf, im.BlockCols * r.size}, nil
}

// weave copies pieces of size bytes to places step bytes apart.
func weave(dst []byte, step int, src []byte, size int) {
	for ; len(src) >= size; src = src[size:] {
		copy(dst[:size], src)
		dst = dst[min(step, len(dst)):]
	}
}
