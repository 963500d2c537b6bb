package job_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"bittern/internal/block"
	"bittern/internal/geo"
	"bittern/internal/job"
)

func ptr(v float64) *float64 { return &v }

func TestRatesReproduceTheReference(t *testing.T) {
	// Source: docs/references.md T8.1.
	for _, tc := range []struct{ mph, ft, want float64 }{
		{145, 70, 20.5051}, {140, 65, 18.3838}, {120, 60, 14.5455}, {12, 90, 2.1818}, {20, 30, 1.2121},
	} {
		if got := job.AcresPerMinute(tc.mph, tc.ft); math.Abs(got-tc.want) > 5e-5 {
			t.Errorf("%v mph, %v ft: %v acres a minute, want %v", tc.mph, tc.ft, got, tc.want)
		}
	}
	// Source: docs/references.md T8.3.
	for _, tc := range []struct{ gpa, mph, ft, want float64 }{
		{3, 145, 70, 61.515}, {5, 145, 70, 102.525}, {10, 140, 65, 183.838},
	} {
		if got := job.GallonsPerMinute(tc.gpa, tc.mph, tc.ft); math.Abs(got-tc.want) > 6e-4 {
			t.Errorf("%+v: %v gallons a minute", tc, got)
		}
	}
}

func TestLoadsReproduceTheReference(t *testing.T) {
	// Source: docs/references.md T8.8; 32 and 22 fl oz are 1/4 and 11/64 gallon.
	for _, tc := range []struct {
		acres, gpa, tank float64
		want             job.Loads
		rate             float64 // gal/ac of product
		perLoad          float64
	}{
		{150, 5, 500, job.Loads{Count: 2, Acres: 75, Gallons: 375}, 32.0 / 128, 18.75},
		{137.4, 10, 500, job.Loads{Count: 3, Acres: 45.8, Gallons: 458}, 22.0 / 128, 7.871875},
	} {
		got, ok := job.Balance(tc.acres, tc.gpa, tc.tank)
		if !ok || got.Count != tc.want.Count || math.Abs(got.Acres-tc.want.Acres) > 1e-9 || math.Abs(got.Gallons-tc.want.Gallons) > 1e-9 {
			t.Errorf("%+v: %+v", tc, got)
		}
		p := job.Product{Rate: ptr(tc.rate), RateUnit: "gal/ac"}
		if a, ok := p.Over(got.Acres); !ok || math.Abs(a.Value-tc.perLoad) > 1e-9 {
			t.Errorf("%+v: %v a load", tc, a)
		}
	}
	if l, _ := job.Balance(100, 5, 500); l.Count != 1 {
		t.Errorf("a tank that is just full makes %d loads", l.Count)
	}
	if _, ok := job.Balance(100, 0, 500); ok {
		t.Error("no rate, and loads")
	}
}

func TestHarvestAndEntryDates(t *testing.T) {
	// Source: docs/references.md T11.1.
	if got, err := job.EarliestHarvest("2026-07-10", 28); err != nil || got != "2026-08-07" {
		t.Errorf("harvest %v, %v; want 2026-08-07", got, err)
	}
	if _, err := job.EarliestHarvest("10 July", 28); err == nil {
		t.Error("no error for a day that is none")
	}
	ended := time.Date(2026, 7, 10, 19, 40, 0, 0, time.FixedZone("CDT", -5*3600))
	if got := job.EntryFrom(ended, 24).Format(time.RFC3339); got != "2026-07-11T19:40:00-05:00" {
		t.Errorf("entry from %v", got)
	}
}

func TestArcReproducesTheWorkedExample(t *testing.T) {
	// Source: docs/references.md W16: cotton at 20 to 75 degrees, not with wind from 170 to 285.
	if got := job.NotFrom(20, 75); got != (job.Arc{170, 285}) {
		t.Errorf("got %v", got)
	}
}

// square is a block of side metres with its middle at x, y.
func square(x, y, side float64) block.Block {
	h := side / 2
	return block.Block{ID: "1", Outline: geo.Polygon{Outer: geo.Ring{{X: x - h, Y: y - h}, {X: x + h, Y: y - h}, {X: x + h, Y: y + h}, {X: x - h, Y: y + h}}}}
}

