package imagery

import (
	"context"
	"iter"

	"bittern/internal/raster"
)

// Verify decodes every block of every file and returns the first damage, a
// *doubt.Problem that names its file; nil when all is sound. It takes as long
// as a pass: call it when a picture is about to be refused for another reason.
func (f *Flight) Verify(ctx context.Context, workers int) error {
	for _, file := range f.Files {
		if err := file.verify(ctx, workers); err != nil {
			return inFile(file.Name, err)
		}
	}
	return nil
}

func (f *File) verify(ctx context.Context, workers int) error {
	start := func() func(context.Context, int) (struct{}, error) {
		decoder, buf := f.Image.NewDecoder(), make([]byte, f.Image.BlockBytes())
		return func(_ context.Context, block int) (struct{}, error) {
			if f.Image.BlockEmpty(block) {
				return struct{}{}, nil
			}
			return struct{}{}, decoder.Decode(block, buf)
		}
	}
	for _, err := range raster.MapOrderedWith(ctx, workers, raster.Of(upTo(f.Image.Blocks())), start) {
		if err != nil {
			return err
		}
	}
	return nil
}

// upTo counts from 0 to below n.
func upTo(n int) iter.Seq[int] {
	return func(yield func(int) bool) {
		for i := range n {
			if !yield(i) {
				return
			}
		}
	}
}
