package structure_test

import (
	"math"
	"testing"

	"bittern/internal/structure"
)

// ruts paints pairs of wheel tracks a cell wide along the rows, 50 cells apart
// and 4 cells from wheel to wheel.
func (t toy) ruts() {
	for i := range t.sum.Inside {
		if y := i / t.sum.Grid.Cols % 50; y == 20 || y == 24 {
			t.paint(i, 0.03, 0.08, 0.065)
		}
	}
}

// A levee often runs as the drill does. It is told from a rut by its width: 1.5 m
// of bank against half a metre of tyre (common practice, no source).
func TestStraightBankAlongTracksIsALevee(t *testing.T) {
	field := newToy(400, 400)
	field.ruts()
	field.levee(1, func(_, y float64) float64 { return y - 145 })
	field.levee(1, func(_, y float64) float64 { return y - 295 })
	field.levee(2, func(x, _ float64) float64 { return x - 210 }) // it cuts each of them into two of 95 m
	l := field.find(t, structure.Options{})

	cols := field.sum.Grid.Cols
	share := func(row int, want structure.Reason) float64 {
		n := 0
		for x := toyMargin + 40; x < cols-toyMargin-40; x++ {
			if l.Reason[row*cols+x] == want {
				n++
			}
		}
		return float64(n) / float64(cols-2*toyMargin-80)
	}
	for _, row := range []int{145, 295} {
		if got := share(row, structure.Levee); got < 0.95 {
			t.Errorf("the bank in row %d is called a levee over %.2f of its length, want 0.95", row, got)
		}
	}
	for _, row := range []int{120, 170, 174, 220} {
		if got := share(row, structure.Track); got < 0.7 {
			t.Errorf("the rut in row %d is called a track over %.2f of its length, want 0.7", row, got)
		}
		if got := share(row, structure.Levee); got > 0.05 { // where the third bank crosses it
			t.Errorf("the rut in row %d is called a levee over %.2f of its length, want 0.05", row, got)
		}
	}
	if n := len(l.Checks); n != 6 {
		t.Errorf("%d checks, want 6", n)
	}
	for _, v := range l.Levees {
		if math.Abs(v.WidthM-2) > 1 {
			t.Errorf("a levee is %.1f m wide, want 2", v.WidthM)
		}
	}
}

// Machines go round the field, too: their tracks along its sides are tracks, and not weeds.
func TestTracksAlongASideAreTracks(t *testing.T) {
	field := newToy(400, 400)
	field.ruts()
	cols := field.sum.Grid.Cols
	side := toyMargin + 24 // cells from the raster's edge, beyond the perimeter strip
	for _, col := range []int{side, side + 4} {
		for y := range 400 {
			if i := y*cols + col; field.sum.Inside[i] {
				field.paint(i, 0.03, 0.08, 0.065)
			}
		}
	}
	l := field.find(t, structure.Options{})
	for _, col := range []int{side, side + 4} {
		n, of := 0, 0
		for y := toyMargin + 40; y < 400-toyMargin-40; y++ {
			if l.Reason[y*cols+col] == structure.Track {
				n++
			}
			of++
		}
		if float64(n) < 0.7*float64(of) {
			t.Errorf("the rut in column %d is called a track over %d of its %d cells", col, n, of)
		}
	}
}

// A driver who goes round the field swerves: a pair of ruts that winds by a metre to either side is one of tracks all the same. A narrow line
// as short by itself is none.
func TestTracksThatSwerveAlongASideAreTracks(t *testing.T) {
	field := newToy(400, 400)
	field.ruts()
	cols := field.sum.Grid.Cols
	var pair, single []int
	rut := func(into []int, from, to int, col func(y int) int) []int {
		for y := from; y < to; y++ {
			if i := y*cols + col(y); field.sum.Inside[i] {
				field.paint(i, 0.03, 0.08, 0.065)
				into = append(into, i)
			}
		}
		return into
	}
	for _, off := range []int{0, 4} {
		pair = rut(pair, toyMargin+40, 400-toyMargin-40, func(y int) int {
			return toyMargin + 26 + off + int(math.Round(2*math.Sin(2*math.Pi*float64(y)/60)))
		})
	}
	single = rut(single, 181, 211, func(int) int { return 400 - toyMargin - 30 })
	l := field.find(t, structure.Options{})
	if got := reasonsOf(l, pair, structure.Track); got < 0.7 {
		t.Errorf("%.2f of the ruts that swerve are tracks, want 0.7", got)
	}
	if got := reasonsOf(l, single, structure.Track); got > 0.3 { // where others cross it
		t.Errorf("%.2f of 15 m of a narrow line are a track, want 0.3 at most", got)
	}
}
