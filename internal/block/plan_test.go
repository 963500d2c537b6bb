package block_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"bittern/internal/block"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/unit"
)

func ptr(v float64) *float64 { return &v }

// field is a square of open ground, side metres wide, in cells of 0.5 m.
func field(side float64) block.Ground {
	n := int(side / 0.5)
	g := grid.Grid{
		EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: n, Rows: n,
		AcresPerCell: 0.25 / unit.SquareMetersPerAcre,
	}
	ground := block.Ground{Grid: g, WonDollars: make([]float32, n*n), Inside: make([]bool, n*n)}
	for i := range ground.Inside {
		ground.Inside[i] = true
	}
	return ground
}

// patch makes the cells of a rectangle, in metres from the north-west corner,
// worth dollars an acre.
func patch(g block.Ground, x, y, wide, high, dollarsPerAcre float64) (cells []int32) {
	for row := range g.Grid.Rows {
		for col := range g.Grid.Cols {
			cx, cy := (float64(col)+0.5)*0.5, (float64(row)+0.5)*0.5
			if cx > x && cx < x+wide && cy > y && cy < y+high {
				g.WonDollars[g.Grid.Index(col, row)] = float32(dollarsPerAcre * g.Grid.AcresPerCell)
				cells = append(cells, int32(g.Grid.Index(col, row)))
			}
		}
	}
	return cells
}

// plane is the aircraft of docs/references.md W7: 70-ft swath, 60-ft lead and trail,
// 145 mph, 30-s turn, 5 miles of ferry.
func plane() block.Applicator {
	return block.Applicator{
		Name: "plane", Kind: block.Aircraft, SwathFt: ptr(70), SpeedMph: ptr(145),
		LeadFt: ptr(60), TrailFt: ptr(60), TurnS: ptr(30), FerryMiles: ptr(5),
	}
}

func TestSquarePatchTakesTheRunsOfTheTradeTable(t *testing.T) {
	// Source: docs/references.md W7, "why a plane can't do 0.2 ac". Its 2-acre and
	// larger rows count one swath more or fewer than a square needs when the
	// first pass is laid along its edge, and are left to the formula below.
	for _, tc := range []struct {
		acres         float64
		runs          int
		valveOn, open float64 // acres; seconds a run
		work          float64 // seconds
	}{
		{0.05, 1, 0.27, 0.8, 31},
		{0.2, 2, 0.69, 1.0, 62},
		{0.5, 3, 1.29, 1.3, 94},
		{1, 3, 1.58, 1.5, 95},
		{2, 5, 3.34, 2.0, 160},
		{5, 7, 6.60, 2.8, 229},
		{10, 10, 12.5, 3.7, 337},
	} {
		t.Run(fmt.Sprintf("%v acres", tc.acres), func(t *testing.T) {
			g := field(400)
			g.Headings, g.OnlyHeadings = []float64{0}, true
			side := math.Sqrt(tc.acres * unit.SquareMetersPerAcre)
			patch(g, 100, 100, side, side, 1e5)
			plans, err := block.Best(t.Context(), g, plane(), 3)
			if err != nil || len(plans) != 1 {
				t.Fatalf("%d plans, %v", len(plans), err)
			}
			p := plans[0]
			// Cells of 0.5 m and steps of 1 m can add 1.5 m to a run of side + 36.6 m.
			if slack := tc.valveOn*0.03 + 0.005; len(p.Runs) != tc.runs || math.Abs(p.ValveOnAcres-tc.valveOn) > slack {
				t.Errorf("%d runs, %.3f valve-on acres; the table has %d, %.2f", len(p.Runs), p.ValveOnAcres, tc.runs, tc.valveOn)
			}
			if got := p.Runs[0].OpenS; math.Abs(got-tc.open) > 0.08 {
				t.Errorf("valve open %.2f s, the table has %.1f", got, tc.open)
			}
			if got := *p.Minutes*60 - 248.28; math.Abs(got-tc.work) > 2 { // ferry: 2 * 5 miles at 145 mph
				t.Errorf("work takes %.1f s, the table has %.0f", got, tc.work)
			}
			if len(p.Blocks) != 1 || math.Abs(p.BlockAcres-p.ValveOnAcres) > 1e-9 {
				t.Errorf("%d blocks of %.3f acres", len(p.Blocks), p.BlockAcres)
			}
		})
	}
}

