package imagery

import (
	"encoding/xml"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"bittern/internal/doubt"
)

// A vrtFile is a mosaic that names the pictures it is made of.
type vrtFile struct {
	XMLName   xml.Name  `xml:"VRTDataset"`
	Cols      int       `xml:"rasterXSize,attr"`
	Rows      int       `xml:"rasterYSize,attr"`
	Class     string    `xml:"subClass,attr"`
	SRS       string    `xml:"SRS"`
	Transform string    `xml:"GeoTransform"`
	Mask      *vrtMask  `xml:"MaskBand"`
	Bands     []vrtBand `xml:"VRTRasterBand"`
}

// A vrtMask says where a mosaic has data.
type vrtMask struct {
	Bands []vrtBand `xml:"VRTRasterBand"`
}

// A vrtBand is one band of a mosaic.
type vrtBand struct {
	xmlBand
	Class string      `xml:"subClass,attr"`
	Mask  *xmlThere   `xml:"MaskBand"`
	Other []vrtSource `xml:",any"` // those that are named so are sources; the order tells what lies on what
}

// A vrtSource is a picture with its place in the mosaic.
type vrtSource struct {
	XMLName xml.Name
	File    struct {
		Relative string `xml:"relativeToVRT,attr"`
		Name     string `xml:",chardata"`
	} `xml:"SourceFilename"`
	Band    string    `xml:"SourceBand"`
	Src     *vrtRect  `xml:"SrcRect"`
	Dst     *vrtRect  `xml:"DstRect"`
	NoData  string    `xml:"NODATA"`
	Offset  string    `xml:"ScaleOffset"`
	Ratio   string    `xml:"ScaleRatio"`
	Table   string    `xml:"LUT"`
	Power   string    `xml:"Exponent"`
	Colors  string    `xml:"ColorTableComponent"`
	UseMask string    `xml:"UseMaskBand"`
	Other   *xmlThere `xml:"OpenOptions"`
}

// A vrtRect is a rectangle of pixels.
type vrtRect struct {
	X    float64 `xml:"xOff,attr"`
	Y    float64 `xml:"yOff,attr"`
	Cols float64 `xml:"xSize,attr"`
	Rows float64 `xml:"ySize,attr"`
}

// A vrtTile is one picture of a mosaic: where it lies, and which of the
// mosaic's bands its samples are.
type vrtTile struct {
	path  string
	src   *vrtRect
	dst   *vrtRect
	bands map[int]int // band of the mosaic, from 0, by sample, from 0
	void  string
}

// mostTiles is how many pictures a mosaic may be made of: each is an open file.
const mostTiles = 400

// notMosaic is the problem of a mosaic that does more than put whole pictures
// beside one another.
func notMosaic(why string, args ...any) error {
	return convert("is a mosaic that "+fmt.Sprintf(why, args...)+", which is not read", nil)
}

