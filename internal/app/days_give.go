package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/imagery"
	"bittern/internal/typed"
	"bittern/internal/vector"
)

// The roles of files that a day can be given.
const (
	rolePicture  = "picture"
	roleBoundary = "boundary"
	roleLevees   = "levees"
	roleMarks    = "marks"
	roleStrip    = "strip"
	roleBefore   = "before"
)

// mostGivenBytes bounds files that are not pictures.
const mostGivenBytes = 256 << 20

// TakeFile keeps a file that was dropped on the page, read from r, and notes it
// as what role says. Nothing is kept when it cannot be read as that.
func (d *Days) TakeFile(ctx context.Context, id, role, name string, r io.Reader) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	name = filepath.Base(filepath.FromSlash(strings.ReplaceAll(name, `\`, "/")))
	if !plainName(name) || name == askedName {
		return &doubt.Problem{File: name, What: "has a name that cannot be kept", Remedy: "rename it to letters and figures"}
	}
	if role != rolePicture && role != roleBefore {
		r = &bounded{r: r, left: mostGivenBytes, name: name}
	}
	// Beside its place until it is whole and was read.
	stage, err := os.MkdirTemp(p.given, stagePrefix+"*")
	if err != nil {
		return writeProblem(p.given, err)
	}
	defer func() { _ = os.RemoveAll(stage) }() // a left-over is harmless
	path := filepath.Join(stage, name)
	if err := receive(ctx, path, r); err != nil {
		return err
	}
	if err := d.looksLike(ctx, role, path); err != nil {
		return err
	}
	if err := os.Rename(path, filepath.Join(p.given, name)); err != nil {
		return writeProblem(p.given, err)
	}
	return d.note(id, p, role, name)
}

// A bounded reader refuses more than it was told.
type bounded struct {
	r    io.Reader
	left int64
	name string
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if b.left -= int64(n); b.left < 0 {
		return 0, &doubt.Problem{File: b.name, What: "is too large for what it should be", Remedy: "give a picture where the page asks for one"}
	}
	return n, err
}

// receive writes what comes to a file.
func receive(ctx context.Context, path string, r io.Reader) error {
	f, err := os.Create(path)
	if err != nil {
		return writeProblem(filepath.Dir(path), err)
	}
	_, err = io.Copy(f, r)
	err = errors.Join(err, f.Close())
	var p *doubt.Problem
	switch {
	case err == nil:
		return nil
	case errors.As(err, &p):
		return p
	case ctx.Err() != nil || errors.Is(err, io.ErrUnexpectedEOF):
		return &doubt.Problem{File: filepath.Base(path), What: "did not arrive whole; nothing of it was kept", Remedy: "drop it again", Err: err}
	}
	return writeProblem(filepath.Dir(path), err)
}

// TakePath notes a file where it lies.
func (d *Days) TakePath(ctx context.Context, id, role, path string) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	path = strings.Trim(strings.TrimSpace(path), `"'`)
	if !filepath.IsAbs(path) {
		return &doubt.Problem{File: path, What: "is not a whole path", Remedy: "give it from the drive or the root on, like C:\\flights\\field.tif"}
	}
	if err := d.looksLike(ctx, role, path); err != nil {
		return err
	}
	return d.note(id, p, role, path)
}

// looksLike reads the beginning of a file as what role says it is.
func (d *Days) looksLike(ctx context.Context, role, path string) error {
	switch role {
	case rolePicture, roleBefore:
		flight, err := imagery.Look(ctx, []string{path}, imagery.Options{})
		if err != nil {
			return err
		}
		defer func() { _ = flight.Close() }() // only read from
		if len(flight.Problems) > 0 {
			return named(flight.Problems[0], path)
		}
		return nil
	case roleBoundary:
		_, err := vector.Boundary(path, "")
		if severalFields(err) {
			return nil // which of them is asked for next
		}
		return err
	case roleLevees, roleMarks, roleStrip:
		_, err := vector.ReadFile(path)
		return err
	}
	return &doubt.Problem{What: fmt.Sprintf("a day has no %q", role), Remedy: "give a picture, boundary, levees, marks, strip or before"}
}

// severalFields reports whether a boundary file holds several fields, of which
// one must be named.
func severalFields(err error) bool {
	var p *doubt.Problem
	return errors.As(err, &p) && strings.Contains(p.Remedy, "--field")
}

// note writes down where a file is.
func (d *Days) note(id string, p dayPlace, role, path string) error {
	err := d.change(p, func(a *typed.Asked) error {
		switch role {
		case rolePicture:
			if !slices.Contains(a.Imagery, path) {
				a.Imagery = append(a.Imagery, path)
			}
		case roleBoundary:
			a.Boundary, a.Field = path, ""
		case roleLevees:
			a.Levees = path
		case roleMarks:
			a.Marks = path
		case roleStrip:
			a.Strip = path
		case roleBefore:
			a.Before = path
		}
		return nil
	})
	if err == nil && role == rolePicture {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.forget(id)
	}
	return err
}

// Drop takes a file out of what a day was given. The file itself stays where it
// is.
func (d *Days) Drop(id, role string) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	return d.change(p, func(a *typed.Asked) error {
		switch role {
		case rolePicture:
			a.Imagery, a.Bands = nil, nil
		case roleBoundary:
			a.Boundary, a.Field = "", ""
		case roleLevees:
			a.Levees = ""
		case roleMarks:
			a.Marks = ""
		case roleStrip:
			a.Strip = ""
		case roleBefore:
			a.Before, a.BeforeFlown = "", ""
		}
		return nil
	})
}

// Draw keeps a boundary that was drawn on the day's picture: corners in the
// picture's own units, in order.
func (d *Days) Draw(ctx context.Context, id string, corners []PointXY) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	s, err := d.open(ctx, id)
	if err != nil {
		return err
	}
	if len(corners) < 3 {
		return &doubt.Problem{What: "a boundary needs three corners at least", Remedy: "tap the other corners of the field"}
	}
	var ring geo.Ring
	for _, c := range corners {
		ring = append(ring, s.picture.View.LonLat(geo.Point{X: c[0], Y: c[1]}))
	}
	if ring[0] != ring[len(ring)-1] {
		ring = append(ring, ring[0])
	}
	const name = "drawn-boundary.geojson"
	stage, err := os.MkdirTemp(p.given, stagePrefix+"*")
	if err != nil {
		return writeProblem(p.given, err)
	}
	defer func() { _ = os.RemoveAll(stage) }() // a left-over is harmless
	path := filepath.Join(stage, name)
	f, err := os.Create(path)
	if err != nil {
		return writeProblem(p.given, err)
	}
	err = vector.WriteGeoJSON(f, vector.Layer{Name: "field", Features: []vector.Feature{{
		Polygons:   geo.MultiPolygon{{Outer: ring}},
		Properties: vector.Properties{{Name: "name", Value: "The field"}}, // until it is given a name of its own
	}}})
	if err = errors.Join(err, f.Close()); err != nil {
		return writeProblem(p.given, err)
	}
	if _, err := vector.Boundary(path, ""); err != nil {
		return drawnProblem(err)
	}
	if err := os.Rename(path, filepath.Join(p.given, name)); err != nil {
		return writeProblem(p.given, err)
	}
	return d.note(id, p, roleBoundary, name)
}

