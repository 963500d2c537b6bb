package invent_test

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/invent"
	"bittern/internal/oracle"
)

func TestCropLooksLikeRiceToAnIndex(t *testing.T) {
	// Source of the range: Trans. CSAE 2009 (docs/references.md T1): optimum
	// NDVI of rice 0.37-0.55 at tillering, 0.76-0.80 at jointing, by an active
	// canopy sensor; NDVI saturates near 0.82.
	for _, sensor := range []invent.Sensor{invent.FourBand16, invent.FiveBandFloat} {
		f := field(t, small(sensor, 12))
		truth := f.Truth(cellsOf(f))
		seen := surveyed(t, f, truth.Grid)
		var ndvi, soil []float64
		for k, c := range truth.Class {
			v := index(seen.mean["nir"][k], seen.mean["red"][k])
			switch {
			case c == invent.Crop && truth.Density[k] == 0:
				ndvi = append(ndvi, v)
			case c == invent.Road:
				soil = append(soil, v)
			}
		}
		lo, mid, hi := quantile(ndvi, 0.1), quantile(ndvi, 0.5), quantile(ndvi, 0.9)
		t.Logf("%v: crop NDVI %.2f, %.2f, %.2f; roads %.2f", sensor, lo, mid, hi, quantile(soil, 0.5))
		if lo < 0.4 || mid < 0.6 || hi > 0.85 {
			t.Errorf("%v: crop NDVI %.2f to %.2f, middle %.2f: rice lies between 0.4 and 0.85", sensor, lo, hi, mid)
		}
		if s := quantile(soil, 0.5); s > 0.3 {
			t.Errorf("%v: roads have NDVI %.2f", sensor, s)
		}
	}
}

// index is the normalised difference of a and b.
func index(a, b float32) float64 { return float64((a - b) / (a + b)) }

// quantile sorts v and returns its q quantile.
func quantile(v []float64, q float64) float64 {
	slices.Sort(v)
	return v[int(q*float64(len(v)-1))]
}

func TestBoundaryHoldsTheAcresAskedFor(t *testing.T) {
	for _, acres := range []float64{5, 24, 118} {
		if testing.Short() && acres > 5 {
			continue
		}
		s := invent.Believable(invent.FourBand16, 8)
		s.Acres, s.HandDrawnM = acres, 1.5
		f := field(t, s)
		exact := crs.AreaM2(geo.MultiPolygon{f.BoundaryExact()}) / 4046.8564224
		hand := crs.AreaM2(geo.MultiPolygon{f.Boundary()}) / 4046.8564224
		// Grid acres of a UTM zone under-read by up to 0.08 %.
		if math.Abs(exact-acres) > 0.001*acres {
			t.Errorf("%g acres asked for, the edge holds %.3f", acres, exact)
		}
		if hand == exact || math.Abs(hand-exact) > 0.06*acres {
			t.Errorf("%g acres: drawn by hand %.3f, exact %.3f", acres, hand, exact)
		}
	}
}

func TestLeveesAreSpacedAsInPractice(t *testing.T) {
	// Source: docs/references.md R13: spacing 100 to 400 ft, base 6 to 10 ft, 3
	// to 8 % of the area. Worn and missing stretches bring the share down; the
	// perimeter levee of a small field brings it up.
	for seed := range seeds(6) {
		s := invent.Believable(invent.FourBand16, 30+seed)
		f := field(t, s)
		truth := f.Truth(cellsOf(f))
		length, width := 0.0, 0.0
		for i, l := range truth.Levees {
			for k := 1; k < len(l); k++ {
				length += math.Hypot(l[k].X-l[k-1].X, l[k].Y-l[k-1].Y)
			}
			width += truth.LeveeM[i] / float64(len(truth.Levees))
		}
		if spacing := s.Acres * 4046.8564224 / length / 0.3048; spacing < 100 || spacing > 450 {
			t.Errorf("seed %d: %d levees, %.0f ft apart on average", s.Seed, len(truth.Levees), spacing)
		}
		if ft := width / 0.3048; ft < 6 || ft > 11 {
			t.Errorf("seed %d: levees %.1f ft wide", s.Seed, ft)
		}
	}
}

func TestEveryBandHasNoiseOfItsOwn(t *testing.T) {
	s := small(invent.FiveBandFloat, 21)
	quiet := s
	quiet.Noise = 1e-9
	is := field(t, s).Format()
	w := grid.Window{Col: is.Cols / 3, Row: is.Rows / 3, Cols: 200, Rows: 200}
	a, b := samples(t, field(t, s), w), samples(t, field(t, quiet), w)
	nb := len(is.Bands)
	for i := range nb {
		for j := range i {
			if r := correlation(a, b, nb, i, j); math.Abs(r) > 0.03 {
				t.Errorf("noise of %s and %s correlates at %.3f", is.Bands[i], is.Bands[j], r)
			}
		}
	}
}

// samples renders a window as linear light.
func samples(t *testing.T, f *invent.Field, w grid.Window) []float64 {
	t.Helper()
	is := f.Format()
	buf := make([]byte, w.Cols*w.Rows*len(is.Bands)*is.SampleBytes)
	if err := f.Fill(w, buf); err != nil {
		t.Fatal(err)
	}
	out := make([]float64, len(buf)/is.SampleBytes)
	for i := range out {
		out[i] = sample(buf[i*is.SampleBytes:], is.SampleBytes)
	}
	return out
}

// correlation is that of a-b between bands i and j of nb.
func correlation(a, b []float64, nb, i, j int) float64 {
	var xx, yy, xy float64
	for k := 0; k < len(a); k += nb {
		x, y := a[k+i]-b[k+i], a[k+j]-b[k+j]
		xx, yy, xy = xx+x*x, yy+y*y, xy+x*y
	}
	return xy / math.Sqrt(xx*yy)
}

