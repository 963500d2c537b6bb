package gpkg

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"bittern/internal/geo"
)

// Geometry types of well-known binary (ISO 13249-3).
const (
	wkbPoint        = 1
	wkbLine         = 2
	wkbPolygon      = 3
	wkbMultiPoint   = 4
	wkbMultiLine    = 5
	wkbMultiPolygon = 6
	wkbCollection   = 7
)

// blob is the geometry of r as a GeoPackage stores it: a header with the bounds,
// then well-known binary. It is nil where there is none.
func (r *Row) blob(kind Kind) (any, geo.Box) {
	box := geo.EmptyBox()
	var body []byte
	switch kind {
	case Polygons:
		box = r.Polygons.Bounds()
		body = header(nil, wkbMultiPolygon, len(r.Polygons))
		for _, p := range r.Polygons {
			body = appendPolygon(body, p)
		}
	case Lines:
		body = header(nil, wkbMultiLine, len(r.Lines))
		for _, l := range r.Lines {
			box = box.Extend(l...)
			body = appendPoints(header(body, wkbLine, len(l)), l)
		}
	case Points:
		box = box.Extend(r.Points...)
		body = header(nil, wkbMultiPoint, len(r.Points))
		for _, p := range r.Points {
			body = appendPoints(append(body, 1, wkbPoint, 0, 0, 0), geo.Line{p})
		}
	}
	if box.Empty() {
		return nil, box
	}
	// Magic, version 0, flags: little-endian with an envelope of X and Y.
	out := binary.LittleEndian.AppendUint32([]byte{'G', 'P', 0, 3}, 4326)
	for _, v := range []float64{box.Min.X, box.Max.X, box.Min.Y, box.Max.Y} {
		out = appendFloat(out, v)
	}
	return append(out, body...), box
}

func header(b []byte, kind, n int) []byte {
	b = append(b, 1)
	b = binary.LittleEndian.AppendUint32(b, uint32(kind))
	return binary.LittleEndian.AppendUint32(b, uint32(n))
}

func appendFloat(b []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
}

func appendPoints(b []byte, l geo.Line) []byte {
	for _, p := range l {
		b = appendFloat(appendFloat(b, p.X), p.Y)
	}
	return b
}

func appendPolygon(b []byte, p geo.Polygon) []byte {
	b = header(b, wkbPolygon, 1+len(p.Holes))
	for i, r := range p.Rings() {
		r = r.Turned(i == 0)
		b = binary.LittleEndian.AppendUint32(b, uint32(len(r)+1))
		b = appendPoints(b, geo.Line(r))
		b = appendPoints(b, geo.Line(r[:1]))
	}
	return b
}

// errDamaged is returned for a geometry that is cut off or of an unknown kind.
var errDamaged = errors.New("a geometry is damaged")

// parse reads a GeoPackage geometry into r.
func (r *Row) parse(blob []byte) error {
	if len(blob) == 0 {
		return nil
	}
	if len(blob) < 8 || blob[0] != 'G' || blob[1] != 'P' {
		return errDamaged
	}
	sizes := [8]int{0, 32, 48, 48, 64, -1, -1, -1}
	skip := sizes[blob[3]>>1&7]
	if skip < 0 || len(blob) < 8+skip {
		return errDamaged
	}
	if blob[3]&0x20 != 0 {
		return fmt.Errorf("%w (an extended kind)", errDamaged)
	}
	w := wkbReader{rest: blob[8+skip:]}
	return w.geometry(r, 0)
}

type wkbReader struct {
	rest  []byte
	order binary.ByteOrder
}

func (w *wkbReader) uint32() (uint32, error) {
	if len(w.rest) < 4 {
		return 0, errDamaged
	}
	v := w.order.Uint32(w.rest)
	w.rest = w.rest[4:]
	return v, nil
}

// head reads byte order and type; dims is the number of numbers in a position.
func (w *wkbReader) head() (kind uint32, dims int, err error) {
	if len(w.rest) < 5 {
		return 0, 0, errDamaged
	}
	w.order = binary.BigEndian
	if w.rest[0] == 1 {
		w.order = binary.LittleEndian
	}
	w.rest = w.rest[1:]
	t, err := w.uint32()
	dims = 2
	// ISO adds 1000 for Z, 2000 for M, 3000 for both; some programs set bits.
	for _, bit := range []uint32{0x80000000, 0x40000000} {
		if t&bit != 0 {
			dims++
			t &^= bit
		}
	}
	switch t / 1000 {
	case 1, 2:
		dims++
	case 3:
		dims += 2
	}
	return t % 1000, dims, err
}

func (w *wkbReader) points(n uint32, dims int) (geo.Line, error) {
	if int64(n)*int64(dims)*8 > int64(len(w.rest)) {
		return nil, errDamaged
	}
	out := make(geo.Line, n)
	for i := range out {
		at := i * dims * 8
		out[i] = geo.Point{
			X: math.Float64frombits(w.order.Uint64(w.rest[at:])),
			Y: math.Float64frombits(w.order.Uint64(w.rest[at+8:])),
		}
	}
	w.rest = w.rest[int(n)*dims*8:]
	return out, nil
}

const maxDepth = 8

func (w *wkbReader) geometry(r *Row, depth int) error {
	kind, dims, err := w.head()
	if err != nil {
		return err
	}
	n := uint32(1)
	if kind != wkbPoint {
		if n, err = w.uint32(); err != nil {
			return err
		}
	}
	switch kind {
	case wkbPoint:
		l, err := w.points(1, dims)
		if err == nil && !math.IsNaN(l[0].X) { // NaN stands for an empty point
			r.Points = append(r.Points, l[0])
		}
		return err
	case wkbLine:
		l, err := w.points(n, dims)
		r.Lines = append(r.Lines, l.Clean())
		return err
	case wkbPolygon:
		return w.polygon(r, n, dims)
	case wkbMultiPoint, wkbMultiLine, wkbMultiPolygon, wkbCollection:
		if depth > maxDepth {
			return errDamaged
		}
		for range n {
			if err := w.geometry(r, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	return fmt.Errorf("%w (kind %d)", errDamaged, kind)
}

func (w *wkbReader) polygon(r *Row, rings uint32, dims int) error {
	var p geo.Polygon
	for i := range rings {
		n, err := w.uint32()
		if err != nil {
			return err
		}
		l, err := w.points(n, dims)
		if err != nil {
			return err
		}
		if ring := geo.Ring(l).Clean(); i == 0 {
			p.Outer = ring
		} else {
			p.Holes = append(p.Holes, ring)
		}
	}
	if len(p.Outer) > 0 {
		r.Polygons = append(r.Polygons, p)
	}
	return nil
}
