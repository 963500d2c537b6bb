package imagery_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

// picture is a small sound picture in UTM zone 15; its parts can be changed.
func picture() geotiff.Format {
	return geotiff.Format{
		Cols: 40, Rows: 30, Bands: 3, Sample: geotiff.Uint16, Tile: 16, Deflate: true, Predictor: true,
		Affine: grid.Affine{A: 700000, B: 0.05, D: 3900000, F: -0.05}, EPSG: 32615,
	}
}

func write(tb testing.TB, name string, f geotiff.Format) string {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), name)
	out, err := os.Create(path)
	if err != nil {
		tb.Fatal(err)
	}
	fill := func(_ grid.Window, dst []byte) error {
		for i := range dst {
			dst[i] = byte(i)
		}
		return nil
	}
	if err := errors.Join(geotiff.Write(out, f, fill), out.Close()); err != nil {
		tb.Fatal(err)
	}
	return path
}

func open(t *testing.T, opt imagery.Options, paths ...string) (*imagery.Flight, error) {
	t.Helper()
	f, err := imagery.Open(t.Context(), paths, opt)
	if err == nil {
		t.Cleanup(func() { _ = f.Close() })
	}
	return f, err
}

func TestBandsAreNamedByWhatTheFileSays(t *testing.T) {
	for _, tc := range []struct {
		what   string
		names  []string
		colors []string
		typed  string
		alpha  bool
		sample geotiff.Sample
		want   []string // of each sample
		how    string   // of the first band listed
	}{
		{what: "plain names", names: []string{"Green", "Red", "Red edge", "NIR"}, want: []string{"green", "red", "rededge", "nir"}, how: "from the band's name"},
		{what: "names with wavelengths", names: []string{"Blue-475", "Green-560", "Red-668", "RE-717", "NIR-842"}, want: []string{"blue", "green", "red", "rededge", "nir"}, how: "from the band's name"},
		{what: "other spellings", names: []string{"band_1 (green)", "RED", "red_edge", "near infrared"}, want: []string{"green", "red", "rededge", "nir"}, how: "from the band's name"},
		{what: "wavelengths only", names: []string{"560 nm", "668 nm", "842.5 nm"}, want: []string{"green", "red", "nir"}, how: "from the band's name"},
		{what: "several of one band", names: []string{"Green-531", "Green-560", "Red-650", "Red-668", "NIR-842"}, want: []string{"", "green", "", "red", "nir"}, how: "from the band's name"},
		{what: "colours", colors: []string{"red", "green", "blue"}, want: []string{"red", "green", "blue"}, how: "from its colour"},
		{what: "colours and alpha", colors: []string{"red", "green", "blue", "alpha"}, alpha: true, want: []string{"red", "green", "blue", ""}, how: "from its colour"},
		{what: "colours and one more", colors: []string{"red", "green", "blue", ""}, want: []string{"red", "green", "blue", "nir"}, how: "from its colour"},
		{what: "names against colours", names: []string{"nir", "red", "green"}, colors: []string{"red", "green", "blue"}, want: []string{"nir", "red", "green"}, how: "from the band's name"},
		{what: "one name against colours", names: []string{"nir", "red", "green", ""}, colors: []string{"red", "green", "blue", ""}, want: []string{"nir", "red", "green", ""}, how: "from the band's name"},
		{what: "thermal is left out", names: []string{"red", "green", "thermal"}, want: []string{"red", "green", ""}, how: "from the band's name"},
		{what: "typed", names: []string{"red", "green", "blue"}, typed: "nir,R,-", want: []string{"nir", "red", ""}, how: "as typed with --bands"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			f := picture()
			f.Bands, f.BandNames, f.Colors, f.Alpha, f.Sample = len(tc.want), tc.names, tc.colors, tc.alpha, geotiff.Uint16
			var opt imagery.Options
			if tc.typed != "" {
				opt.Bands = strings.Split(tc.typed, ",")
			}
			flight, err := open(t, opt, write(t, "a.tif", f))
			if err != nil {
				t.Fatal(err)
			}
			if got := flight.Files[0].Bands; !reflect.DeepEqual(got, tc.want) {
				t.Errorf("bands %q, want %q", got, tc.want)
			}
			for _, b := range flight.Bands {
				if b.How != tc.how && !strings.HasPrefix(b.How, "taken for") {
					t.Errorf("%s came %q, want %q", b.Name, b.How, tc.how)
				}
			}
		})
	}
}

