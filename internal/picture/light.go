package picture

import "math"

// Display turns linear light into a display's byte (IEC 61966-2-1).
func Display(v float64) uint8 { return uint8(math.Round(Encoded(v) * 255)) }

// Encoded is the display value of linear light, both from 0 to 1 (IEC 61966-2-1).
func Encoded(v float64) float64 {
	v = min(1, max(0, v))
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// linearLight is the linear light of a display value from 0 to 1 (IEC 61966-2-1).
func linearLight(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// linearOf is the linear light of each display byte.
func linearOf() *[256]float64 {
	var out [256]float64
	for i := range out {
		out[i] = linearLight(float64(i) / 255)
	}
	return &out
}

// BlueOf is a blue for a flight that has none, from its red and green, in linear
// light: foliage and soil reflect less blue than the darker of the two.
func BlueOf(r, g float64) float64 { return 0.55*math.Min(r, g) + 0.1*math.Max(r, g) }
