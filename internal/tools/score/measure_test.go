package main

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/invent"
	"bittern/internal/norm"
	"bittern/internal/skip"
	"bittern/internal/suspect"
)

// small is a day of a few acres of a class.
func small(t *testing.T, class string, seed uint64) *day {
	t.Helper()
	recipe, err := invent.Named(class, invent.FourBand16, seed)
	if err != nil {
		t.Fatal(err)
	}
	part := 4 / recipe.Acres
	recipe.Acres, recipe.Weeds.Acres, recipe.KilledAcres, recipe.PixelM = 4, recipe.Weeds.Acres*part, recipe.KilledAcres*part, 0.12
	d := &day{row: row{class: class, question: "escapes", sensor: recipe.Sensor, seed: seed}, acres: recipe.Acres, days: recipe.FlownDays}
	if err := d.make(t.Context(), recipe); err != nil {
		t.Fatal(err)
	}
	d.redder = redderShare(d.Summary)
	return d
}

func TestSuspectsThatAreTheTruthScoreInFull(t *testing.T) {
	d := small(t, "believable", 5)
	l := trueLayout(d)
	var f suspect.Finding
	for p := range d.Truth.Patches {
		var s suspect.Suspect
		for i := range d.Summary.Inside {
			if int(d.Truth.Patch[i]) == p && d.acting(i) && d.Summary.Inside[i] {
				s.Cells = append(s.Cells, int32(i))
			}
		}
		if len(s.Cells) > 0 {
			f.Suspects = append(f.Suspects, s)
		}
	}
	dep := &norm.Departure{}
	r := judge(d, l, dep, &f)
	if r.recall() != 1 || r.precision() != 1 || r.iou() != 1 || r.falsely != 0 || math.Abs(r.bias) > 1e-12 || r.found != r.patches || r.onLevees != 0 {
		t.Errorf("the truth itself scores %+v", r)
	}
	if r.leveeRecall < 0.999 || r.leveePrecision < 0.999 {
		t.Errorf("true levees score %.3f, %.3f", r.leveeRecall, r.leveePrecision)
	}
	// Twice the weeds' acres of healthy crop beside them: precision a third.
	healthy := suspect.Suspect{}
	want := 2 * int(math.Round(r.truth/d.Summary.Grid.AcresPerCell))
	for i := range d.Summary.Inside {
		if d.crop(i) && d.Summary.Inside[i] && d.Truth.Density[i] == 0 && len(healthy.Cells) < want {
			healthy.Cells = append(healthy.Cells, int32(i))
		}
	}
	f.Suspects = append(f.Suspects, healthy)
	r = judge(d, l, dep, &f)
	if math.Abs(r.precision()-1.0/3) > 1e-9 || r.falsely != 1 || r.hints["crop -> nothing fits"] != 1 {
		t.Errorf("with healthy crop beside: precision %.4f, %d false, hints %v", r.precision(), r.falsely, r.hints)
	}
}

func TestSkipsAndUntreatedGroundAreForgiven(t *testing.T) {
	d := small(t, "untreated", 7)
	marked := func(i int) bool { return d.Truth.Odd >= 0 && d.Truth.Check[i] == d.Truth.Odd }
	if m := d.compare(marked); m.wrong > 0 {
		t.Errorf("%.3f acres of the untreated check are called wrong", m.wrong)
	}
	d.class = "no-nitrogen"
	if m := d.compare(func(i int) bool { return d.crop(i) && d.Truth.Density[i] == 0 }); m.wrong == 0 {
		t.Error("healthy crop may be marked")
	}
}

func TestIntegralSumsTheSquareRoundACell(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const cols, rows, half = 17, 11, 3
	v, table := make([]float64, cols*rows), newIntegral(cols, rows)
	for i := range v {
		v[i] = rng.Float64()
		table.set(i, v[i])
	}
	table.finish()
	for i := range v {
		want := 0.0
		for j := range v {
			if max(j%cols-i%cols, i%cols-j%cols, j/cols-i/cols, i/cols-j/cols) <= half {
				want += v[j]
			}
		}
		if got := table.box(i%cols, i/cols, half); math.Abs(got-want) > 1e-9 {
			t.Fatalf("cell %d: %g, want %g", i, got, want)
		}
	}
}