func TestAGuessedBandIsADoubt(t *testing.T) {
	f := picture()
	f.Bands, f.Colors, f.Sample = 4, []string{"red", "green", "blue", ""}, geotiff.Uint8
	flight, err := open(t, imagery.Options{}, write(t, "a.tif", f))
	if err != nil {
		t.Fatal(err)
	}
	if flight.Doubts[0].About != "bands" || !strings.Contains(flight.Doubts[0].Says, "near infrared") {
		t.Errorf("doubts %v", flight.Doubts)
	}
	if !flight.Files[0].SRGB || !flight.Lossy || flight.Sensor != "4 bands, 8 bits" {
		t.Errorf("display %v, lossy %v, sensor %q", flight.Files[0].SRGB, flight.Lossy, flight.Sensor)
	}
}

func TestPicturesThatCannotBeUsedAreRefusedInOneSentence(t *testing.T) {
	dir := t.TempDir()
	file := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	change := func(fn func(*geotiff.Format)) string {
		f := picture()
		f.Colors = []string{"red", "green", "blue"}
		fn(&f)
		return write(t, "x.tif", f)
	}
	for _, tc := range []struct {
		what, path, typed string
		kind              doubt.Kind
		says              string
	}{
		{"no such file", filepath.Join(dir, "none.tif"), "", doubt.Input, "none.tif: there is no such file; check the name"},
		{"folder", dir, "", doubt.Input, "is a folder"},
		{"empty", file("empty.tif", ""), "", doubt.Input, "empty.tif: is empty"},
		{"JPEG", file("a.jpg", "\xff\xd8\xff\xe0 and so on"), "", doubt.Input, "the JPEG picture is damaged or incomplete"},
		{"GIF", file("a.gif", "GIF89a and so on"), "", doubt.Input, "is a GIF picture, which is not read; convert it with: gdal_translate"},
		{"JPEG 2000", file("a.jp2", "\x00\x00\x00\x0cjP  and so on"), "", doubt.Input, "is a JPEG 2000 picture, which is not read; convert it with: gdal_translate"},
		{"shapefile", file("a.shp", "\x00\x00\x27\x0a and so on"), "", doubt.Input, "a.shp: is a shapefile and no picture; give outlines with --boundary"},
		{"GeoJSON", file("a.geojson", "\n{\"type\": \"FeatureCollection\"}"), "", doubt.Input, "is a GeoJSON file"},
		{"KML", file("a.kml", "<?xml version=\"1.0\"?><kml>"), "", doubt.Input, "is a KML file"},
		{"archive", file("a.zip", "PK\x03\x04 and so on"), "", doubt.Input, "is a zip archive, which is not read; export"},
		{"text", file("a.txt", "hello, this is no picture"), "", doubt.Input, "a.txt: "},
		{"no place", change(func(f *geotiff.Format) { f.Affine, f.EPSG = grid.Affine{}, 0 }), "", doubt.Input, "has no place on the ground"},
		{"no system", change(func(f *geotiff.Format) { f.EPSG = 0 }), "", doubt.Input, "does not name its coordinate system"},
		{"unknown system", change(func(f *geotiff.Format) { f.EPSG = 31985 }), "", doubt.Input, "EPSG:31985, is not read"},
		{"metres as degrees", change(func(f *geotiff.Format) { f.EPSG = 4326 }), "", doubt.Input, "do not fit its coordinate system"},
		{"one band", change(func(f *geotiff.Format) { f.Bands, f.Colors = 1, nil }), "", doubt.Unfit, "has one band"},
		{"nameless bands", change(func(f *geotiff.Format) {
			f.Bands, f.Colors, f.BandNames = 5, nil, []string{"B1", "B2", "B3", "B4", "B5"}
		}), "", doubt.Input, "--bands green,red,rededge,nir"},
		{"too few typed", change(func(*geotiff.Format) {}), "red,green", doubt.Input, "it has 3 bands, but --bands names 2"},
		{"typed twice", change(func(*geotiff.Format) {}), "red,green,red", doubt.Input, "names red twice"},
		{"typed nonsense", change(func(*geotiff.Format) {}), "red,green,mauve", doubt.Input, `names "mauve"`},
		{"no use", change(func(f *geotiff.Format) { f.Bands, f.Colors, f.BandNames = 2, nil, []string{"blue", "red edge"} }), "", doubt.Unfit, "blue and rededge"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			var opt imagery.Options
			if tc.typed != "" {
				opt.Bands = strings.Split(tc.typed, ",")
			}
			_, err := open(t, opt, tc.path)
			var p *doubt.Problem
			if !errors.As(err, &p) {
				t.Fatalf("error %v is no problem", err)
			}
			if p.Kind != tc.kind || !strings.Contains(p.Error(), tc.says) || p.Remedy == "" {
				t.Errorf("kind %d, %q, want kind %d and %q", p.Kind, p.Error(), tc.kind, tc.says)
			}
		})
	}
}

