// Package crs turns positions on the earth into positions on a plane and back,
// and measures areas on the ellipsoid. It does no I/O.
//
// Longitudes and latitudes are degrees, east and north positive, longitude
// first. WGS84 and NAD83 are computed as if they were one: they lie 1 to 2 m
// apart in North America, which [CRS.Doubt] says of a CRS that is concerned. NAD27
// and other datums on older ellipsoids are shifted by a mean, of which it says how
// far it may be off.
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

// A CRS is a coordinate reference system: longitude and latitude in degrees, or
// easting and northing on a plane. CRSs are values and compare with ==. The zero
// CRS is none: see [CRS.Valid].
type CRS struct {
	name  string
	epsg  int
	datum datum
	own   bool    // positions are left on their own datum
	unitM float64 // metres in one unit of x and y; 1 when geographic
	plane plane   // nil when geographic
}

// WGS84 is longitude and latitude in degrees, EPSG:4326.
func WGS84() CRS { return plain(datumWGS84) }

// plain is the geographic system of the datum that has its bare name.
func plain(d datum) CRS {
	return CRS{name: datums[d].name, epsg: datums[d].geographic, datum: d, unitM: 1}
}

// UTM is a zone of the Universal Transverse Mercator grid on WGS84. It panics
// unless zone is 1 to 60.
func UTM(zone int, south bool) CRS {
	if zone < 1 || zone > 60 {
		panic("crs: UTM zone must be 1 to 60")
	}
	code := 32600 + zone
	if south {
		code += 100
	}
	c, err := FromEPSG(code)
	if err != nil {
		panic(err) // the table holds every zone
	}
	return c
}

// UTMFor is the UTM zone (WGS84) that holds the position: six degrees wide, with
// no exceptions for Norway and Svalbard. Longitude 180 belongs to zone 60.
func UTMFor(lon, lat float64) CRS {
	zone := int(math.Floor((wrapLon(lon)+180)/6)) + 1
	return UTM(min(max(zone, 1), 60), lat < 0)
}

// Valid reports whether c is a CRS at all, and not the zero value.
func (c CRS) Valid() bool { return c.unitM != 0 }

// Name is the name that people know the CRS by.
func (c CRS) Name() string { return c.name }

// EPSG is the code of the CRS, or 0 when it has none.
func (c CRS) EPSG() int { return c.epsg }

// Geographic reports whether x and y are the longitude and latitude that
// [CRS.Forward] takes. It is false for longitude and latitude on a datum that is
// shifted, as NAD27: there they go through Forward and [CRS.Inverse] as
// eastings and northings do.
func (c CRS) Geographic() bool { return c.plane == nil && !c.shifts() }

// UnitM is the number of metres in one unit of x and y: 1 for UTM. It is 0 for
// longitude and latitude.
func (c CRS) UnitM() float64 {
	if c.plane == nil {
		return 0
	}
	return c.unitM
}

// shifts reports whether Forward and Inverse shift between datums.
func (c CRS) shifts() bool { return c.datum.shifted() && !c.own }

// OwnDatum is c with no shift between datums: its Forward takes, and its Inverse
// returns, longitude and latitude on c's own datum in place of WGS84.
func (c CRS) OwnDatum() CRS {
	c.own = true
	return c
}

// SameGrid reports whether c and o give a position the same coordinates, to a
// millimetre within a zone: one projection in one unit, on datums that are taken
// as one. So do a UTM zone on WGS84 and the same zone on NAD83.
func (c CRS) SameGrid(o CRS) bool {
	if c.unitM != o.unitM || c.shifts() != o.shifts() || c.shifts() && c.datum != o.datum {
		return false
	}
	a, ok := c.plane.(transverse)
	b, ok2 := o.plane.(transverse)
	if !ok || !ok2 {
		return c.plane == o.plane
	}
	return a.lon0 == b.lon0 && a.lat0 == b.lat0 && a.k0 == b.k0 && a.fe == b.fe && a.fn == b.fn && math.Abs(a.a-b.a) < 0.01
}

