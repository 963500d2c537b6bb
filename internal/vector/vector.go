// Package vector reads and writes files of points, lines and polygons. Whatever
// a file's coordinate system, what is read is longitude and latitude on WGS84.
package vector

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A Layer is the features of one file.
type Layer struct {
	Name     string // the file's name without folder and ending
	Features []Feature
	Doubts   []doubt.Doubt // what was not certain about the file
}

// A Feature is one thing on the ground. It may hold several kinds of geometry,
// and several of each. Positions are longitude and latitude in degrees, WGS84.
type Feature struct {
	Polygons   geo.MultiPolygon
	Lines      []geo.Line
	Points     []geo.Point
	Properties Properties
}

// Properties are the named values of a feature, in the file's order.
type Properties []Property

// A Property is one named value: nil, a bool, a float64, an int, a string or,
// from GeoJSON, anything that JSON holds. For writing it may also be a [Fixed]
// or a []string.
type Property struct {
	Name  string
	Value any
}

// Fixed is a number to be written with so many decimals.
type Fixed struct {
	Value    float64
	Decimals int
}

// Get returns the value of the first property with the name, in any case, and
// whether there is one.
func (ps Properties) Get(name string) (any, bool) {
	for _, p := range ps {
		if strings.EqualFold(p.Name, name) {
			return p.Value, true
		}
	}
	return nil, false
}

// Text returns the value of a property as a person would write it, or "" when
// there is none or it is null.
func (ps Properties) Text(name string) string {
	v, _ := ps.Get(name)
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return strings.TrimSpace(v)
	default:
		return strings.TrimSpace(fmt.Sprint(v))
	}
}

// Number returns the value of a property as a number, and whether it is one or
// can be read as one.
func (ps Properties) Number(name string) (float64, bool) {
	v, _ := ps.Get(name)
	switch v := v.(type) {
	case float64:
		return v, true
	case int:
		return float64(v), true
	case Fixed:
		return v.Value, true
	case string:
		n, err := strconv.ParseFloat(strings.TrimSpace(v), 64)
		return n, err == nil && !math.IsInf(n, 0) && !math.IsNaN(n)
	}
	return 0, false
}

// maxFile bounds the size in bytes of a file, and of what a zip unpacks to: a
// county of fields is a tenth of it.
const maxFile = 128 << 20

// toGeoJSON is the remedy for a file in another form.
const toGeoJSON = "turn it into GeoJSON with: ogr2ogr -t_srs EPSG:4326 new.geojson FILE"

// ReadFile reads the file at path: GeoJSON, a shapefile (loose or zipped), KML,
// KMZ, GeoPackage or GPX, told by its content. What is wrong with it comes back as a
// *doubt.Problem that names path as given.
func ReadFile(path string) (*Layer, error) {
	data, err := load(path)
	if err != nil {
		return nil, err
	}
	layer, err := read(path, data)
	if err == nil {
		layer.Name = NameOf(path)
		err = layer.check()
	}
	if err != nil {
		return nil, named(path, err)
	}
	return layer, nil
}

func read(path string, data []byte) (*Layer, error) {
	head := bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\ufeff")), " \t\r\n")
	switch {
	case len(head) > 0 && strings.EqualFold(filepath.Ext(path), ".shx"): // begins as a .shp does
		return nil, onePart()
	case len(head) == 0:
		return nil, problem("is empty", "save it again from where it was drawn", nil)
	case bytes.HasPrefix(data, []byte{0, 0, 0x27, 0x0a}):
		return readLooseShapefile(path, data)
	case bytes.HasPrefix(data, []byte("PK\x03\x04")), bytes.HasPrefix(data, []byte("PK\x05\x06")):
		return readZip(data)
	case head[0] == '{' || head[0] == '[':
		return readGeoJSON(head)
	case head[0] == '<':
		return readXML(data)
	case bytes.HasPrefix(data, []byte("SQLite format 3\x00")):
		return readGeoPackage(path)
	}
	if partOfShapefile(path) {
		return nil, onePart()
	}
	return nil, problem("is of no kind that is read", "give GeoJSON, KML, GeoPackage or a shapefile (.shp, or a zip of its parts)", nil)
}

func onePart() error {
	return problem("is one part of a shapefile", "name the .shp file beside it, or a zip of all of them", nil)
}

// partOfShapefile reports whether the name is that of a part beside a .shp file.
func partOfShapefile(path string) bool {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix":
		return true
	}
	return false
}

// Recognized reports whether the file at path begins as one that ReadFile
// reads, or is a part of one: it is no picture, but need not be sound.
func Recognized(path string) bool {
	info, err := os.Stat(path) // before opening: a pipe would wait for its writer
	if err != nil || !info.Mode().IsRegular() {
		return false
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, 1024)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false
	}
	data := head[:n]
	text := bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\ufeff")), " \t\r\n")
	for _, magic := range []string{"\x00\x00\x27\x0a", "PK\x03\x04", "PK\x05\x06", "SQLite format 3\x00"} {
		if bytes.HasPrefix(data, []byte(magic)) {
			return true
		}
	}
	if bytes.HasPrefix(text, []byte("<")) && (bytes.Contains(text, []byte("<kml")) || bytes.Contains(text, []byte("<gpx"))) {
		return true
	}
	return bytes.HasPrefix(text, []byte("{")) || bytes.HasPrefix(text, []byte("[")) || partOfShapefile(path)
}

