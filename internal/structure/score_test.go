package structure_test

import (
	"fmt"
	"math"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/invent"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// A scene is an invented field, summarised, with its truth.
type scene struct {
	name     string
	sum      *cells.Summary
	boundary geo.MultiPolygon
	truth    *invent.Truth
}

// render draws a scene and runs the plain pass over its cells.
func render(tb testing.TB, s invent.Scene) scene {
	tb.Helper()
	f, err := invent.New(s)
	if err != nil {
		tb.Fatal(err)
	}
	b := boundaryOf(tb, f)
	g := gridOver(b, f.Format().EPSG)
	inside := make([]bool, g.Len())
	for i := range inside {
		inside[i] = b.Contains(g.Center(i%g.Cols, i/g.Cols))
	}
	sum, err := cells.FromSource(tb.Context(), []cells.Source{sourceOf(f)}, g, inside, 2)
	if err != nil {
		tb.Fatal(err)
	}
	return scene{s.Name, sum, b, f.Truth(g)}
}

func boundaryOf(tb testing.TB, f *invent.Field) geo.MultiPolygon {
	tb.Helper()
	zone, err := crs.FromEPSG(f.Format().EPSG)
	if err != nil {
		tb.Fatal(err)
	}
	return geo.MultiPolygon{f.Boundary()}.Map(func(p geo.Point) geo.Point {
		x, y, err := zone.Forward(p.X, p.Y)
		if err != nil {
			tb.Fatal(err)
		}
		return geo.Point{X: x, Y: y}
	})
}

func gridOver(b geo.MultiPolygon, epsg int) grid.Grid {
	const cell, margin = 0.5, 10
	box := b.Bounds().Grow(margin)
	g := grid.Grid{EPSG: epsg, CellM: cell, AcresPerCell: cell * cell / 4046.8564224}
	g.OriginX, g.OriginY = math.Floor(box.Min.X/cell)*cell, math.Ceil(box.Max.Y/cell)*cell
	g.Cols = int(math.Ceil((box.Max.X - g.OriginX) / cell))
	g.Rows = int(math.Ceil((g.OriginY - box.Min.Y) / cell))
	return g
}

func sourceOf(f *invent.Field) cells.Source {
	m := f.Format()
	kind := cells.Uint16
	switch {
	case m.Float:
		kind = cells.Float32
	case m.SampleBytes == 1:
		kind = cells.Uint8
	}
	return cells.Source{
		Cols: m.Cols, Rows: m.Rows, Affine: m.Affine, Bands: m.Bands, Sample: kind, SRGB: kind == cells.Uint8, Fill: f.Fill,
	}
}

// A score is how a layout compares with the truth, shares 0 to 1.
type score struct {
	recall, precision float64 // of inner levee cells, within 1.5 m
	cropLost          float64 // of the crop, left out
	weedsLost         float64 // of ground worth acting on, left out
	tracksFound       float64 // of wheel-track cells, left out
	structureSeen     float64 // of cells of anything else than crop and tracks, still looked at
	levees, checks    int
	trueLevees        int
	lostTo, weedsTo   [12]float64 // of the crop and of the weeds, by reason
}

// toleranceM is how far a levee cell may lie from where it is drawn.
const toleranceM = 1.5

func (s scene) score(l *structure.Layout) score {
	g := s.sum.Grid
	size := stat.Size{Cols: g.Cols, Rows: g.Rows}
	truth, found := make([]bool, g.Len()), make([]bool, g.Len())
	depth := stat.Distance(flip(s.sum.Inside), size)
	inner := func(i int) bool { return float64(depth[i])*g.CellM > l.PerimeterM+2 }
	either := make([]bool, g.Len())
	for i, c := range s.truth.Class {
		truth[i] = (c == invent.Levee || c == invent.Ditch) && s.sum.Inside[i]
		either[i] = truth[i] || (s.sum.Inside[i] && c != invent.Crop && c != invent.Track)
		found[i] = l.Reason[i] == structure.Levee || l.Reason[i] == structure.BorrowDitch
	}
	s.markLines(either) // a bank that is worn down is still a levee
	nearTruth, nearFound := stat.Grow(either, size, toleranceM/g.CellM), stat.Grow(found, size, toleranceM/g.CellM)
	besideTrack := stat.Grow(s.tracks(), size, 1.5) // cells that a rut touches are neither
	var out score
	var t, hit, n, right, crop, weeds, tracks, other float64
	for i, c := range s.truth.Class {
		if !s.sum.Inside[i] {
			continue
		}
		left := l.Reason[i] != structure.LookedAt
		if c == invent.Levee && inner(i) {
			t++
			hit += one(nearFound[i])
		}
		if found[i] && inner(i) {
			n++
			right += one(nearTruth[i])
		}
		switch c {
		case invent.Crop, invent.Shade:
			if !nearTruth[i] && !besideTrack[i] && inner(i) {
				crop++
				out.cropLost += one(left)
				if left {
					out.lostTo[l.Reason[i]]++
				}
			}
		case invent.Track:
			tracks++
			out.tracksFound += one(left)
		default:
			other++
			out.structureSeen += one(!left)
		}
		if s.truth.Acting(i) {
			weeds++
			out.weedsLost += one(left)
			if left {
				out.weedsTo[l.Reason[i]]++
			}
		}
	}
	out.recall, out.precision = hit/t, right/n
	out.cropLost, out.weedsLost, out.tracksFound, out.structureSeen = out.cropLost/crop, out.weedsLost/weeds, out.tracksFound/tracks, out.structureSeen/other
	for k := range out.lostTo {
		out.lostTo[k] /= crop
		out.weedsTo[k] /= weeds
	}
	out.levees, out.trueLevees, out.checks = len(l.Levees), len(s.truth.Levees), len(l.Checks)
	return out
}

func (s scene) tracks() []bool {
	out := make([]bool, len(s.truth.Class))
	for i, c := range s.truth.Class {
		out[i] = c == invent.Track
	}
	return out
}

// markLines marks the cells that the truth's levee lines run through.
func (s scene) markLines(in []bool) {
	g := s.sum.Grid
	for _, l := range s.truth.Levees {
		for i := 1; i < len(l); i++ {
			for t := 0.0; t <= 1; t += 0.05 {
				x := int((l[i-1].X + t*(l[i].X-l[i-1].X) - g.OriginX) / g.CellM)
				y := int((g.OriginY - l[i-1].Y - t*(l[i].Y-l[i-1].Y)) / g.CellM)
				if x >= 0 && y >= 0 && x < g.Cols && y < g.Rows {
					in[g.Index(x, y)] = true
				}
			}
		}
	}
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func flip(in []bool) []bool {
	out := make([]bool, len(in))
	for i, b := range in {
		out[i] = !b
	}
	return out
}

func (s score) String() string {
	out := fmt.Sprintf("levees %2d of %2d, checks %2d, recall %.3f, precision %.3f, crop lost %.4f, weeds lost %.3f, tracks left out %.2f, structure looked at %.3f",
		s.levees, s.trueLevees, s.checks, s.recall, s.precision, s.cropLost, s.weedsLost, s.tracksFound, s.structureSeen)
	names := []string{"", "", "levee", "ditch", "water", "road", "track", "edge", "shade", "tree", "nodata", "hand"}
	for k, v := range s.lostTo {
		if v > 0.0005 {
			out += fmt.Sprintf(" %s %.4f", names[k], v)
		}
	}
	out += "; weeds"
	for k, v := range s.weedsTo {
		if v > 0.002 {
			out += fmt.Sprintf(" %s %.3f", names[k], v)
		}
	}
	return out
}

// seen is a scene of about 20 acres at 9 cm, quick to draw.
func seen(s invent.Scene) invent.Scene {
	s.Acres, s.PixelM = 20, 0.09
	s.Weeds.Acres = min(s.Weeds.Acres, 1.4)
	return s
}

// scoreScenes are those that the room is judged by. Seeds are even; settings
// were chosen on odd ones.
func scoreScenes(tb testing.TB) []invent.Scene {
	tb.Helper()
	var out []invent.Scene
	for k := range 8 {
		out = append(out, seen(invent.Believable(invent.Sensor(k%4), uint64(102+2*k))))
	}
	for k, name := range []string{"no-levees", "no-levees", "clean", "clean", "straight", "shade", "skip", "cloud"} {
		s, err := invent.Named(name, invent.Sensor(k%4), uint64(202+2*k))
		if err != nil {
			tb.Fatal(err)
		}
		out = append(out, seen(s))
	}
	for k := range 2 { // nothing to tell the drill's heading by, and a missed pass
		s, err := invent.Named("no-levees", invent.Sensor(2*k), uint64(302+2*k))
		if err != nil {
			tb.Fatal(err)
		}
		s.Tracks, s.Skip = 0, 1
		out = append(out, seen(s))
	}
	return out
}

func TestScore(t *testing.T) {
	if testing.Short() {
		t.Skip("draws eighteen fields")
	}
	var recall, precision, n float64
	for _, sc := range scoreScenes(t) {
		s := render(t, sc)
		l, err := structure.Find(t.Context(), s.sum, structure.Boundary{Polygon: s.boundary}, structure.Options{})
		if err != nil {
			t.Fatal(err)
		}
		got := s.score(l)
		t.Logf("%-34s %v", s.name, got)
		if got.cropLost > 0.02 {
			t.Errorf("%s: %.4f of the crop is left out", s.name, got.cropLost)
		}
		if got.trueLevees == 0 {
			if got.levees != 0 {
				t.Errorf("%s: %d levees where there is none", s.name, got.levees)
			}
			continue
		}
		recall, precision, n = recall+got.recall, precision+got.precision, n+1
	}
	t.Logf("mean recall %.3f, mean precision %.3f", recall/n, precision/n)
	if recall/n < 0.9 || precision/n < 0.93 {
		t.Errorf("mean recall %.3f and precision %.3f are below 0.90 and 0.93", recall/n, precision/n)
	}
}