func TestLongWayTakesTheTimesOfTheReference(t *testing.T) {
	// Source: docs/references.md T8.10 (150 acres, 70 ft, 145 mph, 30-s turns), with
	// one more turn, which lines up the first pass.
	const feet = 0.3048
	g := field(1700 * feet * 1.6)
	for i := range g.Inside {
		x, y := (float64(i%g.Grid.Cols)+0.5)*0.5/feet, (float64(i/g.Grid.Cols)+0.5)*0.5/feet
		g.Inside[i] = x < 2475 && y < 2640
	}
	a := plane()
	a.FerryMiles = nil
	for _, tc := range []struct {
		heading float64
		passes  int
		seconds float64
	}{
		{0, 36, 1496.90 + 30}, // 2,475 ft wide, runs of 2,640 ft
	} {
		g.Headings, g.OnlyHeadings = []float64{tc.heading}, true
		p, err := block.Whole(t.Context(), g, a)
		if err != nil {
			t.Fatal(err)
		}
		if p.Passes != tc.passes || math.Abs(*p.Minutes*60-tc.seconds) > 1 {
			t.Errorf("%d passes, %.1f s; want %d, %.1f", p.Passes, *p.Minutes*60, tc.passes, tc.seconds)
		}
	}
	g.OnlyHeadings = false
	p, err := block.Whole(t.Context(), g, a)
	if err != nil || p.HeadingDeg != 0 {
		t.Errorf("whole field flown at %v degrees (%v), the long way is 0", p.HeadingDeg, err)
	}
}

// scatter is a field with patches here and there.
func scatter(side float64, patches int, seed uint64) block.Ground {
	g := field(side)
	r := rand.New(rand.NewPCG(seed, 9))
	for range patches {
		w, h := 6+r.Float64()*50, 6+r.Float64()*50
		patch(g, r.Float64()*(side-w), r.Float64()*(side-h), w, h, 260.1)
	}
	return g
}

func typed() block.Applicator {
	a := plane()
	a.MinimumOpenS, a.BridgeGapS, a.TankGallons = ptr(1.5), ptr(2), ptr(500)
	a.Charge = block.Charge{PerAcreDollars: ptr(12), MinimumAcres: ptr(30), CallOutDollars: ptr(50), PerHourDollars: ptr(600)}
	return a
}

func TestPlansAddUp(t *testing.T) {
	g := scatter(800, 20, 1)
	g.ProductDollarsPerAcre = 32
	g.Grid.ConvergenceDeg = 1.5
	plans, err := block.Best(t.Context(), g, typed(), 3)
	if err != nil || len(plans) != 3 {
		t.Fatalf("%d plans, %v", len(plans), err)
	}
	for i, p := range plans {
		if i > 0 && p.Net > plans[i-1].Net {
			t.Errorf("plan %d wins more than the one before", i)
		}
		checkPlan(t, g, p)
	}
}

