package app_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/doubt"
	"bittern/internal/invent"
	"bittern/internal/question"
	"bittern/internal/vector"
)

func TestEveryQuestionIsAnswered(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	req.Treated, req.Prices, req.Products, req.Applicators = "", "", "", nil
	for _, name := range question.Names() {
		if name == "escapes" {
			continue // the other tests' question
		}
		ask := req
		ask.Question, ask.Out = name, filepath.Join(t.TempDir(), name)
		day, err := app.Run(t.Context(), ask, app.Setting{Workers: 2})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if day.SmallestSeen == nil || day.SmallestSeen.Planted == 0 {
			t.Errorf("%s does not say how small a patch it would have shown: %+v", name, day.SmallestSeen)
		}
		if day.LookedAt.Shows != "crop" {
			t.Errorf("%s: the picture of a field of crop shows %q", name, day.LookedAt.Shows)
		}
		sum := day.LookedAt.Acres
		for _, o := range day.LeftOut {
			sum += o.Acres
		}
		if math.Abs(sum-day.Field.Acres) > 1e-9 {
			t.Errorf("%s: looked at and left out make %g of %g acres", name, sum, day.Field.Acres)
		}
		for _, w := range day.Warnings {
			if w.About == "treated" {
				t.Errorf("%s asks for the day of treatment", name)
			}
		}
		letter := day.Letter(ask.Out)
		if strings.Contains(letter, "%!") || strings.Contains(letter, "NaN") || strings.Contains(letter, "escapes") {
			t.Errorf("%s: the letter reads\n%s", name, letter)
		}
		if _, err := os.Stat(filepath.Join(ask.Out, "field-sheet.pdf")); err != nil {
			t.Errorf("%s has no field sheet: %v", name, err)
		}
		has := map[string]bool{"nitrogen": day.Nitrogen != nil, "harvest": day.Harvest != nil && len(day.Harvest.Order) > 0, "stand": day.Ground != nil, "water": day.Ground != nil}
		if want, asked := has[name]; asked && !want {
			t.Errorf("%s has no table", name)
		}
		t.Logf("%s: %s", name, strings.Join(day.Answer, " "))
	}
}

func TestWaterLooksAtLeveesAndEscapesDoNot(t *testing.T) {
	long(t)
	req := bring(t, invent.ColorJPEGLike8)
	req.Treated, req.Prices, req.Products, req.Applicators = "", "", "", nil
	req.Question = "water"
	day, err := app.Run(t.Context(), req, app.Setting{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	if day.LookedAt.Shows != "crop" {
		t.Errorf("a colour picture of a field of crop shows %q", day.LookedAt.Shows)
	}
	for _, o := range day.LeftOut {
		if o.Reason == "levee" || o.Reason == "borrow ditch" || o.Reason == "water" {
			t.Errorf("water leaves out %.3f acres of %s", o.Acres, o.Reason)
		}
	}
	if !strings.Contains(day.Letter(""), "Depth was not measured") {
		t.Error("the letter does not say that depth was not measured")
	}
}

// strips writes a file of strips, each a rectangle of the field in feet from a
// corner of its boundary.
func strips(t *testing.T, features ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "strips.geojson")
	save(t, path, func(w io.WriteSeeker) error {
		_, err := io.WriteString(w, `{"type":"FeatureCollection","features":[`+strings.Join(features, ",")+`]}`)
		return err
	})
	return path
}

// center is the middle of a boundary's box, degrees.
func center(t *testing.T, boundary string) (lon, lat float64) {
	t.Helper()
	f, err := vector.Boundary(boundary, "")
	if err != nil {
		t.Fatal(err)
	}
	w, s, e, n := 180.0, 90.0, -180.0, -90.0
	for _, p := range f.Polygon[0].Outer {
		w, e, s, n = min(w, p.X), max(e, p.X), min(s, p.Y), max(n, p.Y)
	}
	return (w + e) / 2, (s + n) / 2
}

// stripFeature is a rectangle about a place that lies dx, dy metres from lon, lat;
// a degree of latitude is near enough to 111,000 m for that.
func stripFeature(lon, lat, dx, dy, wide, long float64, properties string) string {
	x := func(m float64) float64 { return lon + m/(111000*math.Cos(lat*math.Pi/180)) }
	y := func(m float64) float64 { return lat + m/111000 }
	var ring []string
	for _, c := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}, {-1, -1}} {
		ring = append(ring, fmt.Sprintf("[%.8f,%.8f]", x(dx+c[0]*wide/2), y(dy+c[1]*long/2)))
	}
	return `{"type":"Feature","properties":{` + properties + `},"geometry":{"type":"Polygon","coordinates":[[` + strings.Join(ring, ",") + `]]}}`
}

func TestStripsAreRefusedWithAReason(t *testing.T) {
	long(t)
	req := bring(t, invent.FiveBandFloat)
	req.Treated, req.Prices, req.Products, req.Applicators = "", "", "", nil
	req.Question = "nitrogen"
	lon, lat := center(t, req.Boundary)
	at := func(dx, dy, wide, long float64, properties string) string { // m from the middle
		return stripFeature(lon, lat, dx, dy, wide, long, properties)
	}
	good := `"pounds_per_acre":45,"date":"2026-06-01"`
	req.Strip = strips(t,
		at(0, 0, 9, 40, good),
		at(0, 0, 25, 100, `"date":"2026-06-01"`),
		at(0, 0, 25, 100, `"pounds_per_acre":45`),
		at(9000, 0, 25, 100, good),
	)
	day, err := app.Run(t.Context(), req, app.Setting{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	if day.Nitrogen == nil || len(day.Nitrogen.Strips) != 4 || day.Nitrogen.Sufficiency != nil {
		t.Fatalf("got %+v", day.Nitrogen)
	}
	for i, want := range []string{"too narrow", "pounds_per_acre", "day it was put out", "outside the field"} {
		s := day.Nitrogen.Strips[i]
		if s.Used || s.Why == nil || !strings.Contains(*s.Why, want) {
			t.Errorf("strip %s: %+v, want it refused for %q", s.ID, s, want)
		}
	}
}

func TestColourCannotTellNitrogen(t *testing.T) {
	req := bring(t, invent.ColorJPEGLike8)
	req.Question = "nitrogen"
	_, err := app.Run(t.Context(), req, app.Setting{Workers: 2})
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Unfit {
		t.Fatalf("got %v", err)
	}
	if _, err := os.Stat(req.Out); err == nil {
		t.Error("a folder was written")
	}
}
