package geotiff

import (
	"errors"
	"io"
	"math"
	"slices"
)

// maxBlockBytes is the largest block that is decoded. Larger ones are strips
// as large as the picture, which cannot be read piece by piece.
const maxBlockBytes = 512 << 20

// Open reads what the file says about its first picture. size is the length
// of the file in bytes. Nothing is allocated that the file has no bytes for.
//
// The error is a *doubt.Problem without a file name where the file is
// damaged, is no TIFF, is of a kind that is not read, or cannot be read by r.
func Open(r io.ReaderAt, size int64) (*Image, error) {
	s := &source{r: r, size: size}
	first, err := s.header()
	if err != nil {
		return nil, err
	}
	d, err := s.directory(first)
	if err != nil {
		return nil, err
	}
	im := &Image{src: s, Alpha: -1, BigEndian: s.order.String() == "BigEndian", Big: s.big}
	for _, step := range []func(*directory) error{
		im.shape, im.kind, im.compression, im.segments, im.jpegTables, im.webpKind, im.words, im.place, im.otherPictures,
	} {
		if err := step(d); err != nil {
			return nil, err
		}
	}
	return im, nil
}

// shape reads the size of the picture.
func (im *Image) shape(d *directory) error {
	cols, err := d.uint(tagCols, 0)
	if err != nil {
		return err
	}
	rows, err := d.uint(tagRows, 0)
	if err != nil {
		return err
	}
	bands, err := d.uint(tagBands, 1)
	switch {
	case err != nil:
		return err
	case cols == 0 || rows == 0 || bands == 0:
		return damaged("it says that it is %d x %d pixels of %d bands", cols, rows, bands)
	case cols > math.MaxInt32 || rows > math.MaxInt32:
		return damaged("it says that it is %d x %d pixels", cols, rows)
	case bands > 4096:
		return unread("the picture has %d bands, more than are read", bands)
	}
	im.Cols, im.Rows, im.Bands = int(cols), int(rows), int(bands)
	return nil
}

// kind reads the type of the samples and what they stand for.
func (im *Image) kind(d *directory) error {
	bits, err := d.same(tagBits, 1, "sample sizes")
	if err != nil {
		return err
	}
	format, err := d.same(tagSampleFormat, 1, "sample types")
	if err != nil {
		return err
	}
	if im.isMask {
		switch {
		case im.Bands == 1 && bits == 1:
			im.packed = &packed{packing: packedMask, bits: 1, bands: 1}
		case im.Bands == 1 && bits == 8 && (format == 1 || format == 4):
			im.StoredBits = 8
		default:
			return unread("the mask has %d bands of %d bits, which is not read", im.Bands, bits)
		}
		return im.fillOrder(d)
	}
	im.StoredBits = int(min(bits, 999))
	photo, err := d.uint(tagPhotometric, photoBlackIsZero)
	if err != nil {
		return err
	}
	switch im.white = photo == photoWhiteIsZero && (format == 1 || format == 4); {
	case photo == photoPalette:
		if err := im.colorTable(d, bits); err != nil {
			return err
		}
	case !im.plainSample(format, bits) && !im.pack(format, bits):
		return unreadSample(format, bits)
	}
	if err := im.fillOrder(d); err != nil || photo == photoPalette {
		return err
	}
	return im.findAlpha(d)
}

// plainSample sets the type of samples that are handed on as they are stored;
// it reports whether they are such.
func (im *Image) plainSample(format, bits uint64) bool {
	switch [2]uint64{format, bits} {
	case [2]uint64{1, 8}, [2]uint64{4, 8}:
		im.Sample = Uint8
	case [2]uint64{1, 16}, [2]uint64{4, 16}:
		im.Sample = Uint16
	case [2]uint64{1, 32}, [2]uint64{4, 32}:
		im.Sample = Uint32
	case [2]uint64{2, 16}:
		im.Sample = Int16
	case [2]uint64{2, 32}:
		im.Sample = Int32
	case [2]uint64{3, 32}:
		im.Sample = Float32
	case [2]uint64{3, 64}:
		im.Sample = Float64
	default:
		return false
	}
	return true
}

// fillOrder reads which way the bits of a byte run.
func (im *Image) fillOrder(d *directory) error {
	order, err := d.uint(tagFillOrder, 1)
	if err == nil && order != 1 && order != 2 {
		return damaged("its bits run in order %d", order)
	}
	im.backward = order == 2
	return err
}

// findAlpha finds the sample that says how opaque a pixel is.
func (im *Image) findAlpha(d *directory) error {
	extra, err := d.uints(tagExtraSamples)
	if err != nil {
		return err
	}
	for i, what := range extra {
		if band := im.Bands - len(extra) + i; band >= 0 && (what == 1 || what == 2) {
			im.Alpha = band
			break
		}
	}
	return nil
}

// unreadSample names samples that are not read, and the type to convert to.
func unreadSample(format, bits uint64) error {
	name, options := "unknown", ""
	switch format {
	case 1, 4:
		name, options = "whole", "-ot Float64 "
	case 2:
		name, options = "signed whole", "-ot Float64 "
		if bits <= 16 {
			options = "-ot Int16 -co NBITS=16 "
		}
	case 3:
		name, options = "floating-point", "-ot Float32 -co NBITS=32 "
	case 5, 6:
		name, options = "complex", "-ot Float32 "
	}
	return unreadUnless(options, "the picture has samples of %d bits (%s numbers), which are not read", bits, name)
}