func TestWindArcsHoldEveryWindThatBlowsOntoTheGround(t *testing.T) {
	// Random points of the block and of the sensitive ground: the wind from one
	// to the other, and 29 degrees to either side, must be forbidden.
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 1))
		b := square(0, 0, 20+r.Float64()*200)
		far := 300 + r.Float64()*900
		az := r.Float64() * 2 * math.Pi
		other := square(far*math.Sin(az), far*math.Cos(az), 30+r.Float64()*300)
		arcs := job.WindNotFrom(b, []job.Sensitive{{Ground: geo.MultiPolygon{other.Outline}}}, 0)
		for range 200 {
			p, q := anywhere(r, b), anywhere(r, other)
			towards := math.Atan2(q.X-p.X, q.Y-p.Y) * 180 / math.Pi
			for _, off := range []float64{-29.9, 0, 29.9} {
				if !forbidden(arcs, towards+180+off) {
					t.Fatalf("seed %d: wind from %.1f blows onto it, arcs are %v", seed, towards+180+off, arcs)
				}
			}
		}
		if len(arcs) != 1 {
			t.Fatalf("seed %d: %v", seed, arcs)
		}
	}
}

func anywhere(r *rand.Rand, b block.Block) geo.Point {
	lo, hi := b.Outline.Outer[0], b.Outline.Outer[2]
	return geo.Point{X: lo.X + r.Float64()*(hi.X-lo.X), Y: lo.Y + r.Float64()*(hi.Y-lo.Y)}
}

func forbidden(arcs []job.Arc, from float64) bool {
	from = math.Mod(from+720, 360)
	for _, a := range arcs {
		if math.Mod(from-a[0]+360, 360) <= math.Mod(a[1]-a[0]+359.999, 360)+0.001 {
			return true
		}
	}
	return false
}

func TestArcsAreJoined(t *testing.T) {
	b := square(0, 0, 10)
	at := func(deg float64) job.Sensitive {
		rad := deg * math.Pi / 180
		return job.Sensitive{Points: []geo.Point{{X: 1e6 * math.Sin(rad), Y: 1e6 * math.Cos(rad)}}}
	}
	// A far point at 180 forbids winds from 330 to 30, with a degree for the
	// block's own width, rounded outwards.
	if got := job.WindNotFrom(b, []job.Sensitive{at(180)}, 0); len(got) != 1 || math.Abs(got[0][0]-329.5) > 0.6 || math.Abs(got[0][1]-30.5) > 0.6 {
		t.Errorf("through north: %v", got)
	}
	if got := job.WindNotFrom(b, []job.Sensitive{at(180), at(220), at(0)}, 0); len(got) != 2 {
		t.Errorf("two arcs: %v", got)
	}
	var all []job.Sensitive
	for deg := 0.0; deg < 360; deg += 50 {
		all = append(all, at(deg))
	}
	if got := job.WindNotFrom(b, all, 0); !reflect.DeepEqual(got, []job.Arc{{0, 360}}) {
		t.Errorf("all round: %v", got)
	}
	near := at(90)
	near.WithinM = ptr(5000)
	if got := job.WindNotFrom(b, []job.Sensitive{near}, 0); got != nil {
		t.Errorf("further than typed: %v", got)
	}
	if got := job.WindNotFrom(b, []job.Sensitive{{Ground: geo.MultiPolygon{square(9, 0, 10).Outline}}}, 0); !reflect.DeepEqual(got, []job.Arc{{0, 360}}) {
		t.Errorf("touching: %v", got)
	}
	turned := job.WindNotFrom(b, []job.Sensitive{at(47)}, 3)
	if len(turned) != 1 || math.Abs(turned[0][0]-(50-30+180)) > 1.1 || math.Abs(turned[0][1]-(50+30+180)) > 1.1 {
		t.Errorf("grid bearing 47 with 3 degrees of convergence: %v, want about 200 to 260", turned)
	}
}

