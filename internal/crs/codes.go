package crs

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

//go:generate go run ../tools/crstable codes_table.go

// Units of length in metres. The survey foot is what most State Plane grids
// are in; it is longer than the foot by 2 parts per million.
//
// Source: NIST SP 811 (2008), appendix B.6.
const (
	meter      = 1.0
	foot       = 0.3048
	surveyFoot = 1200. / 3937
)

type geographicRow struct {
	code      int
	datumCode int // in the registry, of the realisation
	datum     datum
	name      string
}

type conversion struct {
	code   int
	method method
	shape  shape
}

type projectedRow struct {
	code       int
	datum      datum
	conversion int     // code
	unitM      float64 // metres
	name       string
}

// A refusal is a code that is known, of a method that is not.
type refusal struct {
	code         int
	name, method string
}

// find is the row with the code in rows that rise by code.
func find[R any](rows []R, code int, codeOf func(*R) int) (*R, bool) {
	i, ok := slices.BinarySearchFunc(rows, code, func(r R, code int) int { return cmp.Compare(codeOf(&r), code) })
	if !ok {
		return nil, false
	}
	return &rows[i], true
}

func findProjected(code int) (*projectedRow, bool) {
	return find(projecteds[:], code, func(r *projectedRow) int { return r.code })
}

func findConversion(code int) (*conversion, bool) {
	return find(conversions[:], code, func(r *conversion) int { return r.code })
}

// FromEPSG is the CRS with the code; for one with a height, its horizontal part;
// for one that the registry withdrew, the one that replaced it. It returns ErrUnknown, wrapped with the code and what is known of it, for one
// that is not offered.
//
// Source of the table: see registry.
func FromEPSG(code int) (CRS, error) {
	if pair, ok := find(aliases[:], code, func(r *[2]int) int { return r[0] }); ok {
		code = pair[1]
	}
	if g, ok := find(geographics[:], code, func(r *geographicRow) int { return r.code }); ok {
		return CRS{name: g.name, epsg: code, datum: g.datum, unitM: meter}, nil
	}
	if p, ok := findProjected(code); ok {
		return p.crs(), nil
	}
	if r, ok := find(refusals[:], code, func(r *refusal) int { return r.code }); ok {
		return CRS{}, fmt.Errorf("EPSG:%d, %s (projection %s): %w", code, r.name, r.method, ErrUnknown)
	}
	return CRS{}, fmt.Errorf("EPSG:%d: %w", code, ErrUnknown)
}

func (p *projectedRow) crs() CRS {
	c, _ := findConversion(p.conversion) // every row's is in the table
	return CRS{
		name: p.name, epsg: p.code, datum: p.datum, unitM: p.unitM,
		plane: newPlane(p.datum.ellipsoid(), c.method, c.shape),
	}
}

// A Code is a line of the table of codes that [FromEPSG] knows.
type Code struct {
	EPSG   int
	Name   string
	Datum  string  // the datum that it stands on, realisations taken as one
	Method string  // of projection, in EPSG's words; "longitude and latitude" when it has none
	UnitM  float64 // metres in its unit; 0 for longitude and latitude
}

// Codes are all codes that [FromEPSG] knows, by rising code, without those of
// systems with a height and of withdrawn ones.
func Codes() []Code {
	var out []Code
	for _, g := range geographics {
		out = append(out, Code{g.code, g.name, datums[g.datum].name, "longitude and latitude", 0})
	}
	for i := range projecteds {
		p := &projecteds[i]
		c, _ := findConversion(p.conversion)
		out = append(out, Code{p.code, p.name, datums[p.datum].name, methodNames[c.method], p.unitM})
	}
	slices.SortFunc(out, func(a, b Code) int { return cmp.Compare(a.EPSG, b.EPSG) })
	return out
}

// Registry names the edition of the registry that the codes are from.
func Registry() string { return registry }

// withCode is the offered system that has these parameters, if one has: the one
// on the datum by its bare name before those on its realisations.
func (p parameters) withCode(m method, s shape) (CRS, bool) {
	var alike []int // codes of conversions
	for i := range conversions {
		c := &conversions[i]
		if c.method == m && (c.shape.near(s) || c.shape.swapped().near(s)) {
			alike = append(alike, c.code)
		}
	}
	var best *projectedRow
	for i := range projecteds {
		row := &projecteds[i]
		if !slices.Contains(alike, row.conversion) || row.unitM != p.unitM || datums[row.datum].name != datums[p.datum].name {
			continue
		}
		if strings.HasPrefix(row.name, datums[p.datum].name+" / ") {
			return row.crs(), true
		}
		if best == nil {
			best = row
		}
	}
	if best == nil {
		return CRS{}, false
	}
	return best.crs(), true
}

// swapped is s with its parallels in the other order, which makes the same cone.
func (s shape) swapped() shape {
	s.lat1, s.lat2 = s.lat2, s.lat1
	return s
}

// near reports whether both shapes put no position a millimetre apart.
func (s shape) near(o shape) bool {
	const angle, scale, length = 1e-10, 1e-11, 2e-4 // degrees, 1, m
	for _, v := range [...][3]float64{
		{s.lon0, o.lon0, angle},
		{s.lat0, o.lat0, angle},
		{s.lat1, o.lat1, angle},
		{s.lat2, o.lat2, angle},
		{s.azimuth, o.azimuth, angle},
		{s.skew, o.skew, angle},
		{s.k0, o.k0, scale},
		{s.fe, o.fe, length},
		{s.fn, o.fn, length},
	} {
		if math.Abs(v[0]-v[1]) > v[2] {
			return false
		}
	}
	return true
}
