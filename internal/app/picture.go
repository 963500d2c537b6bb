package app

import (
	"image"
	"image/color"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/sheet"
)

// plum is the hue of departures and suspects.
var plum = color.NRGBA{R: 0x6B, G: 0x1E, B: 0x5E, A: 0xFF}

// bounds is the ground that a grid's raster covers.
func bounds(g grid.Grid) sheet.Bounds {
	return sheet.Bounds{
		MinX: g.OriginX, MaxX: g.OriginX + float64(g.Cols)*g.CellM,
		MinY: g.OriginY - float64(g.Rows)*g.CellM, MaxY: g.OriginY,
	}
}

// plainColor is the flight as the eye would see it, a pixel for each cell. The
// brightness is stretched, the same in every band, so that colours stay. A
// flight without blue gets one from green and red, as foliage and soil have it.
func plainColor(s *cells.Summary) sheet.Picture {
	red, _ := s.Band("red")
	green, _ := s.Band("green")
	blue, _ := s.Band("blue")
	img := image.NewNRGBA(image.Rect(0, 0, s.Grid.Cols, s.Grid.Rows))
	out := sheet.Picture{Image: img, Bounds: bounds(s.Grid)}
	if len(s.Mean) == 0 {
		return out
	}
	if green == nil {
		green = s.Mean[0]
	}
	if red == nil {
		red = green
	}
	gain := 0.9 / max(quantile(s, red, 0.995), quantile(s, green, 0.995), 1e-9)
	for i := range green {
		if s.Pixels[i] == 0 {
			continue
		}
		r, g := float64(red[i]), float64(green[i])
		b := 0.55*math.Min(r, g) + 0.1*math.Max(r, g)
		if blue != nil {
			b = float64(blue[i])
		}
		img.SetNRGBA(i%s.Grid.Cols, i/s.Grid.Cols, color.NRGBA{display(r * gain), display(g * gain), display(b * gain), 0xFF})
	}
	return out
}

// quantile is the q-quantile of a sample of v's cells in the field.
func quantile(s *cells.Summary, v []float32, q float64) float64 {
	const most = 20000
	step := max(1, len(v)/most)
	var sample []float32
	for i := 0; i < len(v); i += step {
		if s.Inside[i] && s.Pixels[i] > 0 {
			sample = append(sample, v[i])
		}
	}
	if len(sample) == 0 {
		return 1
	}
	slices.Sort(sample)
	return float64(sample[int(q*float64(len(sample)-1))])
}

// display turns linear light into a display's byte (IEC 61966-2-1).
func display(v float64) uint8 {
	v = min(1, max(0, v))
	if v <= 0.0031308 {
		v *= 12.92
	} else {
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(math.Round(v * 255))
}

// Departures show from the first of these spreads and are full at the second.
const (
	rampFrom = 2.0
	rampTo   = 10.0
)

// departurePicture is the plum ramp: clear where nothing departs.
func departurePicture(g grid.Grid, spreads []float32) sheet.Picture {
	img := image.NewNRGBA(image.Rect(0, 0, g.Cols, g.Rows))
	for i, v := range spreads {
		share := (float64(v) - rampFrom) / (rampTo - rampFrom)
		if !(share > 0) {
			continue // not looked at, or nothing departs
		}
		c := plum
		c.A = uint8(math.Round(min(1, share) * 255))
		img.SetNRGBA(i%g.Cols, i/g.Cols, c)
	}
	return sheet.Picture{Image: img, Bounds: bounds(g)}
}
