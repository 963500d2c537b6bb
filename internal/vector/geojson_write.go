package vector

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"

	"bittern/internal/geo"
)

// degreeDecimals are the decimals of a longitude or latitude: a millimetre.
const degreeDecimals = 8

// degree is a longitude or latitude as it is written, so that every file of a
// day holds the same number.
func degree(v float64) float64 {
	scale := math.Pow10(degreeDecimals)
	return math.Round(v*scale) / scale
}

// WriteGeoJSON writes the layer as RFC 7946 has it: longitude and latitude with
// eight decimals, outer rings counter-clockwise, one feature on a line. The same
// layer gives the same bytes.
func WriteGeoJSON(w io.Writer, l Layer) error {
	name, err := json.Marshal(l.Name)
	if err != nil {
		return fmt.Errorf("name of the layer: %w", err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `{"type":"FeatureCollection","name":%s,"features":[`, name)
	for i, f := range l.Features {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString("\n" + `{"type":"Feature","properties":`)
		if err := f.Properties.writeJSON(&b); err != nil {
			return fmt.Errorf("feature %d: %w", i+1, err)
		}
		b.WriteString(`,"geometry":`)
		f.writeGeometry(&b)
		b.WriteByte('}')
	}
	b.WriteString("\n]}\n")
	_, err = w.Write(b.Bytes())
	return err
}

func (ps Properties) writeJSON(b *bytes.Buffer) error {
	b.WriteByte('{')
	for i, p := range ps {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := writeValue(b, p.Name); err != nil {
			return err
		}
		b.WriteByte(':')
		if err := writeValue(b, p.Value); err != nil {
			return fmt.Errorf("property %s: %w", p.Name, err)
		}
	}
	b.WriteByte('}')
	return nil
}

func writeValue(b *bytes.Buffer, v any) error {
	if f, ok := v.(Fixed); ok {
		b.WriteString(f.String())
		return nil
	}
	enc := json.NewEncoder(b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the encoder's new line
	return nil
}

// String is the number with its decimals, and never a negative zero.
func (f Fixed) String() string {
	s := strconv.FormatFloat(f.Value, 'f', f.Decimals, 64)
	if v, err := strconv.ParseFloat(s, 64); err == nil && v == 0 {
		return strconv.FormatFloat(0, 'f', f.Decimals, 64)
	}
	return s
}

// parts are the geometries of a feature, ready to be named by their kinds.
type part struct {
	kind  string
	write func(*bytes.Buffer)
}

// writeGeometry writes one geometry, a collection of several kinds, or null.
func (f *Feature) writeGeometry(b *bytes.Buffer) {
	var parts []part
	switch n := len(f.Polygons); {
	case n == 1:
		parts = append(parts, part{"Polygon", func(b *bytes.Buffer) { writePolygon(b, f.Polygons[0]) }})
	case n > 1:
		parts = append(parts, part{"MultiPolygon", func(b *bytes.Buffer) { writeList(b, f.Polygons, writePolygon) }})
	}
	switch n := len(f.Lines); {
	case n == 1:
		parts = append(parts, part{"LineString", func(b *bytes.Buffer) { writeList(b, f.Lines[0], writePosition) }})
	case n > 1:
		parts = append(parts, part{"MultiLineString", func(b *bytes.Buffer) {
			writeList(b, f.Lines, func(b *bytes.Buffer, l geo.Line) { writeList(b, l, writePosition) })
		}})
	}
	switch n := len(f.Points); {
	case n == 1:
		parts = append(parts, part{"Point", func(b *bytes.Buffer) { writePosition(b, f.Points[0]) }})
	case n > 1:
		parts = append(parts, part{"MultiPoint", func(b *bytes.Buffer) { writeList(b, f.Points, writePosition) }})
	}
	switch len(parts) {
	case 0:
		b.WriteString("null")
	case 1:
		parts[0].writeTo(b)
	default:
		b.WriteString(`{"type":"GeometryCollection","geometries":`)
		writeList(b, parts, func(b *bytes.Buffer, p part) { p.writeTo(b) })
		b.WriteByte('}')
	}
}

func (p part) writeTo(b *bytes.Buffer) {
	fmt.Fprintf(b, `{"type":"%s","coordinates":`, p.kind)
	p.write(b)
	b.WriteByte('}')
}

func writeList[T any](b *bytes.Buffer, list []T, write func(*bytes.Buffer, T)) {
	b.WriteByte('[')
	for i, v := range list {
		if i > 0 {
			b.WriteByte(',')
		}
		write(b, v)
	}
	b.WriteByte(']')
}

func writePosition(b *bytes.Buffer, p geo.Point) {
	fmt.Fprintf(b, "[%s,%s]", Fixed{p.X, degreeDecimals}, Fixed{p.Y, degreeDecimals})
}

func writePolygon(b *bytes.Buffer, p geo.Polygon) {
	i := 0
	writeList(b, p.Rings(), func(b *bytes.Buffer, r geo.Ring) {
		writeList(b, closed(r.Turned(i == 0)), writePosition)
		i++
	})
}

// closed is r with its first point repeated at the end.
func closed(r geo.Ring) geo.Ring {
	if len(r) == 0 {
		return r
	}
	return append(r[:len(r):len(r)], r[0])
}
