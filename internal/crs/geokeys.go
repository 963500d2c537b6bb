package crs

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// GeoKeys are what a GeoTIFF says about its coordinate system, by the names of
// OGC GeoTIFF 1.1. Zero means that the file does not say.
type GeoKeys struct {
	Model       int             // GTModelTypeGeoKey: 1 projected, 2 geographic
	Geographic  int             // GeodeticCRSGeoKey: an EPSG code, or 32767
	Datum       int             // GeodeticDatumGeoKey: an EPSG code, or 32767
	AngularUnit int             // GeogAngularUnitsGeoKey: 9102 degrees
	Projected   int             // ProjectedCRSGeoKey: an EPSG code, or 32767
	Projection  int             // ProjectionGeoKey: an EPSG code of a conversion, or 32767
	Method      int             // ProjMethodGeoKey: 1 is Transverse Mercator, 8 and 9 Lambert Conformal Conic, 11 Albers
	LinearUnit  int             // ProjLinearUnitsGeoKey: 9001 metre, 9002 foot, 9003 US survey foot, or 32767
	Citation    string          // any of the citations, or all of them with line breaks between
	Numbers     map[int]float64 // the keys that hold numbers, 2055 to 3096
}

const userDefined = 32767

// FromGeoKeys returns the CRS that a GeoTIFF describes: by its code, by the code
// of its projection, by its parameters, or by the well-known text that some
// programs put into a citation. The error wraps ErrUnknown.
func FromGeoKeys(k GeoKeys) (CRS, error) {
	if given(k.Projected) && k.Model != 2 {
		return FromEPSG(k.Projected)
	}
	if _, text, ok := strings.Cut(k.Citation, "ESRI PE String = "); ok {
		return ParseWKT(text)
	}
	if a := k.AngularUnit; a != 0 && a != 9102 && a != 9122 {
		return CRS{}, fmt.Errorf("%s (angles in unit EPSG:%d): %w", k.name(), a, ErrUnknown)
	}
	on, err := k.base()
	if err != nil {
		return CRS{}, err
	}
	if k.Model == 2 || k.Projected == 0 && k.Projection == 0 && k.Method == 0 {
		return on, nil
	}
	return k.projected(on.datum)
}

// name is the first thing that the citations say.
func (k GeoKeys) name() string {
	name := strings.TrimSpace(k.Citation)
	if i := strings.IndexAny(name, "|\n"); i >= 0 {
		name = name[:i]
	}
	return strings.TrimSpace(name)
}

// given reports whether a key that holds a code does say something by it.
func given(code int) bool { return code != 0 && code != userDefined }

// base is the geographic system that the file stands on: by its code, by its
// datum's, or by its name in a citation.
func (k GeoKeys) base() (CRS, error) {
	code := k.Geographic
	if !given(code) && given(k.Datum) {
		code = geographicOf(k.Datum)
	}
	if given(code) {
		c, err := FromEPSG(code)
		if err == nil && c.plane != nil {
			err = fmt.Errorf("EPSG:%d is no geographic system: %w", code, ErrUnknown)
		}
		return c, err
	}
	if d := datumNamed(k.Citation); d != noDatum && !given(k.Datum) && k.fits(d.ellipsoid()) {
		return plain(d), nil
	}
	return CRS{}, fmt.Errorf("%s (user-defined, on EPSG:%d): %w", k.name(), k.Geographic, ErrUnknown)
}

// fits reports whether the file says nothing about its ellipsoid but what el is.
func (k GeoKeys) fits(el ellipsoid) bool {
	size, given := k.Numbers[keySemiMajor]
	shape, shaped := k.Numbers[keyInverseFlattening]
	return (!given || math.Abs(size-el.a) < 0.1) && (!shaped || math.Abs(shape-el.invF) < 1e-5)
}

// geographicOf is the code of the first geographic system on the datum with the
// code, or 0.
func geographicOf(datum int) int {
	for _, g := range geographics {
		if g.datumCode == datum {
			return g.code
		}
	}
	return 0
}

func (k GeoKeys) projected(d datum) (CRS, error) {
	p := parameters{name: k.name(), datum: d, unitM: linearUnits[k.LinearUnit], of: make(map[string]float64)}
	if k.LinearUnit == userDefined {
		p.unitM = knownUnit(k.Numbers[keyLinearUnitSize])
	}
	if c, ok := findConversion(k.Projection); ok && p.unitM > 0 {
		return p.build(c.method, c.shape)
	}
	p.method = geoMethods[k.Method]
	if p.method == "" {
		return CRS{}, p.unknown(fmt.Sprintf("projection method %d of GeoTIFF", k.Method))
	}
	for _, key := range slices.Sorted(maps.Keys(k.Numbers)) {
		if name, ok := geoParameters[key]; ok {
			p.of[name] = k.Numbers[key]
		}
	}
	return p.crs()
}

// Keys that hold numbers beside the parameters of projections.
const (
	keySemiMajor         = 2057 // GeogSemiMajorAxisGeoKey
	keyInverseFlattening = 2059 // GeogInvFlatteningGeoKey
	keyLinearUnitSize    = 3077 // ProjLinearUnitSizeGeoKey, metres
)

// linearUnits are EPSG codes of units of length in metres; none means metres.
var linearUnits = map[int]float64{0: meter, 9001: meter, 9002: foot, 9003: surveyFoot}

// geoMethods are the values of ProjMethodGeoKey, as letters of names in text.
var geoMethods = map[int]string{
	1:  "transversemercator",
	3:  "hotineobliquemercator",
	7:  "mercator",
	8:  "lambertconformalconic2sp",
	9:  "lambertconformalconic1sp",
	11: "albers",
	15: "polarstereographic",
}

// geoParameters are the numbers of GeoTIFF's parameter keys, as letters of names
// in text.
var geoParameters = map[int]string{
	3078: "standardparallel1", 3079: "standardparallel2", 3080: "centralmeridian", 3081: "latitudeoforigin",
	3082: "falseeasting", 3083: "falsenorthing", 3084: "centralmeridian", 3085: "latitudeoforigin",
	3086: "falseeasting", 3087: "falsenorthing", 3088: "centralmeridian", 3089: "latitudeoforigin",
	3090: "falseeasting", 3091: "falsenorthing", 3092: "scalefactor", 3093: "scalefactor",
	3094: "azimuth", 3095: "centralmeridian", 3096: "rectifiedgridangle",
}
