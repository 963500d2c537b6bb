package app_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/progress"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// bring writes what a grower would bring for a small invented field.
func bring(t *testing.T, sensor invent.Sensor) app.Request {
	t.Helper()
	scene := invent.Plain(sensor, 3)
	scene.Acres, scene.PixelM = 7, 0.1
	scene.Weeds = invent.Weeds{Acres: 0.5, Patches: 4, Light: 0.5, Heavy: 0.8}
	field, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	save(t, in("flight.tif"), field.WritePicture)
	save(t, in("boundary.geojson"), func(w io.WriteSeeker) error {
		return vector.WriteGeoJSON(w, vector.Layer{Features: []vector.Feature{{
			Polygons:   geo.MultiPolygon{field.Boundary()},
			Properties: vector.Properties{{Name: "name", Value: "Test Slough"}},
		}}})
	})
	for name, text := range map[string]string{ // the order in which they are written does not matter
		"prices.toml":   "crop_dollars_per_bushel = 6\nyield_bushels_per_acre = 170\nloss_percent = 60\ncontrol_percent = 85\n",
		"products.toml": "copied_from_label_on = \"2026-06-30\"\ncarrier_gallons_per_acre = 3\n[[product]]\nname = \"herbicide A\"\nrate = 1.0\nrate_unit = \"qt/ac\"\ndollars_per_unit = 11.5\n",
		"drone.toml":    "name = \"drone\"\nkind = \"spray drone\"\nswath_ft = 20\nspeed_mph = 15\nturn_s = 6\ntank_gallons = 8\n[charge]\nper_acre_dollars = 20\n",
	} {
		save(t, in(name), func(w io.WriteSeeker) error {
			_, err := io.WriteString(w, text)
			return err
		})
	}
	return app.Request{
		Boundary: in("boundary.geojson"), Imagery: []string{in("flight.tif")}, Question: "escapes",
		Out: filepath.Join(t.TempDir(), "day"), Flown: "2026-07-14T09:05", Treated: "2026-07-02",
		Prices: in("prices.toml"), Products: in("products.toml"), Applicators: []string{in("drone.toml")},
		Units: "us", Program: "bittern test",
	}
}

func save(t *testing.T, path string, fill func(io.WriteSeeker) error) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(fill(f), f.Close()); err != nil {
		t.Fatal(err)
	}
}

// long skips a test that runs several whole days: under the race detector one
// is enough, and each takes minutes.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("runs several whole days")
	}
}

func run(t *testing.T, req app.Request, workers int) *app.Day {
	t.Helper()
	day, err := app.Run(t.Context(), req, app.Setting{Workers: workers})
	if err != nil {
		t.Fatal(err)
	}
	return day
}

// contents reads every file below dir.
func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		out[name], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestAcresAddUpToTheField(t *testing.T) {
	long(t)
	for _, sensor := range []invent.Sensor{invent.FourBand16, invent.ColorJPEGLike8} {
		day := run(t, bring(t, sensor), 2)
		sum := day.LookedAt.Acres
		for _, l := range day.LeftOut {
			if l.Acres <= 0 {
				t.Errorf("%v: left out for %s: %g acres", sensor, l.Reason, l.Acres)
			}
			sum += l.Acres
		}
		if math.Abs(sum-day.Field.Acres) > 1e-9 {
			t.Errorf("%v: looked at and left out make %.9f acres of %.9f", sensor, sum, day.Field.Acres)
		}
		inside := day.Killed.Acres
		for _, s := range day.Suspects {
			inside += s.Acres
		}
		for _, s := range day.Skips.Strips {
			inside += s.Acres
		}
		if inside > day.LookedAt.Acres {
			t.Errorf("%v: %g acres of suspects and killed ground in %g looked at", sensor, inside, day.LookedAt.Acres)
		}
	}
}

func TestWorkersChangeNoByteButTheTimings(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	first := req
	first.Out = filepath.Join(t.TempDir(), "one")
	run(t, first, 1)
	run(t, req, 3)
	one, three := contents(t, first.Out), contents(t, req.Out)
	if len(one) != len(three) {
		t.Fatalf("%d files and %d files", len(one), len(three))
	}
	for name, got := range three {
		if !bytes.Equal(got, one[name]) {
			t.Errorf("%s differs between one and three workers", name)
		}
	}
}

func TestEveryFileSaysTheAcresOfTheDay(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	day := run(t, req, 2)
	if len(day.Suspects) == 0 || len(day.Blocks) == 0 {
		t.Fatalf("%d suspects and %d blocks: nothing to compare", len(day.Suspects), len(day.Blocks))
	}
	suspects := map[string]float64{}
	for _, s := range day.Suspects {
		suspects[s.ID] = s.Acres
	}
	compareAcres(t, filepath.Join(req.Out, "data", "suspects.geojson"), suspects)
	blocks := map[string]float64{}
	for _, b := range day.Blocks {
		blocks[b.ID] = b.Acres
	}
	compareAcres(t, filepath.Join(req.Out, "data", "blocks.geojson"), blocks)
}

