package crs

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// maxWKT bounds the text that is parsed, and maxDepth how deep it nests: real
// ones hold a few thousand bytes and six levels.
const (
	maxWKT   = 1 << 16
	maxDepth = 32
)

// ParseWKT reads a CRS in well-known text: version 1 as in a .prj file, of
// either flavour (OGC 01-009 or ESRI's), or version 2 (ISO 19162). It is the
// system that the text's code means where that is known and on the same datum;
// else the one that its projection and parameters mean, with a code where the
// table has one alike. For anything else the error wraps ErrUnknown and names the
// system. Axis order is ignored: in files, X is always east.
func ParseWKT(s string) (CRS, error) {
	if len(s) > maxWKT {
		return CRS{}, fmt.Errorf("a coordinate system of %d characters: %w", len(s), ErrUnknown)
	}
	p := wktParser{rest: strings.TrimLeft(s, "\ufeff")}
	root, err := p.node(0)
	if err != nil {
		return CRS{}, err
	}
	return root.crs()
}

// A wktNode is KEYWORD["name", ...]. Values that are not nodes are in values,
// the quotes taken off.
type wktNode struct {
	keyword  string
	values   []string
	children []*wktNode
}

// Parse reads a CRS in any form of text that files hold: well-known text,
// PROJJSON, or an EPSG code as in EPSG:32615. See [ParseWKT].
func Parse(s string) (CRS, error) {
	s = strings.TrimSpace(strings.TrimLeft(s, "\ufeff"))
	if code, ok := strings.CutPrefix(strings.ToUpper(s), "EPSG:"); ok {
		if n, err := strconv.Atoi(code); err == nil {
			return FromEPSG(n)
		}
	}
	if strings.HasPrefix(s, "{") {
		return ParsePROJJSON(s)
	}
	return ParseWKT(s)
}

type wktParser struct{ rest string }

func (p *wktParser) space() { p.rest = strings.TrimLeft(p.rest, " \t\r\n\x00") }

func (p *wktParser) malformed() error {
	return fmt.Errorf("malformed coordinate system near %q: %w", p.rest[:min(len(p.rest), 20)], ErrUnknown)
}

func (p *wktParser) node(depth int) (*wktNode, error) {
	p.space()
	open := strings.IndexAny(p.rest, "[(")
	if open <= 0 || depth > maxDepth {
		return nil, p.malformed()
	}
	n := &wktNode{keyword: strings.ToUpper(strings.TrimSpace(p.rest[:open]))}
	p.rest = p.rest[open+1:]
	for {
		if err := p.item(n, depth); err != nil {
			return nil, err
		}
		p.space()
		if p.rest == "" {
			return nil, p.malformed()
		}
		c := p.rest[0]
		p.rest = p.rest[1:]
		switch c {
		case ',':
		case ']', ')':
			return n, nil
		default:
			return nil, p.malformed()
		}
	}
}

// item reads one value or child of n.
func (p *wktParser) item(n *wktNode, depth int) error {
	p.space()
	if strings.HasPrefix(p.rest, `"`) {
		text, ok := p.quoted()
		if !ok {
			return p.malformed()
		}
		n.values = append(n.values, text)
		return nil
	}
	end := strings.IndexAny(p.rest, "[(,])")
	if end < 0 {
		return p.malformed()
	}
	if c := p.rest[end]; c == '[' || c == '(' {
		child, err := p.node(depth + 1)
		if err == nil {
			n.children = append(n.children, child)
		}
		return err
	}
	n.values = append(n.values, strings.TrimSpace(p.rest[:end]))
	p.rest = p.rest[end:]
	return nil
}

// quoted reads a string in which a quote is written twice.
func (p *wktParser) quoted() (string, bool) {
	var b strings.Builder
	rest := p.rest[1:]
	for {
		end := strings.IndexByte(rest, '"')
		if end < 0 {
			return "", false
		}
		b.WriteString(rest[:end])
		rest = rest[end+1:]
		if !strings.HasPrefix(rest, `"`) {
			p.rest = rest
			return b.String(), true
		}
		b.WriteByte('"')
		rest = rest[1:]
	}
}

