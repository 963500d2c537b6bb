package geo_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/peterstace/simplefeatures/geom"

	"bittern/internal/geo"
)

func square(x, y, side float64) geo.Ring {
	return geo.Ring{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}}
}

func ring(flat ...float64) geo.Ring {
	var r geo.Ring
	for i := 0; i < len(flat); i += 2 {
		r = append(r, geo.Point{X: flat[i], Y: flat[i+1]})
	}
	return r
}

// frame is a 10 m square with a 4 m hole in its middle.
func frame() geo.Polygon {
	return geo.Polygon{Outer: square(0, 0, 10), Holes: []geo.Ring{square(3, 3, 4)}}
}

func TestAreasAndLengths(t *testing.T) {
	p := frame()
	if got := p.Area(); got != 84 {
		t.Errorf("area %v", got)
	}
	if got := p.Outer.SignedArea(); got != 100 {
		t.Errorf("counter-clockwise area %v", got)
	}
	if got := p.Outer.Turned(false).SignedArea(); got != -100 {
		t.Errorf("clockwise area %v", got)
	}
	if got := p.Outer.Turned(false)[0]; got != p.Outer[0] {
		t.Errorf("turning moved the first point to %v", got)
	}
	if got := p.Outer.Length(); got != 40 {
		t.Errorf("length %v", got)
	}
	if got := (geo.Line{{X: 0, Y: 0}, {X: 3, Y: 4}, {X: 3, Y: 5}}).Length(); got != 6 {
		t.Errorf("line length %v", got)
	}
	// A field far from the origin, as in UTM, loses nothing.
	far := square(700000, 3900000, 0.5)
	if got := far.SignedArea(); got != 0.25 {
		t.Errorf("far area %v", got)
	}
}

func TestCentroidAllowsForHoles(t *testing.T) {
	m := geo.MultiPolygon{{Outer: square(0, 0, 10).Turned(false), Holes: []geo.Ring{ring(0, 0, 5, 0, 5, 10, 0, 10)}}}
	if got := m.Centroid(); math.Hypot(got.X-7.5, got.Y-5) > 1e-12 {
		t.Errorf("got %v", got)
	}
}

func TestPointsOnSharedEdgesLieInOnePolygon(t *testing.T) {
	left, right := ring(0, 0, 3, 0, 4, 10, 0, 10), ring(3, 0, 10, 0, 10, 10, 4, 10)
	for y := 0.0; y < 10; y += 0.37 {
		p := geo.Point{X: 3 + y/10, Y: y}
		if left.Contains(p) == right.Contains(p) {
			t.Errorf("%v lies in both or in none", p)
		}
	}
	if !square(0, 0, 1).Contains(geo.Point{}) || square(0, 0, 1).Contains(geo.Point{X: 1, Y: 1}) {
		t.Error("the lower left corner is in, the upper right one out")
	}
}

func TestRasterizeAgreesWithContains(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 40 {
		var m geo.MultiPolygon
		for k := range 2 {
			p := geo.Polygon{Outer: star(rng, 15+30*float64(k), 20, 13, 24)}
			p.Holes = append(p.Holes, star(rng, 15+30*float64(k), 20, 3, 8))
			m = append(m, p)
		}
		const cols, rows = 50, 40 // cuts the right-hand one off
		got := m.Rasterize(cols, rows)
		for i, in := range got {
			p := geo.Point{X: float64(i%cols) + 0.5, Y: float64(i/cols) + 0.5}
			if in != m.Contains(p) {
				t.Fatalf("%v: rasterized %v", p, in)
			}
		}
	}
}

// star is a random ring around (x, y) that reaches between r/2 and r.
func star(rng *rand.Rand, x, y, r float64, n int) geo.Ring {
	var out geo.Ring
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		d := r * (0.5 + rng.Float64()/2)
		out = append(out, geo.Point{X: x + d*c, Y: y + d*s})
	}
	return out
}

