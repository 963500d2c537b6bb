package vector

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"

	"bittern/internal/crs"
	"bittern/internal/geo"
)

// maxNesting bounds geometry collections inside each other.
const maxNesting = 16

// errNotGeoJSON is returned for JSON that is something else.
var errNotGeoJSON = errors.New("not GeoJSON")

type geoJSON struct {
	Type       string          `json:"type"`
	CRS        json.RawMessage `json:"crs"`
	Features   []geoJSON       `json:"features"`
	Geometry   *geoJSON        `json:"geometry"`
	Geometries []geoJSON       `json:"geometries"`
	Coords     json.RawMessage `json:"coordinates"`
	Properties json.RawMessage `json:"properties"`
	ID         json.RawMessage `json:"id"`
}

// readGeoJSON reads RFC 7946: a feature, a collection or a bare geometry. An
// old "crs" member that names an EPSG code is honoured.
func readGeoJSON(data []byte) (*Layer, error) {
	var root geoJSON
	if err := json.Unmarshal(data, &root); err != nil {
		return nil, jsonProblem(err)
	}
	system, err := root.system()
	if err != nil {
		return nil, err
	}
	layer := &Layer{}
	list := []geoJSON{root}
	if root.Type == "FeatureCollection" {
		list = root.Features
	}
	for i, f := range list {
		feature, err := f.feature()
		if err != nil {
			return nil, problem(fmt.Sprintf("is not GeoJSON as RFC 7946 has it (feature %d: %v)", i+1, err), "save it again from where it was drawn", err)
		}
		layer.Features = append(layer.Features, feature)
	}
	toLonLat(system, layer.Features)
	layer.Doubts = datumDoubt(system)
	return layer, nil
}

func jsonProblem(err error) error {
	what := "is damaged"
	if s, ok := errors.AsType[*json.SyntaxError](err); ok {
		what = fmt.Sprintf("is damaged near byte %d", s.Offset)
		if s.Error() == "unexpected end of JSON input" {
			what = "is cut off"
		}
	} else if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		what = fmt.Sprintf("is not GeoJSON (%s near byte %d is %s)", t.Field, t.Offset, t.Value)
	}
	return problem(what, "copy or save it again from where it was drawn", err)
}

var epsgName = regexp.MustCompile(`(?i)EPSG:(?:[\d.]*:)?(\d+)$`)

// system is the CRS that the file's old "crs" member names, or WGS84.
func (g *geoJSON) system() (crs.CRS, error) {
	var old struct {
		Type       string `json:"type"`
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	}
	if len(g.CRS) == 0 {
		return crs.WGS84(), nil
	}
	if err := json.Unmarshal(g.CRS, &old); err != nil {
		return crs.CRS{}, jsonProblem(err)
	}
	if old.Properties.Name == "" {
		return crs.WGS84(), nil
	}
	name := old.Properties.Name
	if code := epsgName.FindStringSubmatch(name); code != nil {
		n, _ := strconv.Atoi(code[1]) // digits; a number too long is no code
		c, err := crs.FromEPSG(n)
		if err != nil {
			return crs.CRS{}, unknownCRS(err)
		}
		return c, nil
	}
	if bytes.HasSuffix([]byte(name), []byte("CRS84")) || bytes.HasSuffix([]byte(name), []byte("CRS84h")) {
		return crs.WGS84(), nil
	}
	return crs.CRS{}, unknownCRS(fmt.Errorf("%s: %w", name, crs.ErrUnknown))
}

func (g *geoJSON) feature() (Feature, error) {
	var f Feature
	geometry := g
	if g.Type == "Feature" {
		var err error
		if f.Properties, err = orderedProperties(g.Properties); err != nil {
			return f, err
		}
		if _, has := f.Properties.Get("id"); !has && len(g.ID) > 0 {
			var id any
			if json.Unmarshal(g.ID, &id) == nil && id != nil {
				f.Properties = append(f.Properties, Property{"id", id})
			}
		}
		geometry = g.Geometry
	}
	if geometry == nil {
		return f, nil
	}
	return f, geometry.addTo(&f, 0)
}

