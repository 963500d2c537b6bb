package crs_test

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/oracle"
)

// run feeds lines to a program and returns the fields of each line that it
// answers with.
func run(t *testing.T, input, program string, args ...string) [][]string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, program), args...)
	cmd.Stdin = strings.NewReader(input)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v: %s", program, err, stderr.String())
	}
	var rows [][]string
	for line := range strings.Lines(string(out)) {
		rows = append(rows, strings.Fields(line))
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	var v float64
	if _, err := fmt.Sscan(s, &v); err != nil {
		t.Fatalf("%q: %v", s, err)
	}
	return v
}

// Within its area of use, every code is compared in TestEveryCodeAgreesWithPROJ.
func TestZonesAgreeWithPROJBeyondTheirSides(t *testing.T) {
	oracle.Need(t, "cs2cs")
	codes := []int{26904, 26910, 26914, 26915, 26916, 26919}
	for z := 1; z <= 60; z += 8 {
		codes = append(codes, 32600+z, 32703+z)
	}
	worst := 0.0
	for _, code := range codes {
		c, err := crs.FromEPSG(code)
		if err != nil {
			t.Fatal(err)
		}
		from := "EPSG:4326"
		if code < 27000 {
			from = "EPSG:4269"
		}
		worst = math.Max(worst, worstAgainstPROJ(t, c, from))
	}
	t.Logf("%d zones against PROJ: %.2g m at worst", len(codes), worst)
	if worst > 1e-5 {
		t.Errorf("PROJ differs by %g m", worst)
	}
}

// worstAgainstPROJ compares a grid of points that reaches 1 degree beyond the
// zone on both sides.
func worstAgainstPROJ(t *testing.T, c crs.CRS, from string) float64 {
	t.Helper()
	lon0, _ := c.Inverse(500000, 5000000)
	south := strings.HasSuffix(c.Name(), "S")
	var in strings.Builder
	var pts []geo.Point
	for lat := 0.5; lat < 84; lat += 11.9 {
		for d := -4.0; d <= 4; d += 1.7 {
			p := geo.Point{X: lon0 + d, Y: lat}
			if south {
				p.Y = -lat
			}
			pts = append(pts, p)
			fmt.Fprintf(&in, "%.12f %.12f\n", p.Y, p.X)
		}
	}
	worst := 0.0
	for i, row := range run(t, in.String(), "cs2cs", "-f", "%.7f", from, "EPSG:"+fmt.Sprint(c.EPSG())) {
		x, y, err := c.Forward(pts[i].X, pts[i].Y)
		if err != nil {
			t.Fatal(err)
		}
		worst = math.Max(worst, math.Hypot(x-number(t, row[0]), y-number(t, row[1])))
	}
	return worst
}

func TestOtherSystemsAgreeWithPROJFarBeyondTheirAreas(t *testing.T) {
	oracle.Need(t, "cs2cs")
	worst, back := 0.0, 0.0
	codes := []int{
		3857, 5070, 26951, 3433, 26952, 3452, 2254, 26998, 2278, 26941, 2230,
	}
	for _, code := range codes {
		c, err := crs.FromEPSG(code)
		if err != nil {
			t.Fatal(err)
		}
		from := "EPSG:4269"
		if code == 3857 {
			from = "EPSG:4326"
		}
		var in strings.Builder
		var pts []geo.Point
		for lat := 26.3; lat < 43; lat += 3.1 {
			for lon := -123.0; lon < -86; lon += 4.7 {
				if far(c, lon, lat) {
					continue
				}
				pts = append(pts, geo.Point{X: lon, Y: lat})
				fmt.Fprintf(&in, "%.12f %.12f\n", lat, lon)
			}
		}
		for i, row := range run(t, in.String(), "cs2cs", "-f", "%.7f", from, fmt.Sprintf("EPSG:%d", code)) {
			x, y, err := c.Forward(pts[i].X, pts[i].Y)
			if err != nil {
				t.Fatal(err)
			}
			worst = math.Max(worst, c.UnitM()*math.Hypot(x-number(t, row[0]), y-number(t, row[1])))
			lon, lat := c.Inverse(x, y)
			back = math.Max(back, math.Hypot(lon-pts[i].X, lat-pts[i].Y))
		}
	}
	t.Logf("%d systems against PROJ: %.2g m at worst, back %.2g degrees", len(codes), worst, back)
	if worst > 1e-4 || back > 1e-11 {
		t.Errorf("PROJ differs by %g m, and coming back by %g degrees", worst, back)
	}
}

