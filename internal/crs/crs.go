// Package crs turns positions on the earth into positions on a plane and back,
// and measures areas on the ellipsoid. It does no I/O.
//
// Longitudes and latitudes are degrees, east and north positive, longitude
// first. WGS84 and NAD83 are computed as if they were one: they lie 1 to 2 m
// apart in North America, which [CRS.Doubt] says of a CRS that is concerned.
package crs

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrOutside is returned for a position that a CRS cannot hold.
var ErrOutside = errors.New("position lies outside the coordinate system")

// ErrUnknown is returned for a coordinate system that bittern does not know.
var ErrUnknown = errors.New("coordinate system not known")

type datum uint8

const (
	datumWGS84 datum = iota
	datumNAD83
)

type method uint8

const (
	geographic method = iota
	transverseMercator
	conical
	webMercator
)

// A CRS is a coordinate reference system: longitude and latitude in degrees, or
// easting and northing on a plane. CRSs are values and compare with ==. The zero
// CRS is none: see [CRS.Valid].
type CRS struct {
	name   string
	epsg   int
	datum  datum
	method method
	unitM  float64 // metres in one unit of x and y; degrees in one unit when geographic
	tm     transverse
	cone   conic
}

// WGS84 is longitude and latitude in degrees, EPSG:4326.
func WGS84() CRS { return CRS{name: "WGS 84", epsg: 4326, unitM: 1} }

func nad83() CRS { return CRS{name: "NAD83", epsg: 4269, datum: datumNAD83, unitM: 1} }

// UTM is a zone of the Universal Transverse Mercator grid on WGS84. It panics
// unless zone is 1 to 60.
func UTM(zone int, south bool) CRS {
	if zone < 1 || zone > 60 {
		panic("crs: UTM zone must be 1 to 60")
	}
	c := CRS{
		name: fmt.Sprintf("WGS 84 / UTM zone %dN", zone), epsg: 32600 + zone,
		method: transverseMercator, unitM: 1,
	}
	fn := 0.0
	if south {
		c.name, c.epsg, fn = fmt.Sprintf("WGS 84 / UTM zone %dS", zone), 32700+zone, utmNorthing
	}
	c.tm = newTransverse(wgs84, centralMeridian(zone), 0, utmScale, utmEasting, fn)
	return c
}

const (
	utmScale    = 0.9996   // exact by definition
	utmEasting  = 500000   // m, exact by definition
	utmNorthing = 10000000 // m, of the southern zones, exact by definition
)

func centralMeridian(zone int) float64 { return float64(6*zone - 183) }

func utmNAD83(zone int) CRS {
	return CRS{
		name: fmt.Sprintf("NAD83 / UTM zone %dN", zone), epsg: 26900 + zone,
		datum: datumNAD83, method: transverseMercator, unitM: 1,
		tm: newTransverse(grs80, centralMeridian(zone), 0, utmScale, utmEasting, 0),
	}
}

// UTMFor is the UTM zone (WGS84) that holds the position: six degrees wide, with
// no exceptions for Norway and Svalbard. Longitude 180 belongs to zone 60.
func UTMFor(lon, lat float64) CRS {
	zone := int(math.Floor((wrapLon(lon)+180)/6)) + 1
	return UTM(min(max(zone, 1), 60), lat < 0)
}

// FromEPSG is the CRS with the code. It returns ErrUnknown, wrapped with the
// code, for one that is not known.
func FromEPSG(code int) (CRS, error) {
	switch {
	case code == 4326 || code == 4979:
		return WGS84(), nil
	case code == 4269:
		return nad83(), nil
	case code > 32600 && code <= 32660:
		return UTM(code-32600, false), nil
	case code > 32700 && code <= 32760:
		return UTM(code-32700, true), nil
	case code > 26900 && code <= 26923:
		return utmNAD83(code - 26900), nil
	case code == 3857:
		return CRS{name: "WGS 84 / Pseudo-Mercator", epsg: 3857, method: webMercator, unitM: 1}, nil
	case code == 5070:
		return conusAlbers(), nil
	}
	if c, ok := statePlane(code); ok {
		return c, nil
	}
	return CRS{}, fmt.Errorf("EPSG:%d: %w", code, ErrUnknown)
}

// Valid reports whether c is a CRS at all, and not the zero value.
func (c CRS) Valid() bool { return c.unitM != 0 }

// Name is the name that people know the CRS by.
func (c CRS) Name() string { return c.name }

// EPSG is the code of the CRS, or 0 when it has none.
func (c CRS) EPSG() int { return c.epsg }

// Geographic reports whether x and y are longitude and latitude.
func (c CRS) Geographic() bool { return c.method == geographic }

// UnitM is the number of metres in one unit of x and y: 1 for UTM. It is 0 for
// a geographic CRS.
func (c CRS) UnitM() float64 {
	if c.Geographic() {
		return 0
	}
	return c.unitM
}

