// Package imagery reads what picture files are: a flight of one or more
// files, each with its place on the ground, its named bands, its date, and
// the doubts about them. It reads no pixels.
//
// Which band is which is taken from what was typed, else from the bands'
// names, else from their wavelengths, else from their colours, else from the
// name of a file that holds a single band. Nothing else is guessed, and each
// band says how it came by its name.
package imagery

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
)

// Options are what a person typed about the pictures.
type Options struct {
	// Bands names the bands in the order of the samples, of each file or of
	// all files together; "-" is a band not to use. Empty: read it from the
	// files.
	Bands []string
}

// A Flight is the imagery of one field on one date, by one or more cameras.
type Flight struct {
	Files    []*File // a later one lies on those before it, where it has all of their bands
	Bands    []Band  // what is used, in the order blue, green, red, rededge, nir, then by file
	Flown    string  // "2026-07-14" or "2026-07-14T09:05" as the files tell it; "" when they do not
	FlownHow string  // where Flown is from; "" without
	PixelM   float64
	Bits     int    // of a stored sample, of the finest picture
	Sensor   string // "4 bands, 16 bits"
	Lossy    bool   // a picture is 8-bit display colour, or its compression changed it
	Doubts   []doubt.Doubt
	Problems []*doubt.Problem // why the pictures can answer nothing, after Look; else none
}

// A Band is one band that is used, and how it came by its name.
type Band struct {
	Name  string // "blue", "green", "red", "rededge", "nir"
	File  string // base name
	Index int    // sample of the file's pixels, from 1
	How   string // "from the band's name", ...
}

// A File is one picture of a flight.
type File struct {
	Name   string // base name
	Path   string // as given, or as a mosaic names it
	Kind   string // "TIFF", "JPEG" or "PNG"
	Bytes  int64
	Image  *geotiff.Image
	CRS    crs.CRS  // not valid when Look found no place
	PixelM float64  // m, the side of a square as large as a pixel on the ground, at the centre; 0 without a place
	Bands  []string // of each sample; "" is not used
	SRGB   bool     // 8-bit display colour: samples are to be made linear

	// Mask is the picture's mask, inside the file or beside it, or nil: a picture
	// of the same size whose one sample is 0 where there is no data.
	Mask *geotiff.Image

	how      []string   // of each sample
	system   string     // the coordinate system as a text beside the picture has it, "" without
	placedBy []string   // names of files beside the picture that its place is from
	oddMask  bool       // a mask lies beside the picture and does not fit it
	also     []*os.File // open beside the picture
	f        *os.File
	info     os.FileInfo
}

// Open opens the pictures of one flight. The error is a *doubt.Problem when a
// file is at fault. Close the flight after use.
func Open(ctx context.Context, paths []string, opt Options) (*Flight, error) {
	return open(ctx, paths, opt, func(err error) error { return err })
}

