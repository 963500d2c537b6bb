package geotiff_test

import (
	"errors"
	"image"
	"image/color"
	"math/rand/v2"
	"testing"

	"bittern/internal/geotiff"
)

// TestPicturesInMemoryKeepTheirColours asks the standard library what colour
// each pixel has.
func TestPicturesInMemoryKeepTheirColours(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	rect := image.Rect(0, 0, 23, 17)
	table := color.Palette{color.NRGBA{10, 20, 30, 255}, color.NRGBA{200, 100, 50, 255}, color.NRGBA{}, color.RGBA{1, 2, 3, 255}}
	for _, pic := range []interface {
		image.Image
		Set(x, y int, c color.Color)
	}{
		image.NewGray(rect), image.NewGray16(rect), image.NewRGBA(rect), image.NewNRGBA(rect),
		image.NewRGBA64(rect), image.NewNRGBA64(rect), image.NewPaletted(rect, table),
		image.NewNRGBA(image.Rect(0, 0, 40, 40)).SubImage(rect).(*image.NRGBA),
	} {
		for y := range 17 {
			for x := range 23 {
				pic.Set(x, y, color.NRGBA64{uint16(r.Uint32()), uint16(r.Uint32()), uint16(r.Uint32()), 0xffff})
			}
		}
		im, err := geotiff.FromPicture(pic)
		if err != nil {
			t.Fatal(err)
		}
		got, err := pixels(im)
		if err != nil {
			t.Fatal(err)
		}
		n := im.Sample.Bytes()
		for i := 0; i < len(got); i += im.Bands * n {
			at := i / (im.Bands * n)
			red, green, blue, alpha := pic.At(at%23, at/23).RGBA()
			for b, want := range []uint32{red, green, blue, alpha}[:im.Bands] {
				v := uint32(got[i+b*n])
				if n == 2 {
					v |= uint32(got[i+b*n+1]) << 8
				} else {
					want >>= 8
				}
				if v != want {
					t.Fatalf("%T: band %d of pixel %d is %d, want %d", pic, b, at, v, want)
				}
			}
		}
	}
	if _, err := geotiff.FromPicture(image.NewCMYK(rect)); !errors.Is(err, errors.ErrUnsupported) {
		t.Errorf("printing colours: %v", err)
	}
}