func TestClipKeepsWhatLiesInside(t *testing.T) {
	m := geo.MultiPolygon{frame()}
	for _, tc := range []struct {
		name string
		a, b geo.Point
		want []float64 // lengths
	}{
		{"over the hole", geo.Point{X: -5, Y: 5}, geo.Point{X: 20, Y: 5}, []float64{3, 3}},
		{"beside the hole", geo.Point{X: -5, Y: 1}, geo.Point{X: 20, Y: 1}, []float64{10}},
		{"starts and ends inside", geo.Point{X: 1, Y: 1}, geo.Point{X: 4, Y: 1}, []float64{3}},
		{"through a corner", geo.Point{X: 20, Y: 20}, geo.Point{X: -5, Y: -5}, []float64{3 * math.Sqrt2, 3 * math.Sqrt2}},
		{"misses", geo.Point{X: -5, Y: 11}, geo.Point{X: 20, Y: 11}, nil},
		{"no length", geo.Point{X: 1, Y: 1}, geo.Point{X: 1, Y: 1}, nil},
	} {
		got := m.Clip(tc.a, tc.b)
		if len(got) != len(tc.want) {
			t.Errorf("%s: got %v", tc.name, got)
			continue
		}
		for i, l := range got {
			if math.Abs(l.Length()-tc.want[i]) > 1e-9 {
				t.Errorf("%s: piece %d is %v long, want %v", tc.name, i, l.Length(), tc.want[i])
			}
		}
	}
}

func TestInsideLiesInsideWithRoom(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, m := range []geo.MultiPolygon{
		{frame()},
		{{Outer: ring(0, 0, 100, 0, 100, 1, 1, 1, 1, 100, 0, 100)}}, // an L of thin arms
		{{Outer: star(rng, 0, 0, 1e-3, 40)}},                        // degrees
		{{Outer: square(0, 0, 1)}, {Outer: square(5, 5, 3)}},
	} {
		p := m.Inside()
		if !m.Contains(p) {
			t.Errorf("%v lies outside", p)
		}
	}
	// A frame 3 wide has room for 1.5 on both sides, and little more in a corner.
	m := geo.MultiPolygon{frame()}
	if d := m.EdgeDistance(m.Inside()); d < 1.49 {
		t.Errorf("room %v", d)
	}
}

func TestDistances(t *testing.T) {
	l := geo.Line{{X: 0, Y: 0}, {X: 10, Y: 0}, {X: 10, Y: 10}}
	for _, tc := range []struct {
		p    geo.Point
		want float64
	}{{geo.Point{X: 5, Y: 2}, 2}, {geo.Point{X: -3, Y: 4}, 5}, {geo.Point{X: 13, Y: 5}, 3}, {geo.Point{X: 10, Y: 0}, 0}} {
		if got := l.Distance(tc.p); math.Abs(got-tc.want) > 1e-12 {
			t.Errorf("%v: got %v, want %v", tc.p, got, tc.want)
		}
	}
}

func TestTraceReturnsTheSquares(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for trial := range 300 {
		cols, rows := 1+rng.IntN(12), 1+rng.IntN(12)
		share := 0.2 + 0.6*rng.Float64()
		mask, n := make([]bool, cols*rows), 0
		for i := range mask {
			if rng.Float64() < share {
				mask[i] = true
				n++
			}
		}
		m := geo.Trace(cols, rows, func(c, r int) bool { return mask[r*cols+c] })
		if got := m.Area(); got != float64(n) {
			t.Fatalf("trial %d: area %v of %d squares", trial, got, n)
		}
		if got, want := len(m), sets(mask, cols); got != want {
			t.Fatalf("trial %d: %d polygons, want %d", trial, got, want)
		}
		for i, in := range m.Rasterize(cols, rows) {
			if in != mask[i] {
				t.Fatalf("trial %d: square %d differs", trial, i)
			}
		}
		checkTraced(t, m)
	}
}

// checkTraced compares with the validity rules of simplefeatures, polygon by
// polygon.
func checkTraced(t *testing.T, m geo.MultiPolygon) {
	t.Helper()
	for _, p := range m {
		var rings []geom.LineString
		for _, r := range p.Rings() {
			rings = append(rings, lineString(r))
			for i, b := range r {
				a, c := r[(i+len(r)-1)%len(r)], r[(i+1)%len(r)]
				if (a.X == b.X) == (b.X == c.X) {
					t.Fatalf("%v lies in a straight stretch of %v", b, r)
				}
			}
		}
		if err := geom.NewPolygon(rings).Validate(); err != nil {
			t.Fatalf("%v: %v", p, err)
		}
	}
	if f, at := m.Fault(); f != geo.Sound {
		t.Fatalf("fault %v at %v in %v", f, at, m)
	}
}

func lineString(r geo.Ring) geom.LineString {
	var flat []float64
	for _, p := range append(r[:len(r):len(r)], r[0]) {
		flat = append(flat, p.X, p.Y)
	}
	return geom.NewLineString(geom.NewSequence(flat, geom.DimXY))
}