// drawnProblem says what is wrong with a drawn boundary to the one who drew it.
func drawnProblem(err error) error {
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return err
	}
	with := *p
	with.File, with.Remedy = "", "take back the last corners and draw on"
	return &with
}

// An Answered is what was answered on the page; nil leaves a thing as it is, and
// an empty text or list takes it back.
type Answered struct {
	Field           *string   `json:"field"`
	Question        *string   `json:"question"`
	Flown           *string   `json:"flown"`
	Treated         *string   `json:"treated"`
	BeforeFlown     *string   `json:"before_flown"`
	Units           *string   `json:"units"`
	SwathFt         *string   `json:"swath_ft"`
	SprayHeadingDeg *string   `json:"spray_heading_deg"`
	Bands           *[]string `json:"bands"`
}

// Answer writes down what was answered, when it can be meant.
func (d *Days) Answer(id string, said Answered) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	return d.change(p, func(a *typed.Asked) error {
		for _, t := range []struct {
			from *string
			to   *string
		}{
			{said.Field, &a.Field},
			{said.Question, &a.Question},
			{said.Flown, &a.Flown},
			{said.Treated, &a.Treated},
			{said.BeforeFlown, &a.BeforeFlown},
			{said.Units, &a.Units},
		} {
			if t.from != nil {
				*t.to = strings.TrimSpace(*t.from)
			}
		}
		for _, t := range []struct {
			what string
			from *string
			to   **float64
		}{{"the swath", said.SwathFt, &a.SwathFt}, {"the heading", said.SprayHeadingDeg, &a.SprayHeadingDeg}} {
			if t.from == nil {
				continue
			}
			var err error
			if *t.to, err = figure(t.what, *t.from); err != nil {
				return err
			}
		}
		if said.Bands != nil {
			a.Bands = *said.Bands
		}
		return sane(*a)
	})
}

// figure reads a typed number; nil for an empty text.
func figure(what, text string) (*float64, error) {
	if text = strings.TrimSpace(text); text == "" {
		return nil, nil //nolint:nilnil // nothing typed is nothing given
	}
	var v float64
	if n, err := fmt.Sscanf(text, "%g", &v); n != 1 || err != nil {
		return nil, &doubt.Problem{What: fmt.Sprintf("%s cannot be %q", what, text), Remedy: "write a number without a unit", Err: err}
	}
	return &v, nil
}

// sane checks the plain values of what was asked, as a run would.
func sane(a typed.Asked) error {
	r := Request{
		Question: a.Question, Imagery: []string{"-"}, Flown: a.Flown, Treated: a.Treated, BeforeFlown: a.BeforeFlown,
		SwathFt: a.SwathFt, SprayHeadingDeg: a.SprayHeadingDeg, Units: a.Units,
	}
	if r.Units == "" {
		r.Units = "us"
	}
	_, err := r.check()
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return err
	}
	with := *p
	with.What = strings.TrimPrefix(with.What, "--")
	return &with
}

// Type writes a typed file of a day: kind is prices, products or applicator.
func (d *Days) Type(id, kind string, values map[string]any) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(p.given, 0o755); err != nil {
		return writeProblem(p.given, err)
	}
	if len(values) == 0 {
		return d.change(p, func(a *typed.Asked) error {
			switch kind {
			case "prices":
				a.Prices = ""
			case "products":
				a.Products = ""
			case "applicator":
				a.Applicators = nil
			}
			return nil
		})
	}
	name := kind + ".toml"
	if err := typed.Sheet(filepath.Join(p.given, name), kind, values); err != nil {
		return err
	}
	return d.change(p, func(a *typed.Asked) error {
		switch kind {
		case "prices":
			a.Prices = name
		case "products":
			a.Products = name
		case "applicator":
			a.Applicators = []string{name}
		}
		return nil
	})
}
