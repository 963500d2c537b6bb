package reckon_test

import (
	"math"
	"strings"
	"testing"

	"bittern/internal/block"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/reckon"
	"bittern/internal/suspect"
	"bittern/internal/unit"
)

func ptr(v float64) *float64 { return &v }

// The grower of docs/references.md W8: Y 170, P $6, loss 30 %, H 85 %.
func prices() reckon.Prices {
	return reckon.Prices{
		CropDollarsPerBushel: ptr(6), YieldBushelsPerAcre: ptr(170), LossPercent: ptr(30), ControlPercent: ptr(85),
	}
}

func TestBreakEvenChanceReproducesTheWorkedRows(t *testing.T) {
	avoided, ok := prices().Avoided(norm.Browned)
	if !ok || math.Abs(float64(avoided)-260.1) > 1e-9 {
		t.Fatalf("avoided %v, want 6 * 170 * 0.30 * 0.85", avoided)
	}
	for _, tc := range []struct {
		source      string
		cost        unit.DollarsPerAcre
		wantPercent float64
	}{
		{"docs/references.md W8, $44/ac", 44, 17},
		{"docs/references.md W8, $120/ac", 120, 46},
		{"docs/references.md W8, a 0.05-ac patch by plane, 0.27 ac sprayed", 0.27 * 44 / 0.05, 91},
	} {
		t.Run(tc.source, func(t *testing.T) {
			got, ok := reckon.BreakEvenChance(tc.cost, avoided)
			if !ok || math.Round(got*100) != tc.wantPercent {
				t.Errorf("got %.4f, want %v %%", got, tc.wantPercent)
			}
		})
	}
	if _, ok := reckon.BreakEvenChance(44, 0); ok {
		t.Error("nothing is prevented, and there is a chance")
	}
}

func TestThresholdsReproduceTheReference(t *testing.T) {
	// Source: docs/references.md T5.5.
	s := reckon.Stand{Cost: 35, YieldBushelsPerAcre: 180, DollarsPerBushel: 6, Control: 0.9}
	if got, ok := reckon.LinearThreshold(s, 0.01); !ok || math.Abs(got-3.600823) > 5e-7 {
		t.Errorf("straight line: %v", got)
	}
	for _, tc := range []struct {
		h    reckon.Hyperbola
		want float64
	}{
		{reckon.Hyperbola{First: 0.043, Most: 0.80}, 0.8769},
		{reckon.Hyperbola{First: 0.026, Most: 0.80}, 1.4502},
		{reckon.Hyperbola{First: 0.0092, Most: 0.51}, 4.2113},
	} {
		got, ok := tc.h.Threshold(s)
		if !ok || math.Abs(got-tc.want) > 6e-5 {
			t.Errorf("%+v: %v, want %v", tc.h, got, tc.want)
		}
		if back := tc.h.Loss(got); math.Abs(back-35/(180*6*0.9)) > 1e-12 {
			t.Errorf("%+v loses %v at its threshold", tc.h, back)
		}
	}
	if got, ok := (reckon.Hyperbola{First: 0.043, Most: 0.03}).Threshold(s); ok {
		t.Errorf("the most that weeds take is less than needed: got %v, want never", got)
	}
	if got, ok := reckon.LinearThreshold(reckon.Stand{Cost: 2000, YieldBushelsPerAcre: 180, DollarsPerBushel: 6, Control: 0.9}, 0.01); ok {
		t.Errorf("control costs more than the crop: got %v, want never", got)
	}
	if got, ok := reckon.SpotAcres(330000, 30, 15000); !ok || got != 105 {
		t.Errorf("spot against whole: %v, want 105 acres", got)
	}
}

func TestYieldLossReproducesTheReference(t *testing.T) {
	// Source: docs/references.md T5.1, in per cent.
	for _, tc := range []struct{ i, a, d, want float64 }{
		{2, 80, 5, 8.888889}, {2, 80, 20, 26.666667}, {5, 90, 10, 32.142857}, {0.5, 50, 10, 4.545455},
	} {
		got := reckon.Hyperbola{First: tc.i / 100, Most: tc.a / 100}.Loss(tc.d) * 100
		if math.Abs(got-tc.want) > 6e-7 {
			t.Errorf("%+v: %v", tc, got)
		}
	}
}