func TestSeveralFilesMakeOneFlight(t *testing.T) {
	one := func(name string) string {
		f := picture()
		f.Bands = 1
		return write(t, name, f)
	}
	flight, err := open(t, imagery.Options{}, one("2026-07-14_green.tif"), one("2026-07-14_red.tif"), one("2026-07-14_red_edge.tif"), one("2026-07-14_nir.tif"))
	if err != nil {
		t.Fatal(err)
	}
	want := []imagery.Band{
		{Name: "green", File: "2026-07-14_green.tif", Index: 1, How: "from the file's name"},
		{Name: "red", File: "2026-07-14_red.tif", Index: 1, How: "from the file's name"},
		{Name: "rededge", File: "2026-07-14_red_edge.tif", Index: 1, How: "from the file's name"},
		{Name: "nir", File: "2026-07-14_nir.tif", Index: 1, How: "from the file's name"},
	}
	if !reflect.DeepEqual(flight.Bands, want) {
		t.Errorf("bands %+v", flight.Bands)
	}
	if flight.Flown != "2026-07-14" || flight.FlownHow != "from the file's name" {
		t.Errorf("flown %q %q", flight.Flown, flight.FlownHow)
	}
	short, err := open(t, imagery.Options{}, one("rect_001-GRE.tif"), one("rect_001-RED.tif"), one("rect_001-REG.tif"))
	if err != nil || len(short.Bands) != 3 || short.Bands[0].Name != "green" || short.Bands[2].Name != "rededge" {
		t.Errorf("GRE and REG are %+v, %v", short, err)
	}
	alone, err := imagery.Look(t.Context(), []string{one("2026-07-14_nir.tif")}, imagery.Options{})
	if err != nil || len(alone.Problems) != 1 || alone.Files[0].Bands[0] != "nir" {
		t.Fatalf("one band alone: %+v, %v", alone, err)
	}
	if err := alone.Close(); err != nil {
		t.Error(err)
	}
	typed, err := open(t, imagery.Options{Bands: []string{"nir", "red"}}, one("a.tif"), one("b.tif"))
	if err != nil {
		t.Fatal(err)
	}
	if typed.Bands[0].File != "b.tif" || typed.Bands[1].File != "a.tif" {
		t.Errorf("bands %+v", typed.Bands)
	}
}

func TestAPictureGivenTwiceIsRefused(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	path := write(t, "a.tif", f)
	if _, err := open(t, imagery.Options{}, path, path); err == nil || err.Error() != "a.tif: is given twice; give each picture once" {
		t.Errorf("the same picture twice: %v", err)
	}
}

func TestABandOfTwoCamerasIsTakenFromTheFinerOne(t *testing.T) {
	color := picture()
	color.Colors, color.Sample = []string{"red", "green", "blue"}, geotiff.Uint8
	multi := picture()
	multi.BandNames = []string{"green", "red", "nir"}
	flight, err := open(t, imagery.Options{}, write(t, "color.tif", color), write(t, "multi.tif", multi))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := flight.Files[0].Bands, []string{"", "", "blue"}; !reflect.DeepEqual(got, want) {
		t.Errorf("the colour picture gives %q, want %q", got, want)
	}
	if len(flight.Doubts) < 2 {
		t.Errorf("doubts %v", flight.Doubts)
	}
}

func TestTheDateComesFromTheNameBeforeTheFile(t *testing.T) {
	for _, tc := range []struct{ name, written, want string }{
		{"slough3.tif", "", ""},
		{"slough3_20260714.tif", "2026:07:20 10:00:00", "2026-07-14"},
		{"slough3 2026-07-14.tif", "", "2026-07-14"},
		{"slough3_20261340.tif", "", ""},
		{"slough3_120260714.tif", "", ""},
		{"20260714_to_20260715.tif", "", ""},
		{"slough3.tif", "2026:07:14 09:05:11", "2026-07-14T09:05"},
		{"slough3.tif", "0000:00:00 00:00:00", ""},
	} {
		f := picture()
		f.Colors, f.DateTime = []string{"red", "green", "blue"}, tc.written
		flight, err := open(t, imagery.Options{}, write(t, tc.name, f))
		if err != nil {
			t.Fatal(err)
		}
		if flight.Flown != tc.want {
			t.Errorf("%s, written %q: flown %q, want %q", tc.name, tc.written, flight.Flown, tc.want)
		}
	}
}

