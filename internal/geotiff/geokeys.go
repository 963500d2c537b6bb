package geotiff

import (
	"math"
	"slices"
	"strings"

	"bittern/internal/grid"
)

// A GeoKey is one of the file's statements about its coordinate system, by
// its number in OGC GeoTIFF 1.1, annex B. One of Short, Doubles and Text holds
// its value.
type GeoKey struct {
	ID      int
	Short   int
	Doubles []float64
	Text    string
}

// Geographic keys that are used here.
const (
	KeyModelType   = 1024 // 1 projected, 2 geographic, 3 geocentric
	KeyRasterType  = 1025 // 1 pixel is area, 2 pixel is point
	KeyCitation    = 1026
	KeyGeographic  = 2048 // EPSG code of a geographic system
	KeyGeoCitation = 2049
	KeyProjected   = 3072 // EPSG code of a projected system
	KeyPCSCitation = 3073
	KeyProjection  = 3075 // projection method, where the system is defined by parameters
	KeyLinearUnits = 3076 // EPSG code of the projected system's unit

	userDefined = 32767
)

func findKey(keys []GeoKey, id int) (GeoKey, bool) {
	i, ok := slices.BinarySearchFunc(keys, id, func(k GeoKey, id int) int { return k.ID - id })
	if !ok {
		return GeoKey{ID: id}, false
	}
	return keys[i], true
}

// geoKeys reads the key directory. Keys whose values are not there are left
// out: a picture does not become unreadable by a bad citation.
func (d *directory) geoKeys() ([]GeoKey, error) {
	list, err := d.uints(tagGeoKeys)
	if err != nil || len(list) < 4 {
		return nil, err
	}
	doubles, err := d.floats(tagGeoDoubles)
	if err != nil {
		return nil, err
	}
	raw, _, err := d.bytes(tagGeoText)
	if err != nil {
		return nil, err
	}
	var keys []GeoKey
	for list = list[4:]; len(list) >= 4; list = list[4:] {
		if k, ok := geoKey(list[:4], doubles, string(raw)); ok {
			keys = append(keys, k)
		}
	}
	slices.SortStableFunc(keys, func(a, b GeoKey) int { return a.ID - b.ID })
	return slices.CompactFunc(keys, func(a, b GeoKey) bool { return a.ID == b.ID }), nil
}

// geoKey resolves one key: its number, where its value lies, how many values,
// and the value or its index.
func geoKey(key []uint64, doubles []float64, text string) (GeoKey, bool) {
	k := GeoKey{ID: int(key[0])}
	count, at := key[2], key[3]
	switch key[1] {
	case 0:
		k.Short = int(at)
		return k, true
	case tagGeoDoubles:
		if at > uint64(len(doubles)) || count > uint64(len(doubles))-at {
			return k, false
		}
		k.Doubles = doubles[at : at+count]
		return k, count > 0
	case tagGeoText:
		if at > uint64(len(text)) || count > uint64(len(text))-at {
			return k, false
		}
		k.Text = strings.TrimRight(text[at:at+count], "|\x00 ")
		return k, true
	}
	return k, false
}

// place sets what the directory says about the picture's place.
func (im *Image) place(d *directory) (err error) {
	if im.GeoKeys, err = d.geoKeys(); err != nil {
		return err
	}
	short := func(id int) int { k, _ := im.GeoKey(id); return k.Short }
	im.PixelIsPoint = short(KeyRasterType) == 2
	im.ModelType = short(KeyModelType)
	projected, geographic := short(KeyProjected), short(KeyGeographic)
	switch {
	case im.ModelType == 2 && geographic != 0:
		im.EPSG = geographic
	case projected != 0 && im.ModelType != 3:
		im.EPSG = projected
	case im.ModelType == 0:
		im.EPSG = geographic
	}
	if im.EPSG == userDefined {
		im.EPSG = 0
	}
	im.HasCRS = projected != 0 || geographic != 0 || short(KeyProjection) != 0
	for _, id := range []int{KeyPCSCitation, KeyCitation, KeyGeoCitation} {
		if k, ok := im.GeoKey(id); ok && im.Citation == "" {
			im.Citation = k.Text
		}
	}
	if im.Affine, err = d.affine(im.PixelIsPoint); err != nil || im.Affine != nil {
		return err
	}
	ties, err := d.floats(tagTiepoints)
	im.Controls, im.Rational = len(ties)/6, d.has(tagRPC)
	return err
}

// affine reads the transform from pixels to the ground: a matrix, or one tie
// point and a scale. Control points alone give none.
func (d *directory) affine(pixelIsPoint bool) (*grid.Affine, error) {
	matrix, err := d.floats(tagTransformation)
	if err != nil {
		return nil, err
	}
	ties, err := d.floats(tagTiepoints)
	if err != nil {
		return nil, err
	}
	scale, err := d.floats(tagPixelScale)
	if err != nil {
		return nil, err
	}
	var a grid.Affine
	switch {
	case len(scale) >= 2 && len(ties) >= 6:
		sx, sy := scale[0], math.Abs(scale[1])
		a = grid.Affine{
			A: ties[3] - float64(ties[0]*sx), B: sx,
			D: ties[4] + float64(ties[1]*sy), F: -sy,
		}
	case len(matrix) >= 8:
		a = grid.Affine{A: matrix[3], B: matrix[0], C: matrix[1], D: matrix[7], E: matrix[4], F: matrix[5]}
	default:
		return nil, nil
	}
	if pixelIsPoint {
		a.A -= float64(a.B*0.5) + float64(a.C*0.5)
		a.D -= float64(a.E*0.5) + float64(a.F*0.5)
	}
	if det := float64(a.B*a.F) - float64(a.C*a.E); det == 0 || math.IsNaN(det) || math.IsInf(det, 0) ||
		math.IsNaN(a.A+a.D) || math.IsInf(a.A+a.D, 0) {
		return nil, nil
	}
	return &a, nil
}
