package vector

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/vector/gpkg"
)

// A Sheet is one layer of a GeoPackage with the way it is drawn.
type Sheet struct {
	Layer
	Description string
	Lines       bool     // features are lines, not polygons
	Columns     []string // names of the properties, for a layer that may be empty
	Style       Style
}

// WriteGeoPackage writes the sheets as one GeoPackage that a desktop GIS opens
// with their styles. Columns are the properties of the first feature, or Columns
// where there is none. The same sheets give the same bytes.
func WriteGeoPackage(ctx context.Context, w io.Writer, sheets []Sheet) error {
	var layers []gpkg.Layer
	for _, s := range sheets {
		l, err := s.table()
		if err != nil {
			return fmt.Errorf("layer %s: %w", s.Name, err)
		}
		layers = append(layers, l)
	}
	return gpkg.Write(ctx, w, layers)
}

func (s *Sheet) table() (gpkg.Layer, error) {
	l := gpkg.Layer{
		Name: s.Name, Description: s.Description, Kind: gpkg.Polygons,
		SLD: s.Style.sld(s.Name, !s.Lines), QML: s.Style.qml(!s.Lines),
	}
	if s.Lines {
		l.Kind = gpkg.Lines
	}
	names := s.Columns
	if len(s.Features) > 0 {
		names = nil
		for _, p := range s.Features[0].Properties {
			names = append(names, p.Name)
		}
	}
	for _, n := range names {
		l.Columns = append(l.Columns, gpkg.Column{Name: n, Type: s.columnType(n)})
	}
	for i, f := range s.Features {
		row, err := f.row(names)
		if err != nil {
			return l, fmt.Errorf("feature %d: %w", i+1, err)
		}
		l.Rows = append(l.Rows, row)
	}
	return l, nil
}

// columnType is that of the first value that is not null.
func (s *Sheet) columnType(name string) string {
	for _, f := range s.Features {
		switch v, _ := f.Properties.Get(name); v.(type) {
		case nil:
			continue
		case Fixed, float64:
			return "REAL"
		case int:
			return "INTEGER"
		case bool:
			return "BOOLEAN"
		default:
			return "TEXT"
		}
	}
	return "TEXT"
}

func (f *Feature) row(names []string) (gpkg.Row, error) {
	place := func(p geo.Point) geo.Point { return geo.Point{X: degree(p.X), Y: degree(p.Y)} }
	r := gpkg.Row{Polygons: f.Polygons.Map(place)}
	for _, l := range f.Lines {
		r.Lines = append(r.Lines, l.Map(place))
	}
	for _, n := range names {
		v, ok := f.Properties.Get(n)
		if !ok {
			return r, fmt.Errorf("there is no property %s", n)
		}
		plain, err := tableValue(v)
		if err != nil {
			return r, fmt.Errorf("property %s: %w", n, err)
		}
		r.Values = append(r.Values, plain)
	}
	return r, nil
}

// tableDecimals are the decimals of a number in a table, enough for any use and
// few enough that the last bit of a processor does not show.
const tableDecimals = 9

// tableValue is v as a table holds it: lists of words joined, anything deeper as
// JSON.
func tableValue(v any) (any, error) {
	switch v := v.(type) {
	case nil, string, int, float64, bool:
		return v, nil
	case Fixed: // a table rounds nothing that a person would see
		return strconv.ParseFloat(Fixed{v.Value, max(v.Decimals, tableDecimals)}.String(), 64)
	case []string:
		return strings.Join(v, "; "), nil
	}
	var b bytes.Buffer
	err := writeValue(&b, v)
	return b.String(), err
}

// readGeoPackage reads every feature layer of the file at path.
func readGeoPackage(path string) (*Layer, error) {
	tables, err := gpkg.Read(context.Background(), path)
	if err != nil {
		return nil, problem("is a GeoPackage that cannot be read ("+err.Error()+")", "save it again from where it was drawn", err)
	}
	layer := &Layer{}
	for _, t := range tables {
		var features []Feature
		for _, r := range t.Rows {
			f := Feature{Polygons: r.Polygons, Lines: r.Lines, Points: r.Points}
			for i, name := range t.Columns {
				f.Properties = append(f.Properties, Property{name, r.Values[i]})
			}
			features = append(features, f)
		}
		c, err := tableCRS(t)
		if err != nil {
			return nil, err
		}
		toLonLat(c, features)
		layer.Features = append(layer.Features, features...)
		layer.Doubts = append(layer.Doubts, datumDoubt(c)...)
	}
	return layer, nil
}

func tableCRS(t gpkg.Table) (crs.CRS, error) {
	if strings.EqualFold(t.Organization, "EPSG") {
		if c, err := crs.FromEPSG(t.Code); err == nil {
			return c, nil
		}
	}
	if t.Code <= 0 {
		return crs.WGS84(), nil // undefined: positions that are no degrees are refused later
	}
	c, err := crs.ParseWKT(t.Definition)
	if err != nil {
		return crs.CRS{}, unknownCRS(err)
	}
	return c, nil
}
