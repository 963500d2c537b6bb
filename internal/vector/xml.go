package vector

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"bittern/internal/geo"
)

// maxXMLDepth bounds elements inside each other.
const maxXMLDepth = 256

// An element is one element of XML with its text and children.
type element struct {
	name     string
	attrs    []xml.Attr
	text     string
	children []*element
}

// readXML reads KML 2.2 and GPX 1.1.
func readXML(data []byte) (*Layer, error) {
	root, err := parseXML(data)
	if err != nil {
		return nil, problem("is damaged XML ("+err.Error()+")", "save it again from where it was drawn", err)
	}
	layer := &Layer{}
	switch root.name {
	case "kml":
		err = layer.addKML(root)
	case "gpx":
		err = layer.addGPX(root)
	default:
		return nil, problem("is a kind of XML that is not read ("+root.name+")", "give GeoJSON, KML or a shapefile", nil)
	}
	if err != nil {
		return nil, problem("is damaged ("+err.Error()+")", "save it again from where it was drawn", err)
	}
	return layer, nil
}

func parseXML(data []byte) (*element, error) {
	dec := xml.NewDecoder(bytes.NewReader(data))
	dec.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		raw, err := io.ReadAll(in)
		return strings.NewReader(decoder(charset, 0)(raw)), err
	}
	top := &element{}
	stack := []*element{top}
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		current := stack[len(stack)-1]
		switch t := token.(type) {
		case xml.StartElement:
			if len(stack) > maxXMLDepth {
				return nil, errors.New("elements nest too deep")
			}
			e := &element{name: t.Name.Local, attrs: t.Copy().Attr}
			current.children = append(current.children, e)
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			current.text += string(t)
		}
	}
	if len(top.children) != 1 {
		return nil, errors.New("there is no single root")
	}
	return top.children[0], nil
}

func (e *element) child(name string) *element {
	for _, c := range e.children {
		if c.name == name {
			return c
		}
	}
	return &element{}
}

func (e *element) attr(name string) string {
	for _, a := range e.attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// addKML adds the placemarks below e.
func (l *Layer) addKML(e *element) error {
	for _, c := range e.children {
		if c.name != "Placemark" {
			if err := l.addKML(c); err != nil {
				return err
			}
			continue
		}
		f := Feature{Properties: c.kmlProperties()}
		if err := f.addShapes(c); err != nil {
			return fmt.Errorf("placemark %d: %w", len(l.Features)+1, err)
		}
		l.Features = append(l.Features, f)
	}
	return nil
}

func (e *element) kmlProperties() Properties {
	var out Properties
	for _, key := range []string{"name", "description"} {
		if text := strings.TrimSpace(e.child(key).text); text != "" {
			out = append(out, Property{key, text})
		}
	}
	var walk func(*element)
	walk = func(e *element) {
		for _, c := range e.children {
			switch c.name {
			case "Data":
				out = append(out, Property{c.attr("name"), strings.TrimSpace(c.child("value").text)})
			case "SimpleData":
				out = append(out, Property{c.attr("name"), strings.TrimSpace(c.text)})
			default:
				walk(c)
			}
		}
	}
	walk(e.child("ExtendedData"))
	return out
}

func (f *Feature) addShapes(e *element) error {
	for _, c := range e.children {
		switch c.name {
		case "Point":
			l, err := c.coordinates()
			if err != nil {
				return err
			}
			f.Points = append(f.Points, l...)
		case "LineString", "LinearRing":
			l, err := c.coordinates()
			if err != nil {
				return err
			}
			f.Lines = append(f.Lines, l)
		case "Polygon":
			if err := f.addKMLPolygon(c); err != nil {
				return err
			}
		case "MultiGeometry":
			if err := f.addShapes(c); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *Feature) addKMLPolygon(e *element) error {
	var p geo.Polygon
	for _, c := range e.children {
		if c.name != "outerBoundaryIs" && c.name != "innerBoundaryIs" {
			continue
		}
		l, err := c.child("LinearRing").coordinates()
		if err != nil {
			return err
		}
		if r := geo.Ring(l).Clean(); c.name == "outerBoundaryIs" {
			p.Outer = r
		} else {
			p.Holes = append(p.Holes, r)
		}
	}
	f.Polygons = append(f.Polygons, p)
	return nil
}

// coordinates reads "lon,lat[,height] ..." .
func (e *element) coordinates() (geo.Line, error) {
	var out geo.Line
	for _, tuple := range strings.Fields(e.child("coordinates").text) {
		lon, rest, ok := strings.Cut(tuple, ",")
		lat, _, _ := strings.Cut(rest, ",")
		x, errX := strconv.ParseFloat(lon, 64)
		y, errY := strconv.ParseFloat(lat, 64)
		if !ok || errX != nil || errY != nil {
			return nil, fmt.Errorf("%q is no position", cut(tuple, 40))
		}
		out = append(out, geo.Point{X: x, Y: y})
	}
	return out.Clean(), nil
}

// addGPX adds way-points as points, and routes and tracks as lines.
func (l *Layer) addGPX(root *element) error {
	for _, c := range root.children {
		f := Feature{}
		if name := strings.TrimSpace(c.child("name").text); name != "" {
			f.Properties = Properties{{"name", name}}
		}
		var err error
		switch c.name {
		case "wpt":
			var p geo.Point
			p, err = c.latLon()
			f.Points = []geo.Point{p}
		case "rte":
			err = f.addGPXLine(c, "rtept")
		case "trk":
			for _, s := range c.children {
				if s.name == "trkseg" && err == nil {
					err = f.addGPXLine(s, "trkpt")
				}
			}
		default:
			continue
		}
		if err != nil {
			return err
		}
		l.Features = append(l.Features, f)
	}
	return nil
}

func (f *Feature) addGPXLine(e *element, point string) error {
	var l geo.Line
	for _, c := range e.children {
		if c.name != point {
			continue
		}
		p, err := c.latLon()
		if err != nil {
			return err
		}
		l = append(l, p)
	}
	if len(l) > 0 {
		f.Lines = append(f.Lines, l.Clean())
	}
	return nil
}

func (e *element) latLon() (geo.Point, error) {
	x, errX := strconv.ParseFloat(e.attr("lon"), 64)
	y, errY := strconv.ParseFloat(e.attr("lat"), 64)
	if errX != nil || errY != nil {
		return geo.Point{}, fmt.Errorf("a point at lat=%q lon=%q", cut(e.attr("lat"), 20), cut(e.attr("lon"), 20))
	}
	return geo.Point{X: x, Y: y}, nil
}