func TestWeedsChangeOnlyTheGroundTheyStandOn(t *testing.T) {
	// Nothing else in a picture may give the truth away: the twin without
	// weeds has the same pixels 1 m and more from any of them.
	s := small(invent.FourBand16, 33)
	s.Weeds.Strays, s.KilledAcres = 0, 0
	twin := s
	twin.Weeds = invent.Weeds{}
	f := field(t, s)
	truth := f.Truth(cellsOf(f))
	is, g := f.Format(), truth.Grid
	whole := grid.Window{Cols: is.Cols, Rows: is.Rows}
	a, b := samples(t, f, whole), samples(t, field(t, twin), whole)
	near := make([]bool, g.Len())
	for row := 2; row < g.Rows-2; row++ {
		for col := 2; col < g.Cols-2; col++ {
			for _, k := range around(g, g.Index(col, row), 2) {
				near[g.Index(col, row)] = near[g.Index(col, row)] || truth.Density[k] > 0
			}
		}
	}
	changed, elsewhere := 0, 0
	for i := range is.Cols * is.Rows {
		k := cellOf(is, g, i)
		differs := !slices.Equal(a[i*4:i*4+4], b[i*4:i*4+4])
		switch {
		case differs && near[k]:
			changed++
		case differs && truth.Class[k] == invent.Crop:
			elsewhere++
		}
	}
	if elsewhere > 0 || changed == 0 {
		t.Errorf("%d pixels differ near weeds, %d elsewhere", changed, elsewhere)
	}
}

// cellOf is the cell under pixel i of a picture.
func cellOf(is invent.Format, g grid.Grid, i int) int {
	c, r := float64(i%is.Cols)+0.5, float64(i/is.Cols)+0.5
	x := is.Affine.A + is.Affine.B*c + is.Affine.C*r
	y := is.Affine.D + is.Affine.E*c + is.Affine.F*r
	return g.Index(int((x-g.OriginX)/g.CellM), int((g.OriginY-y)/g.CellM))
}

func TestWrittenPictureReadsInGDALWhereItLies(t *testing.T) {
	gdalinfo := oracle.Need(t, "gdalinfo")
	for _, sensor := range sensors {
		s := small(sensor, 5)
		s.Acres, s.Weeds.Acres, s.RotateDeg = 1.5, 0.1, 0
		f := field(t, s)
		path := filepath.Join(t.TempDir(), "picture.tif")
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := f.WritePicture(out); err != nil {
			t.Fatal(err)
		}
		if err := out.Close(); err != nil {
			t.Fatal(err)
		}
		text, err := exec.CommandContext(t.Context(), gdalinfo, "-json", path).Output()
		if err != nil {
			t.Fatalf("%v: gdalinfo: %v", sensor, err)
		}
		checkTold(t, f.Format(), text)
	}
}

// checkTold compares what gdalinfo says of a picture with its format.
func checkTold(t *testing.T, is invent.Format, text []byte) {
	t.Helper()
	var told struct {
		Size         []int
		GeoTransform []float64
		Bands        []struct{ Type, Description string }
		Stac         map[string]any
	}
	if err := json.Unmarshal(text, &told); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(told.Size, []int{is.Cols, is.Rows}) {
		t.Errorf("size %v, want %d x %d", told.Size, is.Cols, is.Rows)
	}
	a := is.Affine
	for i, want := range []float64{a.A, a.B, a.C, a.D, a.E, a.F} {
		if math.Abs(told.GeoTransform[i]-want) > 1e-6 {
			t.Errorf("geotransform %v, want %+v", told.GeoTransform, a)
			break
		}
	}
	kind := map[int]string{1: "Byte", 2: "UInt16", 4: "Float32"}[is.SampleBytes]
	for i, b := range told.Bands {
		if b.Type != kind || !strings.EqualFold(b.Description, is.Bands[i]) {
			t.Errorf("band %d is %s %q, want %s %q", i, b.Type, b.Description, kind, is.Bands[i])
		}
	}
}

func TestScenesThatCannotBeDrawnAreRefused(t *testing.T) {
	good := invent.Believable(invent.FourBand16, 1)
	for want, spoil := range map[string]func(*invent.Scene){
		"acres cannot be invented": func(s *invent.Scene) { s.Acres = 0.5 },
		"a pixel of":               func(s *invent.Scene) { s.PixelM = 1 },
		"no such sensor":           func(s *invent.Scene) { s.Sensor = 9 },
		"no such levee pattern":    func(s *invent.Scene) { s.Levees = -1 },
		"do not fit":               func(s *invent.Scene) { s.Weeds.Acres = s.Acres },
		"trouble do not fit":       func(s *invent.Scene) { s.Defoliation.Acres = s.Acres },
		"skips need a swath":       func(s *invent.Scene) { s.Skips.Strips = 3 },
		"need a patch":             func(s *invent.Scene) { s.Weeds.Patches = 0 },
		"one pixel at most":        func(s *invent.Scene) { s.BandShift = 2 },
		"corner at":                func(s *invent.Scene) { s.Lat = 95 },
	} {
		s := good
		spoil(&s)
		if _, err := invent.New(s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one that says %q", err, want)
		}
	}
	if _, err := invent.Named("nowhere", invent.FourBand16, 1); err == nil {
		t.Error("a name that no scene has is taken")
	}
	for _, name := range invent.Names() {
		if _, err := invent.Named(name, invent.FourBand16, 1); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
