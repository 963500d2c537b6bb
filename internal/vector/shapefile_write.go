package vector

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"bittern/internal/crs"
	"bittern/internal/geo"
)

// Kinds of shape.
const (
	shapeNull     = 0
	shapePoint    = 1
	shapePolyline = 3
	shapePolygon  = 5
)

// WriteShapefile writes the layer as one zip that holds name.shp, .shx, .dbf,
// .prj and .cpg, in longitude and latitude (WGS84). Outer rings run clockwise
// and holes counter-clockwise. All features must be of one kind; columns are
// those of the first feature, their names cut to ten characters. Nothing in it
// depends on the clock.
//
// Source: ESRI Shapefile Technical Description (1998).
func WriteShapefile(w io.Writer, name string, l Layer) error {
	l = l.withColumn()
	kind, err := l.shapeKind()
	if err != nil {
		return err
	}
	shp, shx := l.shapes(kind)
	dbf, err := l.dbf()
	if err != nil {
		return err
	}
	z := zip.NewWriter(w)
	for _, f := range []struct {
		ext  string
		data []byte
	}{{".cpg", []byte("UTF-8")}, {".dbf", dbf}, {".prj", []byte(crs.WGS84().WKT1())}, {".shp", shp}, {".shx", shx}} {
		// The earliest time that a zip can say; stored, so that no library's
		// version changes a byte.
		head := &zip.FileHeader{Name: name + f.ext, Method: zip.Store, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)}
		entry, err := z.CreateHeader(head)
		if err != nil {
			return fmt.Errorf("%s: %w", head.Name, err)
		}
		if _, err := entry.Write(f.data); err != nil {
			return fmt.Errorf("%s: %w", head.Name, err)
		}
	}
	return z.Close()
}

// shapeKind is the one kind of all features; polygons when there are none.
func (l *Layer) shapeKind() (int, error) {
	kind := shapeNull
	for i, f := range l.Features {
		own := shapeNull
		switch {
		case len(f.Polygons) > 0:
			own = shapePolygon
		case len(f.Lines) > 0:
			own = shapePolyline
		case len(f.Points) == 1:
			own = shapePoint
		}
		if own == shapeNull || kind != shapeNull && own != kind {
			return 0, fmt.Errorf("shapefile %s: feature %d is of another kind than those before", l.Name, i+1)
		}
		kind = own
	}
	if kind == shapeNull {
		kind = shapePolygon
	}
	return kind, nil
}

// shapes returns the contents of .shp and .shx.
func (l *Layer) shapes(kind int) (shp, shx []byte) {
	var records, index bytes.Buffer
	box := geo.EmptyBox()
	for i, f := range l.Features {
		content := f.shape(kind)
		box = box.Extend(f.Places()...)
		offset := (shapeHeader + records.Len()) / 2
		putBE(&index, offset, len(content)/2)
		putBE(&records, i+1, len(content)/2)
		records.Write(content)
	}
	shp = append(shapeHead(kind, shapeHeader+records.Len(), box), records.Bytes()...)
	shx = append(shapeHead(kind, shapeHeader+index.Len(), box), index.Bytes()...)
	return shp, shx
}

func shapeHead(kind, size int, box geo.Box) []byte {
	var b bytes.Buffer
	putBE(&b, 9994, 0, 0, 0, 0, 0, size/2)
	putLE(&b, 1000, kind)
	if box.Empty() {
		box = geo.Box{}
	}
	putFloats(&b, degree(box.Min.X), degree(box.Min.Y), degree(box.Max.X), degree(box.Max.Y), 0, 0, 0, 0)
	return b.Bytes()
}

func putBE(b *bytes.Buffer, values ...int) {
	for _, v := range values {
		b.Write(binary.BigEndian.AppendUint32(nil, uint32(v)))
	}
}

func putLE(b *bytes.Buffer, values ...int) {
	for _, v := range values {
		b.Write(binary.LittleEndian.AppendUint32(nil, uint32(v)))
	}
}

func putFloats(b *bytes.Buffer, values ...float64) {
	for _, v := range values {
		b.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
	}
}

