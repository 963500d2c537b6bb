package geotiff

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"bittern/internal/doubt"
)

// errDamaged is the cause of every Problem that says that a file is damaged.
var errDamaged = errors.New("damaged or incomplete")

// damaged is the sentence about a file that breaks the format's own rules or
// ends too early.
func damaged(format string, args ...any) error {
	return &doubt.Problem{
		Kind:   doubt.Input,
		What:   "the picture is damaged or incomplete: " + fmt.Sprintf(format, args...),
		Remedy: "copy or export it again and compare the sizes of the two files",
		Err:    errDamaged,
	}
}

// unread is the sentence about a sound file of a kind that is not read here.
func unread(format string, args ...any) error {
	return unreadUnless("", format, args...)
}

// unreadUnless is unread for a file that the converting command needs further
// options for, each with a space behind it.
func unreadUnless(options, format string, args ...any) error {
	return &doubt.Problem{
		Kind:   doubt.Input,
		What:   fmt.Sprintf(format, args...),
		Remedy: "convert it with: gdal_translate " + options + "-co COMPRESS=DEFLATE -co TILED=YES in.tif out.tif",
		Err:    errors.ErrUnsupported,
	}
}

// unconverted is unread for a file that the converting command does not read
// either.
func unconverted(format string, args ...any) error {
	return &doubt.Problem{
		Kind:   doubt.Input,
		What:   fmt.Sprintf(format, args...),
		Remedy: "export it again as red, green and blue with Deflate or LZW compression",
		Err:    errors.ErrUnsupported,
	}
}

// A source is the file's bytes with its byte order and its length. Nothing is
// read or allocated beyond the length.
type source struct {
	r     io.ReaderAt
	size  int64
	order binary.ByteOrder
	big   bool
}

// read fills a new slice with n bytes at off.
func (s *source) read(off, n uint64) ([]byte, error) {
	if off > uint64(s.size) || n > uint64(s.size)-off {
		return nil, damaged("%d bytes at %d lie beyond its end at %d", n, off, s.size)
	}
	buf := make([]byte, n)
	return buf, s.readInto(buf, off)
}

// readInto fills buf from off, which the caller has checked.
func (s *source) readInto(buf []byte, off uint64) error {
	n, err := s.r.ReadAt(buf, int64(off))
	switch {
	case n == len(buf):
		return nil
	case errors.Is(err, io.EOF):
		return damaged("%d bytes at %d lie beyond its end", len(buf), off)
	default:
		return &doubt.Problem{
			Kind:   doubt.Input,
			What:   fmt.Sprintf("%d bytes at %d cannot be read (%v)", len(buf), off, err),
			Remedy: "check that its card or disk is still there, copy the picture to this computer and try again",
			Err:    err,
		}
	}
}

// An entry is one field of a directory; its values are read when asked for.
type entry struct {
	typ   uint16
	count uint64
	value [8]byte // the values when they fit, else their offset
}

// A directory is the fields of one picture of the file.
type directory struct {
	src     *source
	entries map[uint16]entry
	next    uint64
}

// mostValues is how many values a field may have: enough for the pieces of
// any picture that is read.
const mostValues = 16 << 20

// typeBytes is the length of one value of a field type, 0 for an unknown one.
func typeBytes(typ uint16) uint64 {
	switch typ {
	case 1, 2, 6, 7:
		return 1
	case 3, 8:
		return 2
	case 4, 9, 11, 13:
		return 4
	case 5, 10, 12, 16, 17, 18:
		return 8
	}
	return 0
}

// header reads the first bytes of the file and returns the offset of its
// first directory.
func (s *source) header() (first uint64, err error) {
	head := make([]byte, 16)
	if n := min(s.size, 16); n < 8 {
		return 0, damaged("it has only %d bytes", s.size)
	} else if err := s.readInto(head[:n], 0); err != nil {
		return 0, err
	}
	switch string(head[:2]) {
	case "II":
		s.order = binary.LittleEndian
	case "MM":
		s.order = binary.BigEndian
	default:
		return 0, notTIFF()
	}
	switch s.order.Uint16(head[2:]) {
	case 42:
		return uint64(s.order.Uint32(head[4:])), nil
	case 43:
		if s.size < 16 || s.order.Uint16(head[4:]) != 8 || s.order.Uint16(head[6:]) != 0 {
			return 0, damaged("its BigTIFF header is wrong")
		}
		s.big = true
		return s.order.Uint64(head[8:]), nil
	default:
		return 0, notTIFF()
	}
}

func notTIFF() error {
	return &doubt.Problem{
		Kind:   doubt.Input,
		What:   "this is not a TIFF picture",
		Remedy: "export the mosaic as GeoTIFF, or convert it with: gdal_translate -co COMPRESS=DEFLATE -co TILED=YES in out.tif",
		Err:    errors.ErrUnsupported,
	}
}

