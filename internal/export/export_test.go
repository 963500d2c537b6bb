package export_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/block"
	"bittern/internal/crs"
	"bittern/internal/export"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/oracle"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/vector"
)

const acreM2 = 4046.8564224

func boundary() geo.MultiPolygon {
	return geo.MultiPolygon{{Outer: geo.Ring{{X: -91.55, Y: 34.5}, {X: -91.547, Y: 34.5}, {X: -91.547, Y: 34.502}, {X: -91.55, Y: 34.502}}}}
}

// disc returns the cells within r cells of (col, row).
func disc(g grid.Grid, col, row, r int) (cells []int32) {
	for y := row - r; y <= row+r; y++ {
		for x := col - r; x <= col+r; x++ {
			if (x-col)*(x-col)+(y-row)*(y-row) <= r*r {
				cells = append(cells, int32(g.Index(x, y)))
			}
		}
	}
	return cells
}

func day(t *testing.T) export.Day {
	t.Helper()
	g, err := grid.New(boundary())
	if err != nil {
		t.Fatal(err)
	}
	d := export.Day{
		Grid: g, Program: "bittern test", FieldName: "North Slough 3", Boundary: boundary(),
		Acres: crs.AreaM2(boundary()) / acreM2, Planned: true, Workers: 2,
	}
	d.Layout = layout(t, g)
	d.Finding = &suspect.Finding{}
	for i, cells := range [][]int32{disc(g, 150, 150, 30), disc(g, 300, 200, 8)} {
		s := suspect.Suspect{
			ID: fmt.Sprintf("s-%d", i), Letter: []string{"A", ""}[i], Check: "1", Cells: cells, Outline: g.TraceCells(cells),
			Acres: float64(len(cells)) * g.AcresPerCell, Severity: suspect.Heavy, Look: "browned",
			Hints: []suspect.Hint{{Cause: "escapes", For: []string{"browned above the rice"}, LookFor: "live green at the base"}},
		}
		d.Finding.Suspects = append(d.Finding.Suspects, s)
	}
	killed := append(disc(g, 400, 300, 10), disc(g, 450, 300, 5)...)
	d.Finding.Killed, d.Finding.KilledAcres = g.TraceCells(killed), float64(len(killed))*g.AcresPerCell
	d.Departure = make([]float32, g.Len())
	for i := range d.Departure {
		d.Departure[i] = float32(i % 7)
		if i%g.Cols < 40 {
			d.Departure[i] = float32(math.NaN())
		}
	}
	d.Plan = plan(g)
	d.Skips = []export.Skip{{
		ID: "1", WidthFt: 7.04, LengthFt: 328.08, HeadingDeg: 12.04, SpacingFt: 65.02, Acres: 0.0529,
		Lines: []geo.Line{{g.Center(20, 60), g.Center(20, 40)}, {g.Center(20, 30), g.Center(20, 20)}},
	}}
	return d
}

func layout(t *testing.T, g grid.Grid) *structure.Layout {
	t.Helper()
	m, err := g.FromLonLat(boundary())
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	inside := g.Inside(m)
	l := &structure.Layout{Found: "from the picture", Levees: []structure.LeveeLine{{
		Line: geo.Line{{X: b.Min.X, Y: b.Center().Y}, {X: b.Max.X, Y: b.Center().Y}}, WidthM: 3,
	}}}
	for k := range 2 {
		n := 0
		outline := g.TraceMask(func(i int) bool {
			in := inside[i] && (i/g.Cols < g.Rows/2) == (k == 0)
			if in {
				n++
			}
			return in
		})
		l.Checks = append(l.Checks, structure.Check{ID: fmt.Sprint(k + 1), Outline: outline, Cells: n})
	}
	return l
}

