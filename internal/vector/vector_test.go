package vector_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/oracle"
	"bittern/internal/vector"
)

// square is a ring of a field near Stuttgart, Arkansas, side in degrees.
func square(lon, lat, side float64) string {
	return fmt.Sprintf("[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]",
		lon, lat, lon+side, lat, lon+side, lat+side, lon, lat+side, lon, lat)
}

func feature(properties, kind, coordinates string) string {
	return fmt.Sprintf(`{"type":"Feature","properties":%s,"geometry":{"type":%q,"coordinates":%s}}`, properties, kind, coordinates)
}

func collection(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

func write(t *testing.T, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestGeoJSONOfEveryShapeIsRead(t *testing.T) {
	sq := square(-91.55, 34.5, 0.01)
	hole := square(-91.547, 34.503, 0.002)
	for _, tc := range []struct {
		name, text              string
		polygons, holes, lines  int
		points, features, prope int
	}{
		{name: "a bare polygon", text: `{"type":"Polygon","coordinates":[` + sq + `]}`, polygons: 1, features: 1},
		{name: "a feature with a hole", text: feature(`{"name":"x"}`, "Polygon", "["+sq+","+hole+"]"), polygons: 1, holes: 1, features: 1, prope: 1},
		{name: "a multipolygon", text: feature("null", "MultiPolygon", "[["+sq+"],["+square(-91.5, 34.5, 0.01)+"]]"), polygons: 2, features: 1},
		{name: "heights", text: `{"type":"LineString","coordinates":[[-91.5,34.5,60.2],[-91.4,34.5,60.1]]}`, lines: 1, features: 1},
		{name: "lines", text: collection(feature("{}", "MultiLineString", "[[[-91.5,34.5],[-91.4,34.5]],[[-91.5,34.6],[-91.4,34.6]]]")), lines: 2, features: 1},
		{name: "points", text: collection(feature("{}", "Point", "[-91.5,34.5]"), feature("{}", "MultiPoint", "[[-91.5,34.5],[-91.4,34.5]]")), points: 3, features: 2},
		{name: "a geometry collection", text: `{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[-91.5,34.5]},{"type":"Polygon","coordinates":[` + sq + `]}]}`, polygons: 1, points: 1, features: 1},
		{name: "no geometry", text: `{"type":"Feature","properties":{"a":1,"b":null},"geometry":null}`, features: 1, prope: 2},
		{name: "a byte order mark", text: "\ufeff " + collection(), features: 0},
	} {
		layer, err := vector.ReadFile(write(t, "a.geojson", []byte(tc.text)))
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		var polygons, holes, lines, points, prope int
		for _, f := range layer.Features {
			polygons, lines, points, prope = polygons+len(f.Polygons), lines+len(f.Lines), points+len(f.Points), prope+len(f.Properties)
			for _, p := range f.Polygons {
				holes += len(p.Holes)
				if len(p.Outer) != 4 {
					t.Errorf("%s: %d corners", tc.name, len(p.Outer))
				}
			}
		}
		if polygons != tc.polygons || holes != tc.holes || lines != tc.lines || points != tc.points || len(layer.Features) != tc.features || prope != tc.prope {
			t.Errorf("%s: got %+v", tc.name, layer.Features)
		}
	}
}

func TestPropertiesKeepTheirOrder(t *testing.T) {
	layer, err := vector.ReadFile(write(t, "a.geojson", []byte(feature(`{"zebra":1,"Name":"North 3","apple":null,"on":true,"list":[1]}`, "Point", "[-91,34]"))))
	if err != nil {
		t.Fatal(err)
	}
	ps := layer.Features[0].Properties
	var order []string
	for _, p := range ps {
		order = append(order, p.Name)
	}
	if got := strings.Join(order, " "); got != "zebra Name apple on list" {
		t.Errorf("order %s", got)
	}
	if v, ok := ps.Number("zebra"); !ok || v != 1 {
		t.Errorf("number %v %v", v, ok)
	}
	if ps.Text("name") != "North 3" || ps.Text("apple") != "" || ps.Text("missing") != "" || ps.Text("on") != "true" {
		t.Errorf("texts of %v", ps)
	}
}

func TestOldCRSMemberIsHonoured(t *testing.T) {
	x, y, err := crs.UTM(15, false).Forward(-91.55, 34.5)
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf(`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::32615"}},"features":[%s]}`,
		feature("{}", "Point", fmt.Sprintf("[%.4f,%.4f]", x, y)))
	layer, err := vector.ReadFile(write(t, "a.geojson", []byte(text)))
	if err != nil {
		t.Fatal(err)
	}
	if p := layer.Features[0].Points[0]; math.Hypot(p.X+91.55, p.Y-34.5) > 1e-8 {
		t.Errorf("got %v", p)
	}
	layer, err = vector.ReadFile(write(t, "a.geojson", []byte(strings.Replace(text, "32615", "26915", 1))))
	if err != nil || len(layer.Doubts) != 1 || !strings.Contains(layer.Doubts[0].Says, "NAD83") {
		t.Errorf("NAD83: %+v %v", layer, err)
	}
}

func TestBoundaryOfOneFieldIsFound(t *testing.T) {
	sq, sq2 := "["+square(-91.55, 34.5, 0.01)+"]", "["+square(-91.50, 34.5, 0.01)+"]"
	two := collection(feature(`{"Field_Name":"North Slough 3","id":7}`, "Polygon", sq), feature(`{"Field_Name":"South","id":8}`, "Polygon", sq2))
	for _, tc := range []struct {
		name, text, ask, want string
		parts                 int
	}{
		{"one without a name", feature("null", "Polygon", sq), "", "slough", 1},
		{"one without a name, called", feature("null", "Polygon", sq), "Mine", "Mine", 1},
		{"one with a number only", feature(`{"OBJECTID":1}`, "Polygon", sq), "", "slough", 1},
		{"one with a name", feature(`{"NAME":"Back Forty"}`, "Polygon", sq), "", "Back Forty", 1},
		{"the first of two", two, "north slough 3", "North Slough 3", 1},
		{"by its number", two, "8", "South", 1},
		{"two parts of one name", strings.ReplaceAll(two, "South", "North Slough 3"), "", "North Slough 3", 2},
		{"the second of two without names", collection(feature("{}", "Polygon", sq), feature("{}", "Polygon", sq2)), "2", "2", 1},
		{"points beside it", collection(feature(`{"name":"gate"}`, "Point", "[-91.5,34.5]"), feature(`{"name":"F"}`, "Polygon", sq)), "", "F", 1},
	} {
		f, err := vector.Boundary(write(t, "slough.geojson", []byte(tc.text)), tc.ask)
		if err != nil || f.Name != tc.want || len(f.Polygon) != tc.parts {
			t.Errorf("%s: %q with %d parts, %v", tc.name, f.Name, len(f.Polygon), err)
		}
	}
}

func TestUnusableBoundariesAreRefusedInOneSentence(t *testing.T) {
	sq := "[" + square(-91.55, 34.5, 0.01) + "]"
	one := func(coords string) string { return feature("null", "Polygon", coords) }
	nine := make([]string, 10)
	for i := range nine {
		nine[i] = feature(fmt.Sprintf(`{"name":"f%d"}`, i), "Polygon", "["+square(-91.5-float64(i), 34, 0.01)+"]")
	}
	for _, tc := range []struct{ name, file, text, ask, says, settle string }{
		{"several", "a.json", collection(nine...), "", "10 fields: f0, f1, f2, f3, f4, f5, f6, f7 and 2 more", "--field"},
		{"an unknown name", "a.json", collection(nine[:2]...), "west", "no field called west, but f0, f1", "--field"},
		{"crosses itself", "a.json", one("[[[-91.55,34.5],[-91.54,34.51],[-91.54,34.5],[-91.55,34.51],[-91.55,34.5]]]"), "", "crosses itself near longitude -91.545000, latitude 34.505000", "mend"},
		{"empty", "a.json", "", "", "is empty", "save"},
		{"no features", "a.json", collection(), "", "holds no field", "polygon"},
		{"a point", "a.json", feature("null", "Point", "[-91.5,34.5]"), "", "points, but no polygon", "polygon"},
		{"a line", "a.json", feature("null", "LineString", "[[-91.5,34.5],[-91.4,34.5]]"), "", "lines, but no polygon", "polygon"},
		{"two corners", "a.json", one("[[[-91.55,34.5],[-91.54,34.51],[-91.55,34.5]]]"), "", "fewer than three corners", "draw"},
		{"a flat one", "a.json", one("[[[-91.55,34.5],[-91.54,34.5],[-91.53,34.5],[-91.55,34.5]]]"), "", "encloses no ground", "draw"},
		{"a hole outside", "a.json", one("[" + square(-91.55, 34.5, 0.01) + "," + square(-91.5, 34.5, 0.001) + "]"), "", "hole lies outside", "mend"},
		{"swapped", "a.json", one("[[[34.5,-91.55],[34.51,-91.55],[34.51,-91.54],[34.5,-91.55]]]"), "", "latitude and longitude swapped", "longitude first"},
		{"metres", "a.json", one("[[[633119,3818551],[634119,3818551],[634119,3819551],[633119,3818551]]]"), "", "not degrees", "WGS84"},
		{"cut off", "a.json", collection(nine...)[:200], "", "cut off", "again"},
		{"not JSON", "a.json", "{ hello", "", "damaged near byte 3", "again"},
		{"another JSON", "a.json", `{"type":"Topology"}`, "", "not GeoJSON", "again"},
		{"a list", "a.json", `[1,2]`, "", "not GeoJSON", "again"},
		{"text for numbers", "a.json", one(`[[["a","b"]]]`), "", "coordinates", "again"},
		{"an empty position", "a.json", one(`[[[],[],[]]]`), "", "position of 0 numbers", "again"},
		{"another system", "a.json", `{"crs":{"properties":{"name":"EPSG:27700"}},` + collection()[1:], "", "EPSG:27700", "ogr2ogr -t_srs EPSG:4326 new.geojson a.json"},
		{"half of a shapefile", "a.prj", `GEOGCS["x"]`, "", "one part of a shapefile", ".shp"},
		{"a picture", "a.png", "\x89PNG\r\n", "", "is a picture", "GeoJSON"},
		{"a mosaic", "a.tif", "II*\x00" + strings.Repeat("x", 100), "", "is a picture", "GeoJSON"},
		{"a table", "a.xlsx.csv", "lon,lat\n1,2\n", "", "no kind that is read", "GeoJSON"},
		{"a zip of nothing", "a.zip", zipped(t, "readme.txt", "hello"), "", "without a shapefile", "zip"},
		{"a zip of two", "a.zip", zipped(t, "a.geojson", "{}", "b.geojson", "{}"), "", "several layers: a.geojson, b.geojson", "name one"},
		{"a damaged zip", "a.zip", zipped(t, "a.geojson", sq)[:60], "", "damaged zip", "again"},
	} {
		path := write(t, tc.file, []byte(tc.text))
		_, err := vector.Boundary(path, tc.ask)
		p, ok := errors.AsType[*doubt.Problem](err)
		if !ok || p.Kind != doubt.Input || p.File != path || !strings.Contains(p.What, tc.says) || !strings.Contains(p.Remedy, tc.settle) {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
}

func TestMissingFilesAndFoldersAreRefused(t *testing.T) {
	dir := t.TempDir()
	for path, says := range map[string]string{filepath.Join(dir, "none.shp"): "no such file", dir: "folder"} {
		_, err := vector.ReadFile(path)
		if p, ok := errors.AsType[*doubt.Problem](err); !ok || p.File != path || !strings.Contains(p.What, says) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func zipped(tb testing.TB, namesAndTexts ...string) string {
	tb.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(namesAndTexts); i += 2 {
		w, err := z.Create(namesAndTexts[i])
		if err != nil {
			tb.Fatal(err)
		}
		if _, err := w.Write([]byte(namesAndTexts[i+1])); err != nil {
			tb.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return b.String()
}

func TestKMZThatLinksToItsLayerIsRead(t *testing.T) {
	// The form that GDAL's LIBKML driver writes: doc.kml has a link to a file of its own
	// for each layer (OGC KML 2.3, NetworkLink).
	const linking = `<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link><href>layers/field.kml</href></Link></NetworkLink></Document></kml>`
	const places = `<kml><Document><Placemark><name>n</name><Polygon><outerBoundaryIs><LinearRing><coordinates>-91,35 -90,35 -90,36 -91,35</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>`
	l, err := vector.ReadFile(write(t, "b.kmz", []byte(zipped(t, "doc.kml", linking, "layers/field.kml", places))))
	if err != nil || len(l.Features) != 1 || len(l.Features[0].Polygons) != 1 {
		t.Errorf("%+v %v", l, err)
	}
	for name, data := range map[string]string{
		"two with places":        zipped(t, "a.kml", places, "b.kml", places),
		"none with places":       zipped(t, "a.kml", linking, "b.kml", linking),
		"KML beside a geojson":   zipped(t, "a.kml", places, "b.geojson", "{}"),
		"KML beside a shapefile": zipped(t, "a.kml", places, "b.shp", "x"),
	} {
		if _, err := vector.ReadFile(write(t, "c.kmz", []byte(data))); err == nil || !strings.Contains(err.Error(), "several layers") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestZipBombIsRefused(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create("bomb.geojson")
	if err != nil {
		t.Fatal(err)
	}
	blanks := bytes.Repeat([]byte(" "), 1<<20)
	for range 130 {
		if _, err := w.Write(blanks); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = vector.ReadFile(write(t, "bomb.zip", b.Bytes()))
	if err == nil || !strings.Contains(err.Error(), "128 MB") {
		t.Errorf("got %v", err)
	}
}

// ogr runs ogr2ogr.
func ogr(t *testing.T, args ...string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, "ogr2ogr"), args...)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ogr2ogr %v: %v: %s", args, err, out)
	}
}

// sample is two fields, one with a hole and an island in it, and their acres.
func sample() string {
	return collection(
		feature(`{"name":"Slough","acres":61.5,"n":3,"when":"2026-07-14"}`, "MultiPolygon",
			"[["+square(-91.55, 34.5, 0.01)+","+square(-91.547, 34.503, 0.004)+"],["+square(-91.546, 34.504, 0.002)+"]]"),
		feature(`{"name":"Ñandú","acres":null,"n":-1,"when":null}`, "Polygon", "["+square(-91.52, 34.5, 0.004)+"]"))
}

func TestShapefilesThatGDALWritesAreRead(t *testing.T) {
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
	for i, args := range [][]string{
		{}, {"-t_srs", "EPSG:32615"}, {"-t_srs", "EPSG:26915"}, {"-dim", "XYZ"}, {"-lco", "ENCODING=ISO-8859-1"}, {"-lco", "ENCODING=CP1252", "-t_srs", "EPSG:32615"},
	} {
		out := filepath.Join(dir, fmt.Sprintf("out%d.shp", i))
		ogr(t, append(append([]string{}, args...), out, source)...)
		got, err := vector.ReadFile(out)
		if err != nil {
			t.Errorf("%v: %v", args, err)
			continue
		}
		sameLayers(t, fmt.Sprint(args), got, want)
		fromZip, err := vector.ReadFile(zipFolder(t, dir, fmt.Sprintf("out%d", i)))
		if err != nil {
			t.Errorf("%v, zipped: %v", args, err)
			continue
		}
		sameLayers(t, fmt.Sprint(args, " zipped"), fromZip, want)
	}
}

// TestRingsThatTurnTheOtherWayAreTheSameField turns every ring of a shapefile
// round, as some programs write them.
func TestRingsThatTurnTheOtherWayAreTheSameField(t *testing.T) {
	dir := t.TempDir()
	source, shape := filepath.Join(dir, "in.geojson"), filepath.Join(dir, "x.shp")
	if err := os.WriteFile(source, []byte(sample()), 0o600); err != nil {
		t.Fatal(err)
	}
	ogr(t, shape, source)
	want, err := vector.ReadFile(shape)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(shape)
	if err != nil {
		t.Fatal(err)
	}
	turned := 0
	for at := 100; at < len(b); {
		size := 2 * int(binary.BigEndian.Uint32(b[at+4:]))
		r := b[at+8:][:size]
		at += 8 + size
		parts, points := int(binary.LittleEndian.Uint32(r[36:])), int(binary.LittleEndian.Uint32(r[40:]))
		for i := range parts {
			from, to := int(binary.LittleEndian.Uint32(r[44+4*i:])), points
			if i+1 < parts {
				to = int(binary.LittleEndian.Uint32(r[48+4*i:]))
			}
			var ring [][16]byte
			for k := from; k < to; k++ {
				ring = append(ring, [16]byte(r[44+4*parts+16*k:]))
			}
			slices.Reverse(ring)
			for k, p := range ring {
				copy(r[44+4*parts+16*(from+k):], p[:])
			}
			turned++
		}
	}
	if err := os.WriteFile(shape, b, 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := vector.ReadFile(shape)
	if err != nil || turned < 4 {
		t.Fatalf("%d rings, %v", turned, err)
	}
	sameLayers(t, "turned", got, want)
}

// TestCodePagesAreReadAsGDALReadsThem spells all letters above ASCII in a
// shapefile's table, with each code page that a .cpg or the table's language byte
// can name.
func TestCodePagesAreReadAsGDALReadsThem(t *testing.T) {
	dir := t.TempDir()
	source, shape := filepath.Join(dir, "in.geojson"), filepath.Join(dir, "x.shp")
	if err := os.WriteFile(source, []byte(collection(feature(`{"name":"`+strings.Repeat("z", 128)+`"}`, "Polygon", "["+square(-91.5, 34.5, 0.01)+"]"))), 0o600); err != nil {
		t.Fatal(err)
	}
	ogr(t, shape, source)
	table, cpg := filepath.Join(dir, "x.dbf"), filepath.Join(dir, "x.cpg")
	b, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(b, []byte("zzzz"))
	for i := range 128 {
		b[at+i] = byte(128 + (i+64)%128) // a space that does not break is not last
	}
	read := func(path string) string {
		layer, err := vector.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		name, _ := layer.Features[0].Properties.Get("name")
		return strings.Map(func(r rune) rune { // GDAL leaves out what a page leaves out
			if r >= 0x80 && r < 0xa0 {
				return -1
			}
			return r
		}, fmt.Sprint(name))
	}
	seen := map[string]bool{}
	check := func(what string) {
		if err := os.WriteFile(table, b, 0o600); err != nil {
			t.Fatal(err)
		}
		out := filepath.Join(t.TempDir(), "out.geojson")
		ogr(t, out, shape)
		got, want := read(shape), read(out)
		if got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
		seen[want] = true
	}
	for _, language := range []byte{0x01, 0x02, 0x03, 0x0b, 0x10, 0x1b, 0x1d, 0x26, 0x37, 0x40, 0x58, 0x64, 0x65, 0x87, 0xc8, 0xc9} {
		if err := os.Remove(cpg); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		b[29] = language
		check(fmt.Sprintf("language %#x", language))
	}
	b[29] = 0
	for _, name := range []string{"CP437", "437", "850", "CP852", "866", "CP1250", "1251", "1252"} {
		if err := os.WriteFile(cpg, []byte(name+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		check(name)
	}
	if len(seen) < 7 {
		t.Errorf("only %d code pages", len(seen))
	}
}

// zipFolder zips the parts of a shapefile into a folder, their endings in
// capitals, beside what a Mac leaves.
func zipFolder(t *testing.T, dir, stem string) string {
	t.Helper()
	list := []string{"__MACOSX/fields/._" + stem + ".shp", "x"}
	for _, ext := range []string{".shp", ".shx", ".dbf", ".prj", ".cpg"} {
		data, err := os.ReadFile(filepath.Join(dir, stem+ext))
		if ext == ".cpg" && errors.Is(err, fs.ErrNotExist) {
			continue // only where an encoding was asked for
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, "fields/"+stem+strings.ToUpper(ext), string(data))
	}
	return write(t, stem+".zip", []byte(zipped(t, list...)))
}

func sameLayers(t *testing.T, what string, got, want *vector.Layer) {
	t.Helper()
	if len(got.Features) != len(want.Features) {
		t.Errorf("%s: %d features, want %d", what, len(got.Features), len(want.Features))
		return
	}
	for i, f := range got.Features {
		g := want.Features[i]
		if len(f.Polygons) != len(g.Polygons) || len(f.Polygons.Rings()) != len(g.Polygons.Rings()) {
			t.Errorf("%s: feature %d has other rings", what, i)
		}
		if a, b := crs.AreaM2(f.Polygons), crs.AreaM2(g.Polygons); math.Abs(a/b-1) > 1e-6 {
			t.Errorf("%s: feature %d holds %v m2, want %v", what, i, a, b)
		}
		for _, key := range []string{"name", "acres", "n", "when"} {
			a, b := f.Properties.Text(key), g.Properties.Text(key)
			if a != b {
				t.Errorf("%s: feature %d: %s is %q, want %q", what, i, key, a, b)
			}
		}
	}
}

func TestRealShapefilesAreReadAsGDALReadsThem(t *testing.T) {
	oracle.Need(t, "ogr2ogr")
	for _, name := range []string{"detailed_plot", "general_plot", "Turvo", "Sample_points_rice_Turvo"} {
		path := oracle.Data(t, "vectors/rice-plots/Shapefiles/"+name+".shp")
		got, err := vector.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		plain := filepath.Join(t.TempDir(), "out.geojson")
		ogr(t, "-t_srs", "EPSG:4326", "-lco", "COORDINATE_PRECISION=12", plain, path)
		want, err := vector.ReadFile(plain)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Features) != len(want.Features) || len(got.Features) == 0 {
			t.Fatalf("%s: %d features, GDAL reads %d", name, len(got.Features), len(want.Features))
		}
		worst := 0.0
		for i, f := range got.Features {
			g := want.Features[i]
			if len(f.Points) > 0 {
				worst = math.Max(worst, f.Points[0].Distance(g.Points[0]))
				continue
			}
			if len(f.Polygons.Rings()) != len(g.Polygons.Rings()) {
				t.Errorf("%s: feature %d has %d rings, GDAL reads %d", name, i, len(f.Polygons.Rings()), len(g.Polygons.Rings()))
			}
			worst = math.Max(worst, math.Abs(crs.AreaM2(f.Polygons)/crs.AreaM2(g.Polygons)-1))
		}
		t.Logf("%s: %d features, worst difference %.2g", name, len(got.Features), worst)
		if worst > 1e-9 {
			t.Errorf("%s: differs from GDAL by %g", name, worst)
		}
	}
}

func TestRealGeoJSONIsRead(t *testing.T) {
	path := oracle.Data(t, "vectors/farm-fields/Fields.geojson")
	layer, err := vector.ReadFile(path)
	if err != nil || len(layer.Features) < 40 {
		t.Fatalf("%v", err)
	}
	f, err := vector.Boundary(path, "curtis - north")
	if err != nil || f.Name != "Curtis - North" {
		t.Errorf("%q %v", f.Name, err)
	}
	if _, err := vector.Boundary(path, ""); err == nil || !strings.Contains(err.Error(), "--field") {
		t.Errorf("all of them: %v", err)
	}
}

func TestShapefileWithoutPrjIsADoubt(t *testing.T) {
	var b bytes.Buffer
	layer := vector.Layer{Name: "a", Features: []vector.Feature{{Polygons: geo.MultiPolygon{{Outer: geo.Ring{{X: -91.5, Y: 34.5}, {X: -91.4, Y: 34.5}, {X: -91.4, Y: 34.6}}}}}}}
	if err := vector.WriteShapefile(&b, "a", layer); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, data := range unzipped(t, b.Bytes()) {
		if filepath.Ext(name) == ".prj" {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	got, err := vector.ReadFile(filepath.Join(dir, "a.shp"))
	if err != nil || len(got.Doubts) != 1 || !strings.Contains(got.Doubts[0].Says, ".prj") {
		t.Errorf("%+v %v", got, err)
	}
}

func unzipped(t *testing.T, data []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string][]byte)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		out[f.Name] = b.Bytes()
	}
	return out
}

func TestDamagedShapefilesGiveSentences(t *testing.T) {
	var b bytes.Buffer
	layer := vector.Layer{Name: "a", Features: []vector.Feature{{
		Polygons:   geo.MultiPolygon{{Outer: geo.Ring{{X: -91.5, Y: 34.5}, {X: -91.4, Y: 34.5}, {X: -91.4, Y: 34.6}}}},
		Properties: vector.Properties{{Name: "name", Value: "x"}},
	}}}
	if err := vector.WriteShapefile(&b, "a", layer); err != nil {
		t.Fatal(err)
	}
	parts := unzipped(t, b.Bytes())
	dir := t.TempDir()
	put := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, data := range parts {
		put(name, data)
	}
	for _, name := range []string{"a.shp", "a.dbf"} {
		full := parts[name]
		for at := range full {
			for _, damaged := range [][]byte{full[:at], flipped(full, at)} {
				put(name, damaged)
				_, err := vector.ReadFile(filepath.Join(dir, "a.shp"))
				if _, ok := errors.AsType[*doubt.Problem](err); err != nil && !ok {
					t.Fatalf("%s damaged at byte %d: %v", name, at, err)
				}
			}
		}
		put(name, full)
	}
}

func flipped(data []byte, at int) []byte {
	out := bytes.Clone(data)
	out[at] ^= 0xff
	return out
}