func TestBillsReproduceTheWorkedJob(t *testing.T) {
	// Source: docs/references.md W7: 11.75 acres of patches, plane $12/ac with a minimum
	// of $360, drone $20/ac and $150, product $32. It prints 17.8 and 12.8
	// valve-on acres; the second decimal is the one that gives its dollars.
	plane := block.Charge{PerAcreDollars: ptr(12), MinimumAcres: ptr(30)}
	drone := block.Charge{PerAcreDollars: ptr(20), CallOutDollars: ptr(150)}
	for _, tc := range []struct {
		name    string
		charge  block.Charge
		acres   float64
		dollars float64
	}{
		{"plane", plane, 17.84, 931},
		{"drone", drone, 12.83, 817},
		{"whole", plane, 150, 6600},
	} {
		b := tc.charge.Bill(block.Work{Acres: tc.acres, ProductDollarsPerAcre: 32})
		if math.Round(b.Total.Dollars()) != tc.dollars || b.Product+b.Acres+b.CallOut+b.Hours != b.Total {
			t.Errorf("%s: %v (%+v), want $%v", tc.name, b.Total, b, tc.dollars)
		}
	}
	if b := (block.Charge{PerAcreDollars: ptr(12)}).Bill(block.Work{Acres: 17.84}); math.Round(b.Total.Dollars()) != 214 {
		t.Errorf("by rate: %v, want $214", b.Total)
	}
	if b := plane.Bill(block.Work{}); b.Total != 0 {
		t.Errorf("no work costs %v", b.Total)
	}
}

// day is a field of 150 acres with square suspects of the given acres.
func day(acres ...float64) reckon.Case {
	const rows, cols = 1559, 1558 // 150.0 acres of half-metre cells
	g := grid.Grid{EPSG: 32615, CellM: 0.5, Cols: cols, Rows: rows, AcresPerCell: 0.25 / unit.SquareMetersPerAcre}
	c := reckon.Case{Ground: block.Ground{Grid: g, Inside: make([]bool, g.Len())}, Prices: prices()}
	for i := range c.Ground.Inside {
		c.Ground.Inside[i] = true
	}
	row := 40
	for n, a := range acres {
		side := int(math.Round(math.Sqrt(a*unit.SquareMetersPerAcre) / 0.5))
		s := suspect.Suspect{ID: string(rune('a' + n)), Look: norm.Browned, Severity: suspect.Some, Acres: a}
		for y := range side {
			for x := range side {
				s.Cells = append(s.Cells, int32(g.Index(40+(n*487)%900+x, row+y)))
			}
		}
		row += side + 40
		c.Suspects = append(c.Suspects, s)
	}
	return c
}

func plane() block.Applicator {
	return block.Applicator{
		Name: "Plane", Kind: block.Aircraft, SwathFt: ptr(70), SpeedMph: ptr(145), LeadFt: ptr(60), TrailFt: ptr(60),
		TurnS: ptr(30), FerryMiles: ptr(5), MinimumOpenS: ptr(0.5), BridgeGapS: ptr(2),
		Charge: block.Charge{PerAcreDollars: ptr(12), MinimumAcres: ptr(30)},
	}
}

func drone() block.Applicator {
	return block.Applicator{
		Name: "Drone", Kind: block.SprayDrone, SwathFt: ptr(20), SpeedMph: ptr(20), LeadFt: ptr(5), TrailFt: ptr(5),
		Charge: block.Charge{PerAcreDollars: ptr(20), CallOutDollars: ptr(150)},
	}
}

func reckoned(t *testing.T, c reckon.Case) *reckon.Reckoning {
	t.Helper()
	r, doubts, err := reckon.Of(t.Context(), c)
	if err != nil || r == nil {
		t.Fatalf("no reckoning: %v, %v", doubts, err)
	}
	return r
}

func find(t *testing.T, r *reckon.Reckoning, id string) reckon.Alternative {
	t.Helper()
	for _, a := range r.Alternatives {
		if a.ID == id {
			return a
		}
	}
	t.Fatalf("no alternative %q", id)
	return reckon.Alternative{}
}