// Look opens pictures to say what they are. It goes on where Open gives up
// because a sound picture has no place on the ground or no bands that answer
// anything; the reasons are the flight's Problems. Such a flight must not be
// passed over: its files may have neither a place nor an affine.
func Look(ctx context.Context, paths []string, opt Options) (*Flight, error) {
	var problems []*doubt.Problem
	f, err := open(ctx, paths, opt, func(err error) error {
		p, ok := errors.AsType[*doubt.Problem](err)
		if !ok {
			return err
		}
		problems = append(problems, p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	f.Problems = problems
	return f, nil
}

// open opens the pictures of one flight. forgive decides about errors of
// sound pictures: it returns them, or nil to go on.
func open(ctx context.Context, paths []string, opt Options, forgive func(error) error) (_ *Flight, err error) {
	if len(paths) == 0 {
		return nil, &doubt.Problem{What: "no picture is given", Remedy: "give one with --imagery"}
	}
	f := &Flight{}
	defer func() {
		if err != nil {
			_ = f.Close() // the error that matters is the other one
		}
	}()
	for _, path := range paths {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		files, err := openPath(path, forgive)
		if err != nil {
			return nil, err
		}
		for i, file := range files {
			if slices.ContainsFunc(f.Files, func(g *File) bool { return os.SameFile(g.info, file.info) }) {
				closeAll(files[i:])
				return nil, &doubt.Problem{File: file.Name, What: "is given twice", Remedy: "give each picture once"}
			}
			f.Files = append(f.Files, file)
		}
	}
	if err := f.nameBands(opt.Bands); err != nil && forgive(err) != nil {
		return nil, err
	}
	f.describe()
	return f, nil
}

// Close closes the files.
func (f *Flight) Close() error {
	var errs []error
	for _, file := range f.Files {
		errs = append(errs, file.f.Close())
		for _, g := range file.also {
			errs = append(errs, g.Close())
		}
	}
	return errors.Join(errs...)
}

// closeAll closes files that are not needed because of another error.
func closeAll(files []*File) { _ = (&Flight{Files: files}).Close() }

// describe fills the head of the flight from its files.
func (f *Flight) describe() {
	for _, file := range f.Files {
		if f.PixelM == 0 || file.PixelM < f.PixelM {
			f.PixelM, f.Bits = file.PixelM, file.Image.StoredBits
		}
		f.Lossy = f.Lossy || file.SRGB || file.Image.Lossy
		f.Doubts = append(f.Doubts, file.doubts()...)
	}
	f.listBands()
	f.setDate()
	names := map[string]bool{}
	for _, b := range f.Bands {
		names[b.Name] = true
	}
	f.Sensor = f.sensor(len(names))
	slices.SortStableFunc(f.Doubts, func(a, b doubt.Doubt) int {
		switch {
		case a.Weight > b.Weight:
			return -1
		case a.Weight < b.Weight:
			return 1
		}
		return 0
	})
}

// sensor is how many bands of how many bits there are: those that are used, or
// all where none is known.
func (f *Flight) sensor(used int) string {
	kind := "bands"
	if used == 0 {
		for _, file := range f.Files {
			used = max(used, file.dataBands())
		}
		kind = "bands that are not known"
	}
	if used == 1 {
		kind = strings.Replace(strings.Replace(kind, "bands", "band", 1), "are", "is", 1)
	}
	return fmt.Sprintf("%d %s, %d bits", used, kind, f.Bits)
}

// openPath opens one picture, or the pictures that a mosaic names, and finds
// their places on the ground.
func openPath(path string, forgive func(error) error) ([]*File, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	head, err := beginning(f.f)
	if err == nil && isVRT(head) {
		_ = f.f.Close() // read again as a text
		return openVRT(path, f.info, forgive)
	}
	if err == nil {
		err = f.open(head)
	}
	if err == nil {
		err = f.placed(forgive)
	}
	if err != nil {
		closeAll([]*File{f})
		return nil, inFile(f.Name, err)
	}
	return []*File{f}, nil
}

// placed finds the place of the picture, or is forgiven that it has none.
func (f *File) placed(forgive func(error) error) error {
	err := f.place()
	if err == nil {
		return nil
	}
	f.CRS, f.PixelM = crs.CRS{}, 0
	return forgive(inFile(f.Name, err))
}

// openTIFF opens one picture that a mosaic names, and leaves its place.
func openTIFF(path string) (*File, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	head, err := beginning(f.f)
	if err == nil {
		err = f.open(head)
	}
	if err != nil {
		closeAll([]*File{f})
		return nil, inFile(f.Name, err)
	}
	return f, nil
}

// openFile opens a file that may be a picture.
func openFile(path string) (*File, error) {
	name := filepath.Base(path)
	info, err := os.Stat(path) // before opening: a pipe would wait for its writer
	if err != nil {
		return nil, unopened(name, err)
	}
	if err := isPicture(info); err != nil {
		return nil, inFile(name, err)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unopened(name, err)
	}
	return &File{Name: name, Path: path, Bytes: info.Size(), f: f, info: info}, nil
}

// open reads what the picture is, and what the files beside it say.
func (f *File) open(head string) (err error) {
	if c := codecOf(head); c != nil {
		f.Kind = c.name
		f.Image, err = c.open(f.f, f.Bytes)
	} else if err = otherKind(head); err == nil {
		f.Kind = "TIFF"
		f.Image, err = geotiff.Open(f.f, f.Bytes)
	}
	if err != nil {
		return err
	}
	return f.beside()
}

// beginning is the first bytes of a file, as many as tell its kind.
func beginning(r io.ReaderAt) (string, error) {
	head := make([]byte, 512)
	n, err := r.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	return string(head[:n]), nil
}

// isVRT reports whether a file begins as a mosaic that names its pictures.
func isVRT(head string) bool {
	head = strings.TrimLeft(head, "\ufeff \t\r\n")
	return strings.HasPrefix(head, "<VRTDataset") || strings.HasPrefix(head, "<?xml") && strings.Contains(head, "<VRTDataset")
}

// isPicture refuses what cannot be a picture by what the disk says of it.
func isPicture(info os.FileInfo) error {
	switch {
	case info.IsDir():
		return &doubt.Problem{What: "is a folder, and frames are not joined yet", Remedy: "give the joined picture, a GeoTIFF"}
	case !info.Mode().IsRegular():
		return &doubt.Problem{What: "is no file", Remedy: "give the picture, a GeoTIFF"}
	case info.Size() == 0:
		return &doubt.Problem{What: "is empty", Remedy: "copy it again"}
	}
	return nil
}

// unopened is the problem that a file cannot be opened.
func unopened(name string, err error) error {
	p := &doubt.Problem{File: name, What: "cannot be opened", Remedy: "check that it is there and may be read", Err: err}
	switch {
	case errors.Is(err, os.ErrNotExist):
		p.What, p.Remedy = "there is no such file", "check the name"
	case errors.Is(err, os.ErrPermission):
		p.What, p.Remedy = "may not be read", "change its permissions, or copy it"
	}
	return p
}

// inFile puts the file's name into a problem that lacks one.
func inFile(name string, err error) error {
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return fmt.Errorf("%s: %w", name, err)
	}
	if p.File != "" {
		return err // of another file, beside it
	}
	named := *p
	named.File = name
	return &named
}

// otherKind recognises files that are not TIFF by how they begin.
func otherKind(head string) error {
	for _, k := range []struct{ magic, name string }{
		{"GIF8", "a GIF picture"},
		{"BM", "a BMP picture"},
		{"\x00\x00\x00\x0cjP", "a JPEG 2000 picture"},
		{"\xff\x4f\xff\x51", "a JPEG 2000 picture"},
		{"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"},
		{"\xff\x0a", "a JPEG XL picture"},
		{"RIFF", "a WebP picture"},
		{"EHFA_HEADER_TAG", "an ERDAS picture"},
		{"NITF", "an NITF picture"},
		{"\x89HDF", "an HDF file"},
	} {
		if strings.HasPrefix(head, k.magic) {
			return convert("is "+k.name+", which is not read", nil)
		}
	}
	if name := outlines(head); name != "" {
		return &doubt.Problem{What: "is " + name + " and no picture", Remedy: "give outlines with --boundary, and the joined picture, a GeoTIFF, with --imagery"}
	}
	for _, k := range []struct{ magic, name string }{
		{"%PDF", "a PDF document"},
		{"PK\x03\x04", "a zip archive"},
		{"\x1f\x8b", "a compressed archive"},
	} {
		if strings.HasPrefix(head, k.magic) {
			return &doubt.Problem{What: "is " + k.name + ", which is not read", Remedy: "export the joined picture as a GeoTIFF"}
		}
	}
	if isText(head) {
		return &doubt.Problem{What: "is a text and no picture", Remedy: "give the joined picture, a GeoTIFF"}
	}
	return nil
}

// isText reports whether a file begins as words do, and not as a text of
// numbers that gdal_translate makes a picture of.
func isText(head string) bool {
	if strings.HasPrefix(head, "II") || strings.HasPrefix(head, "MM") || strings.HasPrefix(head, "ncols") {
		return false // a damaged TIFF, or a grid of numbers
	}
	for len(head) > 0 {
		r, n := utf8.DecodeRuneInString(head)
		if r == utf8.RuneError && len(head) >= utf8.UTFMax || r < ' ' && !strings.ContainsRune("\t\r\n\f", r) {
			return false
		}
		head = head[n:]
	}
	return true
}

// outlines names a file of outlines, lines or points by how it begins, or
// returns "".
func outlines(head string) string {
	text := strings.TrimLeft(head, "\ufeff \t\r\n")
	switch {
	case strings.HasPrefix(head, "\x00\x00\x27\x0a"):
		return "a shapefile"
	case strings.HasPrefix(head, "SQLite format 3"):
		return "a GeoPackage or another database"
	case strings.HasPrefix(text, "{"):
		return "a GeoJSON file or another text"
	case strings.HasPrefix(text, "<") && strings.Contains(head, "<kml"):
		return "a KML file"
	case strings.HasPrefix(text, "<") && strings.Contains(head, "<gpx"):
		return "a GPX file"
	}
	return ""
}

// Digest is the SHA-256 of the file, in hexadecimal. It reads the whole file,
// in its own time: call it beside the pass.
func (f *File) Digest(ctx context.Context) (string, error) {
	h := sha256.New()
	buf := make([]byte, 1<<20)
	for at := int64(0); at < f.Bytes; {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		n, err := f.f.ReadAt(buf[:min(int64(len(buf)), f.Bytes-at)], at)
		h.Write(buf[:n])
		at += int64(n)
		if err != nil && !(errors.Is(err, io.EOF) && at == f.Bytes) {
			return "", &doubt.Problem{
				File: f.Name, What: fmt.Sprintf("cannot be read at byte %d (%v)", at, err),
				Remedy: "check that its card or disk is still there, copy the picture to this computer and try again", Err: err,
			}
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