func order() job.Order {
	return job.Order{
		Plan: block.Plan{
			Applicator: "plane", Kind: block.Aircraft, HeadingDeg: 10, ValveOnAcres: 150,
			Blocks: []block.Block{square(700000, 3900000, 100)},
		},
		Applicator: block.Applicator{Name: "plane", Kind: block.Aircraft, SwathFt: ptr(70), SpeedMph: ptr(145), TankGallons: ptr(500)},
		Mix: job.Mix{
			CopiedFromLabelOn: "2026-06-30", CarrierGallonsPerAcre: ptr(5),
			Products: []job.Product{
				{Name: "herbicide A", Rate: ptr(1), RateUnit: "qt/ac", DollarsPerUnit: ptr(11.5), MaxPerSeason: ptr(2), REIHours: ptr(12), PHIDays: ptr(60)},
				{Name: "oil B", Rate: ptr(2.5), RateUnit: "L/ha", DollarsPerUnit: ptr(4), MaxPerSeason: ptr(10), REIHours: ptr(24), PHIDays: ptr(7)},
			},
		},
		Revision:       2,
		Known:          job.Known{Walked: true, Pinned: true, Hazards: true, Neighbours: true, WindLimit: true},
		UsedThisSeason: map[string]float64{"herbicide A": 1, "oil B": 0},
	}
}

func TestJobAddsUp(t *testing.T) {
	j := job.Make(order())
	if j.State != job.Ready || len(j.WhyDraft) != 0 || j.Revision != 2 {
		t.Errorf("state %v: %v", j.State, j.WhyDraft)
	}
	if *j.Gallons != 750 || *j.Loads != (job.Loads{Count: 2, Acres: 75, Gallons: 375}) || *j.REIHours != 24 || *j.PHIDays != 60 {
		t.Errorf("%v gallons, %+v, REI %v, PHI %v", *j.Gallons, *j.Loads, *j.REIHours, *j.PHIDays)
	}
	if l := j.Products[0]; *l.Total != (job.Amount{Value: 150, Unit: "qt"}) || *l.PerLoad != (job.Amount{Value: 75, Unit: "qt"}) {
		t.Errorf("herbicide A: %+v %+v", *l.Total, *l.PerLoad)
	}
	// 2.5 L/ha on 150 acres of 0.40468564224 ha.
	if l := j.Products[1]; math.Abs(l.Total.Value-2.5*150*0.40468564224) > 1e-9 {
		t.Errorf("oil B: %+v", *l.Total)
	}
	// 1 qt * 11.50 + 2.5 L/ha * 0.40468564224 ha/ac * 4.
	if d, ok := order().Mix.DollarsPerAcre(); !ok || math.Abs(d-(11.5+2.5*0.40468564224*4)) > 1e-9 {
		t.Errorf("%v dollars an acre", d)
	}
}

func TestWhatIsMissingMakesADraft(t *testing.T) {
	for _, tc := range []struct {
		name  string
		drop  func(*job.Order)
		wants string
	}{
		{"products", func(o *job.Order) { o.Mix.Products = nil }, "No products"},
		{"label day", func(o *job.Order) { o.Mix.CopiedFromLabelOn = "" }, "label was copied"},
		{"carrier", func(o *job.Order) { o.Mix.CarrierGallonsPerAcre = nil }, "carrier"},
		{"rate", func(o *job.Order) { o.Mix.Products[0].Rate = nil }, "rate of herbicide A"},
		{"REI", func(o *job.Order) { o.Mix.Products[1].REIHours = nil }, "REI of oil B"},
		{"PHI", func(o *job.Order) { o.Mix.Products[1].PHIDays = nil }, "PHI of oil B"},
		{"season limit", func(o *job.Order) { o.Mix.Products[0].MaxPerSeason = nil }, "season limit of herbicide A"},
		{"earlier use", func(o *job.Order) { o.UsedThisSeason = nil }, "Earlier use of herbicide A"},
		{"walk", func(o *job.Order) { o.Known.Walked = false }, "not walked"},
		{"pin", func(o *job.Order) { o.Known.Pinned = false }, "not pinned"},
		{"hazards", func(o *job.Order) { o.Known.Hazards = false }, "No hazards"},
		{"neighbours", func(o *job.Order) { o.Known.Neighbours = false }, "neighbours"},
		{"wind", func(o *job.Order) { o.Known.WindLimit = false }, "wind limit"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			o := order()
			tc.drop(&o)
			j := job.Make(o)
			if j.State != job.Draft || !strings.Contains(strings.Join(j.WhyDraft, " "), tc.wants) {
				t.Errorf("%v: %v", j.State, j.WhyDraft)
			}
		})
	}
}