func (n *wktNode) name() string {
	if n == nil || len(n.values) == 0 {
		return ""
	}
	return n.values[0]
}

// child returns the first child with one of the keywords, or nil.
func (n *wktNode) child(keywords ...string) *wktNode {
	if n == nil {
		return nil
	}
	for _, c := range n.children {
		for _, k := range keywords {
			if c.keyword == k {
				return c
			}
		}
	}
	return nil
}

// number is the value after the name, or NaN.
func (n *wktNode) number() float64 { return n.numberAt(1) }

// numberAt is the i-th value, of which the name is the 0th, or NaN.
func (n *wktNode) numberAt(i int) float64 {
	if n == nil || len(n.values) <= i {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(n.values[i], 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func (n *wktNode) crs() (CRS, error) {
	switch n.keyword {
	case "COMPD_CS", "COMPOUNDCRS", "BOUNDCRS", "SOURCECRS":
		if c := n.child("PROJCS", "GEOGCS", "PROJCRS", "GEOGCRS", "GEODCRS", "BOUNDCRS", "SOURCECRS"); c != nil {
			return c.crs()
		}
	case "GEOGCS", "GEOGCRS", "GEODCRS", "GEODETICCRS", "GEOGRAPHICCRS", "BASEGEOGCRS", "BASEGEODCRS":
		return n.geographic()
	case "PROJCS", "PROJCRS", "PROJECTEDCRS":
		return n.projected()
	}
	return CRS{}, n.unknown("kind " + n.keyword)
}

func (n *wktNode) unknown(what string) error {
	return fmt.Errorf("%s (%s): %w", n.name(), what, ErrUnknown)
}

// code is the EPSG code that n gives itself, or 0.
func (n *wktNode) code() int {
	id := n.child("AUTHORITY", "ID")
	if id == nil || !strings.EqualFold(id.name(), "EPSG") {
		return 0
	}
	return int(id.number()) // NaN converts to some number that no CRS has
}

func (n *wktNode) geographic() (CRS, error) {
	c, err := n.onDatum()
	if err != nil {
		return CRS{}, err
	}
	if cs := n.child("CS"); cs != nil && !strings.EqualFold(cs.name(), "ellipsoidal") {
		return CRS{}, n.unknown("axes " + cs.name())
	}
	if m := n.child("PRIMEM", "PRIMEMERIDIAN"); m != nil && m.number() != 0 {
		return CRS{}, n.unknown("prime meridian " + m.name())
	}
	unit := n.unit("ANGLEUNIT")
	if v := unit.number(); unit != nil && !(math.Abs(v-math.Pi/180) < 1e-9) {
		return CRS{}, n.unknown("angles in " + unit.name())
	}
	return c, nil
}

// onDatum is the geographic system on n's datum: by its code, or by the datum's
// name where it has none or belies it, with the ellipsoid of that datum.
func (n *wktNode) onDatum() (CRS, error) {
	node := n.child("DATUM", "GEODETICDATUM", "TRF", "ENSEMBLE")
	d := datumNamed(node.name())
	c, err := FromEPSG(n.code())
	coded := err == nil && c.plane == nil
	switch {
	case d != noDatum && (!coded || c.datum != d):
		c = plain(d)
	case !coded:
		return CRS{}, n.unknown("datum " + node.name())
	}
	ball := node.child("SPHEROID", "ELLIPSOID")
	if ball != nil && !ball.is(c.datum.ellipsoid()) {
		return CRS{}, n.unknown("ellipsoid " + ball.name())
	}
	return c, nil
}

// is reports whether an ellipsoid's size and shape are el's, but for rounding.
func (n *wktNode) is(el ellipsoid) bool {
	size, shape := n.numberAt(1), n.numberAt(2)
	return math.Abs(size-el.a) < 0.1 && (math.Abs(shape-el.invF) < 1e-5 || math.IsNaN(shape))
}

// datumNamed is the datum that a name in text means, or noDatum. Realisations
// count as the datum itself.
func datumNamed(name string) datum {
	plain := letters(name)
	has := func(words ...string) bool {
		for _, w := range words {
			if !strings.Contains(plain, w) {
				return false
			}
		}
		return true
	}
	switch {
	case has("wgs1984"), has("wgs84"), has("worldgeodeticsystem1984"):
		return datumWGS84
	case has("wgs72be"), has("wgs1972be"), has("wgs72transitbroadcast"), has("wgs1972transitbroadcast"), has("transitbroadcastephemeris"):
		return datumWGS72BE
	case has("wgs1972"), has("wgs72"), has("worldgeodeticsystem1972"):
		return datumWGS72
	case has("northamerican", "1983"), has("nad83"), has("nad1983"):
		return datumNAD83
	case has("michigan"):
		return noDatum // on an ellipsoid of its own
	case has("northamerican", "1927"), has("nad27"), has("nad1927"):
		return datumNAD27
	case has("oldhawaiian"):
		return datumOldHawaiian
	case has("puertorico"):
		return datumPuertoRico
	case has("americansamoa1962"):
		return datumAmericanSamoa
	}
	return noDatum
}

// letters is s in lower case without anything but letters and digits.
func letters(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return -1
	}, s)
}

func (n *wktNode) projected() (CRS, error) {
	base := n.child("GEOGCS", "BASEGEOGCRS", "BASEGEODCRS")
	if base == nil {
		return CRS{}, n.unknown("no datum")
	}
	on, err := base.geographic()
	if err != nil {
		return CRS{}, fmt.Errorf("%s: %w", n.name(), err)
	}
	if c, err := FromEPSG(n.code()); err == nil && c.plane != nil && datums[c.datum].name == datums[on.datum].name {
		return c, nil
	}
	conversion := n
	methodNode := n.child("PROJECTION")
	if c := n.child("CONVERSION", "DERIVINGCONVERSION"); c != nil {
		conversion, methodNode = c, c.child("METHOD")
	}
	p := parameters{name: n.name(), datum: on.datum, method: letters(methodNode.name()), unitM: n.linearUnit()}
	p.of = conversion.parameters(p.unitM)
	if n.onSphere() {
		p.method = "popularvisualisationpseudomercator"
	}
	return p.crs()
}

// onSphere reports whether n says, in the way that version 1 has no word for,
// that latitudes are taken for those of a sphere as web maps do.
func (n *wktNode) onSphere() bool {
	e := n.child("EXTENSION")
	return strings.EqualFold(e.name(), "PROJ4") && len(e.values) > 1 &&
		strings.Contains(e.values[1], "+proj=merc") && strings.Contains(e.values[1], "+b=6378137")
}

// linearUnit is the unit of n's axes in metres: 1 when it does not say.
func (n *wktNode) linearUnit() float64 {
	if unit := n.unit("LENGTHUNIT"); unit != nil {
		return unit.number()
	}
	return meter
}

// unit is the unit of n's axes: n's own, its coordinate system's, or an axis's.
func (n *wktNode) unit(keyword string) *wktNode {
	if unit := n.child("UNIT", keyword); unit != nil {
		return unit
	}
	if unit := n.child("CS").child("UNIT", keyword); unit != nil {
		return unit
	}
	for _, axis := range n.children {
		if unit := axis.child("UNIT", keyword); unit != nil && axis.keyword == "AXIS" {
			return unit
		}
	}
	return nil
}

// parameters are the numbers of a projection by the letters of their names:
// angles in degrees, lengths in the unit of the whole system, as version 1 has
// them; version 2 gives each its own unit.
func (n *wktNode) parameters(unitM float64) map[string]float64 {
	out := make(map[string]float64)
	for _, c := range n.children {
		if c.keyword != "PARAMETER" {
			continue
		}
		v := c.number()
		if own := c.child("LENGTHUNIT"); own != nil && own.number() != unitM {
			v *= own.number() / unitM
		}
		if own := c.child("ANGLEUNIT"); own != nil && math.Abs(own.number()-math.Pi/180) > 1e-12 {
			v = degrees(v * own.number())
		}
		out[letters(c.name())] = v
	}
	return out
}
