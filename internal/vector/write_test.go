package vector_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"image/color"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/oracle"
	"bittern/internal/vector"
)

func ringOf(flat ...float64) geo.Ring {
	var r geo.Ring
	for i := 0; i < len(flat); i += 2 {
		r = append(r, geo.Point{X: flat[i], Y: flat[i+1]})
	}
	return r
}

// blocks are two polygons, one of them with a hole, whose rings turn both ways.
func blocks() vector.Layer {
	return vector.Layer{Name: "blocks", Features: []vector.Feature{
		{
			Polygons: geo.MultiPolygon{{
				Outer: ringOf(-91.55, 34.5, -91.55, 34.51, -91.54, 34.51, -91.54, 34.5), // clockwise
				Holes: []geo.Ring{ringOf(-91.547, 34.503, -91.543, 34.503, -91.543, 34.507, -91.547, 34.507)},
			}},
			Properties: vector.Properties{
				{Name: "name", Value: "1"},
				{Name: "acres", Value: vector.Fixed{Value: 12.34567, Decimals: 4}},
				{Name: "runs", Value: 7},
				{Name: "note", Value: "Ñandú & <co>"},
				{Name: "probability", Value: nil},
			},
		},
		{
			Polygons: geo.MultiPolygon{{Outer: ringOf(-91.53, 34.5, -91.52, 34.5, -91.523456789, 34.51)}},
			Properties: vector.Properties{
				{Name: "name", Value: "2"},
				{Name: "acres", Value: vector.Fixed{Value: 0.5, Decimals: 4}},
				{Name: "runs", Value: -1},
				{Name: "note", Value: nil},
				{Name: "probability", Value: nil},
			},
		},
	}}
}

func teal() vector.Style {
	return vector.Style{Stroke: color.NRGBA{0x0b, 0x5a, 0x5c, 255}, StrokePx: 2, Fill: color.NRGBA{0x0b, 0x5a, 0x5c, 64}, Label: "name"}
}

func lines() vector.Layer {
	return vector.Layer{Name: "levees", Features: []vector.Feature{{
		Lines:      []geo.Line{{{X: -91.55, Y: 34.5}, {X: -91.54, Y: 34.505}, {X: -91.53, Y: 34.5}}},
		Properties: vector.Properties{{Name: "feet", Value: vector.Fixed{Value: 6500.04, Decimals: 1}}},
	}}}
}

// writers write the same two polygons in every format that is offered.
func writers() map[string]func(io.Writer) error {
	return map[string]func(io.Writer) error{
		"blocks.geojson": func(w io.Writer) error { return vector.WriteGeoJSON(w, blocks()) },
		"blocks.zip":     func(w io.Writer) error { return vector.WriteShapefile(w, "blocks", blocks()) },
		"blocks.kml": func(w io.Writer) error {
			return vector.WriteKML(w, "Blocks", []vector.Sheet{{Layer: blocks(), Style: teal()}})
		},
		"blocks.gpkg": func(w io.Writer) error {
			return vector.WriteGeoPackage(context.Background(), w, []vector.Sheet{
				{Layer: blocks(), Style: teal()},
				{Layer: lines(), Lines: true, Style: teal()},
				{Layer: vector.Layer{Name: "suspects"}, Columns: []string{"id", "severity"}, Style: vector.Style{Dashed: "severity", DashedValue: "faint"}},
			})
		},
	}
}

func file(t *testing.T, name string, fill func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return write(t, name, b.Bytes())
}

func TestSameLayerGivesSameBytes(t *testing.T) {
	for name, fill := range writers() {
		a, err := os.ReadFile(file(t, name, fill))
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(file(t, name, fill))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a, b) {
			t.Errorf("%s differs between two writes", name)
		}
	}
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	for name, fill := range writers() {
		layer, err := vector.ReadFile(file(t, name, fill))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var n int
		for _, f := range layer.Features {
			if len(f.Polygons) == 0 {
				continue
			}
			want := blocks().Features[n]
			n++
			if a, b := crs.AreaM2(f.Polygons), crs.AreaM2(want.Polygons); math.Abs(a/b-1) > 1e-6 {
				t.Errorf("%s: %v m2, want %v", name, a, b)
			}
			if got := f.Properties.Text("note"); got != want.Properties.Text("note") {
				t.Errorf("%s: note %q", name, got)
			}
			acres, _ := f.Properties.Number("acres")
			if math.Abs(acres-[]float64{12.34567, 0.5}[n-1]) > 5.1e-5 { // four decimals, but in tables
				t.Errorf("%s: acres %v", name, acres)
			}
		}
		if n != 2 {
			t.Errorf("%s: %d polygons", name, n)
		}
	}
}

