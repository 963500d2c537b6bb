package crs

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// parameters define a projected CRS by numbers, as WKT and GeoTIFF do: angles
// in degrees, false eastings and northings in the CRS's own unit.
type parameters struct {
	name   string
	datum  datum
	method string // letters of the method's name
	unitM  float64
	of     map[string]float64
}

func (p parameters) crs() (CRS, error) {
	if !(p.unitM > 0) || math.IsInf(p.unitM, 0) {
		return CRS{}, fmt.Errorf("%s (unit of length): %w", p.name, ErrUnknown)
	}
	for key, v := range p.of {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return CRS{}, fmt.Errorf("%s (parameter %s): %w", p.name, key, ErrUnknown)
		}
	}
	switch p.method {
	case "transversemercator", "gausskruger":
		return p.transverseMercator()
	case "lambertconformalconic", "lambertconformalconic2sp", "lambertconicconformal2sp", "lambertconformalconic1sp", "lambertconicconformal1sp":
		return p.conic(newLambert)
	case "albers", "albersconicequalarea", "albersequalarea":
		return p.conic(newAlbers)
	case "mercatorauxiliarysphere", "popularvisualisationpseudomercator":
		if p.plain() {
			return FromEPSG(3857)
		}
	}
	return CRS{}, fmt.Errorf("%s (projection %s): %w", p.name, p.method, ErrUnknown)
}

func (p parameters) transverseMercator() (CRS, error) {
	k0, ok := p.of["scalefactor"]
	if !ok {
		k0 = 1
	}
	if !(k0 > 0.5 && k0 < 1.5) {
		return CRS{}, fmt.Errorf("%s (scale factor %g): %w", p.name, k0, ErrUnknown)
	}
	lon0, lat0 := p.of["centralmeridian"], p.of["latitudeoforigin"]
	if math.Abs(lon0) > 180 || math.Abs(lat0) > 89 {
		return CRS{}, fmt.Errorf("%s (origin at longitude %g, latitude %g): %w", p.name, lon0, lat0, ErrUnknown)
	}
	fe, fn := p.of["falseeasting"]*p.unitM, p.of["falsenorthing"]*p.unitM
	if c, ok := p.utm(lon0, lat0, k0, fe, fn); ok {
		return c, nil
	}
	return CRS{
		name: p.name, datum: p.datum, method: transverseMercator, unitM: p.unitM,
		tm: newTransverse(p.datum.ellipsoid(), lon0, lat0, k0, fe, fn),
	}, nil
}

// plain reports whether nothing is shifted, turned or scaled.
func (p parameters) plain() bool {
	k0, ok := p.of["scalefactor"]
	return p.of["centralmeridian"] == 0 && p.of["latitudeoforigin"] == 0 && p.of["standardparallel1"] == 0 &&
		p.of["falseeasting"] == 0 && p.of["falsenorthing"] == 0 && p.unitM == 1 && (!ok || k0 == 1)
}

func (p parameters) conic(build func(ellipsoid, coneShape) conic) (CRS, error) {
	s := coneShape{
		lon0: p.of["centralmeridian"], lat0: p.of["latitudeoforigin"], k0: 1,
		fe: p.of["falseeasting"] * p.unitM, fn: p.of["falsenorthing"] * p.unitM,
	}
	lat1, one := p.of["standardparallel1"]
	lat2, two := p.of["standardparallel2"]
	if k0, ok := p.of["scalefactor"]; ok && !two {
		s.k0 = k0
	}
	switch {
	case !one:
		lat1, lat2 = s.lat0, s.lat0
	case !two:
		lat2 = lat1
	}
	s.lat1, s.lat2 = lat1, lat2
	if math.Abs(s.lon0) > 180 || math.Abs(s.lat0) > 89 || !(s.k0 > 0.5 && s.k0 < 1.5) || math.Abs(lat1) > 89 || math.Abs(lat2) > 89 || math.Abs(lat1+lat2) < 1 {
		return CRS{}, fmt.Errorf("%s (parallels %g and %g): %w", p.name, lat1, lat2, ErrUnknown)
	}
	return CRS{name: p.name, datum: p.datum, method: conical, unitM: p.unitM, cone: build(p.datum.ellipsoid(), s)}, nil
}

