package crs

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"

	"bittern/internal/oracle"
)

// distanceM is how far apart two positions are, for small distances.
func distanceM(lonA, latA, lonB, latB float64) float64 {
	return 111320 * math.Hypot(latA-latB, lonDiff(lonA, lonB)*math.Cos(radians(latA)))
}

// cs2cs brings positions in longitude and latitude from one system of PROJ to
// another, both with the longitude first.
func cs2cs(t *testing.T, positions [][2]float64, args ...string) [][2]float64 {
	t.Helper()
	var in, stderr bytes.Buffer
	for _, p := range positions {
		fmt.Fprintf(&in, "%.12f %.12f\n", p[0], p[1])
	}
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, "cs2cs"), append([]string{"-f", "%.12f"}, args...)...)
	cmd.Env = append(cmd.Environ(), "PROJ_NETWORK=OFF")
	cmd.Stdin, cmd.Stderr = &in, &stderr
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("cs2cs: %v: %s", err, stderr.String())
	}
	var out [][2]float64
	for line := range strings.Lines(string(text)) {
		var p [2]float64
		if _, err := fmt.Sscan(line, &p[0], &p[1]); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		out = append(out, p)
	}
	return out
}

func TestShiftsAgreeWithPROJsTranslations(t *testing.T) {
	for d := datumWGS72; d < noDatum; d++ {
		row := datums[d]
		var positions [][2]float64
		for lat := -80.0; lat <= 80; lat += 16 {
			for lon := -179.0; lon < 180; lon += 23 {
				positions = append(positions, [2]float64{lon, lat})
			}
		}
		shift := fmt.Sprintf("+towgs84=%g,%g,%g,0,0,%g,%g", row.dx, row.dy, row.dz, row.turn, row.stretch)
		ball := fmt.Sprintf("+a=%.9g", row.el.a)
		own := []string{"+proj=longlat", ball, fmt.Sprintf("+rf=%.15g", row.el.invF), shift, "+no_defs"}
		plain := []string{"+proj=longlat", "+datum=WGS84", "+no_defs"}
		there := cs2cs(t, positions, append(append(own, "+to"), plain...)...)
		back := cs2cs(t, positions, append(append(plain, "+to"), own...)...)
		var far, farBack float64
		for i, p := range positions {
			lon, lat := d.toWGS84(p[0], p[1])
			far = math.Max(far, distanceM(lon, lat, there[i][0], there[i][1]))
			lon, lat = d.fromWGS84(p[0], p[1])
			farBack = math.Max(farBack, distanceM(lon, lat, back[i][0], back[i][1]))
		}
		t.Logf("%s, mean for %s: PROJ differs by %.2g m, back by %.2g m", row.name, row.region, far, farBack)
		// Coming back PROJ starts from height 0 on WGS84 where this room undoes
		// the way there: the shift times the height over the earth's radius. It
		// takes small turns for linear.
		tol := 1e-6
		if row.turn != 0 {
			tol = 5e-5
		}
		if far > tol || farBack > 0.05 {
			t.Errorf("%s: PROJ differs by %g m, back by %g m", row.name, far, farBack)
		}
	}
}

func TestShiftsComeBack(t *testing.T) {
	for d := datumWGS72; d < noDatum; d++ {
		far := 0.0
		for lat := -85.0; lat <= 85; lat += 5 {
			for lon := -180.0; lon <= 180; lon += 7.5 {
				lonW, latW := d.toWGS84(lon, lat)
				lon2, lat2 := d.fromWGS84(lonW, latW)
				far = math.Max(far, distanceM(lon, lat, lon2, lat2))
			}
		}
		t.Logf("%s, mean for %s: comes back to %.2g m", datums[d].name, datums[d].region, far)
		if far > 1e-6 {
			t.Errorf("%s comes back %g m away", datums[d].name, far)
		}
	}
}

// PROJ without grid files chooses a mean by the place: for the contiguous states
// the one used here, or one of their eastern or western half.
func TestNAD27AgreesWithPROJWithoutGrids(t *testing.T) {
	for _, tc := range []struct {
		name      string
		lon, lat  float64
		d         datum
		allowance float64 // m
	}{
		{"Arkansas", -91.55, 34.5, datumNAD27, 5},
		{"Louisiana", -92.3746, 30.2141, datumNAD27, 5},
		{"California", -121.7128, 39.4125, datumNAD27, 5},
		{"Missouri", -90, 36.5, datumNAD27, 5},
		{"Texas", -96, 29.5, datumNAD27, 5},
		{"Alaska", -150, 64, datumNAD27Alaska, 15},
	} {
		got := cs2cs(t, [][2]float64{{tc.lat, tc.lon}}, "EPSG:4267", "EPSG:4326")[0]
		lon, lat := tc.d.toWGS84(tc.lon, tc.lat)
		off := distanceM(lon, lat, got[1], got[0])
		moved := distanceM(lon, lat, tc.lon, tc.lat)
		t.Logf("%s: moved %.1f m; PROJ without grids says %.1f m elsewhere", tc.name, moved, off)
		if off > tc.allowance {
			t.Errorf("%s: PROJ differs by %.1f m", tc.name, off)
		}
	}
}

func TestNAD27PublishedPointComesWithinTheDoubt(t *testing.T) {
	// Meades Ranch, Kansas, the origin of NAD27: 39 13 26.686 N 98 32 30.506 W on
	// it, 39 13 26.71218 N 98 32 31.74604 W on NAD83 (National Geodetic Survey).
	dms := func(d, m, s float64) float64 { return d + m/60 + s/3600 }
	lon, lat := datumNAD27.toWGS84(-dms(98, 32, 30.506), dms(39, 13, 26.686))
	off := distanceM(lon, lat, -dms(98, 32, 31.74604), dms(39, 13, 26.71218))
	t.Logf("Meades Ranch: %.1f m from its place on NAD83", off)
	if off > datums[datumNAD27].accuracyM {
		t.Errorf("%.1f m off, which is more than the doubt says", off)
	}
}
