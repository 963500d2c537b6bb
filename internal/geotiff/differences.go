package geotiff

import "math"

// differences are pixels that are stored as luminance and two colour
// differences, the latter once for a unit of across by down pixels: the unit's
// luminances, row after row, then its two differences. They come out as red, green
// and blue, the nearest difference for each pixel.
//
// Source: TIFF revision 6.0 (1992), section 21.
type differences struct {
	across, down    int
	luma            [256]float64 // 0 to 255
	blue, red       [256]float64 // what a difference adds to blue and to red
	blueOff, redOff [256]float64 // what it takes off green
	unitBytes       int
}

// differences reads how colour differences are stored, outside JPEG.
func (im *Image) differences(d *directory) error {
	sampling, err := d.uints(tagYCbCrSampling)
	if err != nil {
		return err
	}
	if len(sampling) == 0 {
		sampling = []uint64{2, 2}
	}
	side := func(n uint64) bool { return n == 1 || n == 2 || n == 4 }
	switch {
	case im.Bands != 3 || !im.Interleaved || im.Predictor != 1 || im.StoredBits != 8 || im.Sample != Uint8:
		return unconverted("the picture is stored as luminance and colour differences (YCbCr) of %d bands and %d bits, which is not read", im.Bands, im.StoredBits)
	case len(sampling) != 2 || !side(sampling[0]) || !side(sampling[1]):
		return damaged("its colour differences stand for %v pixels", sampling)
	}
	weights, err := d.ratios(tagYCbCrWeights, 0.299, 0.587, 0.114)
	if err != nil {
		return err
	}
	span, err := d.ratios(tagBlackWhite, 0, 255, 128, 255, 128, 255)
	if err != nil {
		return err
	}
	t := &differences{across: int(sampling[0]), down: int(sampling[1])}
	t.unitBytes = t.across*t.down + 2
	for v := range 256 {
		code := func(k int, full float64) float64 {
			return (float64(v) - span[k]) * full / nonzero(span[k+1]-span[k])
		}
		blue, red := 2-2*weights[2], 2-2*weights[0]
		t.luma[v] = code(0, 255)
		t.blue[v], t.red[v] = blue*code(2, 127), red*code(4, 127)
		t.blueOff[v] = t.blue[v] * weights[2] / nonzero(weights[1])
		t.redOff[v] = t.red[v] * weights[0] / nonzero(weights[1])
	}
	im.packed, im.Lossy = &packed{packing: packedDifferences, bits: 8, bands: 3, differences: t}, true
	return nil
}

func nonzero(v float64) float64 {
	if v == 0 {
		return 1
	}
	return v
}

// bytes is the length of some rows of cols pixels, as stored.
func (t *differences) bytes(cols, rows int) uint64 {
	across, down := (uint64(cols)+uint64(t.across)-1)/uint64(t.across), (uint64(rows)+uint64(t.down)-1)/uint64(t.down)
	if across*down > math.MaxInt64/uint64(t.unitBytes) {
		return math.MaxInt64
	}
	return across * down * uint64(t.unitBytes)
}

// expand turns rows of cols pixels into red, green and blue.
func (t *differences) expand(stored, out []byte, cols, rows int) {
	for row := 0; row < rows; row += t.down {
		for col := 0; col < cols; col += t.across {
			unit := stored[:t.unitBytes]
			stored = stored[t.unitBytes:]
			blue, red := unit[t.unitBytes-2], unit[t.unitBytes-1]
			for i, y := range unit[:t.unitBytes-2] {
				c, r := col+i%t.across, row+i/t.across
				if c >= cols || r >= rows {
					continue
				}
				luma, px := t.luma[y], out[3*(r*cols+c):][:3]
				px[0] = nearest(luma + t.red[red])
				px[1] = nearest(luma - t.redOff[red] - t.blueOff[blue])
				px[2] = nearest(luma + t.blue[blue])
			}
		}
	}
}

// nearest is the nearest byte.
func nearest(v float64) byte { return byte(max(0, min(255, math.Floor(v+0.5)))) }