// utm returns the UTM zone that has these parameters.
func (p parameters) utm(lon0, lat0, k0, fe, fn float64) (CRS, bool) {
	zone := (lon0 + 183) / 6
	if zone != math.Trunc(zone) || zone < 1 || zone > 60 || lat0 != 0 || k0 != utmScale || fe != utmEasting || p.unitM != 1 {
		return CRS{}, false
	}
	switch {
	case p.datum == datumWGS84 && fn == 0:
		return UTM(int(zone), false), true
	case p.datum == datumWGS84 && fn == utmNorthing:
		return UTM(int(zone), true), true
	case p.datum == datumNAD83 && fn == 0 && zone <= 23:
		return utmNAD83(int(zone)), true
	}
	return CRS{}, false
}

func (d datum) ellipsoid() ellipsoid {
	if d == datumNAD83 {
		return grs80
	}
	return wgs84
}

// GeoKeys are what a GeoTIFF says about its coordinate system, by the names of
// OGC GeoTIFF 1.1. Zero means that the file does not say.
type GeoKeys struct {
	Model      int             // GTModelTypeGeoKey: 1 projected, 2 geographic
	Geographic int             // GeodeticCRSGeoKey: an EPSG code, or 32767
	Projected  int             // ProjectedCRSGeoKey: an EPSG code, or 32767
	Method     int             // ProjMethodGeoKey: 1 is Transverse Mercator, 8 and 9 Lambert Conformal Conic, 11 Albers
	LinearUnit int             // ProjLinearUnitsGeoKey: 9001 metre, 9002 foot, 9003 US survey foot
	Citation   string          // any of the citations
	Numbers    map[int]float64 // the keys that hold numbers, 3078 to 3094
}

const userDefined = 32767

// FromGeoKeys returns the CRS that a GeoTIFF describes, by its code or, where it
// is user-defined, by its parameters. The error wraps ErrUnknown.
func FromGeoKeys(k GeoKeys) (CRS, error) {
	base := k.Geographic
	if k.Projected == 0 && k.Method == 0 || k.Model == 2 {
		return FromEPSG(base)
	}
	if k.Projected != userDefined && k.Projected != 0 {
		return FromEPSG(k.Projected)
	}
	on, err := FromEPSG(base)
	if err != nil || !on.Geographic() {
		return CRS{}, fmt.Errorf("%s (user-defined, on EPSG:%d): %w", k.Citation, base, ErrUnknown)
	}
	p := parameters{name: k.Citation, datum: on.datum, unitM: 1, of: make(map[string]float64)}
	if p.unitM = linearUnits[k.LinearUnit]; k.LinearUnit == 0 {
		p.unitM = 1
	}
	p.method = geoMethods[k.Method]
	for _, key := range slices.Sorted(maps.Keys(k.Numbers)) {
		if name, ok := geoParameters[key]; ok {
			p.of[name] = k.Numbers[key]
		}
	}
	return p.crs()
}

// linearUnits are EPSG codes of units of length in metres.
var linearUnits = map[int]float64{9001: 1, 9002: 0.3048, 9003: 1200. / 3937}

// geoMethods are the values of ProjMethodGeoKey.
var geoMethods = map[int]string{1: "transversemercator", 8: "lambertconformalconic2sp", 9: "lambertconformalconic1sp", 11: "albers"}

// geoParameters are the numbers of GeoTIFF's parameter keys: of the natural
// origin, or of the false origin that Lambert's form with two parallels has.
var geoParameters = map[int]string{
	3078: "standardparallel1", 3079: "standardparallel2", 3080: "centralmeridian", 3081: "latitudeoforigin",
	3082: "falseeasting", 3083: "falsenorthing", 3084: "centralmeridian", 3085: "latitudeoforigin",
	3086: "falseeasting", 3087: "falsenorthing", 3092: "scalefactor",
}
