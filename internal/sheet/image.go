package sheet

import (
	"image"
	"image/color"
	"image/draw"
	"math"
)

// asRGBA returns img with its corner at (0, 0) and what is transparent turned
// white: paper shows through.
func asRGBA(img image.Image) *image.RGBA {
	if rgba, ok := img.(*image.RGBA); ok && rgba.Rect.Min == (image.Point{}) && rgba.Opaque() {
		return rgba
	}
	b := img.Bounds()
	out := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	draw.Draw(out, out.Rect, image.White, image.Point{}, draw.Src)
	draw.Draw(out, out.Rect, img, b.Min, draw.Over)
	return out
}

// crop returns the part of a picture that lies on the ground within window,
// and the ground of that part, which runs along pixel edges. The image is nil
// when they do not meet.
func crop(p Picture, window Bounds) (*image.RGBA, Bounds) {
	if p.Image == nil {
		return nil, Bounds{}
	}
	b, g := p.Image.Bounds(), p.Bounds
	w, h := g.MaxX-g.MinX, g.MaxY-g.MinY
	if b.Empty() || !(w > 0) || !(h > 0) {
		return nil, Bounds{}
	}
	sx, sy := float64(b.Dx())/w, float64(b.Dy())/h
	r := image.Rect(
		pixelFloor((window.MinX-g.MinX)*sx, b.Dx()), pixelFloor((g.MaxY-window.MaxY)*sy, b.Dy()),
		pixelCeil((window.MaxX-g.MinX)*sx, b.Dx()), pixelCeil((g.MaxY-window.MinY)*sy, b.Dy()))
	if r.Empty() {
		return nil, Bounds{}
	}
	out := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	draw.Draw(out, out.Rect, image.White, image.Point{}, draw.Src)
	draw.Draw(out, out.Rect, p.Image, b.Min.Add(r.Min), draw.Over)
	return out, Bounds{
		MinX: g.MinX + float64(r.Min.X)/sx, MaxX: g.MinX + float64(r.Max.X)/sx,
		MinY: g.MaxY - float64(r.Max.Y)/sy, MaxY: g.MaxY - float64(r.Min.Y)/sy,
	}
}

func pixelFloor(v float64, n int) int { return int(min(max(math.Floor(v), 0), float64(n))) }
func pixelCeil(v float64, n int) int  { return int(min(max(math.Ceil(v), 0), float64(n))) }

// shrink returns img at cols x rows pixels. Each new pixel is the mean of the
// pixels that it covers, so that fine rows do not alias into stripes; where the
// picture grows instead, its pixels are repeated.
func shrink(img *image.RGBA, cols, rows int) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	if w == cols && h == rows {
		return img
	}
	out := image.NewRGBA(image.Rect(0, 0, cols, rows))
	left := make([]int, cols+1)
	for c := range left {
		left[c] = c * w / cols
	}
	for r := range rows {
		top, bottom := r*h/rows, max((r+1)*h/rows, r*h/rows+1)
		for c := range cols {
			x0, x1 := left[c], max(left[c+1], left[c]+1)
			var sum [3]int
			for y := top; y < bottom; y++ {
				row := img.Pix[y*img.Stride+4*x0 : y*img.Stride+4*x1]
				for i := 0; i < len(row); i += 4 {
					sum[0] += int(row[i])
					sum[1] += int(row[i+1])
					sum[2] += int(row[i+2])
				}
			}
			n := (bottom - top) * (x1 - x0)
			o := out.Pix[r*out.Stride+4*c:]
			o[0], o[1], o[2], o[3] = uint8(sum[0]/n), uint8(sum[1]/n), uint8(sum[2]/n), 255
		}
	}
	return out
}

// onRamp returns img in shades of one hue: how dark a pixel is says how strong
// the hue is, from white to full at the hue's own darkness.
func onRamp(img *image.RGBA, k ink) *image.Paletted {
	const steps = 32
	r, g, b := k.rgb()
	palette := make(color.Palette, steps)
	for i := range palette {
		mix := func(full uint8) uint8 { return uint8((255*(steps-1-i) + int(full)*i) / (steps - 1)) }
		palette[i] = color.RGBA{mix(r), mix(g), mix(b), 255}
	}
	lum := func(r, g, b uint8) int { return (299*int(r) + 587*int(g) + 114*int(b)) / 1000 }
	full := 255 - lum(r, g, b)
	out := image.NewPaletted(img.Rect, palette)
	for i := range out.Pix {
		p := img.Pix[4*i : 4*i+3 : 4*i+3]
		out.Pix[i] = uint8(min(steps-1, ((255-lum(p[0], p[1], p[2]))*(steps-1)+full/2)/full))
	}
	return out
}
