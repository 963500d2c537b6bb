package imagery

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
)

// mostBeside bounds what is read of a file that lies beside a picture.
const mostBeside = 8 << 20

// readBeside reads the first of paths that there is, without following it
// beyond what a text may be; path is "" when there is none.
func readBeside(paths ...string) (text, path string, err error) {
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		if info.Size() > mostBeside {
			return "", path, besideProblem(path, "is too large for what it should be", nil)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return "", path, besideProblem(path, "cannot be read", err)
		}
		return string(b), path, nil
	}
	return "", "", nil
}

// isFile reports whether there is a file at path.
func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// besideProblem is a problem of a file beside the picture.
func besideProblem(path, what string, err error) error {
	return &doubt.Problem{
		File: filepath.Base(path), What: what,
		Remedy: "export the picture again as a GeoTIFF, or take the file away", Err: err,
	}
}

// beside takes what the files beside the picture say: a description in XML,
// then, for what is still unknown, a world file, a file with the coordinate
// system, and a mask.
func (f *File) beside() error {
	for _, step := range []func() error{f.pam, f.worldFile, f.prj, f.outerMask} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// withExtension is the picture's path with other endings, each in lower and
// upper case.
func (f *File) withExtension(endings ...string) (paths []string) {
	stem := strings.TrimSuffix(f.Path, filepath.Ext(f.Path))
	for _, e := range endings {
		paths = append(paths, stem+"."+e, stem+"."+strings.ToUpper(e))
	}
	return paths
}

// worldFile takes the place from a world file: six numbers, a line each, that
// lead from the centres of pixels to the ground.
func (f *File) worldFile() error {
	if f.Image.Affine != nil {
		return nil
	}
	ext := strings.ToLower(strings.TrimPrefix(filepath.Ext(f.Path), "."))
	endings := []string{"wld"}
	if n := len(ext); n >= 2 {
		endings = []string{ext[:1] + ext[n-1:] + "w", ext + "w", "wld"}
	}
	text, path, err := readBeside(f.withExtension(endings...)...)
	if err != nil || path == "" {
		return err
	}
	a, ok := parseWorld(text)
	if !ok {
		return besideProblem(path, "is no world file: it should hold six numbers, a line each", nil)
	}
	f.Image.Affine = &a
	f.placedBy = append(f.placedBy, filepath.Base(path))
	return nil
}

// parseWorld reads the six numbers of a world file.
func parseWorld(text string) (grid.Affine, bool) {
	var v []float64
	for _, word := range strings.Fields(strings.ReplaceAll(text, ",", ".")) {
		x, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return grid.Affine{}, false
		}
		v = append(v, x)
	}
	if len(v) != 6 {
		return grid.Affine{}, false
	}
	a := grid.Affine{B: v[0], E: v[1], C: v[2], F: v[3]}
	a.A = v[4] - float64(a.B*0.5) - float64(a.C*0.5)
	a.D = v[5] - float64(a.E*0.5) - float64(a.F*0.5)
	return a, leads(a)
}

// leads reports whether a leads to the ground and back.
func leads(a grid.Affine) bool {
	det := a.Det()
	return det != 0 && !math.IsNaN(det) && !math.IsInf(det, 0) && !math.IsNaN(a.A+a.D) && !math.IsInf(a.A+a.D, 0)
}

// prj takes the coordinate system from a file with the ending prj.
func (f *File) prj() error {
	if f.system != "" || f.Image.HasCRS || f.Image.EPSG != 0 {
		return nil
	}
	text, path, err := readBeside(f.withExtension("prj")...)
	if err != nil || path == "" {
		return err
	}
	f.system = strings.TrimSpace(text)
	f.placedBy = append(f.placedBy, filepath.Base(path))
	return nil
}

// outerMask opens the mask that lies beside the picture, if the picture has
// none inside. One of another size, or with several bands, is not used, and
// that is a doubt.
func (f *File) outerMask() error {
	f.Mask = f.Image.Mask
	path := f.Path + ".msk"
	if f.Mask != nil || !isFile(path) {
		return nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return besideProblem(path, "cannot be read", err)
	}
	m, err := os.Open(path)
	if err != nil {
		return besideProblem(path, "cannot be read", err)
	}
	f.also = append(f.also, m)
	im, err := geotiff.Open(m, info.Size())
	if err != nil {
		return inFile(filepath.Base(path), err)
	}
	if im.Cols == f.Image.Cols && im.Rows == f.Image.Rows && im.Bands == 1 && im.Sample == geotiff.Uint8 {
		f.Mask = im
		return nil
	}
	f.oddMask = true
	return nil
}

