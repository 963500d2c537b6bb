package app

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// Outlines says what a file of places is.
type Outlines struct {
	File     string      `json:"file"`
	Fields   []FieldSeen `json:"fields"` // in the file's order; parts of one name are one field
	Lines    int         `json:"lines"`
	Points   int         `json:"points"`
	Center   *[2]float64 `json:"center"`  // longitude, latitude of the middle; null without places
	UseAs    []string    `json:"use_as"`  // options that could take the file
	Missing  []Missing   `json:"missing"` // why the file cannot be used yet
	Warnings []Warning   `json:"warnings"`
}

// A FieldSeen is one field of a file of outlines.
type FieldSeen struct {
	Name    string  `json:"name"`
	Acres   float64 `json:"acres"`
	Corners int     `json:"corners"`
}

// A Told can be read aloud.
type Told interface{ Letter() string }

// DescribeFile says what a picture, or a file of outlines, is. The error is a
// *doubt.Problem for a file that is neither, or damaged.
func DescribeFile(ctx context.Context, path string, bands []string) (Told, error) {
	if vector.Recognized(path) {
		o, err := describeOutlines(path)
		if err != nil {
			return nil, err
		}
		return o, nil
	}
	d, err := Describe(ctx, path, bands)
	if err != nil {
		return nil, err
	}
	return d, nil
}

// describeOutlines reads a file of outlines, lines or points.
func describeOutlines(path string) (*Outlines, error) {
	layer, err := vector.ReadFile(path)
	if err != nil {
		return nil, err
	}
	o := &Outlines{
		File: filepath.Base(path), Fields: []FieldSeen{}, UseAs: []string{}, Missing: []Missing{}, Warnings: warnings(layer.Doubts),
	}
	box := geo.EmptyBox()
	for _, f := range layer.Features {
		o.Lines += len(f.Lines)
		o.Points += len(f.Points)
		for _, p := range f.Places() {
			box = box.Extend(p)
		}
	}
	if !box.Empty() {
		o.Center = &[2]float64{(box.Min.X + box.Max.X) / 2, (box.Min.Y + box.Max.Y) / 2}
	}
	for _, f := range layer.Fields() {
		seen := FieldSeen{Name: f.Name, Acres: float64(unit.SquareMeters(crs.AreaM2(f.Polygon)).Acres())}
		for _, r := range f.Polygon.Rings() {
			seen.Corners += len(r)
		}
		o.Fields = append(o.Fields, seen)
		if p := notField(f); p != nil {
			o.Missing = append(o.Missing, Missing{What: f.Name + ": " + p.What, Do: p.Remedy})
		}
	}
	o.choose()
	return o, nil
}

// notField is why an outline is not taken for the boundary of a field, or nil.
func notField(f vector.Field) *doubt.Problem {
	if p := f.Fault(); p != nil {
		return p
	}
	_, err := grid.New(f.Polygon)
	p, _ := errors.AsType[*doubt.Problem](err)
	return p
}

// choose says what the file can be used as.
func (o *Outlines) choose() {
	if len(o.Fields) > 0 {
		if len(o.Missing) < len(o.Fields) {
			o.UseAs = append(o.UseAs, "--boundary")
		}
		o.UseAs = append(o.UseAs, "--levees", "--marks")
		return
	}
	if o.Lines > 0 {
		o.UseAs = append(o.UseAs, "--levees")
	}
	if o.Lines+o.Points > 0 {
		o.UseAs = append(o.UseAs, "--marks")
		return
	}
	o.Missing = append(o.Missing, Missing{What: "there is nothing in it that lies anywhere", Do: "save the field's outline as a polygon"})
}

// Letter is the description as a grower can read it aloud.
func (o *Outlines) Letter() string {
	const most = 12 // fields that are read aloud
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%s holds %s.", o.File, o.counts())
	if o.Center != nil {
		line("It lies round %s.", degreesWords(o.Center[0], o.Center[1]))
	}
	for i, f := range o.Fields {
		if i == most {
			line("  and %d more", len(o.Fields)-most)
			break
		}
		line("  %s: %s, %d corners", f.Name, unit.US.Area(unit.Acres(f.Acres)), f.Corners)
	}
	switch {
	case len(o.Fields) > 0 && len(o.Missing) == len(o.Fields):
	case len(o.Fields) > 1:
		line("Give it with --boundary, and say which field with --field.")
	case len(o.Fields) == 1:
		line("Give it with --boundary.")
	case len(o.UseAs) > 0:
		line("It has no outline of a field. It can be given with %s.", strings.Join(o.UseAs, " or "))
	}
	for _, m := range o.Missing {
		line("It cannot be used yet: %s. What to do: %s.", m.What, m.Do)
	}
	for _, w := range o.Warnings {
		line("%s: %s %s", w.About, w.Says, w.Settle)
	}
	return b.String()
}

// counts is "3 outlines of fields and 12 points".
func (o *Outlines) counts() string {
	var parts []string
	count := func(n int, one, many string) {
		if n == 1 {
			parts = append(parts, "1 "+one)
		} else if n > 1 {
			parts = append(parts, fmt.Sprintf("%d %s", n, many))
		}
	}
	count(len(o.Fields), "field", "fields")
	count(o.Lines, "line", "lines")
	count(o.Points, "point", "points")
	switch len(parts) {
	case 0:
		return "no places"
	case 1:
		return parts[0]
	}
	last := len(parts) - 1
	return strings.Join(parts[:last], ", ") + " and " + parts[last]
}
