package invent_test

import (
	"math"
	"slices"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/invent"
)

// named is a scene of the bench, shrunk to a few acres.
func named(tb testing.TB, name string, sensor invent.Sensor, seed uint64, acres float64) invent.Scene {
	tb.Helper()
	s, err := invent.Named(name, sensor, seed)
	if err != nil {
		tb.Fatal(err)
	}
	part := acres / s.Acres
	s.Acres = acres
	for _, a := range []*float64{&s.Weeds.Acres, &s.KilledAcres, &s.NewAcres, &s.Defoliation.Acres, &s.NitrogenShort.Acres, &s.Lodged} {
		*a *= part
	}
	return s
}

// bearing is the direction from a to b in degrees clockwise from true north, by
// the radii of curvature of the WGS84 ellipsoid (NGA.STND.0036, a = 6378137 m,
// 1/f = 298.257223563), good to 0.01 degree over a field.
func bearing(a, b geo.Point) float64 {
	const e2 = 0.00669437999014
	lat := (a.Y + b.Y) / 2 * math.Pi / 180
	w := 1 - e2*math.Sin(lat)*math.Sin(lat)
	east := math.Cos(lat) / math.Sqrt(w) * (b.X - a.X)
	north := (1 - e2) / math.Pow(w, 1.5) * (b.Y - a.Y)
	return math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
}

func TestSkipsLieOnTheJointsOfThePasses(t *testing.T) {
	for seed := range seeds(3) {
		s := named(t, "skips", invent.FourBand16, 40+seed, 8)
		f := field(t, s)
		truth := f.Truth(cellsOf(f))
		if len(truth.Strips) < 3 {
			t.Fatalf("seed %d: %d strips", s.Seed, len(truth.Strips))
		}
		zone := zoneOf(t, f)
		sum := 0.0
		for _, strip := range truth.Strips {
			ax, ay := zone.Inverse(strip.Line[0].X, strip.Line[0].Y)
			bx, by := zone.Inverse(strip.Line[1].X, strip.Line[1].Y)
			got := bearing(geo.Point{X: ax, Y: ay}, geo.Point{X: bx, Y: by})
			if off := math.Mod(got-s.Skips.HeadingDeg+270, 180) - 90; math.Abs(off) > 0.05 {
				t.Errorf("seed %d: a strip at %.2f degrees, the passes at %.2f", s.Seed, got, s.Skips.HeadingDeg)
			}
			sum += strip.Acres
		}
		first := truth.Strips[0]
		for _, strip := range truth.Strips[1:] {
			// The picture's scale differs from the ground's by under 0.1 %.
			gap := offLine(first.Line, strip.Line[0]) / 0.3048
			if want := 65 * math.Abs(float64(strip.Pass-first.Pass)); math.Abs(gap-want) > 2 {
				t.Errorf("seed %d: strips of passes %d and %d lie %.1f ft apart", s.Seed, first.Pass, strip.Pass, gap)
			}
		}
		if math.Abs(sum-truth.Skip) > 1e-9 || sum == 0 {
			t.Errorf("seed %d: strips hold %.3f acres, skips %.3f", s.Seed, sum, truth.Skip)
		}
	}
}