func TestSevenPatchesGoToTheDrone(t *testing.T) {
	// docs/references.md W7: seven patches of 0.15 to 6.5 acres, 11.75 together; the
	// drone wins because the plane's minimum binds.
	c := day(0.15, 0.3, 0.5, 0.8, 1.3, 2.2, 6.5)
	c.ProductDollarsPerAcre = ptr(32)
	c.Applicators = []block.Applicator{plane(), drone()}
	r := reckoned(t, c)
	leave, p, d, whole := find(t, r, "leave"), find(t, r, "blocks-plane"), find(t, r, "blocks-drone"), find(t, r, "whole-plane")
	// 11.75 acres * 6 * 170 * 30 % = $3,595.50, on cells of half a metre.
	if got := leave.Loss.High.Dollars(); math.Abs(got-3595.5) > 20 || leave.Loss.Low != 0 || leave.Loss.Mid != nil {
		t.Errorf("leave loses %v", leave.Loss)
	}
	if p.Plan.BilledAcres != 30 || math.Abs(p.TreatedAcres-17.84) > 1.5 || math.Abs(p.Cost.Dollars()-931) > 50 {
		t.Errorf("plane: %.2f acres, billed %.1f, %v; the worked job has 17.8, 30, $931", p.TreatedAcres, p.Plan.BilledAcres, p.Cost)
	}
	if math.Abs(d.TreatedAcres-12.83) > 0.8 || math.Abs(d.Cost.Dollars()-817) > 45 {
		t.Errorf("drone: %.2f acres, %v; the worked job has 12.8, $817", d.TreatedAcres, d.Cost)
	}
	if math.Abs(whole.TreatedAcres-150) > 0.1 || math.Abs(whole.Cost.Dollars()-6600) > 5 {
		t.Errorf("whole: %.2f acres, %v; the worked job has 150, $6,600", whole.TreatedAcres, whole.Cost)
	}
	if r.Choice != "blocks-drone" || !r.Depends || r.Best() != d.Plan {
		t.Errorf("choice %q, depends %v", r.Choice, r.Depends)
	}
	checkFlips(t, r)
	for _, a := range r.Alternatives {
		if !a.Proven {
			t.Errorf("%s is not proven", a.ID)
		}
	}
}

// checkFlips checks that at every chance the cheapest alternative is the one
// that the flips name.
func checkFlips(t *testing.T, r *reckon.Reckoning) {
	t.Helper()
	for k := range 1001 {
		q := float64(k) / 1000
		now := "leave"
		for _, f := range r.Flips {
			if q >= f.At {
				now = f.To
			}
		}
		cost := func(a reckon.Alternative) float64 { return a.Cost.Dollars() + q*a.Loss.High.Dollars() }
		best := math.Inf(1)
		for _, a := range r.Alternatives {
			best = min(best, cost(a))
		}
		if got := cost(find(t, r, now)); got > best+0.011 {
			t.Fatalf("at chance %v %s costs %.2f, the cheapest %.2f", q, now, got, best)
		}
	}
}

func TestSmallPatchByPlaneNeedsNineInTen(t *testing.T) {
	// docs/references.md W8: a 0.05-acre patch by plane at $44 an acre: 91 %. On cells
	// of half a metre the patch is 3 % smaller, and whole steps of a metre make
	// the run up to 1.5 m of 51 longer.
	c := day(0.05)
	c.ProductDollarsPerAcre = ptr(32)
	a := plane()
	a.Charge = block.Charge{PerAcreDollars: ptr(12)}
	c.Applicators = []block.Applicator{a}
	r := reckoned(t, c)
	v := r.Verdicts[0]
	if v.BreakEvenChance == nil || math.Abs(*v.BreakEvenChance-0.91) > 0.05 || v.Words != reckon.Walk {
		t.Errorf("chance %v, %v", *v.BreakEvenChance, v.Words)
	}
	if f := r.Flips; len(f) != 1 || math.Abs(f[0].At-*v.BreakEvenChance) > 0.01 || f[0].From != "leave" || f[0].To != "blocks-plane" {
		t.Errorf("flips %+v", f)
	}
	a.Charge.CallOutDollars = ptr(100)
	c.Applicators = []block.Applicator{a}
	r = reckoned(t, c)
	if v := r.Verdicts[0]; v.BreakEvenChance == nil || *v.BreakEvenChance < 1 || v.Words != reckon.NotWorthIt {
		t.Errorf("with a call-out of $100: %+v", v)
	}
	if r.Choice != "leave" || r.Depends || len(r.Flips) != 0 || r.Best() != nil {
		t.Errorf("with a call-out of $100: choice %q, flips %v", r.Choice, r.Flips)
	}
}

func TestVerdictsFollowTheStatedRule(t *testing.T) {
	c := day(0.02, 8)
	c.Prices.LossPercent = ptr(90)
	c.ProductDollarsPerAcre = ptr(5)
	a := plane()
	a.Charge = block.Charge{PerAcreDollars: ptr(12)}
	c.Applicators = []block.Applicator{a}
	c.Prices.CropDollarsPerBushel = ptr(20)
	r := reckoned(t, c)
	if r.Verdicts[1].Words != reckon.WorthIt || *r.Verdicts[1].BreakEvenChance > 0.05 {
		t.Errorf("8 acres of dear crop: %+v", r.Verdicts[1])
	}
	c.Suspects[1].Severity = suspect.Faint
	if r = reckoned(t, c); r.Verdicts[1].Words != reckon.Walk {
		t.Errorf("faint: %+v", r.Verdicts[1])
	}
}

