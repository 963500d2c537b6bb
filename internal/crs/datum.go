package crs

import (
	"fmt"
	"math"
)

// A datum is what a CRS's longitudes and latitudes are counted on.
type datum uint8

const (
	datumWGS84 datum = iota
	datumNAD83
	datumNAD27
	datumNAD27Alaska
	datumNAD27Canada
	datumOldHawaiian
	datumPuertoRico
	datumAmericanSamoa
	noDatum
)

// A datumRow says how a datum comes to WGS84: by one translation between the
// centres of the ellipsoids, in metres, the mean over a region.
//
// Source: NIMA TR8350.2, third edition (1997), appendix B; the same as the EPSG
// transformations 1173, 1176, 1172, 15824, 1893 and 1577, whose accuracies are
// stated.
type datumRow struct {
	name       string
	geographic int // EPSG code
	el         ellipsoid
	dx, dy, dz float64 // m
	region     string  // that the shift is the mean of
	accuracyM  float64 // m, there
	esri       esriNames
}

// esriNames are the words for a datum in .prj files.
type esriNames struct{ system, datum, spheroid string }

// datums are the rows of all datums but noDatum.
var datums = [noDatum]datumRow{
	datumWGS84:         {name: "WGS 84", geographic: 4326, el: wgs84, esri: esriNames{"GCS_WGS_1984", "D_WGS_1984", "WGS_1984"}},
	datumNAD83:         {name: "NAD83", geographic: 4269, el: grs80, esri: esriNames{"GCS_North_American_1983", "D_North_American_1983", "GRS_1980"}},
	datumNAD27:         {"NAD27", 4267, clarke1866, -8, 160, 176, "the contiguous United States", 10, esriNAD27},
	datumNAD27Alaska:   {"NAD27", 4267, clarke1866, -5, 135, 172, "Alaska", 12, esriNAD27},
	datumNAD27Canada:   {"NAD27", 4267, clarke1866, -10, 158, 187, "Canada", 20, esriNAD27},
	datumOldHawaiian:   {"Old Hawaiian", 4135, clarke1866, 61, -285, -181, "Hawaii", 38, esriNames{"GCS_Old_Hawaiian", "D_Old_Hawaiian", esriClarke}},
	datumPuertoRico:    {"Puerto Rico", 4139, clarke1866, 11, 72, -101, "Puerto Rico and the Virgin Islands", 6, esriNames{"GCS_Puerto_Rico", "D_Puerto_Rico", esriClarke}},
	datumAmericanSamoa: {"American Samoa 1962", 4169, clarke1866, -115, 118, 426, "American Samoa", 44, esriNames{"GCS_American_Samoa_1962", "D_American_Samoa_1962", esriClarke}},
}

const esriClarke = "Clarke_1866"

var esriNAD27 = esriNames{"GCS_North_American_1927", "D_North_American_1927", esriClarke}

func (d datum) ellipsoid() ellipsoid { return datums[d].el }

// shifted reports whether positions on the datum differ from WGS84's by more
// than the few metres that are left out.
func (d datum) shifted() bool { return d > datumNAD83 && d < noDatum }

// doubt says in one sentence how far positions may be off, or is empty.
func (d datum) doubt() string {
	switch row := datums[d]; {
	case d == datumNAD83:
		return "Positions are in NAD83 and were taken as WGS84, which lies 1 to 2 m (3 to 7 ft) away in North America."
	case d.shifted():
		return fmt.Sprintf("Positions are in %s and were shifted to WGS84 by the mean for %s, which may be %.0f m (%.0f ft) off there and more elsewhere.",
			row.name, row.region, row.accuracyM, row.accuracyM/0.3048)
	}
	return ""
}

// toWGS84 brings a position on the datum to WGS84.
//
// Source: IOGP 373-7-2, geocentric translations (method 9603) between the
// conversions of method 9602.
func (d datum) toWGS84(lon, lat float64) (lonW, latW float64) {
	row := datums[d]
	return row.el.translate(wgs84, lon, lat, row.dx, row.dy, row.dz)
}

// fromWGS84 undoes toWGS84, to a micrometre: the translation the other way, and
// two corrections for the height that a translation makes.
func (d datum) fromWGS84(lonW, latW float64) (lon, lat float64) {
	row := datums[d]
	lon, lat = wgs84.translate(row.el, lonW, latW, -row.dx, -row.dy, -row.dz)
	for range 2 {
		gotLon, gotLat := d.toWGS84(lon, lat)
		lon, lat = wrapLon(lon+lonDiff(lonW, gotLon)), lat+latW-gotLat
	}
	return lon, math.Max(-90, math.Min(90, lat))
}

// translate moves a position at height 0 on e by a vector, in metres, and
// returns where it lies on the ellipsoid to. The height there is left out.
func (e ellipsoid) translate(to ellipsoid, lon, lat, dx, dy, dz float64) (lonTo, latTo float64) {
	sinP, cosP := math.Sincos(radians(lat))
	sinL, cosL := math.Sincos(radians(lon))
	n := e.a / math.Sqrt(1-float64(e.e2()*sinP*sinP)) // radius across the meridian
	x := float64(n*cosP*cosL) + dx
	y := float64(n*cosP*sinL) + dy
	z := float64(n*(1-e.e2())*sinP) + dz
	p := math.Hypot(x, y)
	return degrees(math.Atan2(y, x)), degrees(to.latitude(p, z))
}

// latitude is the latitude in radians of a point near the ellipsoid, p metres
// from the axis and z above the equator.
//
// Source: B. R. Bowring, Transformation from spatial to geographical
// coordinates, Survey Review 23 (1976); a second round brings it below a
// nanometre.
func (e ellipsoid) latitude(p, z float64) float64 {
	f := 1 / e.invF
	b := e.a * (1 - f)
	ep2 := e.e2() / (1 - e.e2())
	tanBeta := z / ((1 - f) * p)
	phi := 0.0
	for range 2 {
		beta := math.Atan(tanBeta)
		s, c := math.Sincos(beta)
		phi = math.Atan2(z+float64(ep2*b*s*s*s), p-float64(e.e2()*e.a*c*c*c))
		tanBeta = (1 - f) * math.Tan(phi)
	}
	return phi
}