// script prints for every feature its fields and, for every ring, its points
// and signed area, as GDAL reads them.
const script = `
import json, sys
from osgeo import ogr, gdal
gdal.UseExceptions()
ds = gdal.OpenEx(sys.argv[1], gdal.OF_VECTOR)
layer = ds.GetLayerByName(sys.argv[2]) or ds.GetLayer(0)
def rings(g):
    if g.GetGeometryName() in ("MULTIPOLYGON", "GEOMETRYCOLLECTION"):
        return [r for i in range(g.GetGeometryCount()) for r in rings(g.GetGeometryRef(i))]
    return [g.GetGeometryRef(i) for i in range(g.GetGeometryCount())]
out = []
for f in layer:
    g = f.GetGeometryRef()
    turns = []
    for r in rings(g):
        p = r.GetPoints()
        turns.append({"points": len(p), "closed": p[0][:2] == p[-1][:2],
                      "area": sum(a[0]*b[1]-b[0]*a[1] for a, b in zip(p, p[1:])) / 2})
    out.append({"valid": g.IsValid(), "rings": turns, "fields": {k.lower(): v for k, v in f.items().items()}})
srs = layer.GetSpatialRef()
print(json.dumps({"features": out, "layers": [ds.GetLayer(i).GetName() for i in range(ds.GetLayerCount())],
                  "epsg": srs and srs.GetAuthorityCode(None), "name": srs and srs.GetName()}))
`

type seen struct {
	Layers   []string
	EPSG     string
	Name     string
	Features []struct {
		Valid bool
		Rings []struct {
			Points int
			Closed bool
			Area   float64
		}
		Fields map[string]any
	}
}

func asGDALSees(t *testing.T, source, layer string) seen {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo"), "-c", script, source, layer)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v: %s", source, err, stderr.String())
	}
	var s seen
	if err := json.Unmarshal(out, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestGDALReadsEveryFormat(t *testing.T) {
	for name, fill := range writers() {
		source := file(t, name, fill)
		if strings.HasSuffix(name, ".zip") {
			source = "/vsizip/" + source
		}
		s := asGDALSees(t, source, "blocks")
		if len(s.Features) != 2 || !strings.HasPrefix(strings.NewReplacer("_", " ", "GCS ", "").Replace(s.Name), "WGS") {
			t.Errorf("%s: %d features in %s", name, len(s.Features), s.Name)
			continue
		}
		for i, f := range s.Features {
			want := blocks().Features[i].Polygons
			if !f.Valid || len(f.Rings) != len(want.Rings()) {
				t.Errorf("%s: feature %d: valid %v, %d rings", name, i, f.Valid, len(f.Rings))
			}
			total := 0.0
			for _, r := range f.Rings {
				if !r.Closed {
					t.Errorf("%s: feature %d: a ring is open", name, i)
				}
				total += r.Area
			}
			if math.Abs(math.Abs(total)/want.Area()-1) > 1e-6 {
				t.Errorf("%s: feature %d: area %v, want %v: holes do not turn against their outer ring", name, i, total, want.Area())
			}
			acres := f.Fields["acres"]
			if v, _ := acres.(float64); math.Abs(v-[]float64{12.34567, 0.5}[i]) > 5.1e-5 && acres != []string{"12.3457", "0.5000"}[i] {
				t.Errorf("%s: feature %d: acres %v", name, i, acres)
			}
		}
		if got := s.Features[0].Fields["note"]; got != "Ñandú & <co>" {
			t.Errorf("%s: note %v", name, got)
		}
	}
}

// The direction of rings is read from the bytes, because GDAL turns rings.
func TestRingsTurnAsEachFormatWants(t *testing.T) {
	var text struct {
		Features []struct {
			Geometry struct{ Coordinates [][][2]float64 }
		}
	}
	data, err := os.ReadFile(file(t, "b.geojson", writers()["blocks.geojson"]))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &text); err != nil {
		t.Fatal(err)
	}
	for i, f := range text.Features {
		for k, ring := range f.Geometry.Coordinates {
			if turn := signed(ring); (turn > 0) != (k == 0) {
				t.Errorf("GeoJSON feature %d ring %d turns %v: RFC 7946, 3.1.6, wants outer rings counter-clockwise", i, k, turn)
			}
		}
	}
	zipData, err := os.ReadFile(file(t, "b.zip", writers()["blocks.zip"]))
	if err != nil {
		t.Fatal(err)
	}
	for i, ring := range shapefileRings(unzipped(t, zipData)["blocks.shp"]) {
		if turn := signed(ring); (turn < 0) != (i != 1) { // the second ring is the hole
			t.Errorf("shapefile ring %d turns %v: ESRI wants outer rings clockwise", i, turn)
		}
	}
}