// same returns the value that all values of a tag share.
func (d *directory) same(tag uint16, fallback uint64, what string) (uint64, error) {
	v, err := d.uints(tag)
	if err != nil || len(v) == 0 {
		return fallback, err
	}
	for _, x := range v {
		if x != v[0] {
			return 0, unread("the picture's bands have different %s, which is not read", what)
		}
	}
	return v[0], nil
}

// compression reads how the samples are stored, and refuses what is not read.
func (im *Image) compression(d *directory) error {
	comp, err := d.uint(tagCompression, compNone)
	if err != nil {
		return err
	}
	photo, err := d.uint(tagPhotometric, photoBlackIsZero)
	if err != nil {
		return err
	}
	predictor, err := d.uint(tagPredictor, 1)
	if err != nil {
		return err
	}
	planar, err := d.uint(tagPlanar, 1)
	if err != nil {
		return err
	}
	name, named := compressionNames[comp]
	if !named {
		name = "of an unknown kind"
	}
	im.Compression, im.Predictor, im.Interleaved = name, 1, planar != 2
	switch comp {
	case compNone:
	case compPackBits, compJPEG, compWebP:
	case compDeflate, compDeflateOld, compLZW, compZSTD:
		im.Predictor = int(min(predictor, 99))
	default:
		return unread("the picture's compression is %s (%d), which is not read", name, comp)
	}
	if !im.predictable() {
		return unread("the picture uses predictor %d for %v samples of %d bits, which is not read", predictor, im.Sample, im.StoredBits)
	}
	if comp == compJPEG || comp == compWebP {
		im.backward = false // as their decoders want them
	}
	im.Lossy = comp == compJPEG
	return im.photometric(d, photo)
}

// predictable reports whether the picture's predictor can be undone.
func (im *Image) predictable() bool {
	switch n := im.storedBytes(); im.Predictor {
	case 1:
		return true
	case 2:
		return n == 1 || n == 2 || n == 4 || n == 8
	case 3:
		return im.packed == nil && im.Sample.Float() || im.packed != nil && im.packed.packing == packedFloat
	}
	return false
}

// nameNothing is what is known of the bands before anything is read.
func (im *Image) nameNothing() {
	im.BandNames = make([]string, im.Bands)
	im.Wavelengths = make([]float64, im.Bands)
	im.Colors = make([]string, im.Bands)
	im.Units = make([]string, im.Bands)
	im.Scales, im.Offsets = slices.Repeat([]float64{1}, im.Bands), make([]float64, im.Bands)
}

// photometric refuses pictures whose samples are not the bands themselves.
func (im *Image) photometric(d *directory, photo uint64) error {
	im.ycc = photo == photoYCbCr && im.Compression == "jpeg"
	switch {
	case photo == photoWhiteIsZero, photo == photoBlackIsZero, photo == photoRGB, im.ycc,
		im.isMask && photo == photoMask, photo == photoPalette:
		im.nameNothing()
		im.bandColors(photo)
		return nil
	case photo == photoCMYK:
		return unread("the picture is in printing colours (CMYK), which are not read")
	case photo == photoYCbCr:
		im.nameNothing()
		im.bandColors(photo)
		return im.differences(d)
	}
	return unread("the picture's colour model (%d) is not read", photo)
}

// words reads the texts of the directory.
func (im *Image) words(d *directory) error {
	text, err := d.text(tagNoData)
	if err != nil {
		return err
	}
	if im.NoData = parseNoData(text); im.NoData != nil && im.white {
		v := im.inverted(*im.NoData)
		im.NoData = &v
	}
	if im.packed != nil && im.packed.packing == packedTable {
		im.NoData = nil // a place in the table: its colour is transparent
	}
	if text, err = d.text(tagMetadata); err != nil {
		return err
	}
	im.bandWords(text)
	im.Alpha = slices.Index(im.Colors, "alpha") // the metadata may know better than the samples' kinds
	if im.DateTime, err = d.text(tagDateTime); err != nil {
		return err
	}
	im.Software, err = d.text(tagSoftware)
	return err
}

// otherPictures counts overviews and masks, and finds directories that run in
// a circle.
func (im *Image) otherPictures(d *directory) error {
	const most = 4096
	seen := map[uint64]bool{}
	for next := d.next; next != 0; {
		if seen[next] || len(seen) > most {
			return damaged("its directories run in a circle")
		}
		seen[next] = true
		other, err := im.src.directory(next)
		if err != nil {
			return err
		}
		if err := im.count(other); err != nil {
			return err
		}
		next = other.next
	}
	return nil
}

// count counts one more picture of the file.
func (im *Image) count(d *directory) error {
	kind, err := d.uint(tagSubfileType, 0)
	switch {
	case err != nil:
		return err
	case kind&4 != 0:
		im.Masks++
		if kind&1 == 0 && im.Mask == nil {
			return im.readMask(d)
		}
	case kind&1 != 0:
		im.Overviews++
		if len(im.overviews) < mostOverviews {
			im.overviews = append(im.overviews, d)
		}
	}
	return nil
}

// readMask opens the mask of the picture. One of a kind that is not read, or
// of another size, is left; Masks tells that it is there.
func (im *Image) readMask(d *directory) error {
	m := &Image{src: im.src, Alpha: -1, BigEndian: im.BigEndian, Big: im.Big, isMask: true}
	for _, step := range []func(*directory) error{m.shape, m.kind, m.compression, m.segments} {
		switch err := step(d); {
		case errors.Is(err, errors.ErrUnsupported):
			return nil
		case err != nil:
			return err
		}
	}
	if m.Cols == im.Cols && m.Rows == im.Rows && m.Predictor == 1 && m.Compression != "jpeg" {
		im.Mask = m
	}
	return nil
}