// zoneOf is the zone that a field's picture lies in.
func zoneOf(tb testing.TB, f *invent.Field) crs.CRS {
	tb.Helper()
	zone, err := crs.FromEPSG(f.Format().EPSG)
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

// offLine is the distance of p from the line through l.
func offLine(l geo.Line, p geo.Point) float64 {
	dx, dy := l[1].X-l[0].X, l[1].Y-l[0].Y
	return math.Abs((p.X-l[0].X)*dy-(p.Y-l[0].Y)*dx) / math.Hypot(dx, dy)
}

func TestStraightLeveesMakeOneCheckMore(t *testing.T) {
	for seed := range seeds(4) {
		s := named(t, "straight", invent.FourBand16, 20+seed, 8)
		f := field(t, s)
		truth := f.Truth(cellsOf(f))
		if truth.Checks != len(truth.Levees)+1 {
			t.Errorf("seed %d: %d levees, %d checks", s.Seed, len(truth.Levees), truth.Checks)
		}
		crop, in := 0, 0
		for k, c := range truth.Class {
			if c == invent.Crop {
				crop++
				if truth.Check[k] >= 0 {
					in++
				}
			}
		}
		if float64(in) < 0.97*float64(crop) {
			t.Errorf("seed %d: %d of %d crop cells lie in a check", s.Seed, in, crop)
		}
	}
}

func TestOneCheckIsOddAsAWhole(t *testing.T) {
	s := named(t, "untreated", invent.FourBand16, 4, 8)
	f := field(t, s)
	truth := f.Truth(cellsOf(f))
	if truth.Odd < 0 {
		t.Fatal("no check is untreated")
	}
	all, weedy := 0, 0
	for k, c := range truth.Class {
		if c != invent.Crop || truth.Check[k] < 0 {
			continue
		}
		if odd := truth.Check[k] == truth.Odd; odd {
			all++
			if truth.Acting(k) {
				weedy++
			}
		} else if truth.Patch[k] == invent.UntreatedPatch {
			t.Fatal("untreated weeds outside their check")
		}
	}
	if float64(weedy) < 0.6*float64(all) {
		t.Errorf("%d of %d cells of the untreated check are worth acting on", weedy, all)
	}
}

func TestTrendsHalveOverTheirHalfDistance(t *testing.T) {
	for _, name := range []string{"drift", "fan"} {
		s := named(t, name, invent.FourBand16, 6, 6)
		f := field(t, s)
		truth := f.Truth(cellsOf(f))
		if len(truth.Trends) != 1 {
			t.Fatalf("%s: %d trends", name, len(truth.Trends))
		}
		tr := truth.Trends[0]
		g := truth.Grid
		sin, cos := math.Sincos((tr.FromDeg - zoneOf(t, f).Convergence(s.Lon-91.347, s.Lat+35.118)) * math.Pi / 180)
		var far []float64
		for k, v := range truth.Trend {
			if v < 0.48 || v > 0.52 || truth.Class[k] != invent.Crop {
				continue
			}
			p := g.Center(k%g.Cols, k/g.Cols)
			dx, dy := tr.At.X-p.X, tr.At.Y-p.Y
			if tr.Inlet {
				far = append(far, math.Hypot(dx, dy)-5)
			} else {
				far = append(far, dx*sin+dy*cos)
			}
		}
		slices.Sort(far)
		if len(far) == 0 {
			t.Fatalf("%s: nothing at half of the effect", name)
		}
		if mid := far[len(far)/2]; math.Abs(mid-tr.HalfM) > 0.2*tr.HalfM {
			t.Errorf("%s: half of the effect %.1f m out, the half-distance is %.1f", name, mid, tr.HalfM)
		}
		if tr.Acres <= 0 {
			t.Errorf("%s: no acres", name)
		}
	}
}

func TestTheFlightBeforeShowsTheSameGroundGreen(t *testing.T) {
	s := named(t, "before", invent.FourBand16, 8, 3)
	s.PixelM = 0.12
	early := s.Earlier()
	after, before := field(t, s), field(t, early)
	g := cellsOf(after)
	truth := after.Truth(g)
	if early.ShiftE == 0 || before.Format().Affine == after.Format().Affine {
		t.Error("both flights lie alike")
	}
	then, now := surveyed(t, before, cellsOf(before)).share(), surveyed(t, after, g).share()
	gb := cellsOf(before)
	deadThen, deadNow, n := 0.0, 0.0, 0.0
	fresh := 0.0
	for k, v := range truth.Killed {
		if v < 0.25 || truth.Acting(k) {
			continue
		}
		p := g.Center(k%g.Cols, k/g.Cols)
		at := gb.Index(int((p.X+early.ShiftE-gb.OriginX)/gb.CellM), int((gb.OriginY-p.Y-early.ShiftN)/gb.CellM))
		deadThen += float64(then[at])
		deadNow += float64(now[k])
		n++
	}
	for _, p := range truth.Patches {
		if p.New {
			fresh += p.Acres
		}
	}
	if n == 0 || deadNow/n < 0.15+2*deadThen/n {
		t.Errorf("on killed ground %.2f of the pixels were redder than green before, %.2f after", deadThen/n, deadNow/n)
	}
	if fresh == 0 || math.Abs(fresh-s.NewAcres) > 0.2*s.NewAcres {
		t.Errorf("%.3f acres are newly green, %.3f asked for", fresh, s.NewAcres)
	}
	if again := before.Truth(g); len(again.Patches) >= len(truth.Patches) {
		t.Error("what came up later was there before")
	}
}