func TestNothingIsAssumed(t *testing.T) {
	c := day(1)
	c.Prices.YieldBushelsPerAcre = nil
	r, doubts, err := reckon.Of(t.Context(), c)
	if r != nil || err != nil || len(doubts) != 1 || !strings.Contains(doubts[0].Says, "because the yield that is expected is not typed.") {
		t.Errorf("without a yield: %v, %v, %v", r, doubts, err)
	}
	c = day(1)
	a := plane()
	a.Charge = block.Charge{}
	c.Applicators = []block.Applicator{a}
	r = reckoned(t, c)
	if p := find(t, r, "blocks-plane"); p.Cost != nil {
		t.Errorf("nothing was typed that it costs, and the cost is %v", *p.Cost)
	}
	if r.Choice != "leave" || r.Verdicts[0].BreakEvenChance != nil || r.Verdicts[0].Words != reckon.Walk {
		t.Errorf("without any cost: choice %q, %+v", r.Choice, r.Verdicts[0])
	}
	c.Applicators = []block.Applicator{a, drone()}
	r = reckoned(t, c)
	if r.Best() != find(t, r, "blocks-drone").Plan {
		t.Error("blocks that cost nobody knows what come before blocks with a price")
	}
}

func TestUnfinishedApplicatorIsADoubt(t *testing.T) {
	c := day(1)
	noSwath, noKind, noHeading := plane(), plane(), plane()
	noSwath.SwathFt = nil
	noKind.Kind = ""
	noHeading.NotFlown = [][2]float64{{0, 180}}
	good := drone()
	for _, a := range []block.Applicator{noSwath, noKind, noHeading} {
		c.Applicators = []block.Applicator{a, good}
		r, doubts, err := reckon.Of(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		said := ""
		for _, d := range doubts {
			said += d.Says
		}
		if !strings.Contains(said, "No blocks are cut for the Plane, because") {
			t.Errorf("doubts: %v", said)
		}
		find(t, r, "blocks-drone")
		c.Applicators = []block.Applicator{a}
		reckoned(t, c)
	}
}

func TestRigKeepsToItsTracksAndOffTheLevees(t *testing.T) {
	c := day(0.8)
	g := c.Ground.Grid
	c.Walls = make([]bool, g.Len())
	for col := range g.Cols {
		for row := 70; row < 74; row++ { // a levee through the suspect
			c.Walls[g.Index(col, row)] = true
		}
	}
	c.Tracks = []float64{0}
	rig := drone()
	rig.Name, rig.Kind = "Rig", block.GroundRig
	c.Applicators = []block.Applicator{rig, drone()}
	r := reckoned(t, c)
	for _, p := range r.Offers[0].Plans {
		if p.HeadingDeg != 0 {
			t.Errorf("the rig leaves its tracks: %v degrees", p.HeadingDeg)
		}
		for _, run := range p.Runs {
			y := func(v float64) float64 { return -v / 0.5 } // rows from the north
			if a, b := y(max(run.From.Y, run.To.Y)), y(min(run.From.Y, run.To.Y)); a < 72 && b > 72 {
				t.Errorf("a run crosses the levee: rows %.0f to %.0f", a, b)
			}
		}
	}
	if len(r.Offers[0].Plans) != 1 || len(r.Offers[1].Plans) != 3 {
		t.Errorf("%d and %d plans", len(r.Offers[0].Plans), len(r.Offers[1].Plans))
	}
}

func TestLossByLookGoesFirst(t *testing.T) {
	p := prices()
	p.LossByLook = map[norm.Look]float64{norm.Lush: 10}
	lush, _ := p.Loss(norm.Lush)
	brown, _ := p.Loss(norm.Browned)
	if lush != 102 || brown != 306 {
		t.Errorf("lush %v, browned %v; want 102 and 306", lush, brown)
	}
	p.LossPercent = nil
	if _, ok := p.Loss(norm.Browned); ok {
		t.Error("no loss was typed for browned")
	}
}

func BenchmarkQuarterSectionWithTwoApplicators(b *testing.B) {
	c := day(0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1.2, 2, 3)
	c.ProductDollarsPerAcre = ptr(32)
	c.Applicators = []block.Applicator{plane(), drone()}
	for b.Loop() {
		if _, _, err := reckon.Of(b.Context(), c); err != nil {
			b.Fatal(err)
		}
	}
}