// shape is the content of one record.
func (f *Feature) shape(kind int) []byte {
	var b bytes.Buffer
	putLE(&b, kind)
	var parts []geo.Line
	switch kind {
	case shapePoint:
		putFloats(&b, degree(f.Points[0].X), degree(f.Points[0].Y))
		return b.Bytes()
	case shapePolyline:
		parts = f.Lines
	default:
		for _, p := range f.Polygons {
			for i, r := range p.Rings() {
				parts = append(parts, geo.Line(closed(r.Turned(i > 0))))
			}
		}
	}
	box, n := geo.EmptyBox(), 0
	for _, l := range parts {
		box = box.Extend(l...)
		n += len(l)
	}
	putFloats(&b, degree(box.Min.X), degree(box.Min.Y), degree(box.Max.X), degree(box.Max.Y))
	putLE(&b, len(parts), n)
	at := 0
	for _, l := range parts {
		putLE(&b, at)
		at += len(l)
	}
	for _, l := range parts {
		for _, p := range l {
			putFloats(&b, degree(p.X), degree(p.Y))
		}
	}
	return b.Bytes()
}

// A dbfColumn is one column that is written.
type dbfColumn struct {
	name           string
	kind           byte
	size, decimals int
}

const (
	maxColumnName = 10  // bytes
	maxText       = 254 // bytes
)

// dbf is the table of the layer, a dBASE III file. Nulls are blanks.
func (l *Layer) dbf() ([]byte, error) {
	columns, err := l.columns()
	if err != nil {
		return nil, err
	}
	size := 1
	for _, c := range columns {
		size += c.size
	}
	var b bytes.Buffer
	b.Write([]byte{3, 80, 1, 1}) // 1 January 1980
	putLE(&b, len(l.Features))
	b.Write(binary.LittleEndian.AppendUint16(nil, uint16(33+32*len(columns))))
	b.Write(binary.LittleEndian.AppendUint16(nil, uint16(size)))
	b.Write(make([]byte, 20))
	for _, c := range columns {
		head := make([]byte, 32)
		copy(head, c.name)
		head[11], head[16], head[17] = c.kind, byte(c.size), byte(c.decimals)
		b.Write(head)
	}
	b.WriteByte('\r')
	for _, f := range l.Features {
		b.WriteByte(' ')
		for i, c := range columns {
			b.WriteString(c.cell(f.Properties[i].Value))
		}
	}
	b.WriteByte(0x1a)
	return b.Bytes(), nil
}

func (l *Layer) columns() ([]dbfColumn, error) {
	if len(l.Features) == 0 {
		return []dbfColumn{{name: "ID", kind: 'C', size: 1}}, nil
	}
	first := l.Features[0].Properties
	columns := make([]dbfColumn, len(first))
	taken := make(map[string]bool)
	for i, p := range first {
		c := dbfColumn{name: cut(strings.ToUpper(p.Name), maxColumnName), kind: 'C', size: 1}
		if taken[c.name] {
			return nil, fmt.Errorf("shapefile %s: two columns are called %s", l.Name, c.name)
		}
		taken[c.name] = true
		for k, f := range l.Features {
			if len(f.Properties) != len(first) || f.Properties[i].Name != p.Name {
				return nil, fmt.Errorf("shapefile %s: feature %d has other columns than the first", l.Name, k+1)
			}
			c.fit(f.Properties[i].Value)
		}
		columns[i] = c
	}
	return columns, nil
}

// withColumn gives features without properties the one column that a table must
// have.
func (l Layer) withColumn() Layer {
	if len(l.Features) == 0 || len(l.Features[0].Properties) > 0 {
		return l
	}
	l.Features = slices.Clone(l.Features)
	for i := range l.Features {
		if len(l.Features[i].Properties) == 0 {
			l.Features[i].Properties = Properties{{"id", nil}}
		}
	}
	return l
}

// fit widens c so that v fits in.
func (c *dbfColumn) fit(v any) {
	switch v := v.(type) {
	case nil:
		return
	case Fixed:
		c.kind, c.decimals = 'N', max(c.decimals, v.Decimals)
	case int:
		c.kind = 'N'
	case float64:
		c.kind, c.decimals = 'N', max(c.decimals, 6)
	}
	c.size = max(c.size, len(cut(cellText(v), maxText)))
}

func cellText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case float64:
		return Fixed{v, 6}.String()
	case []string:
		return strings.Join(v, "; ")
	}
	return fmt.Sprint(v)
}

// cell is v padded to the column's width: numbers to the right.
func (c dbfColumn) cell(v any) string {
	text := cut(cellText(v), c.size)
	pad := strings.Repeat(" ", c.size-len(text))
	if c.kind == 'N' {
		return pad + text
	}
	return text + pad
}

// cut shortens s to at most n bytes of whole characters.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}
