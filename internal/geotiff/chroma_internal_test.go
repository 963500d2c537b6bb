package geotiff

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"
)

// TestMixedColoursAreThoseOfTheStandard goes through pictures of all ratios
// and of odd sizes, whose colours are often beyond what a byte holds.
func TestMixedColoursAreThoseOfTheStandard(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 3))
	m := newMixer()
	for n := range 300 {
		ratio := image.YCbCrSubsampleRatio(n % 6)
		p := image.NewYCbCr(image.Rect(0, 0, 1+r.IntN(20), 1+r.IntN(20)), ratio)
		for _, plane := range [][]byte{p.Y, p.Cb, p.Cr} {
			for i := range plane {
				plane[i] = byte(r.UintN(256))
				if n%2 == 0 {
					plane[i] = byte(255 * r.UintN(2))
				}
			}
		}
		cb, cr := newChroma(p, p.Cb), newChroma(p, p.Cr)
		px := make([]byte, 3*p.Rect.Dx())
		for y := range p.Rect.Dy() {
			m.row(px, p, y)
			blue, red := cb.row(y), cr.row(y)
			for x := range p.Rect.Dx() {
				want := standardRGB(float64(p.Y[p.YOffset(x, y)]), float64(blue[x]), float64(red[x]))
				for i, v := range px[3*x:][:3] {
					if math.Abs(float64(v)-want[i]) > 0.51 { // rounded, with 16 bits
						t.Fatalf("%v, %v, pixel %d, %d: %v, want %v", ratio, p.Rect, x, y, px[3*x:][:3], want)
					}
				}
			}
		}
	}
}

// standardRGB is the conversion of ITU-T T.871, section 7, before it is rounded.
func standardRGB(y, cb, cr float64) (rgb [3]float64) {
	for i, v := range [3]float64{y + 1.402*(cr-128), y - 0.344136*(cb-128) - 0.714136*(cr-128), y + 1.772*(cb-128)} {
		rgb[i] = max(0, min(v, 255))
	}
	return rgb
}