func TestConvergenceAndScaleAgreeWithGeographicLib(t *testing.T) {
	oracle.Need(t, "GeoConvert")
	var in strings.Builder
	var pts []geo.Point
	for lat := -78.0; lat < 80; lat += 6.5 {
		for lon := -95.9; lon < -90; lon += 0.7 {
			pts = append(pts, geo.Point{X: lon, Y: lat})
			fmt.Fprintf(&in, "%.12f %.12f\n", lat, lon)
		}
	}
	var worstAngle, worstScale float64
	for i, row := range run(t, in.String(), "GeoConvert", "-c", "-z", "15", "-p", "8") {
		p := pts[i]
		c := crs.UTM(15, p.Y < 0)
		worstAngle = math.Max(worstAngle, math.Abs(c.Convergence(p.X, p.Y)-number(t, row[0])))
		worstScale = math.Max(worstScale, math.Abs(c.ScaleFactor(p.X, p.Y)-number(t, row[1])))
	}
	t.Logf("against GeographicLib: convergence %.2g degrees, scale %.2g", worstAngle, worstScale)
	if worstAngle > 1e-10 || worstScale > 1e-12 {
		t.Errorf("GeographicLib differs by %g degrees, %g in scale", worstAngle, worstScale)
	}
}

func TestConvergenceIsTheTurnFromTrueToGridNorth(t *testing.T) {
	c := crs.UTM(15, false)
	lon, lat := -91.55, 34.5 // east of the central meridian
	x0, y0, _ := c.Forward(lon, lat)
	x1, y1, _ := c.Forward(lon, lat+1e-5)
	// The meridian's grid bearing is true north as the grid sees it.
	grid := math.Atan2(x1-x0, y1-y0) * 180 / math.Pi
	if got := c.Convergence(lon, lat); got <= 0 || math.Abs(got+grid) > 1e-5 {
		t.Errorf("convergence %g, but true north lies at grid bearing %g", got, grid)
	}
}

func ring(flat ...float64) geo.Ring {
	var r geo.Ring
	for i := 0; i < len(flat); i += 2 {
		r = append(r, geo.Point{X: flat[i+1], Y: flat[i]}) // given as latitude, longitude
	}
	return r
}

// straightEdges puts n points on every edge of r, straight in longitude and
// latitude.
func straightEdges(r geo.Ring, n int) geo.Ring {
	var out geo.Ring
	for i, p := range r {
		q := r[(i+1)%len(r)]
		dx := math.Remainder(q.X-p.X, 360)
		for k := range n {
			f := float64(k) / float64(n)
			out = append(out, geo.Point{X: p.X + f*dx, Y: p.Y + f*(q.Y-p.Y)})
		}
	}
	return out
}

// Parallels are followed by many short geodesics: the error falls with the
// square of their number, so two numbers extrapolate to the limit.
func TestAreasBetweenParallelsReproduceClosedForms(t *testing.T) {
	for _, tc := range []struct {
		source    string
		r         geo.Ring
		want, tol float64 // m2
	}{
		{"T10.8: 1 degree cell at the equator bounded by parallels", ring(0, 0, 0, 1, 1, 1, 1, 0), 12308463893.975, 0.02},
		{"T10.8: 34-35 degrees", ring(34, 0, 34, 1, 35, 1, 35, 0), 10187811966.600, 0.02},
		{"T10.8: over the antimeridian", ring(34, 179.5, 34, -179.5, 35, -179.5, 35, 179.5), 10187811966.600, 0.02},
		{"T10.8: half the ellipsoid", ring(0, 0, 0, 90, 0, 180, 0, -90), 510065621724088.5 / 2, 10},
		{"T10.9: a field", ring(34.5, -91.55, 34.5, -91.5412, 34.507, -91.5412, 34.507, -91.55), 627551.371, 0.01},
	} {
		coarse, fine := crs.RingAreaM2(straightEdges(tc.r, 100)), crs.RingAreaM2(straightEdges(tc.r, 200))
		got := fine + (fine-coarse)/3
		t.Logf("%s: %.4f m2, closed form %.4f", tc.source, got, tc.want)
		if math.Abs(got-tc.want) > tc.tol {
			t.Errorf("%s: got %.4f, want %.4f", tc.source, got, tc.want)
		}
	}
}

