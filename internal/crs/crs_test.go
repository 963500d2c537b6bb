package crs_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"bittern/internal/crs"
)

func TestUTMReproducesPublishedPositions(t *testing.T) {
	for _, tc := range []struct {
		source     string
		epsg       int
		lon, lat   float64
		east, nrth float64
		tol        float64 // m
	}{
		{"T10.4 WGS84 zone 18", 32618, -74.00597, 40.71435, 583959.9590, 4507523.0870, 0.0005},
		{"T10.5 Stuttgart AR", 32615, -91.55, 34.5, 633119.8414, 3818551.4526, 0.0005},
		{"T10.5 Crowley LA", 32615, -92.3746, 30.2141, 560189.0789, 3342675.0651, 0.0005},
		{"T10.5 Cleveland MS", 32615, -90.7248, 33.7440, 710759.3580, 3736097.0053, 0.0005},
		{"T10.5 Biggs CA", 32610, -121.7128, 39.4125, 610812.6531, 4363344.1413, 0.0005},
		{"PROJ 9.1.1 (cs2cs)", 32615, -90.5, 35.25, 727457.4067, 3903632.7541, 0.0005},
		{"T10.5 Stuttgart AR in NAD83", 26915, -91.55, 34.5, 633119.8414, 3818551.4526, 0.001},
	} {
		c, err := crs.FromEPSG(tc.epsg)
		if err != nil {
			t.Fatal(err)
		}
		x, y, err := c.Forward(tc.lon, tc.lat)
		if err != nil || math.Hypot(x-tc.east, y-tc.nrth) > tc.tol {
			t.Errorf("%s: got %.4f %.4f (%v), want %.4f %.4f", tc.source, x, y, err, tc.east, tc.nrth)
		}
		lon, lat := c.Inverse(tc.east, tc.nrth)
		if math.Abs(lon-tc.lon) > 1e-8 || math.Abs(lat-tc.lat) > 1e-8 {
			t.Errorf("%s: back to %.9f %.9f", tc.source, lon, lat)
		}
	}
}

func TestCodesNameTheirCRS(t *testing.T) {
	for code, name := range map[int]string{
		4326: "WGS 84", 4269: "NAD83", 32615: "WGS 84 / UTM zone 15N", 32722: "WGS 84 / UTM zone 22S", 26910: "NAD83 / UTM zone 10N",
	} {
		c, err := crs.FromEPSG(code)
		if err != nil || c.Name() != name || c.EPSG() != code || !c.Valid() {
			t.Errorf("EPSG:%d: %q %d %v", code, c.Name(), c.EPSG(), err)
		}
		if c.Geographic() != (code < 5000) {
			t.Errorf("EPSG:%d: geographic is %v", code, c.Geographic())
		}
		if (c.Doubt() != "") != (name[:5] == "NAD83") {
			t.Errorf("EPSG:%d: doubt %q", code, c.Doubt())
		}
	}
	for code, says := range map[int]string{1: "EPSG:1", 3993: "Guam Projection", 2953: "Oblique Stereographic", -1: "EPSG:-1"} {
		if _, err := crs.FromEPSG(code); !errors.Is(err, crs.ErrUnknown) || !strings.Contains(err.Error(), says) {
			t.Errorf("EPSG:%d: %v", code, err)
		}
	}
	if (crs.CRS{}).Valid() {
		t.Error("the zero CRS is valid")
	}
}

func TestCodesOfHeightsAndWithdrawnCodesAreReadAsTheirs(t *testing.T) {
	for code, as := range map[int]int{4979: 4979, 9518: 4326, 8813: 26996, 3785: 3857, 26747: 26799, 6349: 6318} {
		if c, err := crs.FromEPSG(code); err != nil || c.EPSG() != as {
			t.Errorf("EPSG:%d is read as EPSG:%d (%v), want %d", code, c.EPSG(), err, as)
		}
	}
}

func TestPositionsOffTheEarthAreRefused(t *testing.T) {
	for _, p := range [][2]float64{{-90.5, 91}, {math.NaN(), 30}, {0, math.Inf(1)}, {-130, 35}, {35, -91}} {
		if _, _, err := crs.UTM(15, false).Forward(p[0], p[1]); !errors.Is(err, crs.ErrOutside) {
			t.Errorf("%v: %v", p, err)
		}
	}
}

