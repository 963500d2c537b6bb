package invent

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
)

// A kernel is one band's blur and shift: three taps along and three down,
// after a shift by whole pixels.
type kernel struct {
	dx, dy int
	kx, ky [3]float32
}

// newKernel is a normal blur of spread sd pixels, moved by (sx, sy) pixels.
func newKernel(sd, sx, sy float64) kernel {
	k := kernel{dx: int(math.Round(sx)), dy: int(math.Round(sy))}
	k.kx = taps(sd, sx-float64(k.dx))
	k.ky = taps(sd, sy-float64(k.dy))
	return k
}

// taps weighs three neighbours for a blur of spread sd moved by f, |f| <= 0.5.
func taps(sd, f float64) [3]float32 {
	// A kernel with mean f and variance sd^2: exact in both for any f.
	v := max(sd*sd, math.Abs(f)*(1-math.Abs(f)))
	return [3]float32{
		float32((v + f*f - f) / 2),
		float32(1 - v - f*f),
		float32((v + f*f + f) / 2),
	}
}

// prepareOptics makes noise tiles, kernels and the tone curve.
func (f *Field) prepareOptics() {
	s := f.scene
	f.normal = newGauss()
	f.fine = newTile(sub(f.day, 11), 419, 0.025/s.PixelM)
	f.tuft = newTile(sub(f.day, 12), 509, 0.09/s.PixelM)
	f.slow = newTile(sub(f.day, 13), 463, 0.22/s.PixelM)
	d := dice{seed: sub(f.day, 10)}
	for i := range s.Sensor.bands() {
		sx, sy := 0.0, 0.0
		if i > 0 {
			sx, sy = s.BandShift*d.u(-1, 1), s.BandShift*d.u(-1, 1)
		}
		f.kernels = append(f.kernels, newKernel(min(s.BlurPx, 0.85), sx, sy))
	}
	f.look = newLook(s, f.day)
	f.curve = newToneCurve(s.Sensor == ColorJPEGLike8)
}

// A toneCurve turns linear light, 0 to 1, into 8-bit codes.
type toneCurve struct {
	code [4096]float32 // unrounded, 0 to 255
}

// newToneCurve is the sRGB curve (IEC 61966-2-1), with a camera's gentle
// contrast on top when asked for.
func newToneCurve(camera bool) *toneCurve {
	t := new(toneCurve)
	for i := range t.code {
		x := (float64(i) + 0.5) / float64(len(t.code))
		x *= x // the table is even in the square root of light: fine steps in the dark
		y := 12.92 * x
		if x > 0.0031308 {
			y = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		if camera {
			y += 0.35 * y * (1 - y) * (y - 0.38)
		}
		t.code[i] = float32(255 * clamp(y, 0, 1))
	}
	return t
}

// at is the code of light x.
func (t *toneCurve) at(x float32) uint8 {
	if x <= 0 {
		return 0
	}
	i := int(float32(math.Sqrt(float64(x))) * float32(len(t.code)))
	return uint8(t.code[min(i, len(t.code)-1)] + 0.5)
}

// blockSide is the side of the squares that a picture is rendered in, and that
// JPEG damages each by itself: a whole number of its 16-pixel units.
const blockSide = 128

// throughJPEG encodes and decodes n x n interleaved RGB pixels in place.
func throughJPEG(rgb []byte, cols, rows, quality int) error {
	img := image.NewRGBA(image.Rect(0, 0, cols, rows))
	for i := range cols * rows {
		img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2], img.Pix[4*i+3] = rgb[3*i], rgb[3*i+1], rgb[3*i+2], 255
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		return err
	}
	back, err := jpeg.Decode(&buf)
	if err != nil {
		return err
	}
	ycc, ok := back.(*image.YCbCr)
	if !ok {
		return nil
	}
	for y := range rows {
		for x := range cols {
			r, g, b, _ := ycc.YCbCrAt(x, y).RGBA()
			i := 3 * (y*cols + x)
			rgb[i], rgb[i+1], rgb[i+2] = byte(r>>8), byte(g>>8), byte(b>>8)
		}
	}
	return nil
}

// A look is what the crop looks like up close, the same all over the field.
type look struct {
	texture   float32 // how much the cover varies from tuft to tuft
	leaf      float32 // how much brightness varies
	row       float32 // height of the wave of the drill rows
	wave      [256]float32
	noiseSeed uint64
}

// newLook prepares the crop's texture; rows narrower than two pixels fade as a
// pixel averages over them.
func newLook(s Scene, day uint64) look {
	l := look{texture: 0.85, leaf: 0.20, noiseSeed: sub(day, 16)}
	x := math.Pi * s.PixelM / (7.5 * 0.0254)
	l.row = float32(0.45 * s.Rows * max(0, math.Sin(x)/x))
	for i := range l.wave {
		l.wave[i] = float32(math.Cos(2 * math.Pi * float64(i) / 256))
	}
	return l
}
