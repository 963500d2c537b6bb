package cells

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"bittern/internal/grid"
	"bittern/internal/tight/lanes"
)

// TestNarrowSumsAreThoseOfTheGenericKernel fills cells up to the brim, also
// with the largest samples and with gaps.
func TestNarrowSumsAreThoseOfTheGenericKernel(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for n := range 3000 {
		l := &layout{kind: Uint16, samples: 4, alpha: -1, values: plainCodes()}
		for i := range 4 {
			l.lanes = append(l.lanes, lane{i, i})
		}
		switch r.IntN(3) {
		case 0:
			l.setNoData(nil)
		case 1:
			v := float64(r.IntN(4)) * 85
			l.setNoData(&v)
		}
		l.ratio = newRatio(l, r.IntN(4), r.IntN(4))
		l.ratio.setLow(-0.7 + r.NormFloat64()/3)
		cols := 1 + r.IntN(2*lanes.Most)
		px := randomPixels(r, l, cols)
		if n%10 == 0 {
			px = slices.Repeat([]byte{255}, 8*cols)
		}
		runs := fewInACell(r, cols)
		for _, k := range []struct {
			kernel
			differences bool
		}{{narrow, false}, {narrowDifferences, true}} {
			row := slices.Clone(px)
			if k.differences {
				difference(l, row)
			}
			got, want := &block{}, newBlock(l)
			got.reset(0, l, rect{cols: 4, rows: 4}, true)
			k.kernel(l, row, runs, 3, got)
			got.widen(l)
			got.narrow = nil
			generic(l, slices.Clone(px), runs, 3, want)
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("no-data %v %d, differences %v:\n%+v\nwant\n%+v", l.hasVoid, l.void, k.differences, got, want)
			}
			if !slices.Equal(row, px) {
				t.Fatal("the row does not hold its samples afterwards")
			}
		}
	}
}

// fewInACell are runs that put no more than lanes.Most pixels into a cell.
func fewInACell(r *rand.Rand, cols int) (runs []run) {
	var room [13]int
	for i := range room {
		room[i] = lanes.Most
	}
	for end := 0; end < cols; {
		n := min(1+r.IntN(150), cols-end)
		cell := r.IntN(len(room)+1) - 1
		if cell >= 0 {
			n = min(n, room[cell])
			room[cell] -= n
		}
		if n > 0 {
			end += n
			runs = append(runs, run{End: end, Cell: cell})
		}
	}
	return runs
}

// TestNarrowFitsOnlyWhereNoCellHoldsTooMany counts the pixels of cells, for
// pictures of all sizes of pixel, turned and sheared.
func TestNarrowFitsOnlyWhereNoCellHoldsTooMany(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	fits := 0
	for range 300 {
		along := 0.05 + 0.1*r.Float64() // cells
		down := along * (0.7 + 0.6*r.Float64())
		turn, shear := 2*math.Pi*r.Float64(), 0.3*r.NormFloat64()
		sin, cos := math.Sincos(turn)
		a := grid.Affine{B: along * cos, C: down * (shear*cos - sin), E: along * sin, F: down * (shear*sin + cos)}
		const side = 200
		if !narrowFits(affineAt(a), side, side) {
			continue
		}
		fits++
		count := map[[2]int]int{}
		for row := range side {
			for col := range side {
				at := a.Apply(float64(col)+0.5, float64(row)+0.5)
				count[[2]int{cellAt(at.X), cellAt(at.Y)}]++
			}
		}
		for cell, n := range count {
			if n > lanes.Most {
				t.Fatalf("cell %v of %+v holds %d pixels", cell, a, n)
			}
		}
	}
	if fits < 50 {
		t.Errorf("only %d of 300 fit", fits)
	}
	at := func(pixel float64) func(col, row float64) (x, y float64) {
		return affineAt(grid.Affine{B: pixel, F: -pixel})
	}
	if !narrowFits(at(0.05/0.5), 9000, 9000) {
		t.Error("pixels of 5 cm do not fit cells of 0.5 m")
	}
	if narrowFits(at(0.02/0.5), 9000, 9000) || narrowFits(at(0), 9, 9) {
		t.Error("too small pixels fit")
	}
}