// A pamFile is the description that lies beside a picture, NAME.aux.xml.
type pamFile struct {
	XMLName   xml.Name
	SRS       string    `xml:"SRS"`
	Transform string    `xml:"GeoTransform"`
	Controls  *xmlThere `xml:"GCPList"`
	Bands     []xmlBand `xml:"PAMRasterBand"`
}

// xmlThere is an element whose contents do not matter.
type xmlThere struct{}

// An xmlBand is what a description in XML says of one band.
type xmlBand struct {
	Band        int      `xml:"band,attr"`
	Description string   `xml:"Description"`
	NoData      string   `xml:"NoDataValue"`
	Color       string   `xml:"ColorInterp"`
	Scale       string   `xml:"Scale"`
	Offset      string   `xml:"Offset"`
	Unit        string   `xml:"UnitType"`
	Words       []xmlMDI `xml:"Metadata>MDI"`
}

// An xmlMDI is a name with a value.
type xmlMDI struct {
	Key   string `xml:"key,attr"`
	Value string `xml:",chardata"`
}

// pam takes what the description beside the picture says; it goes before what
// the picture says of itself.
func (f *File) pam() error {
	path := f.Path + ".aux.xml"
	text, found, err := readBeside(path)
	if err != nil || found == "" {
		return err
	}
	var p pamFile
	if err := unmarshal(text, &p); err != nil {
		return besideProblem(path, "is no description of a picture that can be read", err)
	}
	if p.XMLName.Local != "PAMDataset" {
		return nil // of another program
	}
	if s := strings.TrimSpace(p.SRS); s != "" {
		f.system = s
	}
	if p.Transform != "" {
		a, ok := parseTransform(p.Transform)
		if !ok {
			return besideProblem(path, "holds a place that is no six numbers", nil)
		}
		f.Image.Affine = &a
	}
	if p.Controls != nil && f.Image.Affine == nil {
		f.Image.Controls = max(f.Image.Controls, 1)
	}
	for _, b := range p.Bands {
		b.describe(f.Image, b.Band-1)
	}
	return nil
}

// describe gives band i of a picture what the description says of it.
func (b xmlBand) describe(im *geotiff.Image, i int) {
	unit := ""
	for _, w := range b.Words {
		if k := strings.ToLower(w.Key); strings.HasPrefix(k, "wavelength") && strings.Contains(k, "unit") {
			unit = w.Value
		}
	}
	for _, w := range b.Words {
		im.Describe(i, "", w.Key, w.Value, unit)
	}
	im.Describe(i, "description", "", b.Description, "")
	im.Describe(i, "colorinterp", "", b.Color, "")
	im.Describe(i, "scale", "", b.Scale, "")
	im.Describe(i, "offset", "", b.Offset, "")
	im.Describe(i, "unittype", "", b.Unit, "")
	if v, err := strconv.ParseFloat(strings.TrimSpace(b.NoData), 64); err == nil {
		im.NoData = &v
	}
}

// parseTransform reads the six numbers that lead from the outer corners of
// pixels to the ground.
func parseTransform(text string) (grid.Affine, bool) {
	words := strings.Split(text, ",")
	var v [6]float64
	if len(words) != len(v) {
		return grid.Affine{}, false
	}
	for i, w := range words {
		x, err := strconv.ParseFloat(strings.TrimSpace(w), 64)
		if err != nil {
			return grid.Affine{}, false
		}
		v[i] = x
	}
	a := grid.Affine{A: v[0], B: v[1], C: v[2], D: v[3], E: v[4], F: v[5]}
	return a, leads(a)
}

// unmarshal reads XML; what is declared as another encoding than UTF-8 is
// taken as it is.
func unmarshal(text string, v any) error {
	d := xml.NewDecoder(strings.NewReader(text))
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }
	if err := d.Decode(v); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("its XML: %w", err)
	}
	return nil
}