func TestSeasonLimitIsAddedUp(t *testing.T) {
	// Source: docs/references.md W17: 4 qt used of 8, retreat 5 qt: over by 1.
	o := order()
	o.Mix.Products = o.Mix.Products[:1]
	o.Mix.Products[0].Rate, o.Mix.Products[0].MaxPerSeason = ptr(5), ptr(8)
	o.UsedThisSeason = map[string]float64{"herbicide A": 4}
	j := job.Make(o)
	l := j.Limits[0]
	if !l.Breach || l.Left == nil || *l.Left != -1 || !strings.Contains(l.Says, "by 1") || j.State != job.Draft {
		t.Errorf("%+v, %v", l, j.State)
	}
	o.UsedThisSeason = nil
	o.Mix.Products[0].Rate = ptr(9)
	if l := job.Make(o).Limits[0]; !l.Breach || l.Left != nil {
		t.Errorf("one job over the limit by itself: %+v", l)
	}
}

func TestCodeChangesWithBlocksAndProducts(t *testing.T) {
	base := job.Code(order().Plan, order().Mix)
	if again := job.Code(order().Plan, order().Mix); again != base || len(base) != 6 || strings.ContainsAny(base, "0OQDI1L2Z5S6G8BUV") {
		t.Errorf("codes %q and %q", base, again)
	}
	for name, change := range map[string]func(*job.Order){
		"outline":  func(o *job.Order) { o.Plan.Blocks[0].Outline.Outer[0].X += 0.01 },
		"rate":     func(o *job.Order) { o.Mix.Products[0].Rate = ptr(1.001) },
		"order":    func(o *job.Order) { o.Mix.Products[0], o.Mix.Products[1] = o.Mix.Products[1], o.Mix.Products[0] },
		"carrier":  func(o *job.Order) { o.Mix.CarrierGallonsPerAcre = ptr(6) },
		"heading":  func(o *job.Order) { o.Plan.HeadingDeg = 15 },
		"no block": func(o *job.Order) { o.Plan.Blocks = nil },
	} {
		o := order()
		change(&o)
		if job.Code(o.Plan, o.Mix) == base {
			t.Errorf("the code does not see a change of %s", name)
		}
	}
	// 19^6 codes: of 2,000 made from different outlines none should be alike
	// but by a chance of 4 in 100.
	seen := map[string]bool{}
	for i := range 2000 {
		o := order()
		o.Plan.Blocks[0].Outline.Outer[0].X += float64(i)
		seen[job.Code(o.Plan, o.Mix)] = true
	}
	if len(seen) < 1999 {
		t.Errorf("%d codes of 2,000", len(seen))
	}
}

func TestRateUnitsThatAreRead(t *testing.T) {
	for _, u := range job.Units() {
		for _, ground := range []string{"ac", "ha"} {
			if _, _, err := job.ParseRateUnit(u + "/" + ground); err != nil {
				t.Error(err)
			}
		}
	}
	for _, bad := range []string{"", "qt", "qt/acre", "floz/ac", "qt/ac/ac", "/ac"} {
		if _, _, err := job.ParseRateUnit(bad); err == nil {
			t.Errorf("%q is read", bad)
		}
	}
	if g, ok := (job.Amount{Value: 10, Unit: "oz"}).Gallons(); ok {
		t.Errorf("an ounce that may be of weight is %v gallons", g)
	}
	if g, _ := (job.Amount{Value: 3.785411784, Unit: "L"}).Gallons(); math.Abs(g-1) > 1e-12 {
		t.Errorf("a gallon of litres is %v", g)
	}
}

func ExampleMix_DollarsPerAcre() {
	one, price := 1.0, 11.5
	m := job.Mix{Products: []job.Product{{Name: "herbicide A", Rate: &one, RateUnit: "qt/ac", DollarsPerUnit: &price}}}
	fmt.Println(m.DollarsPerAcre())
	// Output: 11.5 true
}
