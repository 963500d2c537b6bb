package app_test

import (
	"errors"
	"io"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/vector"
)

// bringPair is bring for a field that was flown twice, and the shift of the
// earlier picture in metres; away metres are added to the east.
func bringPair(t *testing.T, away float64) (req app.Request, east, north float64) {
	t.Helper()
	scene := invent.Believable(invent.FourBand16, 3)
	scene.Acres, scene.PixelM = 7, 0.1
	scene.Weeds = invent.Weeds{Acres: 0.5, Patches: 4, Light: 0.5, Heavy: 0.8}
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	now, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	save(t, in("flight.tif"), now.WritePicture)
	earlier := scene.Earlier()
	earlier.ShiftE += away
	before, err := invent.New(earlier)
	if err != nil {
		t.Fatal(err)
	}
	save(t, in("before.tif"), before.WritePicture)
	save(t, in("boundary.geojson"), func(w io.WriteSeeker) error {
		return vector.WriteGeoJSON(w, vector.Layer{Features: []vector.Feature{{Polygons: geo.MultiPolygon{now.Boundary()}}}})
	})
	return app.Request{
		Boundary: in("boundary.geojson"), Imagery: []string{in("flight.tif")}, Question: "escapes",
		Out: filepath.Join(t.TempDir(), "day"), Flown: "2026-07-14", Treated: "2026-07-02",
		Before: in("before.tif"), BeforeFlown: "2026-07-02", Units: "us", Program: "bittern test",
	}, earlier.ShiftE, earlier.ShiftN
}

// The shift is the one that the earlier picture was written with.
func TestAnEarlierFlightIsLaidOnTheDays(t *testing.T) {
	long(t)
	req, east, north := bringPair(t, 0)
	day := run(t, req, 2)
	b := day.Before
	if b == nil || !b.ShiftSure {
		t.Fatalf("two flights of one field: %+v", b)
	}
	const ft = 0.3048
	if de, dn := b.ShiftEastFt*ft-east, b.ShiftNorthFt*ft-north; math.Hypot(de, dn) > 0.5 {
		t.Errorf("shift of %.2f, %.2f m found as %.2f, %.2f", east, north, b.ShiftEastFt*ft, b.ShiftNorthFt*ft)
	}
	sum := 0.0
	for _, s := range day.Suspects {
		sum += s.Acres
	}
	if told := b.StillAcres + b.NewAcres + b.UntoldAcres; math.Abs(told-sum) > 1e-9 {
		t.Errorf("still, new and untold are %g acres of %g in suspects", told, sum)
	}
	if b.KilledAcres > day.Killed.Acres {
		t.Errorf("%g acres of killed ground stood before, of %g", b.KilledAcres, day.Killed.Acres)
	}
	if letter := day.Letter(""); !strings.Contains(letter, "Against the earlier flight") {
		t.Error("the letter does not speak of the earlier flight")
	}
}

// The field is thin in the same places on both flights, and nothing is eaten.
func TestDefoliationIsHeldAgainstAnEarlierFlight(t *testing.T) {
	long(t)
	req, _, _ := bringPair(t, 0)
	req.Question, req.Treated = "insects", ""
	day := run(t, req, 2)
	if b := day.Before; b == nil || !b.ShiftSure {
		t.Fatalf("two flights of one field: %+v", b)
	}
	if letter := day.Letter(""); !strings.Contains(letter, "since the earlier flight") {
		t.Errorf("the letter does not speak of the earlier flight:\n%s", letter)
	}
}

func TestWrongEarlierFlightsAreRefused(t *testing.T) {
	later := app.Request{Boundary: "b.geojson", Imagery: []string{"f.tif"}, Question: "escapes", Units: "us", Out: t.TempDir(), Flown: "2026-07-14"}
	same := later
	later.Before, later.BeforeFlown = "e.tif", "2026-07-15"
	same.Before = "./f.tif"
	for name, req := range map[string]app.Request{"later than the day's": later, "the day's own": same} {
		_, err := app.Run(t.Context(), req, app.Setting{Workers: 1})
		var p *doubt.Problem
		if !errors.As(err, &p) || p.Kind != doubt.Input || !strings.Contains(p.What, "earlier") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestAnEarlierFlightOfAnotherFieldIsRefused(t *testing.T) {
	long(t)
	req, _, _ := bringPair(t, 5000)
	_, err := app.Run(t.Context(), req, app.Setting{Workers: 2})
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Input || !strings.Contains(p.What, "does not lie over the field") {
		t.Errorf("an earlier picture of another field: %v", err)
	}
}
