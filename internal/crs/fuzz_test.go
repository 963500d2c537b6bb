package crs_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"bittern/internal/crs"
)

const jsonUTM = `{"type":"ProjectedCRS","name":"mine","base_crs":{"name":"NAD83","datum":{"name":"North American Datum 1983",` +
	`"ellipsoid":{"semi_major_axis":6378137,"inverse_flattening":298.257222101},"prime_meridian":{"name":"Greenwich","longitude":0}}},` +
	`"conversion":{"method":{"name":"Transverse Mercator"},"parameters":[{"name":"Longitude of natural origin","value":-93,"unit":"degree"},` +
	`{"name":"Scale factor at natural origin","value":0.9996,"unit":"unity"},{"name":"False easting","value":500,"unit":{"type":"LinearUnit","name":"km","conversion_factor":1000}}]},` +
	`"coordinate_system":{"subtype":"Cartesian","axis":[{"unit":"metre"},{"unit":"metre"}]},"id":{"authority":"mine","code":7}}`

func TestPROJJSONWithItsOwnUnitsIsRead(t *testing.T) {
	c, err := crs.ParsePROJJSON(jsonUTM)
	if err != nil || c.EPSG() != 26915 {
		t.Errorf("EPSG:%d %s, %v", c.EPSG(), c.Name(), err)
	}
	for _, tc := range []struct{ name, text, says string }{
		{"no JSON", "{", "malformed"},
		{"a list", "[]", "malformed"},
		{"nothing", "{}", "kind"},
		{"another kind", `{"type":"EngineeringCRS","name":"site"}`, "site"},
		{"no conversion", `{"type":"ProjectedCRS","name":"bare","base_crs":{"name":"WGS 84","datum":{"name":"World Geodetic System 1984"}}}`, "bare"},
		{"geocentric", `{"type":"GeodeticCRS","name":"WGS 84","datum":{"name":"World Geodetic System 1984"},"coordinate_system":{"subtype":"Cartesian"}}`, "axes Cartesian"},
		{"a wild unit", strings.Replace(jsonUTM, `"axis":[{"unit":"metre"}`, `"axis":[{"unit":{"type":"LinearUnit","conversion_factor":1e30}}`, 1), "unit of length"},
	} {
		if c, err := crs.ParsePROJJSON(tc.text); !errors.Is(err, crs.ErrUnknown) || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v %v", tc.name, c.Name(), err)
		}
	}
}

// mustHold asks everything of a CRS that was made from a stranger's text: no
// question may panic, and a position that it takes comes back.
func mustHold(t *testing.T, c crs.CRS, err error) {
	t.Helper()
	if err != nil {
		if !errors.Is(err, crs.ErrUnknown) || c.Valid() {
			t.Errorf("%v with %v", err, c)
		}
		return
	}
	if !c.Valid() {
		t.Errorf("%v is no system", c)
	}
	_ = c.WKT1() + c.Doubt()
	for _, p := range [][2]float64{{-91.55, 34.5}, {0, 0}, {179.99, -89}, {-93, 90}, {math.NaN(), 1}} {
		x, y, err := c.Forward(p[0], p[1])
		if err == nil {
			c.Inverse(x, y)
			c.Convergence(p[0], p[1])
			c.ScaleFactor(p[0], p[1])
		}
	}
	c.Inverse(math.Inf(1), math.NaN())
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		esriGeographic, esriUTM, ogcGeographic, nad83, jsonUTM, "EPSG:32615", "epsg:-1", "{}", "",
		strings.Replace(esriUTM, "Transverse_Mercator", "Lambert_Conformal_Conic", 1),
		strings.Replace(esriUTM, "Transverse_Mercator", "Stereographic_North_Pole", 1),
		strings.Replace(esriUTM, "Transverse_Mercator", "Hotine_Oblique_Mercator_Azimuth_Center", 1),
		strings.Replace(esriUTM, "Transverse_Mercator", "Mercator", 1),
		`COMPD_CS["a",` + nad83 + `,VERT_CS["b",UNIT["m",1]]]`,
		`PROJCRS["a",BASEGEOGCRS["WGS 84",ENSEMBLE["World Geodetic System 1984 ensemble"]],CONVERSION["c",METHOD["Albers Equal Area"],PARAMETER["Latitude of 1st standard parallel",40,ANGLEUNIT["degree",0.0174532925199433]]],CS[Cartesian,2],AXIS["e",east,LENGTHUNIT["metre",1]]]`,
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := crs.Parse(s)
		mustHold(t, c, err)
	})
}

func FuzzGeoKeys(f *testing.F) {
	f.Add(1, 4326, 0, 0, 32767, 16015, 1, 9001, "WGS 84", 0.5, -93.0, 35.0)
	f.Add(1, 32767, 6269, 9102, 32767, 32767, 3, 9003, "mine", 0.9999, -133.0, 57.0)
	f.Add(1, 32767, 32767, 0, 32767, 0, 15, 32767, "ESRI PE String = "+esriUTM, 1.0, 0.0, 90.0)
	f.Fuzz(func(t *testing.T, model, geographic, datum, angular, projected, projection, method, unit int, citation string, scale, lon, lat float64) {
		numbers := map[int]float64{3077: scale, 3092: scale, 3094: lon / 7}
		for key := 3078; key <= 3089; key++ {
			numbers[key] = lon
			if key%2 == 1 {
				numbers[key] = lat
			}
		}
		c, err := crs.FromGeoKeys(crs.GeoKeys{
			Model: model, Geographic: geographic, Datum: datum, AngularUnit: angular, Projected: projected,
			Projection: projection, Method: method, LinearUnit: unit, Citation: citation, Numbers: numbers,
		})
		mustHold(t, c, err)
	})
}
