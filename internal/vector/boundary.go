package vector

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geo"
)

// A Field is the boundary of one field.
type Field struct {
	Name    string           // from the file, or the file's own name
	Polygon geo.MultiPolygon // longitude and latitude, WGS84
	Doubts  []doubt.Doubt
}

// Boundary reads the boundary of one field from the file at path. Of several
// fields it takes the one with the name; with an empty name there must be one
// field only. Parts of one name are one field. What cannot be used comes back as
// a *doubt.Problem that names path.
func Boundary(path, name string) (Field, error) {
	layer, err := ReadFile(path)
	if err != nil {
		return Field{}, err
	}
	field, err := layer.field(name)
	if err == nil {
		err = sound(field.Polygon)
	}
	if err != nil {
		return Field{}, named(path, err)
	}
	field.Doubts = layer.Doubts
	return field, nil
}

// Fields lists the fields of a layer, in its order; parts of one name are one.
func (l *Layer) Fields() []Field {
	var out []Field
	for _, f := range l.fields() {
		out = append(out, f.Field)
	}
	return out
}

// Fault is why the field's polygon cannot be a boundary, or nil.
func (f Field) Fault() *doubt.Problem {
	p, _ := errors.AsType[*doubt.Problem](sound(f.Polygon))
	return p
}

func (l *Layer) field(name string) (Field, error) {
	fields := l.fields()
	switch {
	case len(fields) == 0:
		return Field{}, problem(l.without(), "save the field's outline as a polygon", nil)
	case name == "" && len(fields) == 1:
		f := fields[0].Field
		if !fields[0].hasName || fields[0].numbered {
			f.Name = l.Name
		}
		return f, nil
	case name == "":
		return Field{}, problem(fmt.Sprintf("holds %d fields: %s", len(fields), list(names(fields))), "choose one with --field NAME", nil)
	}
	for _, f := range fields {
		if f.answersTo(name) {
			return f.Field, nil
		}
	}
	if len(fields) == 1 && !fields[0].hasName {
		f := fields[0].Field
		f.Name = name
		return f, nil
	}
	return Field{}, problem(fmt.Sprintf("holds no field called %s, but %s", name, list(names(fields))), "choose one of these with --field NAME", nil)
}

// without says what a layer holds that has no polygons.
func (l *Layer) without() string {
	for _, f := range l.Features {
		if len(f.Lines) > 0 {
			return "holds lines, but no polygon"
		}
		if len(f.Points) > 0 {
			return "holds points, but no polygon"
		}
	}
	return "holds no field"
}

// A namedField is a field with what else it is called.
type namedField struct {
	Field
	hasName  bool
	numbered bool // the name is but a number in the file
	also     []string
}

func (f namedField) answersTo(name string) bool {
	name = strings.TrimSpace(name)
	return strings.EqualFold(f.Name, name) || slices.ContainsFunc(f.also, func(s string) bool { return strings.EqualFold(s, name) })
}

// fields joins the features with polygons by their names; those without one are
// numbered.
func (l *Layer) fields() []namedField {
	var out []namedField
	for _, f := range l.Features {
		if len(f.Polygons) == 0 {
			continue
		}
		called := f.Properties.names(nameKeys)
		numbered := len(called) == 0
		called = append(called, f.Properties.names(numberKeys)...)
		if len(called) == 0 {
			out = append(out, namedField{Field: Field{Name: strconv.Itoa(len(out) + 1), Polygon: f.Polygons}})
			continue
		}
		i := slices.IndexFunc(out, func(g namedField) bool { return g.hasName && g.Name == called[0] })
		if i < 0 {
			out = append(out, namedField{Field: Field{Name: called[0], Polygon: f.Polygons}, hasName: true, numbered: numbered, also: called[1:]})
			continue
		}
		out[i].Polygon = append(out[i].Polygon[:len(out[i].Polygon):len(out[i].Polygon)], f.Polygons...)
		out[i].also = append(out[i].also, called[1:]...)
	}
	return out
}

// nameKeys are the properties that may hold a field's name, the best first.
// They are compared without case, blanks and underscores.
var nameKeys = []string{"name", "fieldname", "field", "title", "label"}

// numberKeys are the properties that tell fields apart where they have no name.
var numberKeys = []string{"fieldid", "fieldno", "fieldnumber", "number", "id", "fid", "objectid"}

// names are what the properties with the keys call the feature, the best first.
func (ps Properties) names(keys []string) []string {
	var out []string
	for _, key := range keys {
		for _, p := range ps {
			if strings.ToLower(strings.NewReplacer("_", "", " ", "", "-", "").Replace(p.Name)) != key {
				continue
			}
			if text := ps.Text(p.Name); text != "" && !slices.Contains(out, text) {
				out = append(out, text)
			}
		}
	}
	return out
}

func names(fields []namedField) []string {
	var out []string
	for _, f := range fields {
		out = append(out, f.Name)
	}
	return out
}

// list writes names as a person would, and says how many more there are.
func list(names []string) string {
	const most = 8
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// maxCorners bounds the corners of a boundary: a foot apart they go round a
// square of four miles.
const maxCorners = 100000

// sound refuses polygons that are no boundary.
func sound(m geo.MultiPolygon) error {
	corners := 0
	for _, r := range m.Rings() {
		corners += len(r)
	}
	if corners > maxCorners {
		return problem(fmt.Sprintf("the boundary has %d corners, more than any field's", corners), "simplify the outline and save it again", nil)
	}
	fault, at := m.Fault()
	where := fmt.Sprintf(" near longitude %.6f, latitude %.6f", at.X, at.Y)
	const mend = "mend the outline there and save it again"
	switch fault {
	case geo.Sound:
		return nil
	case geo.Crosses:
		return problem("the boundary crosses itself"+where, mend, nil)
	case geo.HoleOutside:
		return problem("a hole lies outside the boundary"+where, mend, nil)
	case geo.Overlaps:
		return problem("parts of the boundary lie on each other"+where, mend, nil)
	case geo.TooFewPoints:
		return problem("the boundary has fewer than three corners", "draw the field's outline and save it again", nil)
	case geo.NoArea:
		return problem("the boundary encloses no ground", "draw the field's outline and save it again", nil)
	default:
		return problem("the boundary holds a position that is not a number", "save it again from where it was drawn", nil)
	}
}

// NameOf is the file's name without folder and ending, for a field that has no
// name of its own.
func NameOf(path string) string { return strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)) }
