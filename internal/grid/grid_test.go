package grid_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
)

func rect(west, south, east, north float64) geo.MultiPolygon {
	return geo.MultiPolygon{{Outer: geo.Ring{{X: west, Y: south}, {X: east, Y: south}, {X: east, Y: north}, {X: west, Y: north}}}}
}

// field is the field of T10.9, 155.0713 acres.
func field() geo.MultiPolygon { return rect(-91.55, 34.5, -91.5412, 34.507) }

func mustNew(t *testing.T, m geo.MultiPolygon) grid.Grid {
	t.Helper()
	g, err := grid.New(m)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestGridHoldsTheFieldAndItsSurroundings(t *testing.T) {
	g := mustNew(t, field())
	if g.EPSG != 32615 || g.CellM != 0.5 {
		t.Errorf("EPSG %d, cell %v", g.EPSG, g.CellM)
	}
	if math.Mod(g.OriginX, 0.5) != 0 || math.Mod(g.OriginY, 0.5) != 0 {
		t.Errorf("origin %v %v is not on half metres", g.OriginX, g.OriginY)
	}
	m, err := g.FromLonLat(field())
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	for name, margin := range map[string]float64{
		"west": b.Min.X - g.OriginX, "north": g.OriginY - b.Max.Y,
		"east":  g.OriginX + float64(g.Cols)*g.CellM - b.Max.X,
		"south": b.Min.Y - (g.OriginY - float64(g.Rows)*g.CellM),
	} {
		if margin < 20 || margin > 21 {
			t.Errorf("%s margin is %v m", name, margin)
		}
	}
}

func TestCellsAddUpToEllipsoidalAcres(t *testing.T) {
	g := mustNew(t, field())
	m, err := g.FromLonLat(field())
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, in := range g.Inside(m) {
		if in {
			n++
		}
	}
	acres := float64(n) * g.AcresPerCell
	t.Logf("%d cells, %.4f acres; T10.9: 155.0713", n, acres)
	if math.Abs(acres-155.0713) > 155*2e-5 {
		t.Errorf("cells add up to %.4f acres, T10.9 says 155.0713", acres)
	}
	// Uncorrected, the plane under-reads by 0.036 % (T10.9).
	plane := m.Area()
	if math.Abs(plane-627325.143) > 0.05 {
		t.Errorf("area on the plane %.3f m2, T10.9 says 627325.143", plane)
	}
}

func TestConvergenceIsThatOfTheZone(t *testing.T) {
	g := mustNew(t, field())
	if want := crs.UTM(15, false).Convergence(-91.5456, 34.5035); math.Abs(g.ConvergenceDeg-want) > 1e-9 || want < 0.8 {
		t.Errorf("got %v, want %v", g.ConvergenceDeg, want)
	}
}

func TestNoFieldsAreRefusedInOneSentence(t *testing.T) {
	for _, tc := range []struct {
		name string
		m    geo.MultiPolygon
		says string
	}{
		{"empty", nil, "empty"},
		{"swapped", rect(34.5, -91.55, 34.507, -91.5412), "swapped"},
		{"swapped, east coast", rect(34.5, -77.01, 34.507, -77), "swapped"},
		{"metres", rect(633119, 3818551, 634000, 3819000), "degrees"},
		{"a county", rect(-92, 34, -91, 35), "more than any field"},
		{"no ground", rect(-91.55, 34.5, -91.55, 34.507), "no ground"},
		{"scattered", append(field(), rect(-93.55, 36.5, -93.5412, 36.507)...), "one field"},
		{"two continents", append(field(), rect(10, 45, 10.001, 45.001)...), "one field"},
		{"not a number", rect(math.NaN(), 34, -91, 35), ""},
	} {
		_, err := grid.New(tc.m)
		p, ok := errors.AsType[*doubt.Problem](err)
		if !ok || !strings.Contains(p.Error(), tc.says) || p.Kind != doubt.Input {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
}

func TestAffinesInvert(t *testing.T) {
	a := grid.Affine{A: 700000, B: 0.05, C: 0.01, D: 3900000, E: 0.012, F: -0.049}
	inv, ok := a.Invert()
	if !ok {
		t.Fatal("no inverse")
	}
	for _, p := range []geo.Point{{X: 0, Y: 0}, {X: 12345.5, Y: 678}, {X: -3, Y: 20000}} {
		q := a.Apply(p.X, p.Y)
		back := inv.Apply(q.X, q.Y)
		if p.Distance(back) > 1e-6 {
			t.Errorf("%v comes back as %v", p, back)
		}
	}
	if _, ok := (grid.Affine{B: 1, C: 1, E: 1, F: 1}).Invert(); ok {
		t.Error("a flat transform has an inverse")
	}
	if got := (grid.Affine{B: 0.05, F: -0.05}).PixelSize(); math.Abs(got-0.05) > 1e-15 {
		t.Errorf("pixel size %v", got)
	}
}

func TestWindowsIntersect(t *testing.T) {
	w := grid.Window{Col: 2, Row: 3, Cols: 10, Rows: 5}
	if got := w.Intersect(grid.Window{Col: 8, Row: 0, Cols: 10, Rows: 4}); got != (grid.Window{Col: 8, Row: 3, Cols: 4, Rows: 1}) {
		t.Errorf("got %v", got)
	}
	if got := w.Intersect(grid.Window{Col: 12, Row: 3, Cols: 1, Rows: 1}); !got.Empty() || got.Len() != 0 {
		t.Errorf("got %v", got)
	}
	if !w.Contains(11, 7) || w.Contains(12, 7) {
		t.Error("the last cell is in, the next one not")
	}
}

func TestCellsAndGroundAgree(t *testing.T) {
	g := mustNew(t, field())
	for _, c := range [][2]int{{0, 0}, {3, 7}, {g.Cols - 1, g.Rows - 1}} {
		col, row := g.Cell(g.Center(c[0], c[1]))
		if col != c[0] || row != c[1] || !g.Has(col, row) {
			t.Errorf("%v: got %d %d", c, col, row)
		}
		p := g.Affine().Apply(float64(c[0])+0.5, float64(c[1])+0.5)
		if p != g.Center(c[0], c[1]) {
			t.Errorf("%v: affine says %v", c, p)
		}
	}
	if g.Has(g.Cols, 0) || g.Has(0, -1) {
		t.Error("cells beyond the edge")
	}
}

func TestTracedCellsCoverTheSameCells(t *testing.T) {
	g := mustNew(t, rect(-91.55, 34.5, -91.549, 34.5008))
	rng := rand.New(rand.NewPCG(1, 1))
	var cells []int32
	mask := make([]bool, g.Len())
	for row := 50; row < 80; row++ {
		for col := 30; col < 70; col++ {
			if rng.Float64() < 0.6 {
				mask[g.Index(col, row)] = true
				cells = append(cells, int32(g.Index(col, row)))
			}
		}
	}
	m := g.TraceCells(cells)
	if got, want := m.Area(), float64(len(cells))*g.CellM*g.CellM; math.Abs(got-want) > 1e-6 {
		t.Errorf("area %v, want %v", got, want)
	}
	for i, in := range g.Inside(m) {
		if in != mask[i] {
			t.Fatalf("cell %d differs", i)
		}
	}
	whole := g.TraceMask(func(i int) bool { return mask[i] })
	if len(whole) != len(m) {
		t.Errorf("%d outlines of the whole, %d of the window", len(whole), len(m))
	}
	lonLat := g.ToLonLat(m)
	if got, want := crs.AreaM2(lonLat)/4046.8564224, float64(len(cells))*g.AcresPerCell; math.Abs(got/want-1) > 1e-6 {
		t.Errorf("outlines hold %v acres on the ellipsoid, cells %v", got, want)
	}
}