func TestZoneHoldsThePosition(t *testing.T) {
	for _, tc := range []struct {
		lon, lat float64
		epsg     int
	}{
		{-91.55, 34.5, 32615},
		{-90, 34.5, 32616},
		{-96, 30, 32615},
		{-121.7, 39.4, 32610},
		{-49.7, -28.9, 32722},
		{180, 1, 32660},
		{-180, 1, 32601},
		{179.9, 1, 32660},
		{0, 0, 32631},
	} {
		if got := crs.UTMFor(tc.lon, tc.lat).EPSG(); got != tc.epsg {
			t.Errorf("%v %v: got %d, want %d", tc.lon, tc.lat, got, tc.epsg)
		}
	}
}

func TestForwardAndInverseAgree(t *testing.T) {
	worst := 0.0
	for _, c := range []crs.CRS{crs.UTM(10, false), crs.UTM(15, false), crs.UTM(22, false), crs.UTM(60, false)} {
		for dx := 100000.0; dx <= 900000; dx += 50000 {
			for y := 1000000.0; y < 9000000; y += 333333 {
				lon, lat := c.Inverse(dx, y)
				if lat > 80 {
					continue // there the zone is far narrower than the strip
				}
				x2, y2, err := c.Forward(lon, lat)
				if err != nil {
					t.Fatal(err)
				}
				worst = math.Max(worst, math.Hypot(x2-dx, y2-y))
			}
		}
	}
	t.Logf("round trip: %.2g m at worst", worst)
	if worst > 1e-7 {
		t.Errorf("round trip loses %g m", worst)
	}
}

func TestTheSameZoneOnAlikeDatumsIsOneGrid(t *testing.T) {
	for _, tc := range []struct {
		a, b int
		same bool
	}{
		{32615, 32615, true},
		{32615, 26915, true},
		{6344, 32615, true}, // NAD83(2011)
		{32615, 26715, false},
		{26715, 26715, true},
		{32615, 32616, false},
		{32615, 32715, false},
		{32615, 32665, false}, // the same meridian in feet
		{4326, 4269, true},
		{4326, 4267, false},
		{26951, 26952, false},
		{26951, 2764, true}, // NAD83(HARN)
	} {
		a, errA := crs.FromEPSG(tc.a)
		b, errB := crs.FromEPSG(tc.b)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if a.SameGrid(b) != tc.same || b.SameGrid(a) != tc.same {
			t.Errorf("%s and %s: same is %v", a.Name(), b.Name(), a.SameGrid(b))
		}
		if x, y, err := a.Forward(-92.1, 34.6); tc.same && err == nil {
			if x2, y2, _ := b.Forward(-92.1, 34.6); a.UnitM() > 0 && math.Hypot(x-x2, y-y2) > 1e-3 {
				t.Errorf("%s and %s lie %g apart", a.Name(), b.Name(), math.Hypot(x-x2, y-y2))
			}
		}
	}
}

func TestLongitudesOnAnOldDatumAreNotTakenForWGS84s(t *testing.T) {
	c, err := crs.FromEPSG(4267)
	if err != nil {
		t.Fatal(err)
	}
	if c.Geographic() || c.UnitM() != 0 || !strings.Contains(c.Doubt(), "10 m (33 ft)") {
		t.Errorf("%s: geographic %v, unit %g, doubt %q", c.Name(), c.Geographic(), c.UnitM(), c.Doubt())
	}
	if own := c.OwnDatum(); !own.Geographic() {
		t.Errorf("%s on its own datum is not geographic", own.Name())
	}
	lon, lat := c.Inverse(-91.55, 34.5)
	// cs2cs +proj=longlat +ellps=clrk66 +towgs84=-8,160,176 +to +datum=WGS84
	if math.Hypot(lon+91.550134, lat-34.500124) > 1e-6 {
		t.Errorf("on WGS84 %.8f %.8f", lon, lat)
	}
	if x, y, err := c.Forward(lon, lat); err != nil || math.Hypot(x+91.55, y-34.5) > 1e-12 {
		t.Errorf("back to %.13f %.13f, %v", x, y, err)
	}
	wkt, err := crs.ParseWKT(c.WKT1())
	if err != nil || wkt != c {
		t.Errorf("%s comes back as %s, %v", c.WKT1(), wkt.Name(), err)
	}
}
