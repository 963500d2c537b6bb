package suspect_test

import (
	"math"
	"reflect"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/invent"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// flown makes the summary and the layout of an invented field without levees.
func flown(t *testing.T, scene invent.Scene) (*cells.Summary, *structure.Layout) {
	t.Helper()
	f, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	drawn := geo.MultiPolygon{f.BoundaryExact()}
	g, err := grid.New(drawn)
	if err != nil {
		t.Fatal(err)
	}
	edge, err := g.FromLonLat(drawn)
	if err != nil {
		t.Fatal(err)
	}
	is := f.Format()
	kind := map[int]cells.Sample{1: cells.Uint8, 2: cells.Uint16}[is.SampleBytes]
	src := cells.Source{Cols: is.Cols, Rows: is.Rows, Affine: is.Affine, Bands: is.Bands, Sample: kind, SRGB: kind == cells.Uint8, Fill: f.Fill}
	s, err := cells.FromSource(t.Context(), []cells.Source{src}, g, g.Inside(edge), 2)
	if err != nil {
		t.Fatal(err)
	}
	truth := f.Truth(g)
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, g.Len()), Check: make([]int32, g.Len()), Checks: []structure.Check{{ID: "1"}}}
	for i, c := range truth.Class {
		if c != invent.Crop && c != invent.Shade {
			l.Reason[i], l.Check[i] = structure.Outside, -1
		}
	}
	return s, l
}

func TestCleanFieldsGiveNextToNothing(t *testing.T) {
	for _, sensor := range []invent.Sensor{invent.FourBand16, invent.ColorNIR8} {
		scene := invent.Clean(sensor, 31)
		scene.Acres, scene.PixelM, scene.Levees = 3, 0.10, invent.NoLevees
		if acres, _, _ := suspected(t, scene); acres > 0.05 {
			t.Errorf("%v: %.3f acres of suspects in a clean field of 3", sensor, acres)
		}
	}
}

func TestAnAcreOfDenseWeedsIsFoundAndNotFaint(t *testing.T) {
	scene := invent.Clean(invent.FourBand16, 35)
	scene.Acres, scene.PixelM, scene.Levees = 5, 0.10, invent.NoLevees
	scene.Weeds = invent.Weeds{Acres: 1.2, Patches: 1, Light: 0.5, Heavy: 0.6}
	acres, faint, killed := suspected(t, scene)
	if acres < 0.7 || acres > 1.7 || faint > 0.2*acres || killed > 0.05 {
		t.Errorf("%.2f acres, %.2f of them faint, %.2f called killed, of 1.2 planted", acres, faint, killed)
	}
}

