package crs_test

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"os/exec"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/oracle"
)

const (
	esriGeographic = `GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`
	esriUTM        = `PROJCS["WGS_1984_UTM_Zone_22S",` + esriGeographic + `,PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],` +
		`PARAMETER["False_Northing",10000000.0],PARAMETER["Central_Meridian",-51.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]`
	ogcGeographic = `GEOGCS["WGS 84", DATUM["World Geodetic System 1984", SPHEROID["WGS 84", 6378137.0, 298.257223563, AUTHORITY["EPSG","7030"]], AUTHORITY["EPSG","6326"]],
  PRIMEM["Greenwich", 0.0, AUTHORITY["EPSG","8901"]], UNIT["degree", 0.017453292519943295], AXIS["Geodetic longitude", EAST], AXIS["Geodetic latitude", NORTH], AUTHORITY["EPSG","4326"]]`
	nad83 = `GEOGCS["NAD83",DATUM["North_American_Datum_1983",SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]`
)

func TestWellKnownTextIsRecognised(t *testing.T) {
	for _, tc := range []struct {
		name, wkt string
		epsg      int
	}{
		{"ESRI, geographic", esriGeographic, 4326},
		{"ESRI, UTM south", esriUTM, 32722},
		{"OGC, geographic", ogcGeographic, 4326},
		{"a byte order mark and a new line", "\ufeff" + esriUTM + "\r\n", 32722},
		{"NAD83", nad83, 4269},
		{"round brackets", strings.NewReplacer("[", "(", "]", ")").Replace(esriUTM), 32722},
		{"a height on top", `COMPD_CS["both",` + esriUTM + `,VERT_CS["NAVD88",VERT_DATUM["x",2005],UNIT["metre",1]]]`, 32722},
	} {
		c, err := crs.ParseWKT(tc.wkt)
		if err != nil || c.EPSG() != tc.epsg {
			t.Errorf("%s: EPSG:%d, %v", tc.name, c.EPSG(), err)
		}
	}
}

func TestOtherSystemsAreRefusedByName(t *testing.T) {
	for _, tc := range []struct{ name, wkt, says string }{
		{"a datum that is not known", strings.ReplaceAll(nad83, "North_American_Datum_1983", "Tokyo"), "Tokyo"},
		{"a datum on another's ellipsoid", strings.ReplaceAll(nad83, "1983", "1927"), "GRS 1980"},
		{"a stereographic projection", strings.Replace(esriUTM, "Transverse_Mercator", "Stereographic", 1), "WGS_1984_UTM_Zone_22S"},
		{"a parameter that is not known", strings.Replace(esriUTM, "Central_Meridian", "Central_Meridien", 1), "centralmeridien"},
		{"grads", strings.Replace(esriGeographic, "0.0174532925199433", "0.0157079632679", 1), "angles"},
		{"Paris", strings.Replace(esriGeographic, `"Greenwich",0.0`, `"Paris",2.337229`, 1), "Paris"},
		{"a local system", `LOCAL_CS["Arbitrary (m)",UNIT["Meter",1.0]]`, "Arbitrary"},
		{"no text", "", "malformed"},
		{"half a text", esriUTM[:100], "malformed"},
		{"not closed", `GEOGCS["a`, "malformed"},
		{"deep", strings.Repeat("A[", 60000), "characters"},
		{"deep enough", strings.Repeat("A[", 1000), "malformed"},
		{"no number", strings.Replace(esriUTM, "0.9996", "near one", 1), "scalefactor"},
		{"a wild scale", strings.Replace(esriUTM, "0.9996", "1e300", 1), "scale factor"},
		{"no unit", strings.Replace(esriUTM, `"Meter",1.0`, `"Meter",0`, 1), "unit"},
	} {
		_, err := crs.ParseWKT(tc.wkt)
		if !errors.Is(err, crs.ErrUnknown) || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
}

func TestWellKnownTextOfEveryCodeComesBack(t *testing.T) {
	for _, code := range []int{4326, 4269, 32601, 32615, 32660, 32722, 26910, 26915} {
		c, err := crs.FromEPSG(code)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := crs.ParseWKT(c.WKT1()); err != nil || back != c {
			t.Errorf("EPSG:%d comes back as EPSG:%d, %v", code, back.EPSG(), err)
		}
	}
}

// gdalWKT asks GDAL for the text of a code in one of its flavours.
func gdalWKT(t *testing.T, code int, flavour string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, "gdalsrsinfo"), "-o", flavour, fmt.Sprintf("EPSG:%d", code))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	return strings.TrimSpace(string(out))
}