// openVRT opens the pictures that a mosaic is made of, as files of one flight.
func openVRT(path string, info os.FileInfo, forgive func(error) error) (files []*File, err error) {
	defer func() {
		if err != nil {
			err = inFile(filepath.Base(path), err)
			closeAll(files)
		}
	}()
	if info.Size() > mostBeside {
		return nil, notMosaic("has more than %d MiB of text", mostBeside>>20)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var v vrtFile
	if err := unmarshal(string(text), &v); err != nil {
		return nil, &doubt.Problem{What: "the mosaic is damaged or incomplete", Remedy: "copy or make it again", Err: err}
	}
	tiles, err := v.tiles(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	for _, t := range tiles {
		f, err := v.open(t, forgive)
		if err != nil {
			return files, err
		}
		files = append(files, f)
	}
	return files, nil
}

// tiles lists the pictures, in the order that they first come in.
func (v *vrtFile) tiles(folder string) (tiles []*vrtTile, err error) {
	switch {
	case v.Class != "":
		return nil, notMosaic("is computed (%s)", v.Class)
	case len(v.Bands) == 0 || v.Cols < 1 || v.Rows < 1:
		return nil, notMosaic("has no bands")
	}
	byPath := map[string]int{}
	for k, b := range v.Bands {
		switch {
		case b.Class != "":
			return nil, notMosaic("has a computed band (%s)", b.Class)
		case b.Mask != nil:
			return nil, notMosaic("has a mask of its own")
		case b.NoData != v.Bands[0].NoData:
			return nil, notMosaic("has bands with different no-data values")
		}
		sources, err := b.sources()
		if err != nil {
			return nil, err
		}
		last := -1
		for _, s := range sources {
			p, err := s.path(folder)
			if err != nil {
				return nil, err
			}
			i, known := byPath[p]
			if !known {
				i = len(tiles)
				byPath[p] = i
				tiles = append(tiles, &vrtTile{path: p, src: s.Src, dst: s.Dst, bands: map[int]int{}, void: s.NoData})
			}
			if i < last {
				return nil, notMosaic("lays its pictures on each other in another order in each band")
			}
			last = i
			if err := tiles[i].add(s, k); err != nil {
				return nil, err
			}
		}
	}
	if err := v.checkMask(folder, tiles, byPath); err != nil {
		return nil, err
	}
	switch {
	case len(tiles) == 0:
		return nil, notMosaic("names no pictures")
	case len(tiles) > mostTiles:
		return nil, notMosaic("is made of more than %d pictures", mostTiles)
	}
	return tiles, nil
}

// sources are the pictures of a band, in the order in which they lie on each
// other.
func (b *vrtBand) sources() (sources []vrtSource, err error) {
	for _, s := range b.Other {
		switch name := s.XMLName.Local; {
		case name == "SimpleSource" || name == "ComplexSource":
			sources = append(sources, s)
		case strings.HasSuffix(name, "Source"):
			return nil, notMosaic("filters its pictures (%s)", name)
		}
	}
	return sources, nil
}

// checkMask checks that the mosaic's own mask, if there is one, is that of its
// pictures, where they lie.
func (v *vrtFile) checkMask(folder string, tiles []*vrtTile, byPath map[string]int) error {
	if v.Mask == nil {
		return nil
	}
	masked := map[int]bool{}
	for _, b := range v.Mask.Bands {
		sources, err := b.sources()
		if err != nil {
			return err
		}
		for _, s := range sources {
			p, err := s.path(folder)
			if err != nil {
				return err
			}
			i, ok := byPath[p]
			if !ok || !strings.HasPrefix(strings.TrimSpace(s.Band), "mask") || !sameRect(s.Src, tiles[i].src) || !sameRect(s.Dst, tiles[i].dst) || s.changes() {
				return notMosaic("has a mask of its own")
			}
			masked[i] = true
		}
	}
	if len(masked) != len(tiles) || len(v.Mask.Bands) != 1 {
		return notMosaic("has a mask of its own")
	}
	return nil
}

// changes reports whether the mosaic changes the samples of a picture.
func (s *vrtSource) changes() bool {
	return s.Offset+s.Ratio+s.Table+s.Power+s.Colors != "" || s.Other != nil
}

// path is where a picture lies: a file below the mosaic's folder.
func (s *vrtSource) path(folder string) (string, error) {
	name := strings.TrimSpace(s.File.Name)
	path := filepath.FromSlash(name)
	if s.File.Relative == "1" || !filepath.IsAbs(path) {
		path = filepath.Join(folder, path)
	}
	rel, err := filepath.Rel(folder, path)
	if abs, e := filepath.Abs(folder); e == nil && filepath.IsAbs(path) {
		rel, err = filepath.Rel(abs, path)
	}
	if err != nil || name == "" || !filepath.IsLocal(rel) || strings.HasPrefix(name, "/vsi") {
		return "", &doubt.Problem{
			What:   "is a mosaic of pictures that do not lie in its folder",
			Remedy: "put the mosaic and its pictures into one folder, or convert it with: gdal_translate -co COMPRESS=DEFLATE -co TILED=YES in out.tif",
		}
	}
	return path, nil
}

// add gives the tile band k of the mosaic.
func (t *vrtTile) add(s vrtSource, k int) error {
	sample, err := strconv.Atoi(strings.TrimSpace(s.Band))
	switch {
	case s.Band == "":
		sample = 1
	case err != nil || sample < 1:
		return notMosaic("uses masks as bands")
	}
	_, twice := t.bands[sample-1]
	switch {
	case twice:
		return notMosaic("uses a band twice")
	case s.changes():
		return notMosaic("changes the samples of its pictures")
	case !sameRect(s.Src, t.src) || !sameRect(s.Dst, t.dst) || s.NoData != t.void:
		return notMosaic("uses the bands of a picture in different ways")
	}
	t.bands[sample-1] = k
	return nil
}

func sameRect(a, b *vrtRect) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }

// open opens one picture of the mosaic and gives it what the mosaic says.
func (v *vrtFile) open(t *vrtTile, forgive func(error) error) (_ *File, err error) {
	f, err := openTIFF(t.path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			closeAll([]*File{f})
		}
	}()
	im := f.Image
	if err := v.fits(t, f); err != nil {
		return nil, err
	}
	if a, ok := parseTransform(v.Transform); ok {
		if t.dst != nil {
			a.A += float64(a.B*t.dst.X) + float64(a.C*t.dst.Y)
			a.D += float64(a.E*t.dst.X) + float64(a.F*t.dst.Y)
		}
		im.Affine = &a
	} else {
		im.Affine = nil
	}
	if s := strings.TrimSpace(v.SRS); s != "" {
		f.system = s
	}
	for sample, band := range t.bands {
		v.Bands[band].describe(im, sample)
	}
	if x, err := strconv.ParseFloat(strings.TrimSpace(t.void), 64); err == nil {
		im.NoData = &x
	}
	return f, f.placed(forgive)
}

// fits checks that the mosaic uses the whole picture, pixel for pixel, and
// either all its bands in their order or its only band.
func (v *vrtFile) fits(t *vrtTile, f *File) error {
	im := f.Image
	whole := vrtRect{Cols: float64(im.Cols), Rows: float64(im.Rows)}
	switch {
	case t.src != nil && *t.src != whole:
		return notMosaic("uses a part of %s", f.Name)
	case t.dst != nil && (t.dst.Cols != whole.Cols || t.dst.Rows != whole.Rows || t.dst.X != float64(int(t.dst.X)) || t.dst.Y != float64(int(t.dst.Y))):
		return notMosaic("changes the pixels of %s", f.Name)
	case t.dst == nil && (im.Cols != v.Cols || im.Rows != v.Rows):
		return notMosaic("changes the pixels of %s", f.Name)
	case im.Bands == 1 && len(t.bands) == 1:
		return nil
	case im.Bands != len(v.Bands) || len(t.bands) != im.Bands:
		return notMosaic("uses some bands of %s", f.Name)
	}
	for sample, band := range t.bands {
		if sample != band {
			return notMosaic("changes the order of the bands of %s", f.Name)
		}
	}
	return nil
}
