package crs

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// parameters define a projected CRS by numbers, as text and GeoTIFF do: angles
// in degrees, false eastings and northings in the CRS's own unit.
type parameters struct {
	name   string
	datum  datum
	method string // letters of the method's name
	unitM  float64
	of     map[string]float64 // by letters of the parameter's name
}

// methodWords are the methods by the letters of their names in well-known text
// of both versions and flavours. What a name leaves open, the parameters decide:
// see settle.
var methodWords = map[string]method{
	"transversemercator":                        transverseMercator,
	"gausskruger":                               transverseMercator,
	"lambertconformalconic":                     lambert2,
	"lambertconformalconic2sp":                  lambert2,
	"lambertconicconformal2sp":                  lambert2,
	"lambertconformalconic1sp":                  lambert1,
	"lambertconicconformal1sp":                  lambert1,
	"lambertconicconformal2spmichigan":          lambertMichigan,
	"albers":                                    albers,
	"albersconicequalarea":                      albers,
	"albersequalarea":                           albers,
	"polarstereographic":                        polarA,
	"polarstereographicvarianta":                polarA,
	"polarstereographicvariantb":                polarB,
	"stereographicnorthpole":                    polarB,
	"stereographicsouthpole":                    polarB,
	"hotineobliquemercator":                     obliqueA,
	"hotineobliquemercatorvarianta":             obliqueA,
	"hotineobliquemercatorazimuthnaturalorigin": obliqueA,
	"rectifiedskeworthomorphicnaturalorigin":    obliqueA,
	"hotineobliquemercatorvariantb":             obliqueB,
	"hotineobliquemercatorazimuthcenter":        obliqueB,
	"rectifiedskeworthomorphiccenter":           obliqueB,
	"mercator":                                  mercatorA,
	"mercator1sp":                               mercatorA,
	"mercatorvarianta":                          mercatorA,
	"mercator2sp":                               mercatorB,
	"mercatorvariantb":                          mercatorB,
	"mercatorauxiliarysphere":                   webMercator,
	"popularvisualisationpseudomercator":        webMercator,
}

// parameterWords are what parameters are for, by the letters of their names.
var parameterWords = map[string]string{
	"centralmeridian": "lon0", "longitudeofnaturalorigin": "lon0", "longitudeoforigin": "lon0", "longitudeoffalseorigin": "lon0",
	"longitudeofcenter": "lon0", "longitudeofcentre": "lon0", "longitudeofprojectioncentre": "lon0",
	"latitudeoforigin": "lat0", "latitudeofnaturalorigin": "lat0", "latitudeoffalseorigin": "lat0",
	"latitudeofcenter": "lat0", "latitudeofcentre": "lat0", "latitudeofprojectioncentre": "lat0",
	"standardparallel1": "lat1", "latitudeof1ststandardparallel": "lat1", "latitudeofstandardparallel": "lat1",
	"standardparallel2": "lat2", "latitudeof2ndstandardparallel": "lat2",
	"scalefactor": "k0", "scalefactoratnaturalorigin": "k0", "scalefactoratprojectioncentre": "k0", "scalefactoroninitialline": "k0",
	"ellipsoidscalingfactor": "k0",
	"azimuth":                "azimuth", "azimuthofinitialline": "azimuth", "azimuthatprojectioncentre": "azimuth",
	"rectifiedgridangle": "skew", "anglefromrectifiedtoskewgrid": "skew", "xyplanerotation": "skew",
	"falseeasting": "fe", "eastingatfalseorigin": "fe", "eastingatprojectioncentre": "fe",
	"falsenorthing": "fn", "northingatfalseorigin": "fn", "northingatprojectioncentre": "fn",
}

// unknown is the refusal for the reason that is given.
func (p parameters) unknown(why string) error {
	return fmt.Errorf("%s (%s): %w", p.name, why, ErrUnknown)
}