// sets counts the sets of squares that share sides, by brute force.
func sets(mask []bool, cols int) int {
	label := make([]int, len(mask))
	for i := range label {
		label[i] = i
	}
	for changed := true; changed; {
		changed = false
		for i := range mask {
			for _, j := range []int{i + 1, i + cols} {
				if j >= len(mask) || (j == i+1 && cols > 1 && j%cols == 0) || !mask[i] || !mask[j] || label[i] == label[j] {
					continue
				}
				label[i], label[j] = min(label[i], label[j]), min(label[i], label[j])
				changed = true
			}
		}
	}
	n := 0
	for i, in := range mask {
		if in && label[i] == i {
			n++
		}
	}
	return n
}

func TestTouchingSquaresAreApartAndHolesTouch(t *testing.T) {
	draw := func(rows ...string) geo.MultiPolygon {
		return geo.Trace(len(rows[0]), len(rows), func(c, r int) bool { return rows[r][c] == '#' })
	}
	if m := draw("#.", ".#"); len(m) != 2 {
		t.Errorf("two squares at a corner: %v", m)
	}
	m := draw(".##", "#.#", "###")
	if len(m) != 1 || len(m[0].Holes) != 1 || len(m[0].Outer) != 6 {
		t.Errorf("a hole that touches the outside: %v", m)
	}
	m = draw("####", "#.##", "##.#", "####")
	if len(m) != 1 || len(m[0].Holes) != 2 {
		t.Errorf("two holes that touch: %v", m)
	}
}

func TestFaultsAreFound(t *testing.T) {
	hole := func(outer, h geo.Ring) geo.MultiPolygon {
		return geo.MultiPolygon{{Outer: outer, Holes: []geo.Ring{h}}}
	}
	one := func(r geo.Ring) geo.MultiPolygon { return geo.MultiPolygon{{Outer: r}} }
	for _, tc := range []struct {
		name string
		m    geo.MultiPolygon
		want geo.Fault
	}{
		{"a square", one(square(0, 0, 1)), geo.Sound},
		{"a frame", geo.MultiPolygon{frame()}, geo.Sound},
		{"a bow-tie", one(ring(0, 0, 1, 1, 1, 0, 0, 1)), geo.Crosses},
		{"an eight over a corner", one(ring(0, 0, 1, 0, 2, 1, 3, 1, 3, 0, 2, 0, 2, 1, 1, 1)), geo.Crosses},
		{"an eight through a corner", one(ring(0, 0, 2, 2, 4, 4, 4, 0, 2, 2, 0, 4)), geo.Crosses},
		{"an end goes through a side", one(ring(0, 0, 4, 0, 4, 4, 2, 0, 2, -3, 0, -3)), geo.Crosses},
		{"an end touches a side", one(ring(0, 0, 4, 0, 4, 4, 2, 0, 0, 4)), geo.Sound},
		{"a cut to a hole", one(ring(0, 0, 10, 0, 10, 10, 0, 10, 0, 5, 3, 5, 3, 7, 7, 7, 7, 3, 3, 3, 3, 5, 0, 5)), geo.Sound},
		{"two points", one(ring(0, 0, 1, 1)), geo.TooFewPoints},
		{"on a line", one(ring(0, 0, 1, 1, 2, 2)), geo.NoArea},
		{"not a number", one(ring(0, 0, math.NaN(), 1, 2, 2)), geo.NotFinite},
		{"infinite", one(ring(0, 0, math.Inf(1), 1, 2, 2)), geo.NotFinite},
		{"a hole outside", hole(square(0, 0, 1), square(5, 5, 1)), geo.HoleOutside},
		{"a hole across", hole(square(0, 0, 4), square(3, 3, 4)), geo.Crosses},
		{"a hole on the edge", hole(square(0, 0, 4), square(0, 1, 2)), geo.Sound},
		{"one in another", geo.MultiPolygon{{Outer: square(0, 0, 9)}, {Outer: square(3, 3, 1)}}, geo.Overlaps},
		{"twice the same", geo.MultiPolygon{{Outer: square(0, 0, 9)}, {Outer: square(0, 0, 9)}}, geo.Overlaps},
		{"side by side", geo.MultiPolygon{{Outer: square(0, 0, 9)}, {Outer: square(9, 3, 1)}}, geo.Sound},
		{"an island in a hole", geo.MultiPolygon{frame(), {Outer: square(4, 4, 2)}}, geo.Sound},
		{"nothing", one(nil), geo.TooFewPoints},
	} {
		if got, at := tc.m.Fault(); got != tc.want {
			t.Errorf("%s: got %v at %v, want %v", tc.name, got, at, tc.want)
		}
	}
}