func signed(ring [][2]float64) float64 {
	sum := 0.0
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		sum += (a[0]-ring[0][0])*(b[1]-ring[0][1]) - (b[0]-ring[0][0])*(a[1]-ring[0][1])
	}
	return sum
}

func TestKMLKeepsColours(t *testing.T) {
	var b bytes.Buffer
	if err := writers()["blocks.kml"](&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"<color>ff5c5a0b</color>", "<color>405c5a0b</color>"} { // aabbggrr, OGC 07-147r2
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %s", want)
		}
	}
}

func TestEmptyLayersAreWhole(t *testing.T) {
	empty := vector.Layer{Name: "suspects"}
	path := file(t, "a.geojson", func(w io.Writer) error { return vector.WriteGeoJSON(w, empty) })
	if s := asGDALSees(t, path, "suspects"); len(s.Features) != 0 {
		t.Errorf("%v", s)
	}
	path = file(t, "a.zip", func(w io.Writer) error { return vector.WriteShapefile(w, "suspects", empty) })
	if s := asGDALSees(t, "/vsizip/"+path, "suspects"); len(s.Features) != 0 || len(s.Layers) != 1 {
		t.Errorf("%v", s)
	}
}

func TestGeoPackageKeepsLayersAndStyles(t *testing.T) {
	path := file(t, "a.gpkg", writers()["blocks.gpkg"])
	s := asGDALSees(t, path, "levees")
	if got := strings.Join(s.Layers, " "); !strings.HasPrefix(got, "blocks levees suspects") {
		t.Errorf("layers %s", got)
	}
	if s.EPSG != "4326" {
		t.Errorf("EPSG %s", s.EPSG)
	}
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "sqlite3"), "-c", `
import sqlite3, sys, xml.dom.minidom
c = sqlite3.connect(sys.argv[1])
assert c.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
assert c.execute("PRAGMA user_version").fetchone()[0] == 10300
assert c.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
assert c.execute("PRAGMA foreign_key_check").fetchall() == []
for name, sld, qml in c.execute("SELECT f_table_name, styleSLD, styleQML FROM layer_styles"):
    xml.dom.minidom.parseString(sld); xml.dom.minidom.parseString(qml)
    print(name)
`, path)
	out, err := cmd.CombinedOutput()
	if err != nil || string(out) != "blocks\nlevees\nsuspects\n" {
		t.Errorf("%v: %s", err, out)
	}
}

func TestGeoPackagesThatGDALWritesAreRead(t *testing.T) {
	oracle.Need(t, "ogr2ogr")
	dir := t.TempDir()
	source := filepath.Join(dir, "in.geojson")
	if err := os.WriteFile(source, []byte(sample()), 0o600); err != nil {
		t.Fatal(err)
	}
	want, err := vector.ReadFile(source)
	if err != nil {
		t.Fatal(err)
	}
	for i, args := range [][]string{{"-f", "GPKG"}, {"-f", "GPKG", "-t_srs", "EPSG:32615"}, {"-f", "GPKG", "-dim", "XYZ"}, {"-f", "KML", "-oo", "DATE_AS_STRING=YES"}} {
		out := filepath.Join(dir, []string{"a.gpkg", "b.gpkg", "c.gpkg", "d.kml"}[i])
		ogr(t, append(append([]string{}, args...), out, source)...)
		got, err := vector.ReadFile(out)
		if err != nil {
			t.Errorf("%v: %v", args, err)
			continue
		}
		sameLayers(t, strings.Join(args, " "), got, want)
	}
}