func (p parameters) crs() (CRS, error) {
	if !(p.unitM > 1e-6 && p.unitM < 1e6) {
		return CRS{}, p.unknown("unit of length")
	}
	p.unitM = knownUnit(p.unitM)
	values, err := p.values()
	if err != nil {
		return CRS{}, err
	}
	m, ok := methodWords[p.method]
	if !ok {
		return CRS{}, p.unknown("projection " + p.method)
	}
	m = values.settle(m)
	if why := values.idle(m); why != "" {
		return CRS{}, p.unknown(why)
	}
	return p.build(m, values.shape(m, p.unitM))
}

// knownUnit is the unit that unitM is meant for, where it was rounded on the way:
// over the millions of feet in a grid, what is taken for equal makes 0.1 mm.
func knownUnit(unitM float64) float64 {
	for _, known := range [...]float64{meter, foot, surveyFoot} {
		if math.Abs(unitM-known) < 5e-12 {
			return known
		}
	}
	return unitM
}

// build is the CRS of the projection on p's datum in p's unit: the one in the
// table that has the same parameters, or else one without a code.
func (p parameters) build(m method, s shape) (CRS, error) {
	if why := s.check(m); why != "" {
		return CRS{}, p.unknown(why)
	}
	if c, ok := p.withCode(m, s); ok {
		return c, nil
	}
	return CRS{name: p.name, datum: p.datum, unitM: p.unitM, plane: newPlane(p.datum.ellipsoid(), m, s)}, nil
}

// values are parameters by their fields in shape. One that is not given is not
// there.
type values map[string]float64

// values refuses parameters that are no numbers, and ones that are not known
// but say something.
func (p parameters) values() (values, error) {
	out := values{}
	for _, name := range slices.Sorted(maps.Keys(p.of)) {
		v := p.of[name]
		field, known := parameterWords[name]
		switch {
		case math.IsNaN(v), math.IsInf(v, 0), !known && v != 0:
			return nil, p.unknown("parameter " + name)
		case known:
			out[field] = v
		}
	}
	return out, nil
}

func (v values) has(field string) bool {
	_, ok := v[field]
	return ok
}

// settle is the method that the parameters decide for, where one name stands
// for several. It brings the parameters into the form of that method.
func (v values) settle(m method) method {
	switch m {
	case lambert1, lambert2:
		return v.settleLambert()
	case albers, lambertMichigan:
		if !v.has("lat2") {
			v["lat2"] = v["lat1"]
		}
	case polarA:
		// Version 1 of the text has one name for both variants: latitude of
		// origin is the pole, or else the parallel that keeps its length.
		if math.Abs(v["lat0"]) != 90 && !v.has("lat1") {
			v["lat1"] = v["lat0"]
			delete(v, "lat0")
			return polarB
		}
	case polarB:
		delete(v, "lat0")
	case obliqueA, obliqueB:
		if !v.has("skew") {
			v["skew"] = v["azimuth"]
		}
	case mercatorA, mercatorB:
		if v["lat1"] != 0 {
			return mercatorB
		}
		return mercatorA
	default:
	}
	return m
}

// settleLambert also takes two parallels and a scale, for the scale of a cone is
// that of its ellipsoid.
func (v values) settleLambert() method {
	switch {
	case v.has("lat2"):
		if k0, ok := v["k0"]; ok && k0 != 1 {
			return lambertMichigan
		}
	case !v.has("lat1"), v["lat1"] == v["lat0"]:
		delete(v, "lat1")
		return lambert1
	default:
		v["lat2"] = v["lat1"]
	}
	return lambert2
}

// idle says which parameter has a value that method m has no place for, or
// nothing.
func (v values) idle(m method) string {
	if k0, ok := v["k0"]; ok && !m.scaled() && k0 != 1 {
		return fmt.Sprintf("scale factor %g", k0)
	}
	return ""
}

// shape is v for method m, lengths brought to metres.
func (v values) shape(m method, unitM float64) shape {
	s := shape{
		lon0: v["lon0"], lat0: v["lat0"], lat1: v["lat1"], lat2: v["lat2"], azimuth: v["azimuth"], skew: v["skew"],
		fe: v["fe"] * unitM, fn: v["fn"] * unitM,
	}
	if m.scaled() {
		s.k0 = 1
		if k0, ok := v["k0"]; ok {
			s.k0 = k0
		}
	}
	return s
}