// directory reads the directory at off.
func (s *source) directory(off uint64) (*directory, error) {
	countBytes, entryBytes, nextBytes := uint64(2), uint64(12), uint64(4)
	if s.big {
		countBytes, entryBytes, nextBytes = 8, 20, 8
	}
	head, err := s.read(off, countBytes)
	if err != nil {
		return nil, err
	}
	n := s.number(head)
	if n == 0 || n > 4096 {
		return nil, damaged("its directory at %d has %d entries", off, n)
	}
	// The last directory's link may be cut off in a file that is otherwise whole.
	body, err := s.read(off+countBytes, n*entryBytes)
	if err != nil {
		return nil, err
	}
	d := &directory{src: s, entries: make(map[uint16]entry, n)}
	for ; len(body) > 0; body = body[entryBytes:] {
		d.add(body[:entryBytes])
	}
	if link, err := s.read(off+countBytes+n*entryBytes, nextBytes); err == nil {
		d.next = s.number(link)
	}
	return d, nil
}

// number reads a count or an offset of whatever width b has.
func (s *source) number(b []byte) uint64 {
	switch len(b) {
	case 2:
		return uint64(s.order.Uint16(b))
	case 4:
		return uint64(s.order.Uint32(b))
	default:
		return s.order.Uint64(b)
	}
}

// add keeps one raw entry; the first of a tag wins.
func (d *directory) add(raw []byte) {
	tag, e := d.src.order.Uint16(raw), entry{typ: d.src.order.Uint16(raw[2:])}
	width := (len(raw) - 4) / 2
	e.count = d.src.number(raw[4 : 4+width])
	copy(e.value[:], raw[4+width:])
	if _, ok := d.entries[tag]; !ok {
		d.entries[tag] = e
	}
}

// has reports whether the directory has the tag.
func (d *directory) has(tag uint16) bool {
	_, ok := d.entries[tag]
	return ok
}

// bytes returns the raw values of a tag, nil without it.
func (d *directory) bytes(tag uint16) (raw []byte, typ uint16, err error) {
	e, ok := d.entries[tag]
	if !ok {
		return nil, 0, nil
	}
	width := typeBytes(e.typ)
	if width == 0 || e.count > uint64(d.src.size)/width || e.count > mostValues {
		return nil, 0, damaged("field %d of its directory claims %d values of type %d", tag, e.count, e.typ)
	}
	inline := uint64(4)
	if d.src.big {
		inline = 8
	}
	n := e.count * width
	if n <= inline {
		return e.value[:n], e.typ, nil
	}
	raw, err = d.src.read(d.src.number(e.value[:inline]), n)
	return raw, e.typ, err
}

// uints returns the values of a tag as whole numbers, nil without it.
func (d *directory) uints(tag uint16) ([]uint64, error) {
	raw, typ, err := d.bytes(tag)
	if err != nil || raw == nil {
		return nil, err
	}
	width := int(typeBytes(typ))
	switch typ {
	case 1, 3, 4, 6, 7, 8, 9, 13, 16, 17, 18:
	default:
		return nil, damaged("field %d of its directory has type %d", tag, typ)
	}
	out := make([]uint64, len(raw)/width)
	for i := range out {
		if v := raw[i*width : (i+1)*width]; width == 1 {
			out[i] = uint64(v[0])
		} else {
			out[i] = d.src.number(v)
		}
	}
	return out, nil
}

// uint returns the first value of a tag, or fallback without it.
func (d *directory) uint(tag uint16, fallback uint64) (uint64, error) {
	v, err := d.uints(tag)
	if err != nil || len(v) == 0 {
		return fallback, err
	}
	return v[0], nil
}

// floats returns the values of a tag of 64-bit floats, nil without it.
func (d *directory) floats(tag uint16) ([]float64, error) {
	raw, typ, err := d.bytes(tag)
	if err != nil || raw == nil {
		return nil, err
	}
	if typ != 12 {
		return nil, damaged("field %d of its directory has type %d", tag, typ)
	}
	out := make([]float64, len(raw)/8)
	for i := range out {
		out[i] = math.Float64frombits(d.src.order.Uint64(raw[i*8:]))
	}
	return out, nil
}

// ratios returns the values of a tag of unsigned ratios, as many as in fallback,
// which it is without the tag.
func (d *directory) ratios(tag uint16, fallback ...float64) ([]float64, error) {
	raw, typ, err := d.bytes(tag)
	if err != nil || raw == nil {
		return fallback, err
	}
	if typ != 5 || len(raw) != 8*len(fallback) {
		return nil, damaged("field %d of its directory has type %d and %d bytes", tag, typ, len(raw))
	}
	out := make([]float64, len(fallback))
	for i := range out {
		over, under := d.src.order.Uint32(raw[i*8:]), d.src.order.Uint32(raw[i*8+4:])
		if under == 0 {
			return nil, damaged("field %d of its directory is divided by nothing", tag)
		}
		out[i] = float64(over) / float64(under)
	}
	return out, nil
}

// text returns the value of a text tag without what follows its first NUL, ""
// without it.
func (d *directory) text(tag uint16) (string, error) {
	raw, _, err := d.bytes(tag)
	s, _, _ := strings.Cut(string(raw), "\x00")
	return s, err
}