// checkPlan checks a plan against the ground itself, cell by cell.
func checkPlan(t *testing.T, g block.Ground, p block.Plan) {
	t.Helper()
	var on, blocks float64
	for i, r := range p.Runs {
		on += r.ValveOnM2 / unit.SquareMetersPerAcre
		if r.Order != i+1 {
			t.Errorf("run %d has order %d", i, r.Order)
		}
		if r.OpenS < 1.5 {
			t.Errorf("run %d is open %.2f s, the least is 1.5", i, r.OpenS)
		}
		if got := math.Hypot(r.To.X-r.From.X, r.To.Y-r.From.Y); math.Abs(got-r.LengthM) > 0.01 {
			t.Errorf("run %d: ends %.2f m apart, length %.2f", i, got, r.LengthM)
		}
		az := math.Atan2(r.To.X-r.From.X, r.To.Y-r.From.Y)*180/math.Pi + g.Grid.ConvergenceDeg
		if d := math.Mod(az-p.HeadingDeg+720, 180); d > 1e-6 && d < 180-1e-6 {
			t.Errorf("run %d lies along %.3f degrees, the heading is %.1f", i, az, p.HeadingDeg)
		}
	}
	runs := 0
	for _, b := range p.Blocks {
		runs += len(b.Runs)
		area := ringArea(b.Outline.Outer) / unit.SquareMetersPerAcre
		if math.Abs(area-b.Acres) > 1e-3*b.Acres {
			t.Errorf("block %s: outline holds %.4f acres, stated %.4f", b.ID, area, b.Acres)
		}
		blocks += area
	}
	if runs != len(p.Runs) || math.Abs(on-p.ValveOnAcres) > 1e-6 || math.Abs(blocks-p.BlockAcres) > 1e-2 {
		t.Errorf("%d runs in blocks of %d; %.4f and %.4f acres of %.4f", runs, len(p.Runs), on, blocks, p.ValveOnAcres)
	}
	if math.Abs(p.Won-p.Cost.Dollars()-p.Net) > 0.02 {
		t.Errorf("won %.2f less cost %.2f is not %.2f", p.Won, p.Cost.Dollars(), p.Net)
	}
	won := 0.0
	for _, c := range p.Treated {
		won += float64(g.WonDollars[c])
		q := g.Grid.Center(int(c)%g.Grid.Cols, int(c)/g.Grid.Cols)
		in := false
		for _, b := range p.Blocks {
			in = in || inside(b.Outline.Outer, q)
		}
		if !in {
			t.Fatalf("treated cell %d lies in no block", c)
		}
	}
	if math.Abs(won-p.Won) > 1e-6*won {
		t.Errorf("treated cells win %.4f, stated %.4f", won, p.Won)
	}
	if !p.Proven() {
		t.Errorf("plan at %v may fall short by %v", p.HeadingDeg, p.ShortDollars)
	}
}

func ringArea(r geo.Ring) float64 {
	s := 0.0
	for i, p := range r {
		q := r[(i+1)%len(r)]
		s += (p.X-r[0].X)*(q.Y-r[0].Y) - (q.X-r[0].X)*(p.Y-r[0].Y)
	}
	return math.Abs(s / 2)
}