func compareAcres(t *testing.T, path string, want map[string]float64) {
	t.Helper()
	layer, err := vector.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, f := range layer.Features {
		id := f.Properties.Text("id")
		acres, ok := want[id]
		if !ok {
			if f.Properties.Text("state") != "killed" {
				t.Errorf("%s: %q is not in the day", filepath.Base(path), id)
			}
			continue
		}
		seen++
		said, _ := f.Properties.Number("acres")
		drawn := float64(unit.SquareMeters(crs.AreaM2(f.Polygons)).Acres())
		if math.Abs(said-acres) > 5.1e-5 || math.Abs(drawn-acres) > 0.001*acres+1e-5 {
			t.Errorf("%s: %q is %g acres in the day, said to be %g, drawn as %g", filepath.Base(path), id, acres, said, drawn)
		}
	}
	if seen != len(want) {
		t.Errorf("%s: %d of %d features", filepath.Base(path), seen, len(want))
	}
}

func TestLettersStayWithTheirGround(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	letters := func(d *app.Day) map[string]string {
		out := map[string]string{}
		for _, s := range d.Suspects {
			if s.Letter != nil {
				out[s.ID] = *s.Letter
			}
		}
		return out
	}
	first := letters(run(t, req, 2))
	if len(first) < 2 {
		t.Fatalf("%d letters: nothing to keep", len(first))
	}
	// Swap two letters in the record: the next run must keep them swapped.
	path := filepath.Join(req.Out, "data", "suspects.geojson")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	swap := strings.NewReplacer(`"letter":"A"`, `"letter":"B"`, `"letter":"B"`, `"letter":"A"`)
	if err := os.WriteFile(path, []byte(swap.Replace(string(text))), 0o644); err != nil {
		t.Fatal(err)
	}
	second := letters(run(t, req, 2))
	for id, letter := range first {
		want := map[string]string{"A": "B", "B": "A"}[letter]
		if want == "" {
			want = letter
		}
		if second[id] != want {
			t.Errorf("%s was %s in the record and became %s", id, want, second[id])
		}
	}
}

func TestDayIsWhatTheSchemaSays(t *testing.T) {
	req := bring(t, invent.FourBand16)
	run(t, req, 2)
	text, err := os.ReadFile(filepath.Join(req.Out, "data", "day.json"))
	if err != nil {
		t.Fatal(err)
	}
	var day map[string]any
	if err := json.Unmarshal(text, &day); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{
		"schema", "program", "question", "flown", "treated", "before_flown", "answer", "inputs", "imagery", "grid", "field",
		"looked_at", "left_out", "checks", "levees", "trends", "suspects", "killed", "before", "skips", "smallest_seen", "blocks",
		"reckoning", "walk", "job", "warnings", "timings",
	} {
		if _, ok := day[key]; !ok {
			t.Errorf("day.json lacks %q", key)
		}
	}
	skips := day["skips"].(map[string]any)
	for _, key := range []string{"verdict", "heading_deg", "spacing_ft", "why", "strips"} {
		if _, ok := skips[key]; !ok {
			t.Errorf("skips lacks %q", key)
		}
	}
	if skips["verdict"] != "none" || skips["heading_deg"] != nil || len(skips["strips"].([]any)) != 0 || skips["why"] == "" {
		t.Errorf("skips of a field without any: %v", skips)
	}
	for _, s := range day["suspects"].([]any) {
		for _, key := range []string{"id", "letter", "check", "acres", "severity", "look", "state", "before", "lon", "lat", "hints", "walked", "break_even_chance", "probability"} {
			if _, ok := s.(map[string]any)[key]; !ok {
				t.Errorf("a suspect lacks %q", key)
			}
		}
	}
}

func TestInterruptedRunLeavesTheFolderAsItWas(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	run(t, req, 2)
	before := contents(t, req.Out)
	stages := map[string]bool{}
	_, err := app.Run(t.Context(), req, app.Setting{Workers: 2, Progress: func(e progress.Event) { stages[e.Stage] = true }})
	if err != nil {
		t.Fatal(err)
	}
	for stage := range stages {
		ctx, cancel := context.WithCancel(t.Context())
		_, err := app.Run(ctx, req, app.Setting{Workers: 1, Progress: func(e progress.Event) {
			if e.Stage == stage {
				cancel()
			}
		}})
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Errorf("stopped while %s: %v", stage, err)
		}
		after := contents(t, req.Out)
		if len(after) != len(before) {
			t.Errorf("stopped while %s: %d files became %d", stage, len(before), len(after))
		}
	}
}

func TestFolderOfAnotherFieldIsRefused(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	run(t, req, 2)
	text, err := os.ReadFile(req.Boundary)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.geojson")
	moved := strings.ReplaceAll(string(text), "-91.3", "-91.2")
	if err := os.WriteFile(other, []byte(moved), 0o644); err != nil {
		t.Fatal(err)
	}
	req.Boundary = other
	_, err = app.Run(t.Context(), req, app.Setting{Workers: 2})
	var p *doubt.Problem
	if !errors.As(err, &p) || p.Kind != doubt.Input || !strings.Contains(p.What, "another field or boundary") {
		t.Errorf("the day of another field was not refused: %v", err)
	}
}