// geodesicEdges puts n points on the geodesic of every edge of r.
func geodesicEdges(t *testing.T, r geo.Ring, n int) geo.Ring {
	t.Helper()
	var out geo.Ring
	for i, p := range r {
		q := r[(i+1)%len(r)]
		inverse := run(t, fmt.Sprintf("%.12f %.12f %.12f %.12f\n", p.Y, p.X, q.Y, q.X), "GeodSolve", "-i", "-p", "8")[0]
		azimuth, length := number(t, inverse[0]), number(t, inverse[2])
		var in strings.Builder
		for k := range n {
			fmt.Fprintf(&in, "%.6f\n", length*float64(k)/float64(n))
		}
		line := []string{"-L", fmt.Sprintf("%.12f", p.Y), fmt.Sprintf("%.12f", p.X), fmt.Sprintf("%.14f", azimuth), "-p", "9"}
		for _, row := range run(t, in.String(), "GeodSolve", line...) {
			out = append(out, geo.Point{X: number(t, row[1]), Y: number(t, row[0])})
		}
	}
	return out
}

// antarctica is the ring of T10.6.
func antarctica() geo.Ring {
	return ring(-63.1, -58, -72.9, -74, -71.9, -102, -74.9, -102, -74.3, -131, -77.5, -163, -77.4, 163,
		-71.7, 172, -65.9, 140, -65.7, 113, -66.6, 88, -66.9, 59, -69.8, 25, -70.0, -4, -71.0, -14, -77.3, -33, -77.9, -46, -74.7, -61)
}

func TestAreasOfGeodesicPolygonsReproducePublishedOnes(t *testing.T) {
	oracle.Need(t, "GeodSolve")
	for _, tc := range []struct {
		source string
		r      geo.Ring
		pieces int     // of every edge
		want   float64 // m2
		tol    float64 // relative
	}{
		{"T10.7: 1 degree cell, as it is", ring(0, 0, 0, 1, 1, 1, 1, 0), 1, 12308778361.469, 1e-7},
		{"T10.7: 1 degree cell", ring(0, 0, 0, 1, 1, 1, 1, 0), 50, 12308778361.469, 1e-12},
		{"T10.7: diamond, as it is", ring(0, -1, -1, 0, 0, 1, 1, 0), 1, 24619419146, 1e-7},
		{"T10.7: diamond", ring(0, -1, -1, 0, 0, 1, 1, 0), 50, 24619419146, 1e-10},
		{"T10.6: Antarctica", antarctica(), 100, 13662703680020.1, 1e-11},
	} {
		got := math.Abs(crs.RingAreaM2(geodesicEdges(t, tc.r, tc.pieces)))
		t.Logf("%s: %.3f m2, published %.3f", tc.source, got, tc.want)
		if math.Abs(got-tc.want) > tc.tol*tc.want {
			t.Errorf("%s: got %.3f, want %.3f", tc.source, got, tc.want)
		}
	}
}

func TestFieldAreasAgreeWithPlanimeter(t *testing.T) {
	oracle.Need(t, "Planimeter")
	for name, r := range map[string]geo.Ring{
		"T10.9 field":              ring(34.5, -91.55, 34.5, -91.5412, 34.507, -91.5412, 34.507, -91.55),
		"square mile":              ring(34.5, -91.55, 34.5, -91.5325, 34.5145, -91.5325, 34.5145, -91.55),
		"triangle askew":           ring(30.2141, -92.3746, 30.2222, -92.3701, 30.2180, -92.3610),
		"southern":                 ring(-28.90, -49.70, -28.91, -49.69, -28.92, -49.695, -28.915, -49.71),
		"half an acre, California": ring(39.4125, -121.7128, 39.4125, -121.7122, 39.41285, -121.7122, 39.41285, -121.7128),
	} {
		var in strings.Builder
		for _, p := range r {
			fmt.Fprintf(&in, "%.12f %.12f\n", p.Y, p.X)
		}
		want := math.Abs(number(t, run(t, in.String(), "Planimeter", "-p", "11")[0][2]))
		got := math.Abs(crs.RingAreaM2(r))
		t.Logf("%s: %.5f m2, Planimeter %.5f, ratio less one %.2g", name, got, want, got/want-1)
		if math.Abs(got-want) > 1e-5+1e-9*want {
			t.Errorf("%s: got %.3f m2, Planimeter says %.3f", name, got, want)
		}
	}
}

// far reports whether c refuses the position: a narrow projection does.
func far(c crs.CRS, lon, lat float64) bool {
	_, _, err := c.Forward(lon, lat)
	return err != nil
}