// plan is one block of 70 runs of 20 m with ends of their own.
func plan(g grid.Grid) *block.Plan {
	scale := g.CRS().ScaleFactor(-91.5485, 34.501)
	x, y := g.OriginX+40, g.OriginY-180
	p := &block.Plan{Applicator: "Delta Air 2", Kind: block.Aircraft}
	var up, down geo.Ring
	for i := range 70 {
		left, right := x+3*float64(i), x+3*float64(i+1)
		from, to := y-float64(i*7%13), y+100+float64(i*5%11)
		down = append(down, geo.Point{X: left, Y: from}, geo.Point{X: right, Y: from})
		up = append(up, geo.Point{X: left, Y: to}, geo.Point{X: right, Y: to})
		r := block.Run{Block: "1", Order: i + 1, From: geo.Point{X: left + 1.5, Y: from}, To: geo.Point{X: left + 1.5, Y: to}, OpenS: 1.6}
		r.LengthM, r.ValveOnM2 = (to-from)/scale, (to-from)*3/scale/scale
		p.Runs = append(p.Runs, r)
	}
	for i := range up {
		down = append(down, up[len(up)-1-i])
	}
	b := block.Block{ID: "1", Outline: geo.Polygon{Outer: down.Clean()}, Runs: p.Runs, HeadingDeg: 0.8, LongestRunM: 110, ShortestOpenS: 1.6}
	b.Acres = b.Outline.Area() / scale / scale / acreM2
	b.ValveOnAcres = b.Acres
	p.Blocks, p.BlockAcres, p.ValveOnAcres = []block.Block{b}, b.Acres, b.Acres
	return p
}

func written(t *testing.T, d export.Day) string {
	t.Helper()
	dir := t.TempDir()
	if err := export.Write(t.Context(), dir, d); err != nil {
		t.Fatal(err)
	}
	return dir
}