func TestKMZAndGPXAreRead(t *testing.T) {
	var b bytes.Buffer
	if err := writers()["blocks.kml"](&b); err != nil {
		t.Fatal(err)
	}
	f, err := vector.Boundary(write(t, "a.kmz", []byte(zipped(t, "doc.kml", b.String(), "files/icon.png", "x"))), "2")
	if err != nil || f.Name != "2" || len(f.Polygon) != 1 {
		t.Errorf("%+v %v", f, err)
	}
	gpx := `<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="34.5" lon="-91.5"><ele>60</ele><name>gate</name></wpt>` +
		`<trk><trkseg><trkpt lat="34.5" lon="-91.5"/><trkpt lat="34.6" lon="-91.5"/></trkseg></trk></gpx>`
	layer, err := vector.ReadFile(write(t, "a.gpx", []byte(gpx)))
	if err != nil || len(layer.Features) != 2 || layer.Features[0].Properties.Text("name") != "gate" || len(layer.Features[1].Lines) != 1 {
		t.Errorf("%+v %v", layer, err)
	}
}

func TestDamagedXMLAndGeoPackagesGiveSentences(t *testing.T) {
	for name, text := range map[string]string{
		"cut.kml":    `<kml><Document><Placemark>`,
		"other.xml":  `<html></html>`,
		"words.kml":  `<kml><Placemark><Point><coordinates>here</coordinates></Point></Placemark></kml>`,
		"deep.kml":   strings.Repeat("<a>", 10000),
		"point.gpx":  `<gpx><wpt lat="x" lon="1"/></gpx>`,
		"half.gpkg":  "SQLite format 3\x00 and no more",
		"nested.zip": zipped(t, "a.json", zipped(t, "b.json", "{}")),
	} {
		if _, err := vector.ReadFile(write(t, name, []byte(text))); err == nil || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "; ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// shapefileRings reads the rings of the polygons in a .shp.
func shapefileRings(shp []byte) [][][2]float64 {
	var rings [][][2]float64
	le := binary.LittleEndian
	number := func(b []byte) float64 { return math.Float64frombits(le.Uint64(b)) }
	for rest := shp[100:]; len(rest) > 0; {
		size := int(binary.BigEndian.Uint32(rest[4:])) * 2
		b := rest[8 : 8+size]
		rest = rest[8+size:]
		parts, points := int(le.Uint32(b[36:])), int(le.Uint32(b[40:]))
		for i := range parts {
			from, to := int(le.Uint32(b[44+4*i:])), points
			if i+1 < parts {
				to = int(le.Uint32(b[48+4*i:]))
			}
			var ring [][2]float64
			for k := from; k < to; k++ {
				at := 44 + 4*parts + 16*k
				ring = append(ring, [2]float64{number(b[at:]), number(b[at+8:])})
			}
			rings = append(rings, ring)
		}
	}
	return rings
}

func TestDamageOfAnyFormatGivesASentenceOrAResult(t *testing.T) {
	path := filepath.Join(t.TempDir(), "damaged")
	for name, fill := range writers() {
		var full bytes.Buffer
		if err := fill(&full); err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(11, 12))
		for range 400 {
			data := bytes.Clone(full.Bytes())
			for range 1 + rng.IntN(6) {
				data[rng.IntN(len(data))] = byte(rng.IntN(256))
			}
			if rng.IntN(3) == 0 {
				data = data[:rng.IntN(len(data))]
			}
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			_, err := vector.Boundary(path, "1")
			if p, ok := errors.AsType[*doubt.Problem](err); err != nil && (!ok || p.File != path || p.Kind != doubt.Input) {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}
