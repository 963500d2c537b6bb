package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/progress"
	"bittern/internal/suspect"
	"bittern/internal/typed"
	"bittern/internal/vector"
)

// A DemoRequest is what `bittern demo` is asked.
type DemoRequest struct {
	Out     string
	Seed    uint64
	Acres   float64 // 0 for the usual size
	Page    bool    // as in Request
	Program string
}

// Shown is the invented day beside what was planted in it.
type Shown struct {
	Day     *Day      `json:"day"`
	Folder  string    `json:"folder"`
	Planted Planted   `json:"planted"`
	Found   Agreement `json:"found"`
}

// Planted is the truth of an invented field.
type Planted struct {
	Patches int     `json:"patches"`
	Acres   float64 `json:"acres"`
}

// Agreement is what was found of the truth.
type Agreement struct {
	Patches       int     `json:"patches"`        // planted patches of which at least half was found
	Acres         float64 `json:"acres"`          // planted ground that lies in suspects
	FalseAcres    float64 `json:"false_acres"`    // suspect ground where nothing was planted
	FalseSuspects int     `json:"false_suspects"` // suspects on no planted ground at all
}

// names of the inputs that a demo writes under given/.
const (
	demoBoundary = "boundary.geojson"
	demoPicture  = "flight.tif"
)

// demoTyped are the typed files of the invented farm. Every figure is invented.
var demoTyped = [...]struct{ name, text string }{
	{"prices.toml", `# Invented figures, to show the reckoning.
crop_dollars_per_bushel = 6.00
yield_bushels_per_acre = 170
loss_percent = 30
control_percent = 85
`},
	{"products.toml", `# Invented, to show the job sheet. A real one is copied from the label.
copied_from_label_on = "2026-06-30"
carrier_gallons_per_acre = 10

[[product]]
name = "herbicide A"
registration = "000-000"
rate = 1.0
rate_unit = "qt/ac"
dollars_per_unit = 11.50
max_per_season = 2.0
rei_hours = 12
phi_days = 60
`},
	{"plane.toml", `# Invented, to show the blocks.
name = "plane"
kind = "aircraft"
swath_ft = 65
speed_mph = 145
lead_ft = 60
trail_ft = 60
minimum_open_s = 1.5
bridge_gap_s = 2.0
turn_s = 30
ferry_miles = 5
tank_gallons = 500

[charge]
per_acre_dollars = 12
minimum_acres = 10
`},
}

// RunDemo invents a field and its flight, runs the job on it, and holds what
// was found against what was planted.
func RunDemo(ctx context.Context, req DemoRequest, set Setting) (*Shown, error) {
	scene := invent.Demo(req.Seed)
	if req.Acres != 0 {
		scale := req.Acres / scene.Acres
		scene.Acres = req.Acres
		scene.Weeds.Acres *= scale
		scene.KilledAcres *= scale
	}
	field, err := invent.New(scene)
	if err != nil {
		return nil, &doubt.Problem{What: err.Error(), Remedy: "choose another size with --acres", Err: err}
	}
	day := filepath.Join(req.Out, "day")
	if err := refuseOtherDemo(req.Out); err != nil {
		return nil, err
	}
	if err := writeGiven(ctx, field, filepath.Join(req.Out, "given"), set); err != nil {
		return nil, err
	}
	asked, given := demoAsked(scene), filepath.Join(req.Out, givenName)
	if err := asked.Write(filepath.Join(given, askedName)); err != nil {
		return nil, writeProblem(req.Out, err)
	}
	r, err := carryOut(ctx, requestOf(asked.From(given), day, req.Program, req.Page), set)
	if err != nil {
		return nil, err
	}
	shown := &Shown{Day: r.day, Folder: day}
	shown.compare(field.Truth(r.grid), r.finding.Suspects)
	return shown, nil
}

// demoAsked is what the invented grower asks.
func demoAsked(scene invent.Scene) typed.Asked {
	return typed.Asked{
		Boundary: demoBoundary, Imagery: []string{demoPicture}, Question: "escapes",
		Flown: "2026-07-14T09:05", Treated: fmt.Sprintf("2026-07-%02d", 14-scene.FlownDays),
		Prices: "prices.toml", Products: "products.toml", Applicators: []string{"plane.toml"}, Units: "us",
	}
}

// refuseOtherDemo refuses a folder that holds anything but an earlier demo.
func refuseOtherDemo(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return &doubt.Problem{File: dir, What: "this is not a folder that can be read", Remedy: "give another with --out", Err: err}
	}
	for _, e := range entries {
		if e.Name() != "given" && e.Name() != "day" {
			return &doubt.Problem{
				File: dir, What: fmt.Sprintf("the folder holds %q, which the demo did not write", e.Name()),
				Remedy: "give a new or empty folder with --out",
			}
		}
	}
	return nil
}

// writeGiven writes what a grower would bring: picture, boundary, typed files.
func writeGiven(ctx context.Context, field *invent.Field, dir string, set Setting) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return writeProblem(dir, err)
	}
	set.Progress.Report(progress.Event{Stage: "inventing the flight"})
	write := func(name string, fill func(io.WriteSeeker) error) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := atomicfile.WriteSeeker(filepath.Join(dir, name), fill); err != nil {
			return writeProblem(dir, err)
		}
		return nil
	}
	if err := write(demoPicture, field.WritePicture); err != nil {
		return err
	}
	err := write(demoBoundary, func(w io.WriteSeeker) error {
		return vector.WriteGeoJSON(w, vector.Layer{Name: "field", Features: []vector.Feature{{
			Polygons:   geo.MultiPolygon{field.Boundary()},
			Properties: vector.Properties{{Name: "name", Value: "North Slough 3"}},
		}}})
	})
	for _, f := range demoTyped {
		if err == nil {
			err = write(f.name, func(w io.WriteSeeker) error {
				_, err := io.WriteString(w, f.text)
				return err
			})
		}
	}
	return err
}

// compare counts what the day found of the field's truth.
func (s *Shown) compare(truth *invent.Truth, suspects []suspect.Suspect) {
	acre := truth.Grid.AcresPerCell
	foundOf := make([]float64, len(truth.Patches))
	for _, one := range suspects {
		hits := 0
		for _, cell := range one.Cells {
			switch {
			case truth.Acting(int(cell)):
				s.Found.Acres += acre
				if p := truth.Patch[cell]; p >= 0 {
					foundOf[p] += acre
				}
				hits++
			case truth.Light(int(cell)):
				hits++ // thin weeds beside: neither found nor false
			default:
				s.Found.FalseAcres += acre
			}
		}
		if hits == 0 {
			s.Found.FalseSuspects++
		}
	}
	s.Planted.Acres = truth.Acres()
	for i, p := range truth.Patches {
		if p.Acres == 0 {
			continue // nothing of it is dense enough to act on
		}
		s.Planted.Patches++
		if 2*foundOf[i] >= p.Acres {
			s.Found.Patches++
		}
	}
}

// Letter is the day's letter and two sentences on the truth.
func (s *Shown) Letter() string {
	return s.Day.Letter(s.Folder) + fmt.Sprintf("\nThis field is invented, and its truth is known: %s were planted, %.1f acres.\n"+
		"Of those the job found %d patches and %.1f acres; %.2f acres of its suspects are false.\n",
		plural(s.Planted.Patches, "patch", "patches"), s.Planted.Acres, s.Found.Patches, s.Found.Acres, s.Found.FalseAcres)
}
