package imagery

// Coarse is the flight with a smaller copy in place of each picture that has one
// in its file whose pixels are at most pixelM on the ground, in metres. It is for
// a first look, never for an answer: how the copies were made is not known. It
// shares the flight's files and must not be closed.
func (f *Flight) Coarse(pixelM float64) *Flight {
	out := *f
	out.Files = make([]*File, len(f.Files))
	for i, file := range f.Files {
		out.Files[i] = file
		if !(file.PixelM > 0) || file.Mask != nil {
			continue
		}
		if small := file.Image.Smaller(pixelM / file.PixelM); small != nil {
			g := *file
			g.Image, g.PixelM = small, file.PixelM*float64(file.Image.Cols)/float64(small.Cols)
			out.Files[i] = &g
		}
	}
	return &out
}
