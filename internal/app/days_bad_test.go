package app_test

import (
	"bytes"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/invent"
)

// onlyAsked checks that nothing lies in the folder of what was given.
func onlyAsked(t *testing.T, days *app.Days, id string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Join(days.Root(), id, "given"))
	if err != nil || len(entries) != 1 || entries[0].Name() != "asked.toml" {
		t.Errorf("kept: %v, %v", entries, err)
	}
}

func TestAPictureWithoutAPlaceSaysWhatToDo(t *testing.T) {
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	var photo bytes.Buffer
	if err := png.Encode(&photo, image.NewNRGBA(image.Rect(0, 0, 300, 200))); err != nil {
		t.Fatal(err)
	}
	err = days.TakeFile(t.Context(), id, "picture", "photo.png", &photo)
	if err == nil || !strings.Contains(err.Error(), "no place on the ground") || !strings.Contains(err.Error(), "GeoTIFF") {
		t.Errorf("%v", err)
	}
	onlyAsked(t, days, id)
}

// TestPicturesOfTwoFields: two pictures miles apart are said to be of two fields
// before anything is run, and a picture that does not lie over the boundary ends
// the run in plain words.
func TestPicturesOfTwoFields(t *testing.T) {
	req := bring(t, invent.FourBand16)
	scene := invent.Plain(invent.FourBand16, 5)
	scene.Acres, scene.PixelM, scene.Lon, scene.Lat = 4, 0.2, -91.30, 35.118
	far, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.tif")
	save(t, other, func(w io.WriteSeeker) error { return far.WritePicture(w) })
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{req.Imagery[0], other} {
		if err := days.TakePath(t.Context(), id, "picture", path); err != nil {
			t.Fatal(err)
		}
	}
	page, err := days.Page(t.Context(), id)
	if err != nil || page.Picture == nil || len(page.Picture.Warnings) == 0 || !strings.Contains(page.Picture.Warnings[0].Says, "not of one field") {
		t.Fatalf("%+v, %v", page.Picture, err)
	}
	if err := days.Drop(id, "picture"); err != nil {
		t.Fatal(err)
	}
	for role, path := range map[string]string{"picture": other, "boundary": req.Boundary} {
		if err := days.TakePath(t.Context(), id, role, path); err != nil {
			t.Fatal(err)
		}
	}
	if err := days.Start(id); err != nil {
		t.Fatal(err)
	}
	if g := wait(t, days, id); g.Problem == nil || !strings.Contains(*g.Problem, "does not lie over the field") {
		t.Errorf("%+v", g)
	}
}