func inside(r geo.Ring, p geo.Point) bool {
	in := false
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

func TestWorkersDoNotChangeThePlans(t *testing.T) {
	g := scatter(400, 8, 2)
	g.ProductDollarsPerAcre = 32
	old := runtime.GOMAXPROCS(1)
	one, err := block.Best(t.Context(), g, typed(), 3)
	runtime.GOMAXPROCS(7)
	many, err2 := block.Best(t.Context(), g, typed(), 3)
	runtime.GOMAXPROCS(old)
	if err != nil || err2 != nil || !reflect.DeepEqual(one, many) {
		t.Errorf("one worker and seven differ (%v, %v)", err, err2)
	}
}

func TestNothingThatPaysGivesNoPlan(t *testing.T) {
	g := field(200)
	patch(g, 90, 90, 14.2, 14.2, 260) // 0.05 acres: $13
	a := plane()
	a.Charge = block.Charge{CallOutDollars: ptr(100)}
	if plans, err := block.Best(t.Context(), g, a, 3); err != nil || len(plans) != 0 {
		t.Errorf("%d plans, %v", len(plans), err)
	}
}

func TestHeadingsNotFlownAreKeptOut(t *testing.T) {
	g := scatter(400, 6, 3)
	a := plane()
	a.NotFlown = [][2]float64{{350, 100}, {120, 125}}
	plans, err := block.Best(t.Context(), g, a, 10)
	if err != nil || len(plans) == 0 {
		t.Fatalf("%d plans, %v", len(plans), err)
	}
	for _, p := range plans {
		// 350 to 100 shuts the line 170 to 180 and 0 to 100 both ways.
		if h := p.HeadingDeg; h <= 100 || h >= 170 || (h >= 120 && h <= 125) {
			t.Errorf("a plan at %v degrees", h)
		}
	}
	a.NotFlown = [][2]float64{{0, 180}}
	if _, err := block.Best(t.Context(), g, a, 3); err == nil {
		t.Error("no heading is left, and no error")
	}
}

func TestValveStaysShutOverBarredGround(t *testing.T) {
	g := scatter(400, 12, 4)
	g.Barred = make([]bool, g.Grid.Len())
	for row := 300; row < 420; row++ {
		for col := 250; col < 500; col++ {
			g.Barred[g.Grid.Index(col, row)] = true
		}
	}
	plans, err := block.Best(t.Context(), g, plane(), 3)
	if err != nil || len(plans) == 0 {
		t.Fatalf("%d plans, %v", len(plans), err)
	}
	for _, p := range plans {
		for i, barred := range g.Barred {
			if !barred {
				continue
			}
			q := g.Grid.Center(i%g.Grid.Cols, i/g.Grid.Cols)
			for _, b := range p.Blocks {
				// A step is 1 m and is judged by its middle.
				if inside(b.Outline.Outer, geo.Point{X: q.X, Y: q.Y}) && deep(g, i, 3) {
					t.Fatalf("heading %v: barred cell %d lies under block %s", p.HeadingDeg, i, b.ID)
				}
			}
		}
	}
}

// deep tells whether all cells within n of cell i are barred.
func deep(g block.Ground, i, n int) bool {
	for _, d := range []int{-n, n, -n * g.Grid.Cols, n * g.Grid.Cols} {
		if !g.Barred[i+d] {
			return false
		}
	}
	return true
}

func TestRunsOpenAtTheFieldsEdge(t *testing.T) {
	g := field(200)
	g.Headings, g.OnlyHeadings = []float64{0}, true
	patch(g, 50, 0, 21.2, 10, 1e4) // at the north edge: no room for the lead
	plans, err := block.Best(t.Context(), g, plane(), 1)
	if err != nil || len(plans) != 1 || len(plans[0].Runs) != 1 {
		t.Fatalf("%+v, %v", plans, err)
	}
	p := plans[0]
	if got, want := p.Runs[0].LengthM, 10+60*0.3048; math.Abs(got-want) > 1.8 {
		t.Errorf("the run is %.1f m long, patch and one of lead and trail are %.1f", got, want)
	}
	if len(p.Treated) != 20*42 && len(p.Treated) != 20*43 {
		t.Errorf("%d cells treated", len(p.Treated))
	}
}

func TestBreakEvenChanceIsWhereThePlanChanges(t *testing.T) {
	// The chance is checked by making the cells worth a little more and a
	// little less of their dollars, and cutting all again on the same heading.
	g := field(500)
	g.ProductDollarsPerAcre = 32
	g.Headings, g.OnlyHeadings = []float64{0}, true
	big := patch(g, 60, 60, 60, 80, 260.1)
	small := patch(g, 300, 300, 40, 60, 260.1)
	speck := patch(g, 400, 100, 5, 5, 260.1)
	a := typed()
	a.Charge = block.Charge{PerAcreDollars: ptr(12)}
	p, err := block.New(g, a)
	if err != nil {
		t.Fatal(err)
	}
	plans, err := p.Best(t.Context(), 1)
	if err != nil || len(plans) != 1 {
		t.Fatalf("%d plans, %v", len(plans), err)
	}
	w := p.Weigh(plans[0])
	for name, cells := range map[string][]int32{"big": big, "small": small} {
		chance := w.BreakEven(cells)
		if chance <= 0.05 || chance >= 1 {
			t.Errorf("%s: chance %v", name, chance)
		}
		if got := treatedOf(t, g, a, cells, chance*1.1); got == 0 {
			t.Errorf("%s: not treated above its chance of %.3f", name, chance)
		}
		if got := treatedOf(t, g, a, cells, chance*0.8); got == len(cells) {
			t.Errorf("%s: wholly treated below its chance of %.3f", name, chance)
		}
	}
	if chance := w.BreakEven(speck); chance < 1 {
		t.Errorf("speck: chance %v, but no plan treats it", chance)
	}
}

// treatedOf counts the cells that the best plan treats when they are worth
// times their dollars.
func treatedOf(t *testing.T, g block.Ground, a block.Applicator, cells []int32, times float64) int {
	t.Helper()
	other := g
	other.WonDollars = append([]float32(nil), g.WonDollars...)
	of := map[int32]bool{}
	for _, c := range cells {
		other.WonDollars[c] *= float32(times)
		of[c] = true
	}
	plans, err := block.Best(t.Context(), other, a, 1)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, p := range plans {
		for _, c := range p.Treated {
			if of[c] {
				n++
			}
		}
	}
	return n
}

func TestHarmIsAvoided(t *testing.T) {
	// Ground east and west of the patch is harmed by spray: runs along 90
	// degrees would put lead and trail on it, runs along 0 do not.
	g := field(300)
	patch(g, 100, 140, 10, 20, -500)
	patch(g, 130, 140, 10, 20, -500)
	cells := patch(g, 110, 140, 20, 20, 2000)
	g.Headings, g.OnlyHeadings = []float64{0, 90}, true
	a := plane()
	a.Charge = block.Charge{PerAcreDollars: ptr(12)}
	plans, err := block.Best(t.Context(), g, a, 2)
	if err != nil || len(plans) != 2 || plans[0].HeadingDeg != 0 {
		t.Fatalf("%d plans, %v", len(plans), err)
	}
	for _, p := range plans {
		// Swaths of 21.3 m reach 0.7 m over each side along 0 degrees at most;
		// along 90 lead and trail lie on all of the harmed ground.
		good := float64(len(p.Treated)) * 2000 * g.Grid.AcresPerCell
		harm := good - p.Won
		if most := 400 * 500 / unit.SquareMetersPerAcre; harm < 0 || harm > most+1 || (p.HeadingDeg == 90 && harm < most*0.9) {
			t.Errorf("heading %v: harm of $%.2f", p.HeadingDeg, harm)
		}
	}
	if n := len(plans[0].Treated); n != len(cells) {
		t.Errorf("%d of %d cells treated", n, len(cells))
	}
}

func TestFiguresThatLeaveNoRunGiveNoPlan(t *testing.T) {
	g := scatter(100, 3, 6)
	a := plane()
	a.MinimumOpenS = ptr(120) // 4.8 miles
	if plans, err := block.Best(t.Context(), g, a, 3); err != nil || len(plans) != 0 {
		t.Errorf("%d plans, %v", len(plans), err)
	}
	a = plane()
	a.SwathFt = ptr(1)
	if _, err := block.Best(t.Context(), g, a, 3); err != nil {
		t.Error(err)
	}
}

func TestByHandTreatsWhatPaysByTheAcre(t *testing.T) {
	g := field(100)
	patch(g, 10, 10, 20, 20, 260)
	patch(g, 50, 50, 20, 20, 40)
	g.ProductDollarsPerAcre = 30
	a := block.Applicator{Name: "by hand", Kind: block.ByHand, Charge: block.Charge{PerAcreDollars: ptr(15)}}
	plans, err := block.Best(t.Context(), g, a, 3)
	if err != nil || len(plans) != 1 || len(plans[0].Runs) != 0 {
		t.Fatalf("%+v, %v", plans, err)
	}
	if want := 400 / unit.SquareMetersPerAcre; math.Abs(plans[0].TreatedAcres-want) > 1e-9 {
		t.Errorf("%.4f acres, want %.4f", plans[0].TreatedAcres, want)
	}
}

func TestCancelledWorkStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := block.Best(ctx, scatter(200, 3, 5), plane(), 3); err == nil {
		t.Error("no error")
	}
}

func BenchmarkQuarterSection(b *testing.B) {
	for _, patches := range []int{10, 60} {
		b.Run(fmt.Sprintf("%d patches", patches), func(b *testing.B) {
			g := scatter(804.67, patches, 7)
			g.ProductDollarsPerAcre = 32
			for b.Loop() {
				if _, err := block.Best(b.Context(), g, typed(), 3); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
