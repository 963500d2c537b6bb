package app_test

import (
	"bytes"
	"context"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bittern/internal/app"
	"bittern/internal/invent"
	"bittern/internal/picture"
)

func openDays(t *testing.T) *app.Days {
	t.Helper()
	days, err := app.OpenDays(filepath.Join(t.TempDir(), "days"), "bittern test", app.Setting{Workers: 2}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(days.Close)
	return days
}

// wait waits until nothing is being made of a day.
func wait(t *testing.T, days *app.Days, id string) app.Going {
	t.Helper()
	for range 6000 {
		if g := days.Going(id); !g.Going {
			return g
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatal("the work on the day does not end")
	return app.Going{}
}

func give(t *testing.T, days *app.Days, id, role, path string) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	if err := days.TakeFile(t.Context(), id, role, filepath.Base(path), f); err != nil {
		t.Fatal(err)
	}
}

// TestADayOnThePage goes from an empty folder to a written day as the page does,
// and to the same files as a run without the page.
func TestADayOnThePage(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	days := openDays(t)
	if rows, err := days.List(); err != nil || len(rows) != 0 {
		t.Fatalf("an empty folder lists %v, %v", rows, err)
	}
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	if err := days.TakePath(t.Context(), id, "picture", req.Imagery[0]); err != nil {
		t.Fatal(err)
	}
	page, err := days.Page(t.Context(), id)
	if err != nil || !slices.Equal(page.Wants, []string{"the field's boundary"}) || page.Picture == nil || page.State != "asking" {
		t.Fatalf("%+v, %v", page, err)
	}

	// The boundary drawn on the picture, badly and then well.
	if err := days.Look(id); err != nil {
		t.Fatal(err)
	}
	if g := wait(t, days, id); g.Problem != nil {
		t.Fatal(*g.Problem)
	}
	view, err := days.View(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	at := func(x, y float64) app.PointXY {
		return app.PointXY{view.Extent[0] + x*(view.Extent[2]-view.Extent[0]), view.Extent[1] + y*(view.Extent[3]-view.Extent[1])}
	}
	eight := []app.PointXY{at(0.2, 0.2), at(0.8, 0.8), at(0.8, 0.2), at(0.2, 0.8)}
	if err := days.Draw(t.Context(), id, eight); err == nil || !strings.Contains(err.Error(), "take back the last corners") {
		t.Errorf("a figure of eight: %v", err)
	}
	if err := days.Draw(t.Context(), id, []app.PointXY{at(0.2, 0.2), at(0.8, 0.2), at(0.8, 0.8), at(0.2, 0.8)}); err != nil {
		t.Fatal(err)
	}
	if page, err = days.Page(t.Context(), id); err != nil || page.Boundary == nil || page.Boundary.Acres == nil || len(page.Wants) != 0 {
		t.Fatalf("%+v, %v", page, err)
	}

	give(t, days, id, "boundary", req.Boundary)
	flown, treated := "2026-07-14T09:05", "2026-07-02"
	if err := days.Answer(id, app.Answered{Flown: &flown, Treated: &treated}); err != nil {
		t.Fatal(err)
	}
	if err := days.Type(id, "prices", map[string]any{
		"crop_dollars_per_bushel": 6.0, "yield_bushels_per_acre": 170.0, "loss_percent": 60.0, "control_percent": 85.0,
	}); err != nil {
		t.Fatal(err)
	}
	if err := days.Start(id); err != nil {
		t.Fatal(err)
	}
	if err := days.Start(id); err == nil {
		t.Error("a second run began beside the first")
	}
	g := wait(t, days, id)
	if g.Problem != nil {
		t.Fatal(*g.Problem)
	}
	if len(g.Parts) < 3 {
		t.Errorf("the letter came in %d parts", len(g.Parts))
	}
	page, err = days.Page(t.Context(), id)
	if err != nil || page.State != "done" || page.Day == nil || page.Stale || page.Day.Reckoning == nil {
		t.Fatalf("%+v, %v", page, err)
	}
	lookAtDay(t, days, id, page)

	// What the page can do, the command line can do: the same day from a run.
	req.Products, req.Applicators = "", nil
	req.Prices = filepath.Join(days.Root(), id, "given", "prices.toml")
	req.Boundary = filepath.Join(days.Root(), id, "given", "boundary.geojson")
	req.Page = true
	alone, err := app.Run(t.Context(), req, app.Setting{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range alone.Outputs {
		a, errA := os.ReadFile(filepath.Join(req.Out, name))
		b, errB := os.ReadFile(filepath.Join(page.Folder, name))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs between the page and the command line (%v, %v)", name, errA, errB)
		}
	}
}

// lookAtDay checks what is shown of a finished day.
func lookAtDay(t *testing.T, days *app.Days, id string, page *app.DayPage) {
	t.Helper()
	view, err := days.View(t.Context(), id)
	if err != nil || view.Why != nil || !view.HasDeparture {
		t.Fatalf("%+v, %v", view, err)
	}
	deepest := len(view.Pixels) - 1
	for _, what := range []string{"plain", "departure", "left out", "levee"} {
		for _, tile := range []picture.Tile{{}, {Level: deepest, Col: 1, Row: 1}} {
			text, err := days.Tile(t.Context(), id, what, tile)
			if err != nil {
				t.Fatalf("%s %v: %v", what, tile, err)
			}
			if img, err := png.Decode(bytes.NewReader(text)); err != nil || img.Bounds().Dx() != picture.TileSize {
				t.Errorf("%s %v: %v", what, tile, err)
			}
		}
	}
	if _, err := days.Tile(t.Context(), id, "plain", picture.Tile{Level: deepest, Col: 1 << 20}); err == nil {
		t.Error("a tile beyond the picture")
	}
	if len(view.Indices) < 5 || view.HasBefore {
		t.Errorf("%+v", view)
	}
	for _, x := range view.Indices {
		for _, tile := range []picture.Tile{{}, {Level: deepest, Col: 1, Row: 1}} {
			if _, err := days.Tile(t.Context(), id, x.Name, tile); err != nil {
				t.Errorf("%s %v: %v", x.Name, tile, err)
			}
		}
	}
	shapes, err := days.Shapes(t.Context(), id)
	if err != nil || len(shapes.Suspects) != len(page.Day.Suspects) || len(shapes.Field) != 1 {
		t.Fatalf("%+v, %v", shapes, err)
	}
	for _, s := range page.Day.Suspects {
		if _, err := days.Crop(t.Context(), id, s.ID, "departure"); err != nil {
			t.Errorf("the crop of %s: %v", s.ID, err)
		}
	}
	lookUnder(t, days, id, shapes)
	if _, err := days.OpenFile(id, "../given/asked.toml"); err == nil {
		t.Error("a file beside the day was given away")
	}
	f, err := days.OpenFile(id, "field-sheet.pdf")
	if err != nil {
		t.Fatal(err)
	}
	_ = f.Close()
}

// lookUnder checks that whatever lies under the finger is named with its acres.
func lookUnder(t *testing.T, days *app.Days, id string, shapes *app.Shapes) {
	t.Helper()
	e := shapes.Field[0].Extent
	const steps = 60
	seen := map[string]int{}
	for i := range steps * steps {
		at := app.PointXY{e[0] + (e[2]-e[0])*(float64(i%steps)+0.5)/steps, e[1] + (e[3]-e[1])*(float64(i/steps)+0.5)/steps}
		u, err := days.Under(t.Context(), id, at)
		if err != nil || u.Says == "" {
			t.Fatalf("%v: %+v, %v", at, u, err)
		}
		for _, word := range []string{"Outside the field", "Left out: levee", "nothing stands out here"} {
			if strings.Contains(u.Says, word) && (word == "Outside the field" || strings.Contains(u.Says, "acre")) {
				seen[word]++
			}
		}
	}
	if len(seen) < 2 || seen["nothing stands out here"] < steps {
		t.Errorf("under the finger: %v", seen)
	}
	for _, s := range shapes.Suspects {
		ring := s.Rings[0]
		if len(ring) < 4 || s.Letter == "" {
			continue
		}
		// The middle of a side, a hair inwards: to one side of it or the other.
		a, b := ring[0], ring[1]
		dx, dy := (b[1]-a[1])*0.05, (a[0]-b[0])*0.05
		hit := false
		for _, k := range []float64{1, -1} {
			u, err := days.Under(t.Context(), id, app.PointXY{(a[0]+b[0])/2 + k*dx, (a[1]+b[1])/2 + k*dy})
			hit = hit || err == nil && u.ID == s.ID && strings.HasPrefix(u.Says, "Suspect "+s.Letter+", ")
		}
		if !hit {
			t.Errorf("suspect %s is not under the finger beside its own side", s.Letter)
		}
	}
}

// TestTwoFlightsOnThePage gives the page an earlier flight by its path: it shows
// beside the day's, and the bytes are those of a run.
func TestTwoFlightsOnThePage(t *testing.T) {
	long(t)
	req, _, _ := bringPair(t, 0)
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	for role, path := range map[string]string{"picture": req.Imagery[0], "before": req.Before, "boundary": req.Boundary} {
		if err := days.TakePath(t.Context(), id, role, path); err != nil {
			t.Fatal(err)
		}
	}
	if err := days.Answer(id, app.Answered{Flown: &req.Flown, Treated: &req.Treated, BeforeFlown: &req.BeforeFlown}); err != nil {
		t.Fatal(err)
	}
	if err := days.Start(id); err != nil {
		t.Fatal(err)
	}
	if g := wait(t, days, id); g.Problem != nil {
		t.Fatal(*g.Problem)
	}
	view, err := days.View(t.Context(), id)
	if err != nil || !view.HasBefore {
		t.Fatalf("%+v, %v", view, err)
	}
	for _, tile := range []picture.Tile{{}, {Level: len(view.Pixels) - 1, Col: 2, Row: 2}} {
		now, errA := days.Tile(t.Context(), id, "plain", tile)
		before, errB := days.Tile(t.Context(), id, "before", tile)
		if errA != nil || errB != nil || bytes.Equal(now, before) {
			t.Errorf("%v: the two flights look the same (%v, %v)", tile, errA, errB)
		}
	}
	req.Page = true
	alone, err := app.Run(t.Context(), req, app.Setting{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(alone.Outputs, "data/before.tif") {
		t.Errorf("the earlier flight is not among %v", alone.Outputs)
	}
	for _, name := range alone.Outputs {
		a, errA := os.ReadFile(filepath.Join(req.Out, name))
		b, errB := os.ReadFile(filepath.Join(days.Root(), id, "day", name))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs between the page and the command line (%v, %v)", name, errA, errB)
		}
	}
}

func TestAStoppedRunLeavesThingsAsTheyWere(t *testing.T) {
	req := bring(t, invent.ColorJPEGLike8)
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	give(t, days, id, "picture", req.Imagery[0])
	give(t, days, id, "boundary", req.Boundary)
	if err := days.Start(id); err != nil {
		t.Fatal(err)
	}
	days.Cancel(id)
	g := wait(t, days, id)
	if g.Problem == nil || !strings.Contains(*g.Problem, "stopped") {
		t.Errorf("%+v", g)
	}
	if _, err := os.Stat(filepath.Join(days.Root(), id, "day")); !os.IsNotExist(err) {
		t.Errorf("something was written: %v", err)
	}
	page, err := days.Page(t.Context(), id)
	if err != nil || page.State != "asking" || len(page.Wants) != 0 {
		t.Errorf("%+v, %v", page, err)
	}
}

func TestWhatCannotBeReadIsNotKept(t *testing.T) {
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	given := filepath.Join(days.Root(), id, "given")
	for _, tc := range []struct{ role, name, text string }{
		{"picture", "sheet.pdf", "%PDF-1.4\n"},
		{"picture", "half.tif", "II*\x00\x08\x00\x00\x00"},
		{"boundary", "field.kml", "<kml><Placemark>"},
		{"boundary", "bomb.kmz", "PK\x03\x04 no archive"},
		{"nothing", "field.geojson", "{}"},
		{"boundary", "con:aux.geojson", "{}"},
		{"boundary", ".hidden", "{}"},
	} {
		err := days.TakeFile(t.Context(), id, tc.role, tc.name, strings.NewReader(tc.text))
		if err == nil || strings.Contains(app.Sentence(err), "\n") {
			t.Errorf("%s as %s: %v", tc.name, tc.role, err)
		}
	}
	entries, err := os.ReadDir(given)
	if err != nil || len(entries) != 1 {
		t.Errorf("kept: %v, %v", entries, err)
	}
	broken, cancel := context.WithCancel(t.Context())
	cancel()
	if err := days.TakeFile(broken, id, "picture", "cut.tif", strings.NewReader("II*\x00")); err == nil {
		t.Error("a file whose sender left was taken")
	}
}
