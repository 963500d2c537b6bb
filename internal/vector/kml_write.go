package vector

import (
	"fmt"
	"image/color"
	"io"

	"github.com/twpayne/go-kml/v3"

	"bittern/internal/geo"
)

// WriteKML writes the sheets as KML 2.2 (OGC 07-147r2), a folder for each.
// Outer rings run counter-clockwise. The property "name" names a placemark; the
// others are its data. The same sheets give the same bytes.
func WriteKML(w io.Writer, title string, sheets []Sheet) error {
	document := kml.Document(kml.Name(title))
	for _, s := range sheets {
		document = document.Append(kml.SharedStyle(s.Name,
			kml.LineStyle(kml.Color(straight(s.Style.Stroke)), kml.Width(s.Style.StrokePx)),
			kml.PolyStyle(kml.Color(straight(s.Style.Fill)), kml.Fill(s.Style.Fill.A > 0)),
		))
	}
	for _, s := range sheets {
		folder := kml.Folder(kml.Name(s.Name))
		if s.Description != "" {
			folder = folder.Append(kml.Description(s.Description))
		}
		for _, f := range s.Features {
			folder = folder.Append(f.placemark("#" + s.Name))
		}
		document = document.Append(folder)
	}
	if err := kml.KML(document).WriteIndent(w, "", " "); err != nil {
		return fmt.Errorf("writing KML: %w", err)
	}
	return nil
}

// straight is a colour whose alpha is not multiplied into the others, which is
// what KML holds and what the library would otherwise do.
type straight color.NRGBA

// RGBA returns the channels as they are.
func (c straight) RGBA() (r, g, b, a uint32) {
	return uint32(c.R) * 0x101, uint32(c.G) * 0x101, uint32(c.B) * 0x101, uint32(c.A) * 0x101
}

func (f *Feature) placemark(style string) kml.Element {
	data := kml.ExtendedData()
	for _, p := range f.Properties {
		if p.Name != "name" && p.Value != nil {
			data = data.Append(kml.Data(p.Name, kml.Value(cellText(p.Value))))
		}
	}
	placemark := kml.Placemark(kml.Name(f.Properties.Text("name")), kml.StyleURL(style))
	if len(data.Children) > 0 {
		placemark = placemark.Append(data)
	}
	shapes := f.kmlShapes()
	if len(shapes) == 1 {
		return placemark.Append(shapes[0])
	}
	return placemark.Append(kml.MultiGeometry(shapes...))
}

func (f *Feature) kmlShapes() []kml.Element {
	var out []kml.Element
	for _, p := range f.Polygons {
		polygon := kml.Polygon(kml.OuterBoundaryIs(kml.LinearRing(kmlRing(p.Outer, true))))
		for _, h := range p.Holes {
			polygon = polygon.Append(kml.InnerBoundaryIs(kml.LinearRing(kmlRing(h, false))))
		}
		out = append(out, polygon)
	}
	for _, l := range f.Lines {
		out = append(out, kml.LineString(kml.Tessellate(true), kmlCoordinates(l)))
	}
	for _, p := range f.Points {
		out = append(out, kml.Point(kmlCoordinates(geo.Line{p})))
	}
	return out
}

func kmlRing(r geo.Ring, ccw bool) kml.Element {
	return kmlCoordinates(geo.Line(closed(r.Turned(ccw))))
}

func kmlCoordinates(l geo.Line) kml.Element {
	list := make([]kml.Coordinate, len(l))
	for i, p := range l {
		list[i] = kml.Coordinate{Lon: degree(p.X), Lat: degree(p.Y)}
	}
	return kml.Coordinates(list...)
}
