package app

import (
	"image"
	"image/color"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/picture"
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

// shownBands are the bands that a plain picture is made of. A flight without
// green or red shows what it has in their place; blue may be nil.
func shownBands(s *cells.Summary) (red, green, blue []float32) {
	red, _ = s.Band("red")
	green, _ = s.Band("green")
	blue, _ = s.Band("blue")
	if green == nil && len(s.Mean) > 0 {
		green = s.Mean[0]
	}
	if red == nil {
		red = green
	}
	return red, green, blue
}

// displayGain is what linear light is multiplied with before it is shown: the
// same in every band, so that colours stay.
func displayGain(s *cells.Summary) float64 {
	red, green, _ := shownBands(s)
	if green == nil {
		return 1
	}
	return 0.9 / max(quantile(s, red, 0.995), quantile(s, green, 0.995), 1e-9)
}

// plainColor is the flight as the eye would see it, a pixel for each cell.
func plainColor(s *cells.Summary, gain float64) *image.NRGBA {
	red, green, blue := shownBands(s)
	img := image.NewNRGBA(image.Rect(0, 0, s.Grid.Cols, s.Grid.Rows))
	for i := range green {
		if s.Pixels[i] == 0 {
			continue
		}
		r, g := float64(red[i]), float64(green[i])
		b := picture.BlueOf(r, g)
		if blue != nil {
			b = float64(blue[i])
		}
		img.SetNRGBA(i%s.Grid.Cols, i/s.Grid.Cols, color.NRGBA{
			picture.Display(r * gain), picture.Display(g * gain), picture.Display(b * gain), 0xFF,
		})
	}
	return img
}

// plain is the flight in plain colour, made once for paper and files.
func (r *run) plain() *image.NRGBA {
	if r.plainPicture == nil {
		r.plainPicture = plainColor(r.cells, r.day.Imagery.DisplayGain)
	}
	return r.plainPicture
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
