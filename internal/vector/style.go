package vector

import (
	"fmt"
	"image/color"
	"strings"
)

// A Style says how a layer is drawn where a file can say it.
type Style struct {
	Stroke      color.NRGBA
	StrokePx    float64     // width of lines and outlines
	Fill        color.NRGBA // of polygons; alpha 0 draws outlines alone
	Label       string      // property that is written on the feature; empty for none
	Dashed      string      // property whose value DashedValue makes the outline dashed; empty for none
	DashedValue string
}

// rules are the cases of a style: true for the dashed one.
func (s Style) rules() []bool {
	if s.Dashed == "" {
		return []bool{false}
	}
	return []bool{true, false}
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }

func opacity(c color.NRGBA) string { return Fixed{float64(c.A) / 255, 2}.String() }

// sld is the style as an OGC Styled Layer Descriptor 1.0 (OGC 02-070).
func (s Style) sld(layer string, polygons bool) string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" +
		`<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">` + "\n" +
		`<NamedLayer><Name>` + layer + `</Name><UserStyle><Name>` + layer + `</Name><FeatureTypeStyle>` + "\n")
	for _, dashed := range s.rules() {
		b.WriteString("<Rule>")
		switch {
		case dashed:
			fmt.Fprintf(&b, `<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>%s</ogc:PropertyName><ogc:Literal>%s</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>`, s.Dashed, s.DashedValue)
		case s.Dashed != "":
			b.WriteString("<ElseFilter/>")
		}
		symbolizer := "LineSymbolizer"
		fill := ""
		if polygons {
			symbolizer = "PolygonSymbolizer"
			if s.Fill.A > 0 {
				fill = "<Fill>" + css("fill", hex(s.Fill)) + css("fill-opacity", opacity(s.Fill)) + "</Fill>"
			}
		}
		stroke := css("stroke", hex(s.Stroke)) + css("stroke-width", Fixed{s.StrokePx, 1}.String())
		if dashed {
			stroke += css("stroke-dasharray", "6 4")
		}
		fmt.Fprintf(&b, "<%s>%s<Stroke>%s</Stroke></%s>", symbolizer, fill, stroke, symbolizer)
		if s.Label != "" {
			fmt.Fprintf(&b, `<TextSymbolizer><Label><ogc:PropertyName>%s</ogc:PropertyName></Label><Fill>%s</Fill></TextSymbolizer>`, s.Label, css("fill", hex(s.Stroke)))
		}
		b.WriteString("</Rule>\n")
	}
	b.WriteString("</FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>\n")
	return b.String()
}

func css(name, value string) string {
	return `<CssParameter name="` + name + `">` + value + `</CssParameter>`
}

// qml is the same for desktop programs that take a style from a GeoPackage but
// read no SLD there.
func (s Style) qml(polygons bool) string {
	kind, class := "line", "SimpleLine"
	if polygons {
		kind, class = "fill", "SimpleFill"
	}
	var rules, symbols strings.Builder
	for i, dashed := range s.rules() {
		filter := ""
		switch {
		case dashed:
			filter = fmt.Sprintf(` filter="&quot;%s&quot; = '%s'"`, s.Dashed, s.DashedValue)
		case s.Dashed != "":
			filter = ` filter="ELSE"`
		}
		fmt.Fprintf(&rules, `<rule key="r%d" symbol="%d"%s/>`, i, i, filter)
		fmt.Fprintf(&symbols, `<symbol type="%s" name="%d" alpha="1"><layer class="%s" enabled="1"><Option type="Map">%s</Option></layer></symbol>`,
			kind, i, class, s.qmlOptions(polygons, dashed))
	}
	return `<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'><qgis styleCategories="Symbology"><renderer-v2 type="RuleRenderer" symbollevels="0">` +
		`<rules key="all">` + rules.String() + `</rules><symbols>` + symbols.String() + `</symbols></renderer-v2></qgis>`
}

func (s Style) qmlOptions(polygons, dashed bool) string {
	var b strings.Builder
	option := func(name, value string) {
		fmt.Fprintf(&b, `<Option name="%s" type="QString" value="%s"/>`, name, value)
	}
	rgba := func(c color.NRGBA) string { return fmt.Sprintf("%d,%d,%d,%d", c.R, c.G, c.B, c.A) }
	prefix, dash := "line_", "solid"
	if dashed {
		dash = "dash"
	}
	if polygons {
		prefix = "outline_"
		option("color", rgba(s.Fill))
		brush := "solid"
		if s.Fill.A == 0 {
			brush = "no"
		}
		option("style", brush)
	}
	option(prefix+"color", rgba(s.Stroke))
	option(prefix+"width", Fixed{s.StrokePx, 1}.String())
	option(prefix+"width_unit", "Pixel")
	option(prefix+"style", dash)
	return b.String()
}
