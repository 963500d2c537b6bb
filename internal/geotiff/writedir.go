package geotiff

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bittern/internal/grid"
)

// A fieldOut is one field of a directory to be written.
type fieldOut struct {
	tag, typ uint16
	count    int
	data     []byte // little-endian
}

// A dirOut is a directory to be written.
type dirOut struct{ fields []fieldOut }

func (d *dirOut) add(tag, typ uint16, count int, data []byte) {
	d.fields = append(d.fields, fieldOut{tag, typ, count, data})
}

func (d *dirOut) shorts(tag uint16, v ...uint16) {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint16(b, x)
	}
	d.add(tag, typeShort, len(v), b)
}

func (d *dirOut) long(tag uint16, v int) {
	d.add(tag, typeLong, 1, binary.LittleEndian.AppendUint32(nil, uint32(v)))
}

func (d *dirOut) doubles(tag uint16, v ...float64) {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	d.add(tag, typeDouble, len(v), b)
}

// text adds a text unless it is empty.
func (d *dirOut) text(tag uint16, s string) {
	if s != "" {
		d.add(tag, typeText, len(s)+1, append([]byte(s), 0))
	}
}

// tiles adds where the tiles lie, with 64 bits in BigTIFF.
func (d *dirOut) tiles(offsets, counts []uint64, big bool) {
	put := func(tag uint16, v []uint64) {
		var b []byte
		for _, x := range v {
			if big {
				b = binary.LittleEndian.AppendUint64(b, x)
			} else {
				b = binary.LittleEndian.AppendUint32(b, uint32(x))
			}
		}
		typ := uint16(typeLong)
		if big {
			typ = typeLong8
		}
		d.add(tag, typ, len(v), b)
	}
	put(tagTileOffsets, offsets)
	put(tagTileCounts, counts)
}

// widths are the lengths of a directory's count, of one entry, of its values
// and of its link.
func widths(big bool) (count, entry, inline, link int) {
	if big {
		return 8, 20, 8, 8
	}
	return 2, 12, 4, 4
}

// size is the length of the directory with the values outside it.
func (d *dirOut) size(big bool) int {
	count, entry, inline, link := widths(big)
	n := count + entry*len(d.fields) + link
	for _, f := range d.fields {
		if len(f.data) > inline {
			n += len(f.data) + len(f.data)%2
		}
	}
	return n
}

// bytes is the directory as it lies at offset at, with next for its link.
func (d *dirOut) bytes(at, next uint64, big bool) []byte {
	slices.SortFunc(d.fields, func(a, b fieldOut) int { return int(a.tag) - int(b.tag) })
	_, entry, inline, link := widths(big)
	number := func(b []byte, v uint64, width int) []byte {
		for range width {
			b = append(b, byte(v))
			v >>= 8
		}
		return b
	}
	count, _, _, _ := widths(big)
	out := number(nil, uint64(len(d.fields)), count)
	values := at + uint64(count+entry*len(d.fields)+link)
	var tail []byte
	for _, f := range d.fields {
		out = number(number(out, uint64(f.tag), 2), uint64(f.typ), 2)
		out = number(out, uint64(f.count), inline)
		if len(f.data) <= inline {
			out = append(out, f.data...)
			out = append(out, make([]byte, inline-len(f.data))...)
			continue
		}
		out = number(out, values+uint64(len(tail)), inline)
		tail = append(tail, f.data...)
		tail = append(tail, make([]byte, len(f.data)%2)...)
	}
	return append(number(out, next, link), tail...)
}

// directory is the fields of the picture but for its tiles; subfile is 1 for
// an overview.
func (f Format) directory(subfile int) *dirOut {
	d := &dirOut{}
	if subfile != 0 {
		d.long(tagSubfileType, subfile)
	}
	d.long(tagCols, f.Cols)
	d.long(tagRows, f.Rows)
	d.shorts(tagBits, repeated(uint16(f.Sample.Bytes()*8), f.Bands)...)
	d.shorts(tagCompression, f.compressionNumber())
	photo, colored := f.photometric()
	d.shorts(tagPhotometric, photo)
	d.shorts(tagBands, uint16(f.Bands))
	d.shorts(tagPlanar, 1)
	if f.Deflate && f.Predictor {
		d.shorts(tagPredictor, f.predictorNumber())
	}
	d.shorts(tagTileCols, uint16(f.Tile))
	d.shorts(tagTileRows, uint16(f.Tile))
	if extra := f.Bands - colored; extra > 0 {
		kinds := make([]uint16, extra)
		if f.Alpha {
			kinds[extra-1] = 2
		}
		d.shorts(tagExtraSamples, kinds...)
	}
	d.shorts(tagSampleFormat, repeated(f.sampleFormat(), f.Bands)...)
	if f.Palette != nil {
		d.shorts(tagColorMap, f.colorMap()...)
	}
	if f.NoData != nil {
		d.text(tagNoData, formatNoData(*f.NoData))
	}
	if subfile == 0 {
		f.describe(d)
	}
	return d
}

// colorMap is the palette as the file has it: all red, all green, all blue, of
// 16 bits.
func (f Format) colorMap() []uint16 {
	out := make([]uint16, 3*len(f.Palette))
	for i, c := range f.Palette {
		for k, v := range c {
			out[k*len(f.Palette)+i] = uint16(v) * 257
		}
	}
	return out
}

// describe adds what only the picture at full size has.
func (f Format) describe(d *dirOut) {
	d.text(tagSoftware, f.Software)
	d.text(tagDateTime, f.DateTime)
	d.text(tagMetadata, f.metadata())
	f.place(d)
}

