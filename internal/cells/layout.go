package cells

import (
	"encoding/binary"
	"math"
)

// A Sample is the type of a picture's samples, little-endian in memory.
type Sample int

// The sample types.
const (
	Uint8 Sample = iota
	Uint16
	Float32
)

// Bytes is the size of one sample.
func (s Sample) Bytes() int { return [...]int{1, 2, 4}[s] }

// linearWhite is the code of 1.0 in the table that takes 8-bit sRGB to linear
// light: integers, so that sums are exact; 2^20, so that the darkest code
// keeps three digits.
const linearWhite = 1 << 20

// codes is what each of the 256 codes of an 8-bit sample counts, and the square
// of that.
type codes struct{ value, square [256]uint64 }

// plainCodes are those of samples that count as they are.
func plainCodes() *codes {
	return newCodes(func(code int) uint64 { return uint64(code) })
}

// linearCodes are those of 8-bit sRGB samples: linear light, in units of
// 1/linearWhite. Source: IEC 61966-2-1.
func linearCodes() *codes {
	return newCodes(func(code int) uint64 {
		u := float64(code) / 255
		linear := u / 12.92
		if u > 0.04045 {
			linear = math.Pow((u+0.055)/1.055, 2.4)
		}
		return uint64(math.Round(linear * linearWhite))
	})
}

func newCodes(value func(code int) uint64) *codes {
	var c codes
	for code := range c.value {
		v := value(code)
		c.value[code], c.square[code] = v, v*v
	}
	return &c
}

// A lane is one sample of a pixel that is summed.
type lane struct {
	sample int // which sample of the pixel, from 0
	band   int // which band of the summary
}

// A layout says what the samples of one picture's pixels are and which pixels
// hold no data.
type layout struct {
	kind    Sample
	samples int    // interleaved samples of a pixel, used or not
	lanes   []lane // the used ones, by rising sample
	srgb    bool
	unit    float64 // what 1 counts in samples that are whole numbers; 0 for 1
	values  *codes  // of 8-bit samples: plain or linear
	alpha   int     // sample that is 0 where there is no data, -1 for none
	// A pixel has no data when every lane holds void; with a declared void of
	// floats, when any lane does; and when any float is no number or beyond
	// all measure.
	hasVoid   bool
	guessed   bool    // the picture did not say so: zeros are taken for gaps
	void      uint32  // for integer samples, as stored
	floatVoid float32 // for float samples
	ratio     *ratio  // nil when this picture takes no part in the histogram
}

// setNoData takes the no-data value of a file, or nil. A picture with neither
// a no-data value nor alpha is taken to have none where all its bands are 0.
func (l *layout) setNoData(v *float64) {
	switch {
	case v == nil:
		l.hasVoid = l.alpha < 0
		l.guessed = l.hasVoid
	case l.kind == Float32:
		l.hasVoid, l.floatVoid = true, float32(*v)
	default:
		top := float64(uint32(1)<<(8*l.kind.Bytes()) - 1)
		l.hasVoid = *v >= 0 && *v <= top && *v == math.Trunc(*v)
		if l.hasVoid {
			l.void = uint32(*v)
		}
	}
}

// scale is what a lane's integer values are divided by.
func (l *layout) scale() float64 {
	if l.srgb {
		return linearWhite
	}
	if l.unit == 0 {
		return 1
	}
	return 1 / l.unit
}

// integer is the stored value of sample s of the pixel that px starts with.
func (l *layout) integer(px []byte, s int) uint32 {
	if l.kind == Uint8 {
		return uint32(px[s])
	}
	return uint32(binary.LittleEndian.Uint16(px[2*s:]))
}

// float is the stored value of sample s of the pixel that px starts with.
func (l *layout) float(px []byte, s int) float32 {
	return math.Float32frombits(binary.LittleEndian.Uint32(px[4*s:]))
}

// has says whether the pixel that px starts with holds data.
func (l *layout) has(px []byte) bool {
	if l.kind == Float32 {
		return l.hasFloat(px)
	}
	if l.alpha >= 0 && l.integer(px, l.alpha) == 0 {
		return false
	}
	if !l.hasVoid {
		return true
	}
	for _, n := range l.lanes {
		if l.integer(px, n.sample) != l.void {
			return true
		}
	}
	return false
}

func (l *layout) hasFloat(px []byte) bool {
	if l.alpha >= 0 && l.float(px, l.alpha) == 0 {
		return false
	}
	voids := 0
	for _, n := range l.lanes {
		v := l.float(px, n.sample)
		if beyond(math.Float32bits(v)) {
			return false
		}
		if l.hasVoid && v == l.floatVoid {
			voids++
		}
	}
	return voids == 0 || l.guessed && voids < len(l.lanes)
}

// beyond reports whether the bits of a float are those of no number, or of
// one beyond 1e30: writers that round their no-data value leave such ones.
func beyond(bits uint32) bool {
	const most = 0x7149_f2ca // 1e30
	return bits&0x7fff_ffff > most
}
