package vector_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/vector"
)

// TestTrapsAreRefusedInLittleTimeAndMemory reads files made to run away with
// the reader: each is one sentence.
func TestTrapsAreRefusedInLittleTimeAndMemory(t *testing.T) {
	nested := func(open, closed string, n int) []byte {
		return []byte(strings.Repeat(open, n) + strings.Repeat(closed, n))
	}
	entity := `<?xml version="1.0"?><!DOCTYPE k [<!ENTITY a %s>%s]><kml><Placemark><name>&%s;</name>` +
		`<Point><coordinates>-91,35</coordinates></Point></Placemark></kml>`
	laughs, last := "", "a"
	for _, next := range strings.Split("bcdefghij", "") {
		laughs += fmt.Sprintf(`<!ENTITY %s "%s">`, next, strings.Repeat("&"+last+";", 10))
		last = next
	}
	many := func() []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for i := range 20000 {
			if _, err := z.Create(fmt.Sprintf("f%d", i)); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}()
	kml := func(inside string) []byte { return []byte("<kml><Placemark>" + inside + "</Placemark></kml>") }
	for name, data := range map[string][]byte{
		"collections.geojson": append([]byte(strings.Repeat(`{"type":"GeometryCollection","geometries":[`, 5000)), strings.Repeat(`]}`, 5000)...),
		"brackets.geojson":    nested("[", "]", 300000),
		"too-large.geojson":   []byte(`{"type":"Point","coordinates":[1e400,35]}`),
		"digits.geojson":      []byte(`{"type":"Point","coordinates":[` + strings.Repeat("9", 1<<20) + `,35]}`),
		"folders.kml":         append(append([]byte("<kml>"), nested("<Folder>", "</Folder>", 100000)...), "</kml>"...),
		"tracks.gpx":          append(append([]byte("<gpx>"), nested("<trk>", "</trk>", 100000)...), "</gpx>"...),
		"entity.kml":          []byte(fmt.Sprintf(entity, `SYSTEM "file:///etc/hostname"`, "", "a")),
		"laughs.kml":          []byte(fmt.Sprintf(entity, `"ha"`, laughs, last)),
		"far.kml":             kml("<LineString><coordinates>" + strings.Repeat("1e308,1e308 ", 10000) + "</coordinates></LineString>"),
		"no-numbers.kml":      kml("<Point><coordinates>nan,inf</coordinates></Point>"),
		"zip-in-zip.zip":      []byte(zipped(t, "a.geojson", zipped(t, "b.geojson", `{}`))),
		"many.zip":            many,
		"bomb.kmz":            []byte(zipped(t, "doc.kml", "<kml>"+strings.Repeat(" ", 140<<20))),
		"table.gpkg":          append([]byte("SQLite format 3\x00"), bytes.Repeat([]byte{0x5a}, 5000)...),
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), name)
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, err := vector.ReadFile(path)
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			p, ok := errors.AsType[*doubt.Problem](err)
			if !ok || p.Kind != doubt.Input || p.File != path || p.What == "" || strings.Contains(p.Error(), "\n") {
				t.Errorf("got %v", err)
			}
			if took > 20*time.Second {
				t.Errorf("it took %v", took)
			}
			// What a zip unpacks to is held in memory, while a buffer for it grows.
			if used := after.TotalAlloc - before.TotalAlloc; used > 1<<30 {
				t.Errorf("it took %d MB", used>>20)
			}
		})
	}
}

// FuzzReadFile reads anything as a file of places. Nothing may panic, and what
// is refused is refused with one sentence.
func FuzzReadFile(f *testing.F) {
	for _, fill := range writers() {
		var b bytes.Buffer
		if err := fill(&b); err != nil {
			f.Fatal(err)
		}
		f.Add(b.Bytes())
	}
	for _, text := range []string{
		`{"type":"Polygon","coordinates":[[[-91,35],[-91,35.1],[-90.9,35.1],[-91,35]]]}`,
		`<kml><Document><Folder><Placemark><name>a</name><MultiGeometry><Point><coordinates>-91,35,3</coordinates></Point></MultiGeometry></Placemark></Folder></Document></kml>`,
		`<gpx><trk><trkseg><trkpt lat="35" lon="-91"/><trkpt lat="35" lon="-90"/></trkseg></trk><wpt lat="1" lon="2"><name>x</name></wpt></gpx>`,
	} {
		f.Add([]byte(text))
	}
	f.Add([]byte(zipped(f, "doc.kml", `<kml><Placemark><Point><coordinates>-91,35</coordinates></Point></Placemark></kml>`)))
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "any")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		vector.Recognized(path)
		layer, err := vector.ReadFile(path)
		if p, ok := errors.AsType[*doubt.Problem](err); err != nil && (!ok || p.What == "" || p.File != path) {
			t.Fatalf("%v (%T)", err, err)
		}
		if err != nil {
			return
		}
		for _, field := range layer.Fields() {
			if p := field.Fault(); p != nil && p.What == "" {
				t.Errorf("a fault without a sentence")
			}
		}
	})
}