// Doubt says in one sentence what is not known about positions in c beside the
// WGS84 of phones and aircraft, or is empty.
func (c CRS) Doubt() string {
	if c.datum == datumNAD83 {
		return "Positions are in NAD83 and were taken as WGS84, which lies 1 to 2 m (3 to 7 ft) away in North America."
	}
	return ""
}

// maxLonOffset is how far in degrees of longitude a Transverse Mercator is
// carried from its meridian: there the series still holds to a micrometre.
const maxLonOffset = 30

// Forward returns the position of lon, lat in the units of c. It agrees with
// PROJ to a micrometre within a zone. It returns ErrOutside for no position on
// the earth, or one too far from the CRS's meridian.
func (c CRS) Forward(lon, lat float64) (x, y float64, err error) {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 540) {
		return 0, 0, fmt.Errorf("longitude %g, latitude %g: %w", lon, lat, ErrOutside)
	}
	switch c.method {
	case geographic:
		return lon, lat, nil
	case webMercator:
		if math.Abs(lat) > 89 {
			return 0, 0, fmt.Errorf("latitude %g in %s: %w", lat, c.name, ErrOutside)
		}
		return wgs84.a * radians(wrapLon(lon)), wgs84.a * math.Asinh(math.Tan(radians(lat))), nil
	case conical:
		if lat*c.cone.n < -80*math.Abs(c.cone.n) {
			return 0, 0, fmt.Errorf("latitude %g in %s: %w", lat, c.name, ErrOutside)
		}
		x, y = c.cone.forward(lon, lat)
	case transverseMercator:
		if math.Abs(lonDiff(lon, c.tm.lon0)) > maxLonOffset {
			return 0, 0, fmt.Errorf("longitude %g is far from the meridian %g of %s: %w", lon, c.tm.lon0, c.name, ErrOutside)
		}
		x, y = c.tm.forward(lon, lat)
	}
	return x / c.unitM, y / c.unitM, nil
}

// Inverse returns the longitude and latitude of x, y in the units of c. Far
// outside the CRS the result means nothing: check it, or call Forward on it.
func (c CRS) Inverse(x, y float64) (lon, lat float64) {
	switch c.method {
	case webMercator:
		return degrees(x / wgs84.a), degrees(math.Atan(math.Sinh(y / wgs84.a)))
	case conical:
		return c.cone.inverse(x*c.unitM, y*c.unitM)
	case transverseMercator:
		return c.tm.inverse(x*c.unitM, y*c.unitM)
	default:
		return x, y
	}
}

// Convergence is the angle in degrees from true north to grid north at the
// position, clockwise positive: positive east of the central meridian in the
// northern hemisphere. A true bearing is the grid bearing plus the convergence.
func (c CRS) Convergence(lon, lat float64) float64 {
	switch c.method {
	case conical:
		return c.cone.n * lonDiff(lon, c.cone.lon0)
	case transverseMercator:
		return degrees(c.tm.project(lon, lat).gamma)
	default:
		return 0
	}
}

// ScaleFactor is how many metres on the plane one metre on the ellipsoid
// becomes at the position: the square root of the area's scale where the scale
// depends on the direction. It is 1 for a geographic CRS.
func (c CRS) ScaleFactor(lon, lat float64) float64 {
	switch c.method {
	case webMercator:
		s, co := math.Sincos(radians(lat))
		w := 1 - wgs84.e2()*s*s
		return math.Sqrt(w*w/(1-wgs84.e2())) / co
	case conical:
		return c.cone.scale(lat)
	case transverseMercator:
		return c.tm.project(lon, lat).scale
	default:
		return 1
	}
}

// WKT1 is c as a .prj file has it: well-known text, version 1, in the flavour
// with ESRI's names, on one line. It is written for geographic systems and
// Transverse Mercator, which is all that bittern writes files in; for others it is
// empty.
func (c CRS) WKT1() string {
	geog := `GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`
	if c.datum == datumNAD83 {
		geog = `GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`
	}
	switch c.method {
	case geographic:
		return geog
	case transverseMercator:
	default:
		return ""
	}
	name := strings.NewReplacer("WGS 84 / UTM zone ", "WGS_1984_UTM_Zone_", "NAD83 / UTM zone ", "NAD_1983_UTM_Zone_", " ", "_", `"`, "").Replace(c.name)
	return fmt.Sprintf(`PROJCS["%s",%s,PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",%s],PARAMETER["False_Northing",%s],`+
		`PARAMETER["Central_Meridian",%s],PARAMETER["Scale_Factor",%s],PARAMETER["Latitude_Of_Origin",%s],UNIT["%s",%s]]`,
		name, geog, wktNumber(c.tm.fe/c.unitM), wktNumber(c.tm.fn/c.unitM), wktNumber(c.tm.lon0), wktNumber(c.tm.k0),
		wktNumber(c.tm.lat0), unitName(c.unitM), wktNumber(c.unitM))
}

func wktNumber(v float64) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

func unitName(m float64) string {
	switch m {
	case 1:
		return "Meter"
	case 0.3048:
		return "Foot"
	}
	return "Foot_US"
}