func repeated(v uint16, n int) []uint16 {
	out := make([]uint16, n)
	for i := range out {
		out[i] = v
	}
	return out
}

func (f Format) compressionNumber() uint16 {
	if f.Deflate {
		return compDeflate
	}
	return compNone
}

func (f Format) predictorNumber() uint16 {
	if f.Sample.Float() {
		return 3
	}
	return 2
}

func (f Format) sampleFormat() uint16 {
	switch f.Sample {
	case Int16, Int32:
		return 2
	case Float32, Float64:
		return 3
	default:
		return 1
	}
}

// photometric is RGB when the colours begin so, else black is zero, and how
// many bands it accounts for.
func (f Format) photometric() (photo uint16, bands int) {
	if f.Palette != nil {
		return photoPalette, 1
	}
	if len(f.Colors) >= 3 && slices.Equal(f.Colors[:3], []string{"red", "green", "blue"}) {
		return photoRGB, 3
	}
	return photoBlackIsZero, 1
}

// colorWords are the names of colours in the metadata tag, as the GDAL
// project spells them.
var colorWords = map[string]string{
	"red": "Red", "green": "Green", "blue": "Blue", "nir": "NIR", "rededge": "RedEdge", "gray": "Gray", "alpha": "Alpha",
}

// metadata is the text of the metadata tag, "" when it has nothing to say.
func (f Format) metadata() string {
	var b strings.Builder
	line := func(band int, name, role, value string) {
		fmt.Fprintf(&b, "  <Item name=\"%s\" sample=\"%d\"", name, band)
		if role != "" {
			fmt.Fprintf(&b, " role=\"%s\"", role)
		}
		fmt.Fprintf(&b, ">%s</Item>\n", escape(escape(value)))
	}
	for i := range f.Bands {
		if f.BandNames != nil && f.BandNames[i] != "" {
			line(i, "DESCRIPTION", "description", f.BandNames[i])
		}
		if word := f.colorWord(i); word != "" {
			line(i, "COLORINTERP", "colorinterp", word)
		}
		if f.Scales != nil {
			line(i, "OFFSET", "offset", strconv.FormatFloat(f.Offsets[i], 'g', -1, 64))
			line(i, "SCALE", "scale", strconv.FormatFloat(f.Scales[i], 'g', -1, 64))
		}
		if f.Wavelengths != nil && f.Wavelengths[i] > 0 {
			line(i, "WAVELENGTH", "", strconv.FormatFloat(f.Wavelengths[i], 'g', -1, 64))
			line(i, "WAVELENGTH_UNITS", "", "Nanometers")
		}
	}
	if b.Len() == 0 {
		return ""
	}
	return "<GDALMetadata>\n" + b.String() + "</GDALMetadata>\n"
}

// colorWord is the colour of a band as the metadata tag says it, "" where the
// photometric interpretation says it already.
func (f Format) colorWord(band int) string {
	if f.Colors == nil {
		return ""
	}
	photo, told := f.photometric()
	if photo == photoRGB && band < told {
		return ""
	}
	word, ok := colorWords[f.Colors[band]]
	if !ok && photo != photoRGB {
		return "Undefined"
	}
	return word
}

func formatNoData(v float64) string {
	if math.IsNaN(v) {
		return "nan"
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// place adds the affine transform and the geographic keys.
func (f Format) place(d *dirOut) {
	a := f.Affine
	switch {
	case a == (grid.Affine{}):
	case a.C == 0 && a.E == 0 && a.B > 0 && a.F < 0:
		d.doubles(tagPixelScale, a.B, -a.F, 0)
		d.doubles(tagTiepoints, 0, 0, 0, a.A, a.D, 0)
	default:
		d.doubles(tagTransformation, a.B, a.C, 0, a.A, a.E, a.F, 0, a.D, 0, 0, 0, 0, 0, 0, 0, 1)
	}
	switch {
	case f.EPSG == 0 && f.GeoKeys != nil:
		f.keys(d)
		return
	case f.EPSG == 0:
		return
	}
	model, key := uint16(1), uint16(KeyProjected)
	if f.EPSG >= 4000 && f.EPSG < 5000 { // where EPSG keeps its geographic systems
		model, key = 2, KeyGeographic
	}
	d.shorts(tagGeoKeys, 1, 1, 0, 3,
		KeyModelType, 0, 1, model,
		KeyRasterType, 0, 1, 1,
		key, 0, 1, uint16(f.EPSG))
}

// keys adds the geographic keys as they are; but pixels are areas, since the
// affine is from the corner.
func (f Format) keys(d *dirOut) {
	list := []uint16{1, 1, 0, 0}
	var doubles []float64
	var text strings.Builder
	for _, k := range f.GeoKeys {
		switch {
		case k.ID == KeyRasterType:
			k.Short = 1
			fallthrough
		case k.Doubles == nil && k.Text == "":
			list = append(list, uint16(k.ID), 0, 1, uint16(k.Short))
		case k.Doubles != nil:
			list = append(list, uint16(k.ID), tagGeoDoubles, uint16(len(k.Doubles)), uint16(len(doubles)))
			doubles = append(doubles, k.Doubles...)
		default:
			list = append(list, uint16(k.ID), tagGeoText, uint16(len(k.Text)+1), uint16(text.Len()))
			text.WriteString(k.Text + "|")
		}
		list[3]++
	}
	d.shorts(tagGeoKeys, list...)
	if doubles != nil {
		d.doubles(tagGeoDoubles, doubles...)
	}
	d.text(tagGeoText, text.String())
}
