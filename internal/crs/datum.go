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
	datumWGS72
	datumWGS72BE
	datumNAD27
	datumNAD27Alaska
	datumNAD27Canada
	datumOldHawaiian
	datumPuertoRico
	datumAmericanSamoa
	noDatum
)

// A datumRow says how a datum comes to WGS84: by one translation between the
// centres of the ellipsoids, in metres, the mean over a region; the datums before
// WGS84 also by a turn about the axis and a change of scale.
//
// Source: NIMA TR8350.2, third edition (1997), appendix B; the same as the EPSG
// transformations 1173, 1176, 1172, 15824, 1893 and 1577, whose accuracies are
// stated. For WGS 72 and WGS 72BE, EPSG transformations 1238 and 1240.
type datumRow struct {
	name       string
	geographic int // EPSG code
	el         ellipsoid
	dx, dy, dz float64 // m
	region     string  // that the shift is the mean of
	accuracyM  float64 // m, there
	esri       esriNames
	turn       float64 // seconds of arc about the axis, eastwards
	stretch    float64 // parts per million
}

// esriNames are the words for a datum in .prj files.
type esriNames struct{ system, datum, spheroid string }

// datums are the rows of all datums but noDatum.
var datums = [noDatum]datumRow{
	datumWGS84: {name: "WGS 84", geographic: 4326, el: wgs84, esri: esriNames{"GCS_WGS_1984", "D_WGS_1984", "WGS_1984"}},
	datumNAD83: {name: "NAD83", geographic: 4269, el: grs80, esri: esriNames{"GCS_North_American_1983", "D_North_American_1983", "GRS_1980"}},
	datumWGS72: {
		name: "WGS 72", geographic: 4322, el: wgs72, dz: 4.5, turn: 0.554, stretch: 0.219, region: "the world", accuracyM: 2,
		esri: esriNames{"GCS_WGS_1972", "D_WGS_1972", "WGS_1972"},
	},
	datumWGS72BE: {
		name: "WGS 72BE", geographic: 4324, el: wgs72, dz: 1.9, turn: 0.814, stretch: -0.38, region: "the world", accuracyM: 2,
		esri: esriNames{"GCS_WGS_1972_BE", "D_WGS_1972_BE", "WGS_1972"},
	},
	datumNAD27: {
		name: "NAD27", geographic: 4267, el: clarke1866, dx: -8, dy: 160, dz: 176, region: "the contiguous United States", accuracyM: 10,
		esri: esriNAD27,
	},
	datumNAD27Alaska: {
		name: "NAD27", geographic: 4267, el: clarke1866, dx: -5, dy: 135, dz: 172, region: "Alaska", accuracyM: 12,
		esri: esriNAD27,
	},
	datumNAD27Canada: {
		name: "NAD27", geographic: 4267, el: clarke1866, dx: -10, dy: 158, dz: 187, region: "Canada", accuracyM: 20,
		esri: esriNAD27,
	},
	datumOldHawaiian: {
		name: "Old Hawaiian", geographic: 4135, el: clarke1866, dx: 61, dy: -285, dz: -181, region: "Hawaii", accuracyM: 38,
		esri: esriNames{"GCS_Old_Hawaiian", "D_Old_Hawaiian", esriClarke},
	},
	datumPuertoRico: {
		name: "Puerto Rico", geographic: 4139, el: clarke1866, dx: 11, dy: 72, dz: -101, region: "Puerto Rico and the Virgin Islands", accuracyM: 6,
		esri: esriNames{"GCS_Puerto_Rico", "D_Puerto_Rico", esriClarke},
	},
	datumAmericanSamoa: {
		name: "American Samoa 1962", geographic: 4169, el: clarke1866, dx: -115, dy: 118, dz: 426, region: "American Samoa", accuracyM: 44,
		esri: esriNames{"GCS_American_Samoa_1962", "D_American_Samoa_1962", esriClarke},
	},
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
	case row.region == "the world":
		return fmt.Sprintf("Positions are in %s and were shifted to WGS84, which may be %.0f m (%.0f ft) off.", row.name, row.accuracyM, row.accuracyM/0.3048)
	case d.shifted():
		return fmt.Sprintf("Positions are in %s and were shifted to WGS84 by the mean for %s, which may be %.0f m (%.0f ft) off there and more elsewhere.",
			row.name, row.region, row.accuracyM, row.accuracyM/0.3048)
	}
	return ""
}

// toWGS84 brings a position on the datum to WGS84.
//
// Source: IOGP 373-7-2, geocentric translations (method 9603) between the
// conversions of method 9602; with a turn and a stretch, the position vector
// transformation (method 9606).
func (d datum) toWGS84(lon, lat float64) (lonW, latW float64) {
	row := &datums[d]
	p := row.el.vector(lon+row.turn/3600, lat)
	s := 1 + row.stretch/1e6
	return wgs84.position(vector{float64(p.x*s) + row.dx, float64(p.y*s) + row.dy, float64(p.z*s) + row.dz})
}

// fromWGS84 undoes toWGS84, to a micrometre: the same the other way, and two
// corrections for the height that a shift makes.
func (d datum) fromWGS84(lonW, latW float64) (lon, lat float64) {
	row := &datums[d]
	p := wgs84.vector(lonW, latW)
	lon, lat = row.el.position(vector{p.x - row.dx, p.y - row.dy, p.z - row.dz})
	lon -= row.turn / 3600
	for range 2 {
		gotLon, gotLat := d.toWGS84(lon, lat)
		lon, lat = wrapLon(lon+lonDiff(lonW, gotLon)), lat+latW-gotLat
	}
	return lon, math.Max(-90, math.Min(90, lat))
}

// A vector is a place in space from the centre of the earth, in metres: x to
// longitude 0, y to 90 east, z to the north.
type vector struct{ x, y, z float64 }

// vector is where a position lies on the ellipsoid.
func (e ellipsoid) vector(lon, lat float64) vector {
	sinP, cosP := math.Sincos(radians(lat))
	sinL, cosL := math.Sincos(radians(lon))
	n := e.a / math.Sqrt(1-float64(e.e2()*sinP*sinP)) // radius across the meridian
	return vector{n * cosP * cosL, n * cosP * sinL, n * (1 - e.e2()) * sinP}
}

// position is where the ellipsoid lies below or above a place near it. The
// height is left out.
func (e ellipsoid) position(v vector) (lon, lat float64) {
	return degrees(math.Atan2(v.y, v.x)), degrees(e.latitude(math.Hypot(v.x, v.y), v.z))
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
