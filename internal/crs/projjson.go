package crs

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

// ParsePROJJSON reads a CRS in PROJJSON, the form in JSON of well-known text
// version 2 (PROJ's schema 0.1 to 0.7). It answers as [ParseWKT] does.
func ParsePROJJSON(s string) (CRS, error) {
	if len(s) > maxWKT {
		return CRS{}, fmt.Errorf("a coordinate system of %d characters: %w", len(s), ErrUnknown)
	}
	var o jsonObject
	if err := json.Unmarshal([]byte(s), &o); err != nil {
		return CRS{}, fmt.Errorf("malformed coordinate system (%w): %w", err, ErrUnknown)
	}
	return o.node(jsonKinds[o.Type]).crs()
}

// A jsonObject is any object of PROJJSON, with the members that are used.
type jsonObject struct {
	Type              string        `json:"type"`
	Name              string        `json:"name"`
	BaseCRS           *jsonObject   `json:"base_crs"`
	SourceCRS         *jsonObject   `json:"source_crs"`
	Components        []jsonObject  `json:"components"`
	Datum             *jsonObject   `json:"datum"`
	DatumEnsemble     *jsonObject   `json:"datum_ensemble"`
	Ellipsoid         *jsonObject   `json:"ellipsoid"`
	PrimeMeridian     *jsonObject   `json:"prime_meridian"`
	Conversion        *jsonObject   `json:"conversion"`
	Method            *jsonObject   `json:"method"`
	Parameters        []jsonObject  `json:"parameters"`
	CoordinateSystem  *jsonObject   `json:"coordinate_system"`
	Subtype           string        `json:"subtype"`
	Axes              []jsonObject  `json:"axis"`
	SemiMajorAxis     *jsonQuantity `json:"semi_major_axis"`
	InverseFlattening *jsonQuantity `json:"inverse_flattening"`
	SemiMinorAxis     *jsonQuantity `json:"semi_minor_axis"`
	Longitude         *jsonQuantity `json:"longitude"`
	Value             *jsonQuantity `json:"value"`
	Unit              *jsonUnit     `json:"unit"`
	ID                *jsonID       `json:"id"`
}

// A jsonID is the code of an object in a registry.
type jsonID struct {
	Authority string          `json:"authority"`
	Code      json.RawMessage `json:"code"` // a number or a string
}

// A jsonUnit is the name of a common unit, or an object that defines one.
type jsonUnit struct {
	kind   string // LinearUnit or AngularUnit
	name   string
	factor float64 // in metres or radians
}

// UnmarshalJSON reads either form.
func (u *jsonUnit) UnmarshalJSON(text []byte) error {
	if json.Unmarshal(text, &u.name) == nil {
		if u.name == "metre" {
			u.kind, u.factor = "LinearUnit", meter
		}
		return nil
	}
	var o struct {
		Type, Name string
		Factor     float64 `json:"conversion_factor"`
	}
	if err := json.Unmarshal(text, &o); err != nil {
		return err
	}
	*u = jsonUnit{o.Type, o.Name, o.Factor}
	return nil
}

// A jsonQuantity is a number, or an object with a number and its unit.
type jsonQuantity struct {
	value float64
	unit  *jsonUnit
}

// UnmarshalJSON reads either form. What is neither is kept as not a number, for
// a parameter may also be a file's name.
func (q *jsonQuantity) UnmarshalJSON(text []byte) error {
	if json.Unmarshal(text, &q.value) == nil {
		return nil
	}
	var o struct {
		Value float64
		Unit  *jsonUnit
	}
	if err := json.Unmarshal(text, &o); err != nil {
		return fmt.Errorf("%.20q is no number: %w", text, err)
	}
	*q = jsonQuantity{o.Value, o.Unit}
	return nil
}

// jsonKinds are the keywords of well-known text for the types of PROJJSON.
var jsonKinds = map[string]string{
	"ProjectedCRS":                  "PROJCRS",
	"GeographicCRS":                 "GEOGCRS",
	"GeodeticCRS":                   "GEODCRS",
	"CompoundCRS":                   "COMPOUNDCRS",
	"BoundCRS":                      "BOUNDCRS",
	"GeodeticReferenceFrame":        "DATUM",
	"DynamicGeodeticReferenceFrame": "DATUM",
	"DatumEnsemble":                 "ENSEMBLE",
}

// node is o as a node of well-known text with the keyword. One that is not
// known is refused by name later.
func (o *jsonObject) node(keyword string) *wktNode {
	if keyword == "" {
		keyword = o.Type
	}
	n := &wktNode{keyword: keyword, values: []string{o.Name}}
	for _, q := range []*jsonQuantity{o.SemiMajorAxis, o.inverseFlattening(), o.Longitude, o.Value} {
		if q != nil {
			n.values = append(n.values, strconv.FormatFloat(q.value, 'g', -1, 64))
			n.add(q.unit.node())
		}
	}
	for _, part := range []struct {
		keyword string
		of      *jsonObject
	}{
		{"BASEGEOGCRS", o.BaseCRS},
		{"SOURCECRS", o.SourceCRS.wrapped()},
		{"DATUM", o.Datum},
		{"ENSEMBLE", o.DatumEnsemble},
		{"ELLIPSOID", o.Ellipsoid},
		{"PRIMEM", o.primeMeridian()},
		{"CONVERSION", o.Conversion},
		{"METHOD", o.Method},
		{"CS", o.CoordinateSystem},
	} {
		if part.of != nil {
			n.add(part.of.node(part.keyword))
		}
	}
	for i := range o.Components {
		n.add(o.Components[i].node(jsonKinds[o.Components[i].Type]))
	}
	for i := range o.Parameters {
		n.add(o.Parameters[i].node("PARAMETER"))
	}
	if o.Subtype != "" {
		n.values[0] = o.Subtype
	}
	if len(o.Axes) > 0 {
		n.add(o.Axes[0].Unit.node()) // all axes that are read here have one unit
	}
	n.add(o.Unit.node())
	n.add(o.ID.node())
	return n
}

// inverseFlattening is given, or follows from both axes.
func (o *jsonObject) inverseFlattening() *jsonQuantity {
	if o.SemiMajorAxis != nil && o.SemiMinorAxis != nil {
		a, b := o.SemiMajorAxis.value, o.SemiMinorAxis.value
		return &jsonQuantity{value: a / (a - b)}
	}
	return o.InverseFlattening
}

// primeMeridian is the datum's, which in well-known text is its sibling.
func (o *jsonObject) primeMeridian() *jsonObject {
	if o.Datum != nil {
		return o.Datum.PrimeMeridian
	}
	return nil
}

// wrapped is o as the only part of an object, as SOURCECRS has it.
func (o *jsonObject) wrapped() *jsonObject {
	if o == nil {
		return nil
	}
	return &jsonObject{Components: []jsonObject{*o}}
}

// node is u in well-known text. Degrees are what is meant without a unit.
func (u *jsonUnit) node() *wktNode {
	keywords := map[string]string{"LinearUnit": "LENGTHUNIT", "AngularUnit": "ANGLEUNIT"}
	if u == nil || keywords[u.kind] == "" {
		return nil
	}
	return &wktNode{keyword: keywords[u.kind], values: []string{u.name, strconv.FormatFloat(u.factor, 'g', -1, 64)}}
}

func (id *jsonID) node() *wktNode {
	if id == nil {
		return nil
	}
	return &wktNode{keyword: "ID", values: []string{id.Authority, strings.Trim(string(id.Code), `"`)}}
}

// add adds a child that is there.
func (n *wktNode) add(child *wktNode) {
	if child != nil {
		n.children = append(n.children, child)
	}
}
