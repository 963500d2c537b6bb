// Package geotiff reads and writes GeoTIFF pictures, block by block, over an
// [io.ReaderAt] and an [io.Writer]. It knows no coordinate system: it hands on
// what the file's geographic keys say.
//
// Sources: TIFF revision 6.0 (1992) with its technical notes 1 to 3; the
// BigTIFF layout as documented by the libtiff project; OGC 19-008r4, GeoTIFF
// 1.1; the no-data and metadata tags as documented by the GDAL project
// (42112 and 42113).
package geotiff

import (
	"fmt"

	"bittern/internal/grid"
)

// A Sample is the type of one band's number in one pixel.
type Sample uint8

// The sample types. Whole numbers are two's complement, floats IEEE 754.
const (
	Uint8 Sample = iota
	Uint16
	Float32
	Int16
	Uint32
	Int32
	Float64
)

var sampleNames = [...]string{"uint8", "uint16", "float32", "int16", "uint32", "int32", "float64"}

// String is the type's name, such as "uint16".
func (s Sample) String() string {
	if int(s) < len(sampleNames) {
		return sampleNames[s]
	}
	return fmt.Sprintf("Sample(%d)", uint8(s))
}

// Bytes is the length of one sample in bytes.
func (s Sample) Bytes() int {
	switch s {
	case Uint8:
		return 1
	case Uint16, Int16:
		return 2
	case Float64:
		return 8
	default:
		return 4
	}
}

// Float reports whether the samples are floating-point numbers.
func (s Sample) Float() bool { return s == Float32 || s == Float64 }

// An Image is an open picture: the first one of its file at full size. What
// it says was checked when it was opened; its fields are for reading only.
// An Image may be used from several goroutines.
type Image struct {
	Cols, Rows int // pixels
	Bands      int // samples of a pixel, alpha included
	Sample     Sample

	// BlockCols and BlockRows are the pixels of one block. Thin strips are
	// gathered into blocks of about 64 rows, and thick uncompressed ones cut,
	// so a block need not be a tile or a strip of the file.
	BlockCols, BlockRows int

	Alpha       int       // index of the alpha sample, -1 without
	NoData      *float64  // the number that stands for no data, nil without
	BandNames   []string  // one for each band, "" where it has none
	Wavelengths []float64 // nm, one for each band, 0 where unknown
	Colors      []string  // one for each band: "red", "green", "blue", "nir", "rededge", "gray", "alpha", another lower-case name, or ""

	// Scales and Offsets, one for each band: a sample stands for itself times
	// the scale, plus the offset, in the band's unit. NoData is a sample. They
	// are 1 and 0 where the file says nothing.
	Scales, Offsets []float64
	Units           []string // one for each band, "" where unknown

	Affine       *grid.Affine // from the outer corner of the first pixel; nil when the picture has no place (or only control points)
	Controls     int          // control points, where they are all that places the picture
	Rational     bool         // it has the coefficients of a sensor model, which is not applied
	PixelIsPoint bool         // the file gave pixel centres; Affine is already corrected
	HasCRS       bool         // the file has geographic keys that name or define a coordinate system
	EPSG         int          // the code of the coordinate system, 0 when it has none or is defined by parameters
	ModelType    int          // 1 projected, 2 geographic, 3 geocentric, 0 unknown
	GeoKeys      []GeoKey     // all geographic keys, by rising ID
	Citation     string       // free text that names the coordinate system, "" without

	DateTime    string // "2026:07-14 09:05:00" as the file has it, "" without
	Software    string // the program that wrote the file, as it says
	Compression string // "none", "deflate", "lzw", ...
	StoredBits  int    // of one sample in the file; fewer or more than those of Sample where it was converted
	Predictor   int    // 1 none, 2 differences along the row, 3 the same for floats
	Lossy       bool   // the compression has changed the pixels
	Interleaved bool   // a pixel's samples lie together in the file, not band by band
	BigEndian   bool   // byte order of the file; decoded samples are always little-endian
	Big         bool   // BigTIFF
	Tiled       bool   // tiles rather than strips
	Overviews   int    // smaller copies of the picture in the file
	Masks       int    // mask pictures in the file

	// Mask is the file's mask of the picture, if it has one that is read: a
	// picture of the same size with one band of Uint8, which is 0 where a pixel
	// does not count: one of one bit is 255 elsewhere. Its blocks need not be those of the picture.
	Mask *Image

	src      *source
	layout   layout
	ycc      bool    // samples are stored as luminance and colour differences
	isMask   bool    // this is a mask: one bit or one byte a pixel
	packed   *packed // how samples are stored that are handed on as others; nil for the rest
	white    bool    // white is zero in the file; the samples are turned round
	backward bool    // the bits of every byte run backwards
	jpegHead []byte  // what goes before each JPEG piece

	overviews []*directory // of the first overviews
}

// Blocks is how many blocks the picture has, left to right and then top to
// bottom.
func (im *Image) Blocks() int { return im.layout.across * im.layout.down }

// Block returns the pixels that block i covers, cut to the picture's edge.
func (im *Image) Block(i int) grid.Window {
	l := &im.layout
	col, row := (i%l.across)*im.BlockCols, (i/l.across)*im.BlockRows
	return grid.Window{
		Col: col, Row: row,
		Cols: min(im.BlockCols, im.Cols-col), Rows: min(im.BlockRows, im.Rows-row),
	}
}

// BlockBytes is the length of the buffer that [Decoder.Decode] fills.
func (im *Image) BlockBytes() int {
	return im.BlockCols * im.BlockRows * im.Bands * im.Sample.Bytes()
}

// BlockEmpty reports whether the file holds no bytes for block i. Such a
// block decodes to no data, or to zeros when the file names none.
func (im *Image) BlockEmpty(i int) bool {
	for _, p := range im.parts(i) {
		if im.layout.counts[p.segment] != 0 {
			return false
		}
	}
	return true
}

// RawPredictor is the predictor that [Decoder.DecodeRaw] leaves in place: 2
// or 1. It is 2 only where undoing it is adding up whole little-endian
// samples of 8 or 16 bits along each row of a block.
func (im *Image) RawPredictor() int {
	if im.Predictor == 2 && !im.BigEndian && im.packed == nil && !im.white && im.interleavedSegments() && im.Sample.Bytes() <= 2 {
		return 2
	}
	return 1
}

// GeoKey returns the geographic key id, and whether the file has it.
func (im *Image) GeoKey(id int) (GeoKey, bool) { return findKey(im.GeoKeys, id) }

// interleavedSegments reports whether one segment holds whole pixels.
func (im *Image) interleavedSegments() bool {
	return im.Interleaved || im.Bands == 1 || im.packed != nil && im.packed.bands == 1
}