// tree returns the files below dir and their contents.
func tree(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	out := make(map[string][]byte)
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(name)], err = os.ReadFile(path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestDayWritesItsFilesAndNoOthers(t *testing.T) {
	d := day(t)
	files := tree(t, written(t, d))
	want := []string{"blocks.geojson", "checks.geojson", "day.gpkg", "departure.tif", "field.geojson", "levees.geojson", "runs.geojson", "skips.geojson", "suspects.geojson"}
	for _, name := range want {
		if len(files["data/"+name]) == 0 {
			t.Errorf("%s is missing", name)
		}
	}
	if len(files) != len(want) {
		t.Errorf("%d files", len(files))
	}
	d.Planned, d.Plan, d.Finding = false, nil, &suspect.Finding{}
	files = tree(t, written(t, d))
	if len(files) != len(want)-2 || !bytes.Contains(files["data/suspects.geojson"], []byte(`"features":[`)) {
		t.Errorf("without an applicator and suspects: %d files", len(files))
	}
}

func TestASkipIsOneFeatureWithItsFigures(t *testing.T) {
	d := day(t)
	l, err := vector.ReadFile(filepath.Join(written(t, d), "data", "skips.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Features) != 1 || len(l.Features[0].Lines) != 2 {
		t.Fatalf("%d features", len(l.Features))
	}
	for name, want := range map[string]float64{"width_ft": 7, "length_ft": 328.1, "heading_deg": 12, "spacing_ft": 65, "acres": 0.0529} {
		if got, ok := l.Features[0].Properties.Number(name); !ok || got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
	}
}

func TestSameDayGivesSameBytes(t *testing.T) {
	a, d := tree(t, written(t, day(t))), day(t)
	d.Workers = 1
	b := tree(t, written(t, d))
	for name, data := range a {
		if !bytes.Equal(data, b[name]) {
			t.Errorf("%s differs between two writes", name)
		}
	}
}

func TestAcresEqualTheGeometryOnTheEllipsoid(t *testing.T) {
	d := day(t)
	dir := written(t, d)
	worst := 0.0
	for _, name := range []string{"suspects.geojson", "checks.geojson", "blocks.geojson", "day.gpkg"} {
		l, err := vector.ReadFile(filepath.Join(dir, "data", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range l.Features {
			stated, ok := f.Properties.Number("acres")
			if !ok || len(f.Polygons) == 0 {
				continue // lines: runs, levees, skips
			}
			own := crs.AreaM2(f.Polygons) / acreM2
			worst = math.Max(worst, math.Abs(own-stated)/stated)
			if math.Abs(own-stated) > 5.1e-5+5e-6*stated {
				t.Errorf("%s: %s says %v acres, its outline holds %v", name, f.Properties.Text("id"), stated, own)
			}
		}
	}
	t.Logf("acres and outlines differ by %.2g at most", worst)
}

func TestSuspectsHaveTheirProperties(t *testing.T) {
	d := day(t)
	p := 0.75
	d.Walked = map[string]export.Walked{"s-1": {Stops: 4, Found: 3, State: "confirmed", Probability: &p}}
	var got struct {
		Features []struct {
			Properties struct {
				ID, State              string
				Letter, Check          *string
				Severity, Look         *string
				Acres                  json.Number
				Hints                  []struct{ Cause string }
				Walked                 struct{ Stops, Found int }
				Probability            *float64
				For, Against, LookedAt []string
			}
			Geometry struct{ Type string }
		}
	}
	if err := json.Unmarshal(tree(t, written(t, d))["data/suspects.geojson"], &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Features) != 3 {
		t.Fatalf("%d features", len(got.Features))
	}
	a, b, k := got.Features[0].Properties, got.Features[1].Properties, got.Features[2].Properties
	if a.ID != "s-0" || *a.Letter != "A" || a.State != "suspect" || a.Probability != nil || len(a.Hints) != 1 || a.Hints[0].Cause != "escapes" {
		t.Errorf("first: %+v", a)
	}
	if _, decimals, _ := strings.Cut(a.Acres.String(), "."); len(decimals) != 4 {
		t.Errorf("acres %s", a.Acres)
	}
	if b.Letter != nil || b.State != "confirmed" || b.Walked.Found != 3 || *b.Probability != 0.75 {
		t.Errorf("second: %+v", b)
	}
	if k.State != "killed" || k.Letter != nil || k.Severity != nil || got.Features[2].Geometry.Type != "MultiPolygon" {
		t.Errorf("killed: %+v", k)
	}
}

func TestRunsKeepTheirTrueBearing(t *testing.T) {
	d := day(t)
	l, err := vector.ReadFile(filepath.Join(written(t, d), "data", "runs.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	var in strings.Builder
	for _, f := range l.Features {
		a, b := f.Lines[0][0], f.Lines[0][1]
		fmt.Fprintf(&in, "%.10f %.10f %.10f %.10f\n", a.Y, a.X, b.Y, b.X)
	}
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, "GeodSolve"), "-i")
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		var azimuth, back, length float64
		if _, err := fmt.Sscan(line, &azimuth, &back, &length); err != nil {
			t.Fatal(err)
		}
		heading, _ := l.Features[i].Properties.Number("heading_deg")
		feet, _ := l.Features[i].Properties.Number("length_ft")
		if math.Abs(math.Remainder(heading-azimuth, 360)) > 0.06 || math.Abs(feet*0.3048-length) > 0.03 {
			t.Errorf("run %d: %v degrees, %v ft; GeographicLib says %v degrees, %v m", i, heading, feet, azimuth, length)
		}
	}
}

func TestGDALOpensTheDay(t *testing.T) {
	d := day(t)
	dir := written(t, d)
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo", "numpy"), "-c", `
import sys
from osgeo import gdal, ogr
gdal.UseExceptions()
ds = gdal.Open(sys.argv[1] + "/data/departure.tif")
a = ds.ReadAsArray()
print(ds.RasterXSize, ds.RasterYSize, ds.GetSpatialRef().GetAuthorityCode(None), ds.GetGeoTransform()[0], ds.GetGeoTransform()[3], a[0,50], a[0,0], ds.GetRasterBand(1).GetNoDataValue())
g = gdal.OpenEx(sys.argv[1] + "/data/day.gpkg", gdal.OF_VECTOR)
print(*(f"{g.GetLayer(i).GetName()}:{g.GetLayer(i).GetFeatureCount()}" for i in range(7)))
`, dir)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	want := fmt.Sprintf("%d %d 32615 %.1f %.1f 1.0 nan nan\nfield:1 checks:2 levees:1 skips:1 suspects:3 blocks:1 runs:70\n", d.Grid.Cols, d.Grid.Rows, d.Grid.OriginX, d.Grid.OriginY)
	if string(out) != want {
		t.Errorf("got\n%swant\n%s", out, want)
	}
}

func guidance(t *testing.T) export.Guidance {
	t.Helper()
	d := day(t)
	rate := 10.0
	return export.Guidance{
		Grid: d.Grid, Field: d.FieldName, Applicator: d.Plan.Applicator, Kind: d.Plan.Kind, Plan: d.Plan,
		Revision: 1, Code: "K7Q2MD", GallonsPerAcre: &rate, Cautions: []string{"DRAFT: the suspects were not walked."},
	}
}

func TestAircraftGetsBlocksThatItsConsoleTakes(t *testing.T) {
	g := guidance(t)
	dir := t.TempDir()
	if err := export.WriteGuidance(dir, g); err != nil {
		t.Fatal(err)
	}
	files := tree(t, dir)
	for _, name := range []string{"blocks-r1-K7Q2MD-UNPINNED.zip", "blocks-r1-K7Q2MD-UNPINNED.kml", "read-me-r1-K7Q2MD-UNPINNED.txt"} {
		if len(files["guidance/delta-air-2/"+name]) == 0 {
			t.Errorf("%s is missing", name)
		}
	}
	if len(files) != 3 {
		t.Errorf("%d files: nothing spare is wanted", len(files))
	}
	for _, ext := range []string{".zip", ".kml"} {
		l, err := vector.ReadFile(filepath.Join(dir, "guidance", "delta-air-2", "blocks-r1-K7Q2MD-UNPINNED"+ext))
		if err != nil {
			t.Fatal(err)
		}
		f := l.Features[0]
		if len(l.Features) != 1 || len(f.Polygons) != 1 || len(f.Polygons[0].Holes) != 0 || len(f.Polygons[0].Outer) > 100 {
			t.Errorf("%s: %d corners", ext, len(f.Polygons[0].Outer))
		}
		if fault, at := f.Polygons.Fault(); fault != geo.Sound {
			t.Errorf("%s: fault %v at %v", ext, fault, at)
		}
		stated, _ := f.Properties.Number("acres")
		if own := crs.AreaM2(f.Polygons) / acreM2; math.Abs(own/stated-1) > 1e-3 || math.Abs(stated-g.Plan.BlockAcres) > 1e-4 {
			t.Errorf("%s: %v acres stated, %v in the outline, %v in the plan", ext, stated, own, g.Plan.BlockAcres)
		}
		if f.Properties.Text("name") != "B1" {
			t.Errorf("%s: name %q", ext, f.Properties.Text("name"))
		}
	}
	text := string(files["guidance/delta-air-2/read-me-r1-K7Q2MD-UNPINNED.txt"])
	for _, words := range []string{"K7Q2MD", "UNPINNED", "WGS84", "NONE ENTERED, not surveyed", "The label is the law", "no outline moved more than", "DRAFT"} {
		if !strings.Contains(text, words) {
			t.Errorf("the read-me lacks %q:\n%s", words, text)
		}
	}
}

func TestMarkedGroundHasAFileOfItsOwn(t *testing.T) {
	g := guidance(t)
	g.Pinned = true
	g.DoNotSpray = []export.DoNotSpray{{Name: "J. Hale", Mark: "neighbour", Outline: g.Grid.TraceCells(disc(g.Grid, 200, 200, 20))}}
	dir := t.TempDir()
	if err := export.WriteGuidance(dir, g); err != nil {
		t.Fatal(err)
	}
	files := tree(t, dir)
	if len(files) != 5 || files["guidance/delta-air-2/do-not-spray-r1-K7Q2MD.zip"] == nil || files["guidance/delta-air-2/do-not-spray-r1-K7Q2MD.kml"] == nil {
		t.Errorf("%d files", len(files))
	}
	text := string(files["guidance/delta-air-2/read-me-r1-K7Q2MD.txt"])
	if !strings.Contains(text, "neighbour, J. Hale") || strings.Contains(text, "UNPINNED") || strings.Contains(text, "NONE ENTERED") {
		t.Errorf("the read-me:\n%s", text)
	}
}

func TestRigGetsRates(t *testing.T) {
	g := guidance(t)
	g.Kind, g.Applicator = block.GroundRig, "Rig"
	dir := t.TempDir()
	if err := export.WriteGuidance(dir, g); err != nil {
		t.Fatal(err)
	}
	source := "/vsizip/" + filepath.Join(dir, "guidance", "rig", "blocks-r1-K7Q2MD-UNPINNED.zip")
	cmd := exec.CommandContext(t.Context(), oracle.Need(t, "ogrinfo"), "-al", "-geom=NO", source)
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "RATE (Real) = 10.000") || !strings.Contains(string(out), "NAME (String) = B1") {
		t.Errorf("%v: %s", err, out)
	}
	if files := tree(t, dir); len(files) != 2 {
		t.Errorf("%d files", len(files))
	}
	g.GallonsPerAcre = nil
	if err := export.WriteGuidance(dir, g); err != nil {
		t.Fatal(err)
	}
	l, err := vector.ReadFile(filepath.Join(dir, "guidance", "rig", "blocks-r1-K7Q2MD-UNPINNED.zip"))
	if err != nil || l.Features[0].Properties.Text("rate") != "" {
		t.Errorf("a rate that was not typed: %+v %v", l, err)
	}
}

func TestHandGetsThePatchesThemselves(t *testing.T) {
	g := guidance(t)
	cells := append(disc(g.Grid, 300, 200, 8), disc(g.Grid, 150, 150, 30)...)
	g.Applicator, g.Kind = "crew", block.ByHand
	g.Plan = &block.Plan{Applicator: "crew", Kind: block.ByHand, Treated: cells, TreatedAcres: float64(len(cells)) * g.Grid.AcresPerCell}
	dir := t.TempDir()
	if err := export.WriteGuidance(dir, g); err != nil {
		t.Fatal(err)
	}
	l, err := vector.ReadFile(filepath.Join(dir, "guidance", "crew", "blocks-r1-K7Q2MD-UNPINNED.kml"))
	if err != nil || len(l.Features) != 2 || l.Features[0].Properties.Text("name") != "P1" {
		t.Fatalf("%+v %v", l, err)
	}
	total := 0.0
	for _, f := range l.Features {
		v, _ := f.Properties.Number("acres")
		total += v
	}
	if math.Abs(total-g.Plan.TreatedAcres) > 2e-4 || l.Features[0].Properties.Text("acres") < l.Features[1].Properties.Text("acres") {
		t.Errorf("%v acres of %v", total, g.Plan.TreatedAcres)
	}
}

func TestFolderNamesArePlain(t *testing.T) {
	for name, want := range map[string]string{"Delta Air, 2": "delta-air-2", "plane": "plane", "../..": "applicator", "Ñandú": "and", "": "applicator", "A  b-": "a-b"} {
		if got := export.Plain(name); got != want {
			t.Errorf("%q: got %q, want %q", name, got, want)
		}
	}
}

// BenchmarkQuarterSection writes the files of a day on 160 acres with a few
// hundred suspects.
func BenchmarkQuarterSection(b *testing.B) {
	field := geo.MultiPolygon{{Outer: geo.Ring{{X: -91.55, Y: 34.5}, {X: -91.5412, Y: 34.5}, {X: -91.5412, Y: 34.507}, {X: -91.55, Y: 34.507}}}}
	g, err := grid.New(field)
	if err != nil {
		b.Fatal(err)
	}
	d := export.Day{Grid: g, Boundary: field, Layout: &structure.Layout{}, Finding: &suspect.Finding{}, Workers: 2, Departure: make([]float32, g.Len())}
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range d.Departure {
		d.Departure[i] = float32(math.Abs(rng.NormFloat64()))
	}
	for i := range 300 {
		cells := disc(g, 60+rng.IntN(g.Cols-120), 60+rng.IntN(g.Rows-120), 2+rng.IntN(30))
		d.Finding.Suspects = append(d.Finding.Suspects, suspect.Suspect{ID: fmt.Sprint(i), Outline: g.TraceCells(cells)})
	}
	dir := b.TempDir()
	for b.Loop() {
		if err := export.Write(b.Context(), dir, d); err != nil {
			b.Fatal(err)
		}
	}
}