func TestEveryFlavourThatGDALWritesIsRead(t *testing.T) {
	oracle.Need(t, "gdalsrsinfo")
	for _, code := range []int{4326, 4269, 32615, 32722, 26915, 3857, 5070, 3434, 26951, 2255} {
		want, err := crs.FromEPSG(code)
		if err != nil {
			t.Fatal(err)
		}
		for _, flavour := range []string{"wkt1", "wkt_esri", "wkt2_2015", "wkt2_2019"} {
			c, err := crs.ParseWKT(gdalWKT(t, code, flavour))
			if err != nil {
				t.Errorf("EPSG:%d as %s: %v", code, flavour, err)
				continue
			}
			x, y, err := c.Forward(-91.3, 33.7)
			wantX, wantY, _ := want.Forward(-91.3, 33.7)
			if code != 32722 && (err != nil || math.Hypot(x-wantX, y-wantY) > 1e-4 || c.Doubt() != want.Doubt()) {
				t.Errorf("EPSG:%d as %s: %v %v, want %v %v (%v)", code, flavour, x, y, wantX, wantY, err)
			}
			if want.Geographic() || code > 26900 && code != 26951 && code != 3857 {
				if c.EPSG() != code {
					t.Errorf("EPSG:%d as %s: EPSG:%d", code, flavour, c.EPSG())
				}
			}
		}
	}
}

// withNumber is m with one number more.
func withNumber(m map[int]float64, key int, v float64) map[int]float64 {
	m = maps.Clone(m)
	m[key] = v
	return m
}

