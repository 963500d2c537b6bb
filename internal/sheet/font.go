package sheet

import (
	"encoding/binary"
	"slices"

	"github.com/go-fonts/liberation/liberationsansbold"
	"github.com/go-fonts/liberation/liberationsansregular"
)

// A fontID names one of the embedded fonts.
type fontID int

const (
	regular fontID = iota
	bold
)

// A face is one embedded TrueType font: what its characters measure and how
// they are drawn. The tables and formats are those of the OpenType
// specification 1.9: cmap format 4, hmtx, loca, glyf. Only fonts that are
// compiled in are read, so a table that is missing is our own mistake and
// panics.
type face struct {
	ttf        []byte
	cmap       []byte // the format 4 subtable
	hmtx, glyf []byte
	loca       []uint32
	advances   int // entries of hmtx that hold an advance
	unitsPerEm float64
}

// typefaces are the two fonts of every sheet, by fontID.
type typefaces [2]*face

func newTypefaces() *typefaces {
	return &typefaces{newFace(liberationsansregular.TTF), newFace(liberationsansbold.TTF)}
}

func newFace(ttf []byte) *face {
	tables := map[string][]byte{}
	for i := range int(be16(ttf, 4)) {
		rec := ttf[12+16*i:]
		off, n := be32(rec, 8), be32(rec, 12)
		tables[string(rec[:4])] = ttf[off : off+n]
	}
	f := &face{
		ttf:        ttf,
		cmap:       unicodeMap(tables["cmap"]),
		hmtx:       tables["hmtx"],
		glyf:       tables["glyf"],
		advances:   int(be16(tables["hhea"], 34)),
		unitsPerEm: float64(be16(tables["head"], 18)),
	}
	f.loca = offsets(tables["loca"], int(be16(tables["maxp"], 4)), be16(tables["head"], 50) == 1)
	return f
}

// unicodeMap returns the cmap subtable of platform 3, encoding 1, format 4.
func unicodeMap(cmap []byte) []byte {
	for i := range int(be16(cmap, 2)) {
		rec := cmap[4+8*i:]
		if be16(rec, 0) == 3 && be16(rec, 2) == 1 {
			if sub := cmap[be32(rec, 4):]; be16(sub, 0) == 4 {
				return sub
			}
		}
	}
	panic("sheet: the embedded font has no Unicode table of format 4")
}

func offsets(loca []byte, glyphs int, long bool) []uint32 {
	out := make([]uint32, glyphs+1)
	for i := range out {
		if long {
			out[i] = be32(loca, 4*i)
		} else {
			out[i] = 2 * uint32(be16(loca, 2*i))
		}
	}
	return out
}

// glyph returns the index of r's glyph; 0 when the font has none.
func (f *face) glyph(r rune) int {
	if r > 0xffff || r < 0 {
		return 0
	}
	n := int(be16(f.cmap, 6)) // segments, twice
	ends, starts := f.cmap[14:], f.cmap[16+n:]
	deltas, ranges := f.cmap[16+2*n:], f.cmap[16+3*n:]
	for s := 0; s < n; s += 2 {
		if rune(be16(ends, s)) < r {
			continue
		}
		start := rune(be16(starts, s))
		if start > r {
			return 0
		}
		step := int(be16(ranges, s))
		if step == 0 {
			return int(uint16(r) + be16(deltas, s))
		}
		if g := be16(ranges, s+step+2*int(r-start)); g != 0 {
			return int(g + be16(deltas, s))
		}
		return 0
	}
	return 0
}

// advance is the width of glyph g, in em.
func (f *face) advance(g int) float64 {
	return float64(be16(f.hmtx, 4*min(g, f.advances-1))) / f.unitsPerEm
}

// width is the length of s set in size points.
func (f *face) width(s string, size float64) float64 {
	var em float64
	for _, r := range s {
		em += f.advance(f.glyph(r))
	}
	return em * size
}

// A knot is one point of a glyph's outline in font units, y up; off knots are
// the control points of quadratic curves.
type knot struct {
	x, y float64
	on   bool
}

