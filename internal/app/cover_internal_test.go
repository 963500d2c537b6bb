package app

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/imagery"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

func TestGroundWithoutAPictureIsNamedInAcres(t *testing.T) {
	for name, c := range map[string]struct {
		lacks float64
		want  string // in the answer; empty for nothing about it
	}{
		"half of the field": {20, "Nothing stands out in 18.0 acres; 20.0 of the field's 40.0 were not seen."},
		"a corner":          {0.1, ""},
		"nothing":           {0, ""},
	} {
		r := &run{day: &Day{Question: "escapes", Field: Field{Acres: 40}, LookedAt: LookedAt{Acres: 18, Shows: showsCrop}}, checked: checked{units: unit.US}, flight: &imagery.Flight{}}
		if c.lacks > 0 {
			r.day.LeftOut = []LeftOut{{Reason: "edge", Acres: 2}, {Reason: "no data", Acres: c.lacks}}
		}
		r.coverDoubts()
		answer := r.day.answer(unit.US)[0]
		if c.want == "" {
			if len(r.doubts) != 0 || strings.Contains(answer, "not seen") {
				t.Errorf("%s: %q and %+v", name, answer, r.doubts)
			}
			continue
		}
		if answer != c.want {
			t.Errorf("%s: %q, want %q", name, answer, c.want)
		}
		if len(r.doubts) != 1 || !strings.Contains(r.doubts[0].Says, "20.0 acres") || r.doubts[0].Weight < 0.5 {
			t.Errorf("%s: doubts %+v", name, r.doubts)
		}
	}
}

func TestPixelsOfDifferentSizesAreADoubt(t *testing.T) {
	for _, c := range []struct {
		pixels []float64 // m
		want   int
	}{{[]float64{0.1}, 0}, {[]float64{0.1, 0.1004}, 0}, {[]float64{0.13, 0.1}, 1}} {
		r := &run{day: &Day{Field: Field{Acres: 40}}, flight: &imagery.Flight{}}
		for _, m := range c.pixels {
			r.flight.Files = append(r.flight.Files, &imagery.File{PixelM: m})
		}
		r.coverDoubts()
		if len(r.doubts) != c.want {
			t.Errorf("pixels of %v m: %d doubts, want %d", c.pixels, len(r.doubts), c.want)
		}
	}
}

func TestMarkedGroundIsThatOfThingsWithoutCrop(t *testing.T) {
	square := geo.MultiPolygon{{Outer: geo.Ring{{X: 0, Y: 0}, {X: 9, Y: 0}, {X: 9, Y: 9}, {X: 0, Y: 9}}}}
	r := &run{}
	for _, what := range markWords {
		r.given.pinned = append(r.given.pinned, mark{what: what, polygons: square})
	}
	r.given.pinned = append(r.given.pinned, mark{what: "pad", points: []geo.Point{{X: 1, Y: 1}}})
	if got := r.markedGround(); len(got) != 4 { // pad, tree, home, road
		t.Errorf("%d polygons, want 4", len(got))
	}
}

func TestBoundarySmallerThanACellIsSaidToBeSmall(t *testing.T) {
	path := filepath.Join(t.TempDir(), "small.geojson")
	const small = `{"type":"Polygon","coordinates":[[[-91,35],[-90.9999995,35],[-90.9999995,35.0000005],[-91,35.0000005],[-91,35]]]}`
	if err := os.WriteFile(path, []byte(small), 0o600); err != nil {
		t.Fatal(err)
	}
	r := &run{checked: checked{Request: Request{Boundary: path}}, folder: &folder{}}
	p, ok := errors.AsType[*doubt.Problem](r.locate(t.Context()))
	if !ok || p.Kind != doubt.Input || !strings.Contains(p.What, "too small") {
		t.Errorf("%v", p)
	}
}

func TestDoubtsOfTheBoundaryReachTheDay(t *testing.T) {
	var zipped bytes.Buffer
	square := geo.MultiPolygon{{Outer: geo.Ring{{X: -91, Y: 35}, {X: -90.998, Y: 35}, {X: -90.998, Y: 35.002}, {X: -91, Y: 35.002}}}}
	if err := vector.WriteShapefile(&zipped, "a", vector.Layer{Name: "a", Features: []vector.Feature{{Polygons: square}}}); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(zipped.Bytes()), int64(zipped.Len()))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, f := range z.File {
		if filepath.Ext(f.Name) == ".prj" {
			continue
		}
		part, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(part)
		if err = errors.Join(err, part.Close(), os.WriteFile(filepath.Join(dir, f.Name), data, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	r := &run{checked: checked{Request: Request{Boundary: filepath.Join(dir, "a.shp")}}, folder: &folder{}}
	if err := r.locate(t.Context()); err != nil {
		t.Fatal(err)
	}
	w := warnings(r.doubts)
	if len(w) != 1 || !strings.Contains(w[0].Says, ".prj") {
		t.Errorf("%+v", w)
	}
}