// load reads the whole file, or says why not.
func load(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, openProblem(path, err)
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, openProblem(path, err)
	case info.IsDir():
		return nil, &doubt.Problem{File: path, What: "is a folder", Remedy: "name the file in it"}
	case !info.Mode().IsRegular():
		return nil, &doubt.Problem{File: path, What: "is not a file", Remedy: "name a file"}
	case isPicture(f):
		return nil, &doubt.Problem{File: path, What: "is a picture, not a file of places", Remedy: "give GeoJSON, KML, GeoPackage or a shapefile"}
	case info.Size() > maxFile:
		return nil, &doubt.Problem{File: path, What: "is larger than 128 MB", Remedy: "save the field that is meant alone"}
	}
	data, err := io.ReadAll(io.LimitReader(f, maxFile))
	if err != nil {
		return nil, openProblem(path, err)
	}
	return data, nil
}

// isPicture reports whether the file begins like a TIFF, PNG or JPEG.
func isPicture(r io.ReaderAt) bool {
	var head [4]byte
	if n, _ := r.ReadAt(head[:], 0); n < len(head) {
		return false // too short for a picture, or unreadable, which reading it says
	}
	for _, magic := range []string{"II*\x00", "MM\x00*", "II+\x00", "MM\x00+", "\x89PNG", "\xff\xd8\xff"} {
		if strings.HasPrefix(string(head[:]), magic) {
			return true
		}
	}
	return false
}

func openProblem(path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &doubt.Problem{File: path, What: "there is no such file", Remedy: "check the name", Err: err}
	case errors.Is(err, fs.ErrPermission):
		return &doubt.Problem{File: path, What: "may not be read", Remedy: "check who may read it", Err: err}
	}
	return &doubt.Problem{File: path, What: "could not be read from the disk", Remedy: "copy it to another disk and try again", Err: err}
}

func problem(what, remedy string, err error) *doubt.Problem {
	return &doubt.Problem{What: what, Remedy: remedy, Err: err}
}

// named puts the file's name on a problem; what is no problem becomes one.
func named(path string, err error) error {
	p, ok := errors.AsType[*doubt.Problem](err)
	if !ok {
		p = problem("could not be read ("+err.Error()+")", "save it again from where it was drawn", err)
	}
	q := *p
	q.File = path
	if rest, ok := strings.CutSuffix(q.Remedy, " FILE"); ok {
		q.Remedy = rest + " " + filepath.Base(path)
	}
	return &q
}

// check refuses positions that are no longitude and latitude.
func (l *Layer) check() error {
	box := geo.EmptyBox()
	for _, f := range l.Features {
		for _, p := range f.Places() {
			if math.IsNaN(p.X-p.X) || math.IsNaN(p.Y-p.Y) {
				return problem("holds a position that is not a number", "save it again from where it was drawn", nil)
			}
			box = box.Extend(p)
		}
	}
	switch {
	case box.Empty():
		return nil
	case grid.Swapped(box):
		return problem("has latitude and longitude swapped", "write longitude first, then latitude", nil)
	case box.Min.X < -180 || box.Max.X > 180 || box.Min.Y < -90 || box.Max.Y > 90:
		return problem("holds positions that are not degrees, and does not say in what coordinate system they are",
			"save it in longitude and latitude (WGS84), or with its .prj", nil)
	}
	return nil
}

// Places returns every position of f, corners of lines and polygons included.
func (f *Feature) Places() []geo.Point {
	out := append([]geo.Point(nil), f.Points...)
	for _, l := range f.Lines {
		out = append(out, l...)
	}
	for _, r := range f.Polygons.Rings() {
		out = append(out, r...)
	}
	return out
}

// toLonLat brings features from c into longitude and latitude.
func toLonLat(c crs.CRS, features []Feature) {
	if c.Geographic() {
		return
	}
	inverse := func(p geo.Point) geo.Point {
		lon, lat := c.Inverse(p.X, p.Y)
		return geo.Point{X: lon, Y: lat}
	}
	for i := range features {
		f := &features[i]
		f.Polygons = f.Polygons.Map(inverse)
		for k, l := range f.Lines {
			f.Lines[k] = l.Map(inverse)
		}
		for k, p := range f.Points {
			f.Points[k] = inverse(p)
		}
	}
}

// unknownCRS is the refusal of a coordinate system that is not read.
func unknownCRS(err error) error {
	return problem("is in a coordinate system that is not read yet: "+strings.TrimSuffix(err.Error(), ": "+crs.ErrUnknown.Error()),
		toGeoJSON, err)
}

// datumDoubt is what a CRS leaves uncertain, as doubts.
func datumDoubt(c crs.CRS) []doubt.Doubt {
	if c.Doubt() == "" {
		return nil
	}
	return []doubt.Doubt{{
		About: "position", Says: c.Doubt(),
		Settle: "Save the file in WGS84 from where it was drawn.", Weight: 0.1,
	}}
}