// Doubt says in one sentence what is not known about positions in c beside the
// WGS84 of phones and aircraft, or is empty.
func (c CRS) Doubt() string { return c.datum.doubt() }

// Forward returns the position of lon, lat (WGS84) in the units of c. It agrees
// with PROJ to a micrometre in the area that c is made for; docs/crs-table.md
// has each code's worst. It returns ErrOutside for no position on the earth, or
// one too far from where c is made for.
func (c CRS) Forward(lon, lat float64) (x, y float64, err error) {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 540) {
		return 0, 0, fmt.Errorf("longitude %g, latitude %g: %w", lon, lat, ErrOutside)
	}
	if c.shifts() {
		lon, lat = c.datum.fromWGS84(lon, lat)
	}
	if c.plane == nil {
		return lon, lat, nil
	}
	if !c.plane.holds(lon, lat) {
		return 0, 0, fmt.Errorf("longitude %g, latitude %g in %s: %w", lon, lat, c.name, ErrOutside)
	}
	x, y = c.plane.forward(lon, lat)
	return x / c.unitM, y / c.unitM, nil
}

// Inverse returns the longitude and latitude (WGS84) of x, y in the units of c.
// Far outside the CRS the result means nothing: check it, or call Forward on it.
func (c CRS) Inverse(x, y float64) (lon, lat float64) {
	lon, lat = x, y
	if c.plane != nil {
		lon, lat = c.plane.inverse(x*c.unitM, y*c.unitM)
	}
	if c.shifts() {
		return c.datum.toWGS84(lon, lat)
	}
	return lon, lat
}

// Convergence is the angle in degrees from true north to grid north at the
// position, clockwise positive: positive east of the central meridian in the
// northern hemisphere. A true bearing is the grid bearing plus the convergence.
func (c CRS) Convergence(lon, lat float64) float64 {
	if c.plane == nil {
		return 0
	}
	return c.plane.convergence(lon, lat)
}

// ScaleFactor is how many metres on the plane one metre on the ellipsoid
// becomes at the position: the square root of the area's scale where the scale
// depends on the direction. It is 1 for a geographic CRS.
func (c CRS) ScaleFactor(lon, lat float64) float64 {
	if c.plane == nil {
		return 1
	}
	return c.plane.scale(lon, lat)
}

// WKT1 is c as a .prj file has it: well-known text, version 1, in the flavour
// with ESRI's names, on one line. It is written for geographic systems and
// Transverse Mercator, which is all that bittern writes files in; for others it is
// empty.
func (c CRS) WKT1() string {
	row := datums[c.datum]
	geog := fmt.Sprintf(`GEOGCS["%s",DATUM["%s",SPHEROID["%s",%s,%s]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`,
		row.esri.system, row.esri.datum, row.esri.spheroid, wktNumber(row.el.a), wktNumber(row.el.invF))
	if c.plane == nil {
		return geog
	}
	tm, ok := c.plane.(transverse)
	if !ok {
		return ""
	}
	name := strings.NewReplacer("WGS 84 / UTM zone ", "WGS_1984_UTM_Zone_", "NAD83 / UTM zone ", "NAD_1983_UTM_Zone_", " ", "_", `"`, "").Replace(c.name)
	return fmt.Sprintf(`PROJCS["%s",%s,PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",%s],PARAMETER["False_Northing",%s],`+
		`PARAMETER["Central_Meridian",%s],PARAMETER["Scale_Factor",%s],PARAMETER["Latitude_Of_Origin",%s],UNIT["%s",%s]]`,
		name, geog, wktNumber(tm.fe/c.unitM), wktNumber(tm.fn/c.unitM), wktNumber(tm.lon0), wktNumber(tm.k0),
		wktNumber(tm.lat0), unitName(c.unitM), wktNumber(c.unitM))
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
	case foot:
		return "Foot"
	}
	return "Foot_US"
}