func TestRXCallsOneInAThousandOfNormalCellsAnomalies(t *testing.T) {
	// By the definition of the quantile: of cells that are normal in four bands,
	// one in a thousand lies beyond 18.467.
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 200000
	p := &pointCloud{bands: 4}
	for k := range n {
		a, b, c, e := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		p.at = append(p.at, k)
		p.v = append(p.v, 5+a, a+0.3*b, 2*c-b, 0.1*e+c)
	}
	is := rx(p)
	hits := 0
	for k := range n {
		if is(k) {
			hits++
		}
	}
	if math.Abs(float64(hits)-n/1000) > 5*math.Sqrt(n/1000) {
		t.Errorf("%d of %d cells", hits, n)
	}
}

func TestOtsuPartsTwoHeaps(t *testing.T) {
	hist := make([]float64, 64)
	for b := range hist {
		x, y := float64(b-12)/3, float64(b-45)/4
		hist[b] = 100*math.Exp(-x*x/2) + 40*math.Exp(-y*y/2)
	}
	if at := otsuBin(hist); at < 22 || at > 32 {
		t.Errorf("heaps at 12 and 45 are parted at %d", at)
	}
}

func TestKMeansFindsAHeapOfItsOwn(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	g := grid.Grid{CellM: 0.5, Cols: 100, Rows: 100, AcresPerCell: 1}
	n := g.Len()
	s := &cells.Summary{Grid: g, Bands: []string{"green", "red", "nir"}, Inside: make([]bool, n), Pixels: make([]uint32, n), Mean: make([][]float32, 3)}
	truth := &invent.Truth{Density: make([]float32, n), Patch: make([]int16, n), Check: make([]int16, n), Odd: -1}
	for b := range s.Mean {
		s.Mean[b] = make([]float32, n)
	}
	for i := range n {
		s.Inside[i], s.Pixels[i] = true, 50
		far := float32(0)
		if i%10 == 0 {
			far, truth.Density[i] = 12, 0.5
		}
		for b := range s.Mean {
			s.Mean[b][i] = float32(rng.NormFloat64()) + far
		}
	}
	d := &day{row: row{question: "escapes"}, kept: kept{Summary: s, Truth: truth}}
	if m := kMeans(d, view(d)); m.iou() < 0.99 {
		t.Errorf("a heap far from the others is found at %.3f", m.iou())
	}
}

func TestNamedStripsAreHeldAgainstTheTruth(t *testing.T) {
	d := small(t, "skips", 9)
	g := d.Summary.Grid
	f := &skip.Finding{
		Verdict: skip.Named, HeadingDeg: math.Mod(d.Truth.SkipHeadingDeg+179.5, 180), SpacingM: 65 * 0.3048,
		Strips: make([]skip.Strip, len(d.Truth.Strips)+1), Ground: make([]bool, g.Len()),
	}
	for i := range f.Ground {
		switch k := nearestStrip(d.Truth.Strips, g.Center(i%g.Cols, i/g.Cols)); {
		case d.Truth.Patch[i] == invent.SkipPatch && d.Truth.Acting(i):
			f.Ground[i] = true
			f.Strips[k].Cells = append(f.Strips[k].Cells, int32(i))
		case d.crop(i) && d.Truth.Density[i] == 0 && len(f.Strips[len(f.Strips)-1].Cells) < 500:
			f.Strips[len(f.Strips)-1].Cells = append(f.Strips[len(f.Strips)-1].Cells, int32(i))
		}
	}
	got := judgeSkips(d, f)
	if got.strips < 3 || got.found != got.strips || got.wrong != 1 {
		t.Errorf("%d of %d strips found, %d wrong; the last of those named is healthy crop", got.found, got.strips, got.wrong)
	}
	if math.Abs(got.headingOff-0.5) > 1e-9 || math.Abs(got.spacing-65) > 1e-9 {
		t.Errorf("heading %.2f degrees off, spacing %.1f ft", got.headingOff, got.spacing)
	}
}