func TestGeoKeysNameTheirSystem(t *testing.T) {
	utm := map[int]float64{3080: -93, 3081: 0, 3082: 500000, 3083: 0, 3092: 0.9996}
	for _, tc := range []struct {
		name string
		k    crs.GeoKeys
		epsg int
	}{
		{"UTM by code", crs.GeoKeys{Model: 1, Projected: 32615, Geographic: 4326}, 32615},
		{"geographic", crs.GeoKeys{Model: 2, Geographic: 4326}, 4326},
		{"UTM by parameters", crs.GeoKeys{Model: 1, Projected: 32767, Geographic: 4326, Method: 1, LinearUnit: 9001, Numbers: utm}, 32615},
		{"UTM by its conversion's code", crs.GeoKeys{Model: 1, Geographic: 4267, Projected: 32767, Projection: 16015}, 26715},
		{"UTM by its conversion's and its datum's code", crs.GeoKeys{Model: 1, Geographic: 32767, Datum: 6269, Projected: 32767, Projection: 16015}, 26915},
		{"State Plane by its conversion's code, in feet", crs.GeoKeys{Model: 1, Geographic: 4269, Projected: 32767, Projection: 15386, LinearUnit: 9003}, 3434},
		{"by a datum's code", crs.GeoKeys{Model: 2, Geographic: 32767, Datum: 1116}, 6318},
		{"by a datum's name", crs.GeoKeys{Model: 2, Geographic: 32767, Citation: "GCS Name = GCS_North_American_1927|Datum = D_North_American_1927|"}, 4267},
		{"by text in a citation", crs.GeoKeys{Model: 1, Projected: 32767, Citation: "ESRI PE String = " + esriUTM}, 32722},
		{"a unit by its size", crs.GeoKeys{Model: 1, Geographic: 4326, Projected: 32767, Method: 1, LinearUnit: 32767, Numbers: withNumber(utm, 3077, 1)}, 32615},
		{"polar with a parallel", crs.GeoKeys{Model: 1, Geographic: 4326, Projected: 32767, Method: 15, Numbers: map[int]float64{3095: -45, 3081: 70, 3092: 1}}, 3413},
		{"polar with a scale", crs.GeoKeys{Model: 1, Geographic: 4326, Projected: 32767, Method: 15, Numbers: map[int]float64{3095: 0, 3081: 90, 3092: 0.994, 3082: 2000000, 3083: 2000000}}, 5041},
		{"Albers", crs.GeoKeys{Model: 1, Geographic: 4269, Projected: 32767, Method: 11, Numbers: map[int]float64{3078: 29.5, 3079: 45.5, 3080: -96, 3081: 23}}, 5070},
		{"NAD83 UTM by parameters", crs.GeoKeys{Model: 1, Projected: 32767, Geographic: 4269, Method: 1, Numbers: utm}, 26915},
	} {
		c, err := crs.FromGeoKeys(tc.k)
		if err != nil || c.EPSG() != tc.epsg {
			t.Errorf("%s: EPSG:%d, %v", tc.name, c.EPSG(), err)
		}
	}
	south, err := crs.FromGeoKeys(crs.GeoKeys{Model: 1, Projected: 32767, Geographic: 4269, Method: 8, LinearUnit: 9001, Numbers: map[int]float64{
		3078: 34.766666666666667, 3079: 33.3, 3084: -92, 3085: 32.666666666666667, 3086: 400000, 3087: 400000,
	}})
	if err != nil {
		t.Fatal(err)
	}
	want, err := crs.FromEPSG(26952)
	if err != nil {
		t.Fatal(err)
	}
	x, y, _ := south.Forward(-91.55, 34.5)
	if wantX, wantY, _ := want.Forward(-91.55, 34.5); math.Hypot(x-wantX, y-wantY) > 1e-6 {
		t.Errorf("Arkansas South by parameters: %v %v, want %v %v", x, y, wantX, wantY)
	}
	for _, k := range []crs.GeoKeys{
		{},
		{Model: 1, Projected: 32767},
		{Model: 1, Projected: 32767, Geographic: 4326, Method: 16},
		{Model: 1, Projected: 32767, Geographic: 4326, Method: 15},
		{Model: 2, Geographic: 4326 + 1},
		{Model: 2, Geographic: 4326, AngularUnit: 9105},
		{Model: 2, Geographic: 32615},
		{Model: 2, Geographic: 32767, Datum: 6301, Citation: "WGS 84"},
		{Model: 2, Geographic: 32767, Citation: "WGS 84", Numbers: map[int]float64{2057: 6377397.155}},
		{Model: 1, Projected: 32767, Geographic: 4326, Method: 1, LinearUnit: 32767, Numbers: utm},
		{Model: 1, Projected: 32767, Geographic: 4326, Method: 1, LinearUnit: 9999, Numbers: utm},
	} {
		if c, err := crs.FromGeoKeys(k); !errors.Is(err, crs.ErrUnknown) {
			t.Errorf("%v: %v %v", k, c.Name(), err)
		}
	}
}

func TestTransverseMercatorWithItsOwnOriginAndFeetAgreesWithPROJ(t *testing.T) {
	wkt := `PROJCS["NAD83 / Illinois East (ftUS)",` + nad83 + `,PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",36.6666666666667],` +
		`PARAMETER["central_meridian",-88.3333333333333],PARAMETER["scale_factor",0.999975],PARAMETER["false_easting",984250],PARAMETER["false_northing",0],UNIT["US survey foot",0.304800609601219]]`
	c, err := crs.ParseWKT(wkt)
	if err != nil {
		t.Fatal(err)
	}
	row := run(t, "40.1 -88.2\n", "cs2cs", "-f", "%.6f", "EPSG:4269", "EPSG:3435")[0]
	x, y, err := c.Forward(-88.2, 40.1)
	if err != nil || math.Hypot(x-number(t, row[0]), y-number(t, row[1])) > 1e-3 {
		t.Errorf("got %.4f %.4f ft, PROJ says %v", x, y, row)
	}
	if lon, lat := c.Inverse(x, y); math.Abs(lon+88.2) > 1e-10 || math.Abs(lat-40.1) > 1e-10 {
		t.Errorf("back to %.11f %.11f", lon, lat)
	}
}