// outline returns the closed contours of glyph g.
func (f *face) outline(g int) [][]knot {
	data := f.glyf[f.loca[g]:f.loca[g+1]]
	switch {
	case len(data) == 0:
		return nil
	case int16(be16(data, 0)) < 0:
		return f.composite(data[10:])
	}
	return simpleGlyph(data)
}

// Flags of a simple glyph's points.
const (
	onCurve   = 0x01
	xShort    = 0x02
	yShort    = 0x04
	repeated  = 0x08
	xSamePlus = 0x10
	ySamePlus = 0x20
)

func simpleGlyph(data []byte) [][]knot {
	contours := int(be16(data, 0))
	ends := data[10:]
	n := int(be16(ends, 2*(contours-1))) + 1
	rest := ends[2*contours:]
	rest = rest[2+int(be16(rest, 0)):] // instructions
	flags := make([]byte, 0, n)
	for len(flags) < n {
		fl := rest[0]
		rest = rest[1:]
		flags = append(flags, fl)
		if fl&repeated != 0 {
			flags = append(flags, slices.Repeat([]byte{fl}, int(rest[0]))...)
			rest = rest[1:]
		}
	}
	xs, rest := coordinates(rest, flags, xShort, xSamePlus)
	ys, _ := coordinates(rest, flags, yShort, ySamePlus)
	out := make([][]knot, contours)
	first := 0
	for c := range out {
		last := int(be16(ends, 2*c))
		for i := first; i <= last; i++ {
			out[c] = append(out[c], knot{xs[i], ys[i], flags[i]&onCurve != 0})
		}
		first = last + 1
	}
	return out
}

func coordinates(data, flags []byte, short, same byte) (values []float64, rest []byte) {
	v := 0
	for _, fl := range flags {
		switch {
		case fl&short != 0 && fl&same != 0:
			v += int(data[0])
			data = data[1:]
		case fl&short != 0:
			v -= int(data[0])
			data = data[1:]
		case fl&same == 0:
			v += int(int16(be16(data, 0)))
			data = data[2:]
		}
		values = append(values, float64(v))
	}
	return values, data
}

// Flags of a composite glyph's parts.
const (
	argsAreWords = 0x0001
	argsAreXY    = 0x0002
	hasScale     = 0x0008
	moreParts    = 0x0020
	hasXYScale   = 0x0040
	hasMatrix    = 0x0080
)

func (f *face) composite(data []byte) [][]knot {
	var out [][]knot
	for {
		fl, part := be16(data, 0), int(be16(data, 2))
		data = data[4:]
		var dx, dy float64
		if fl&argsAreWords != 0 {
			dx, dy = float64(int16(be16(data, 0))), float64(int16(be16(data, 2)))
			data = data[4:]
		} else {
			dx, dy = float64(int8(data[0])), float64(int8(data[1]))
			data = data[2:]
		}
		if fl&argsAreXY == 0 {
			dx, dy = 0, 0 // point matching is not used by the embedded fonts
		}
		m, used := partMatrix(fl, data)
		data = data[used:]
		for _, contour := range f.outline(part) {
			for i, k := range contour {
				contour[i].x = float64(k.x*m[0]) + float64(k.y*m[2]) + dx
				contour[i].y = float64(k.x*m[1]) + float64(k.y*m[3]) + dy
			}
			out = append(out, contour)
		}
		if fl&moreParts == 0 {
			return out
		}
	}
}

// partMatrix reads the scale of one part and says how many bytes it took.
func partMatrix(fl uint16, data []byte) (m [4]float64, used int) {
	f2dot14 := func(i int) float64 { return float64(int16(be16(data, i))) / 16384 }
	switch {
	case fl&hasScale != 0:
		return [4]float64{f2dot14(0), 0, 0, f2dot14(0)}, 2
	case fl&hasXYScale != 0:
		return [4]float64{f2dot14(0), 0, 0, f2dot14(2)}, 4
	case fl&hasMatrix != 0:
		return [4]float64{f2dot14(0), f2dot14(2), f2dot14(4), f2dot14(6)}, 8
	}
	return [4]float64{1, 0, 0, 1}, 0
}

func be16(b []byte, i int) uint16 { return binary.BigEndian.Uint16(b[i:]) }
func be32(b []byte, i int) uint32 { return binary.BigEndian.Uint32(b[i:]) }