// orderedProperties keeps the order of the file, which a Go map would lose.
func orderedProperties(raw json.RawMessage) (Properties, error) {
	dec := json.NewDecoder(bytes.NewReader(raw))
	t, err := dec.Token()
	if errors.Is(err, io.EOF) || err == nil && t == nil {
		return nil, nil
	}
	if err != nil || t != json.Delim('{') {
		return nil, fmt.Errorf("properties: %w", errNotGeoJSON)
	}
	var out Properties
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil, err
		}
		name, ok := key.(string)
		if !ok {
			return nil, fmt.Errorf("properties: %w", errNotGeoJSON)
		}
		var v any
		if err := dec.Decode(&v); err != nil {
			return nil, err
		}
		out = append(out, Property{name, v})
	}
	return out, nil
}

// A position is longitude, latitude and perhaps more that is not used.
type position []float64

func (p position) point() (geo.Point, error) {
	if len(p) < 2 || math.IsInf(p[0], 0) || math.IsInf(p[1], 0) {
		return geo.Point{}, fmt.Errorf("a position of %d numbers: %w", len(p), errNotGeoJSON)
	}
	return geo.Point{X: p[0], Y: p[1]}, nil
}

func line(list []position) (geo.Line, error) {
	out := make(geo.Line, 0, len(list))
	for _, c := range list {
		p, err := c.point()
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out.Clean(), nil
}

func polygon(list [][]position) (geo.Polygon, error) {
	var out geo.Polygon
	for i, ring := range list {
		l, err := line(ring)
		if err != nil {
			return out, err
		}
		if r := geo.Ring(l).Clean(); i == 0 {
			out.Outer = r
		} else {
			out.Holes = append(out.Holes, r)
		}
	}
	return out, nil
}

// addTo adds the geometry g to f.
func (g *geoJSON) addTo(f *Feature, depth int) error {
	switch g.Type {
	case "Point":
		return decode(g.Coords, func(c position) error { return f.addPoints([]position{c}) })
	case "MultiPoint":
		return decode(g.Coords, f.addPoints)
	case "LineString":
		return decode(g.Coords, func(c []position) error { return f.addLines([][]position{c}) })
	case "MultiLineString":
		return decode(g.Coords, f.addLines)
	case "Polygon":
		return decode(g.Coords, func(c [][]position) error { return f.addPolygons([][][]position{c}) })
	case "MultiPolygon":
		return decode(g.Coords, f.addPolygons)
	case "GeometryCollection":
		if depth > maxNesting {
			return fmt.Errorf("collections inside collections: %w", errNotGeoJSON)
		}
		for i := range g.Geometries {
			if err := g.Geometries[i].addTo(f, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	return fmt.Errorf("type %q: %w", g.Type, errNotGeoJSON)
}

func decode[T any](raw json.RawMessage, use func(T) error) error {
	var c T
	if len(raw) == 0 {
		return fmt.Errorf("no coordinates: %w", errNotGeoJSON)
	}
	if err := json.Unmarshal(raw, &c); err != nil {
		return fmt.Errorf("coordinates: %w", errNotGeoJSON)
	}
	return use(c)
}

func (f *Feature) addPoints(list []position) error {
	for _, c := range list {
		p, err := c.point()
		if err != nil {
			return err
		}
		f.Points = append(f.Points, p)
	}
	return nil
}

func (f *Feature) addLines(list [][]position) error {
	for _, c := range list {
		l, err := line(c)
		if err != nil {
			return err
		}
		f.Lines = append(f.Lines, l)
	}
	return nil
}

func (f *Feature) addPolygons(list [][][]position) error {
	for _, c := range list {
		if len(c) == 0 {
			continue
		}
		p, err := polygon(c)
		if err != nil {
			return err
		}
		f.Polygons = append(f.Polygons, p)
	}
	return nil
}