// suspected returns the acres of suspects in a scene, of faint ones, and of
// killed ground.
func suspected(t *testing.T, scene invent.Scene) (acres, faint, killed float64) {
	t.Helper()
	s, l := flown(t, scene)
	d, err := norm.Find(t.Context(), s, l, norm.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	f, err := suspect.Find(t.Context(), s, l, d, suspect.Defaults(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range f.Suspects {
		acres += x.Acres
		if x.Severity == suspect.Faint {
			faint += x.Acres
		}
	}
	return acres, faint, f.KilledAcres
}

func planted(t *testing.T, noise float64) *suspect.SmallestSeen {
	t.Helper()
	scene := invent.Clean(invent.FourBand16, 3)
	scene.Acres, scene.PixelM, scene.Levees, scene.Noise = 3, 0.08, invent.NoLevees, noise
	s, l := flown(t, scene)
	d, err := norm.Find(t.Context(), s, l, norm.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	f, err := suspect.Find(t.Context(), s, l, d, suspect.Defaults(), nil)
	if err != nil {
		t.Fatal(err)
	}
	seen, err := suspect.Plant(t.Context(), s, l, d, f, suspect.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	again, err := suspect.Plant(t.Context(), s, l, d, f, suspect.Defaults())
	if err != nil || !reflect.DeepEqual(seen, again) {
		t.Errorf("planting twice gives %+v and %+v, error %v", seen, again, err)
	}
	return seen
}

func TestPlantedPatchesSayWhatTheFlightShows(t *testing.T) {
	quiet := planted(t, 1)
	for _, r := range quiet.Table {
		t.Logf("%.2f acre at %.1f spreads: %d of %d", r.Acres, r.Strength, r.Found, r.Planted)
		if r.Found > r.Planted || r.Planted > 40 {
			t.Errorf("%d of %d", r.Found, r.Planted)
		}
	}
	if quiet.Acres == nil {
		t.Fatalf("no planted size was seen: %+v", quiet)
	}
	if quiet.AsStrongAs != "" {
		t.Errorf("a clean field planted as strong as %s", quiet.AsStrongAs)
	}
	if noisy := planted(t, 4); coverOf(t, noisy, 2) <= coverOf(t, quiet, 2) {
		t.Errorf("weeds of 2 spreads cover %.2f of the ground in a quiet picture and %.2f in a noisy one", coverOf(t, quiet, 2), coverOf(t, noisy, 2))
	}
}

// coverOf is the cover that planted weeds of a strength have.
func coverOf(t *testing.T, seen *suspect.SmallestSeen, strength float64) float64 {
	t.Helper()
	for _, row := range seen.Table {
		if row.Strength == strength {
			return row.Cover
		}
	}
	t.Fatalf("no row of strength %g in %+v", strength, seen)
	return 0
}

// What a person reads as "weeds over a tenth of the ground" must be a tenth of the ground under real weeds, within
// a factor of two and a half: the invented field's own weeds, whose cover is known, are read at 2 spreads.
func TestTheCoverThatIsToldIsThatOfTheFieldsOwnWeeds(t *testing.T) {
	for _, sensor := range []invent.Sensor{invent.FourBand16, invent.ColorNIR8} {
		scene := invent.Clean(sensor, 41)
		scene.Acres, scene.PixelM, scene.Levees = 5, 0.06, invent.NoLevees
		scene.Weeds = invent.Weeds{Acres: 0.5, Patches: 3, Light: 0.1, Heavy: 0.3}
		field, err := invent.New(scene)
		if err != nil {
			t.Fatal(err)
		}
		s, l := flown(t, scene)
		p := suspect.Defaults()
		d, err := norm.Find(t.Context(), s, l, p.Norm)
		if err != nil {
			t.Fatal(err)
		}
		f, err := suspect.Find(t.Context(), s, l, d, p, nil)
		if err != nil {
			t.Fatal(err)
		}
		seen, err := suspect.Plant(t.Context(), s, l, d, f, p)
		if err != nil {
			t.Fatal(err)
		}
		truth, n := field.Truth(s.Grid), d.Norms[0]
		var covers []float32
		for i, e := range d.Evidence {
			if z := (float64(e) - n.Center[norm.Weight]) / n.Spread[norm.Weight]; truth.Patch[i] >= 0 && z > 1.8 && z < 2.2 {
				covers = append(covers, truth.Density[i])
			}
		}
		own, told := stat.Median(covers), coverOf(t, seen, 2)
		t.Logf("%v: weeds of 2 spreads cover %.3f of the ground, planted ones %.3f (%d cells)", sensor, own, told, len(covers))
		if len(covers) < 50 || told < own/2.5 || told > 2.5*own {
			t.Errorf("%v: weeds of 2 spreads cover %.3f of the ground (%d cells), and %.3f is told", sensor, own, len(covers), told)
		}
	}
}

func TestAFieldWithoutCropPlantsNothing(t *testing.T) {
	p := newPlot(20, 20, 20)
	for i := range p.l.Reason {
		p.l.Reason[i] = structure.Water
		p.d.Share[i] = float32(math.NaN())
	}
	p.s.Pixels = make([]uint32, 400)
	p.d.Norms = []norm.CheckNorm{{Check: "1"}}
	seen, err := suspect.Plant(t.Context(), &p.s, &p.l, &p.d, &suspect.Finding{}, suspect.Defaults())
	if err != nil || seen.Acres != nil || seen.Planted != 0 {
		t.Errorf("got %+v, error %v", seen, err)
	}
}

// A question that looks for whole effects counts none under half of one: what is
// planted must reach that, or nothing is ever seen, however large.
func TestPlantedGapsAreSeenWhereAGapWouldBe(t *testing.T) {
	scene := invent.Clean(invent.FourBand16, 37)
	scene.Acres, scene.PixelM, scene.Levees = 3, 0.10, invent.NoLevees
	s, l := flown(t, scene)
	p := suspect.Defaults()
	p.Norm.Search = &norm.Search{
		// From two fifths of canopy to bare soil: rows "canopy" and "drysoil" of
		// docs/references.md, table of indices (illustrative there).
		Targets: []norm.Target{{Look: norm.Thinned, Adds: map[string]float64{"red": 0.30, "rededge": -0.14, "nir": -0.44}}},
		SmoothM: 1, Floor: 0.04, Share: 0.6, Least: 2.5, From: 0.35,
	}
	p.Counts, p.Evident = []norm.Look{norm.Thinned}, []norm.Look{norm.Thinned}
	p.Low, p.High, p.HemM, p.HemFrom, p.LeastMass = 0.35, 0.55, 0, 0, 0
	d, err := norm.Find(t.Context(), s, l, p.Norm)
	if err != nil {
		t.Fatal(err)
	}
	none := &suspect.Finding{} // whatever gaps the field has: without suspects there is no strength to take over
	got, err := suspect.Plant(t.Context(), s, l, d, none, p)
	if err != nil {
		t.Fatal(err)
	}
	if got.Acres == nil || *got.Acres > 0.25 {
		t.Errorf("smallest seen %+v", got)
	}
	own := 0
	for _, row := range got.Table {
		if row.Strength != 1 && row.Strength != 2 && row.Strength != 3 {
			own++
		}
	}
	if own == 0 {
		t.Errorf("the table has no row of what just counts: %+v", got.Table)
	}
}