func TestPixelSizeIsOnTheGround(t *testing.T) {
	lonlat := picture()
	lonlat.Colors, lonlat.EPSG = []string{"red", "green", "blue"}, 4326
	// At latitude 35.25 a degree is 91,036 m of longitude and 110,943 m of
	// latitude on WGS 84: M and N cos(lat) from a = 6378137, 1/f = 298.257223563.
	lonlat.Affine = grid.Affine{A: -90.5, B: 0.05 / 91036, D: 35.25, F: -0.05 / 110943}
	flight, err := open(t, imagery.Options{}, write(t, "a.tif", lonlat))
	if err != nil {
		t.Fatal(err)
	}
	if d := flight.PixelM - 0.05; math.Abs(d) > 2e-5 {
		t.Errorf("pixel %g m, want 0.05", flight.PixelM)
	}
	at, same := flight.Files[0].To(crs.UTM(15, false))
	x, y := at(0, 0)
	// PROJ: 90.5 W 35.25 N in UTM zone 15.
	if same || math.Hypot(x-727457.4067, y-3903632.7541) > 0.001 {
		t.Errorf("corner at %f, %f in zone 15, the same system: %v", x, y, same)
	}
}

func TestAZoneThatIsDescribedIsAsGoodAsOneThatIsNamed(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	path := write(t, "a.tif", f)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// Keys 1025 (raster type) and 3072 (projected system) become 2048
	// (geographic system: WGS 84) and 3074 (projection: UTM zone 15 north).
	key := func(id, value uint16) []byte {
		var b []byte
		for _, v := range []uint16{id, 0, 1, value} {
			b = append(b, byte(v), byte(v>>8))
		}
		return b
	}
	for _, to := range [][2][]byte{{key(1025, 1), key(2048, 4326)}, {key(3072, 32615), key(3074, 16015)}} {
		if bytes.Count(data, to[0]) != 1 {
			t.Fatalf("the file has key %v %d times", to[0], bytes.Count(data, to[0]))
		}
		data = bytes.Replace(data, to[0], to[1], 1)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	flight, err := open(t, imagery.Options{}, path)
	if err != nil {
		t.Fatal(err)
	}
	if got := flight.Files[0].CRS; got != crs.UTM(15, false) {
		t.Errorf("the picture is in %s", got.Name())
	}
}

func TestDigestIsThatOfTheFile(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	path := write(t, "a.tif", f)
	flight, err := open(t, imagery.Options{}, path)
	if err != nil {
		t.Fatal(err)
	}
	got, err := flight.Files[0].Digest(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if want := sha256.Sum256(data); got != hex.EncodeToString(want[:]) {
		t.Errorf("digest %s, want %x", got, want)
	}
}

func TestRealPictures(t *testing.T) {
	flight, err := open(t, imagery.Options{}, oracle.Data(t, "ortho/potato-west-rgb.tif"))
	if err != nil {
		t.Fatal(err)
	}
	// gdalinfo: 8 bits, Red, Green, Blue; EPSG:32632, pixel 0.005.
	if !reflect.DeepEqual(flight.Files[0].Bands, []string{"red", "green", "blue"}) || !flight.Files[0].SRGB ||
		math.Abs(flight.PixelM-0.005) > 1e-5 {
		t.Errorf("bands %q, display %v, pixel %g m", flight.Files[0].Bands, flight.Files[0].SRGB, flight.PixelM)
	}
	flight, err = open(t, imagery.Options{}, oracle.Data(t, "ortho/trial-rgb-1cm.tif"))
	if err != nil {
		t.Fatal(err)
	}
	// gdalinfo: EPSG:32414, WGS 72BE, which is shifted to WGS 84.
	if f := flight.Files[0]; f.CRS.EPSG() != 32414 || f.CRS.Doubt() == "" || math.Abs(flight.PixelM-0.0108) > 1e-4 {
		t.Errorf("EPSG:%d, doubt %q, pixel %g m", f.CRS.EPSG(), f.CRS.Doubt(), flight.PixelM)
	}
}