func TestRandomRingsAreJudgedAsBySimplefeatures(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var crossed int
	for range 2000 {
		var r geo.Ring
		for range 3 + rng.IntN(5) {
			r = append(r, geo.Point{X: rng.Float64(), Y: rng.Float64()})
		}
		f, _ := geo.MultiPolygon{{Outer: r}}.Fault()
		valid := geom.NewPolygon([]geom.LineString{lineString(r)}).Validate() == nil
		if (f == geo.Sound) != valid {
			t.Fatalf("%v: fault %v, valid %v", r, f, valid)
		}
		if f == geo.Crosses {
			crossed++
		}
	}
	if crossed < 500 || crossed > 1800 {
		t.Errorf("%d of 2000 rings cross themselves: a poor test", crossed)
	}
}

func TestCleanDropsRepeatedPoints(t *testing.T) {
	got := ring(0, 0, 0, 0, 1, 0, 1, 1, 1, 1, 0, 0, 0, 0).Clean()
	if len(got) != 3 {
		t.Errorf("got %v", got)
	}
}

func TestSimplifiedLinesStayNear(t *testing.T) {
	var l geo.Line
	for i := range 500 {
		x := float64(i)
		l = append(l, geo.Point{X: x, Y: 20 * math.Sin(x/40)})
	}
	s := l.Simplify(0.5)
	if len(s) > 60 || s[0] != l[0] || s[len(s)-1] != l[len(l)-1] {
		t.Errorf("%d points", len(s))
	}
	for _, p := range l {
		if d := s.Distance(p); d > 0.5 {
			t.Errorf("%v lies %v away", p, d)
		}
	}
}

func BenchmarkRasterizeQuarterSection(b *testing.B) {
	m := geo.MultiPolygon{{Outer: ring(50, 60, 1580, 40, 1600, 1590, 30, 1600)}}
	for b.Loop() {
		m.Rasterize(1640, 1640)
	}
}

func BenchmarkTraceQuarterSection(b *testing.B) {
	m := geo.MultiPolygon{{Outer: ring(50, 60, 1580, 40, 1600, 1590, 30, 1600)}}
	in := m.Rasterize(1640, 1640)
	for b.Loop() {
		geo.Trace(1640, 1640, func(c, r int) bool { return in[r*1640+c] })
	}
}

func TestRingsNestWhateverWayTheyTurn(t *testing.T) {
	rings := []geo.Ring{
		square(4, 4, 1).Turned(false), // an island in the hole
		square(0, 0, 10),
		square(3, 3, 4), // a hole that turns like its outer ring
		square(20, 0, 5).Turned(false),
		square(0, 8, 1), // a hole on the edge
	}
	m := geo.Nest(rings)
	if len(m) != 3 || len(m[1].Holes) != 2 || m.Area() != 1+100-16-1+25 {
		t.Errorf("got %v, area %v", m, m.Area())
	}
}

func TestReducedRingsKeepTheirAreaAndDoNotCross(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for trial := range 60 {
		r := star(rng, 700000, 3900000, 200, 60+rng.IntN(200))
		if trial%2 == 0 {
			r = stairs(rng, 700000, 3900000, 40+rng.IntN(60))
		}
		got, moved := r.Reduce(50)
		if len(got) > 50 {
			t.Errorf("trial %d: %d points remain of %d", trial, len(got), len(r))
		}
		if a, b := got.SignedArea(), r.SignedArea(); math.Abs(a/b-1) > 1e-9 {
			t.Errorf("trial %d: area %v, was %v", trial, a, b)
		}
		if f, at := (geo.MultiPolygon{{Outer: got}}).Fault(); f != geo.Sound {
			t.Errorf("trial %d: fault %v at %v", trial, f, at)
		}
		for _, p := range r {
			if d := (geo.MultiPolygon{{Outer: got}}).EdgeDistance(p); d > moved {
				t.Fatalf("trial %d: a point lies %v away, stated %v", trial, d, moved)
			}
		}
		if moved > 120 {
			t.Errorf("trial %d: moved by %v", trial, moved)
		}
	}
	r := square(0, 0, 10)
	if got, moved := r.Reduce(100); len(got) != 4 || moved != 0 {
		t.Errorf("a square changes: %v %v", got, moved)
	}
}

// stairs is the outline of swaths 20 wide side by side, each with its own ends.
func stairs(rng *rand.Rand, x, y float64, swaths int) geo.Ring {
	var up, down geo.Ring
	for i := range swaths {
		left, right := x+20*float64(i), x+20*float64(i+1)
		bottom, top := y+100*rng.Float64(), y+300+100*rng.Float64()
		down = append(down, geo.Point{X: left, Y: bottom}, geo.Point{X: right, Y: bottom})
		up = append(up, geo.Point{X: left, Y: top}, geo.Point{X: right, Y: top})
	}
	for i := range up {
		down = append(down, up[len(up)-1-i])
	}
	return down
}
