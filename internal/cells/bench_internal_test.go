//go:build unix

package cells

import (
	"encoding/binary"
	"math/rand/v2"
	"syscall"
	"testing"

	"bittern/internal/grid"
)

// tileOf is a tile of noise about four levels, as a camera gives them.
func tileOf(side int, differences bool) []byte {
	r := rand.New(rand.NewPCG(1, 2))
	px := make([]byte, side*side*8)
	for row := range side {
		var last [4]uint16
		for col := range side {
			for b, level := range []float64{3000, 2500, 6000, 14000} {
				v := uint16(level * (1 + 0.1*r.NormFloat64()))
				d := v
				if differences {
					d, last[b] = v-last[b], v
				}
				binary.LittleEndian.PutUint16(px[((row*side+col)*4+b)*2:], d)
			}
		}
	}
	return px
}

func BenchmarkQuadDifferences(b *testing.B)   { benchmarkKernel(b, true, true, nil) }
func BenchmarkQuad(b *testing.B)              { benchmarkKernel(b, false, true, nil) }
func BenchmarkQuadNoHist(b *testing.B)        { benchmarkKernel(b, true, false, nil) }
func BenchmarkNarrowDifferences(b *testing.B) { benchmarkKernel(b, true, true, narrowDifferences) }
func BenchmarkNarrow(b *testing.B)            { benchmarkKernel(b, false, true, narrow) }

// benchmarkKernel measures a kernel, or when it is nil the one that is chosen
// for the layout.
func benchmarkKernel(b *testing.B, differences, hist bool, k kernel) {
	b.Helper()
	const side = 512
	l := &layout{kind: Uint16, samples: 4, alpha: -1}
	for i := range 4 {
		l.lanes = append(l.lanes, lane{i, i})
	}
	l.setNoData(nil)
	if hist {
		l.ratio = newRatio(l, 1, 0)
		l.ratio.setLow(-0.9)
	}
	isNarrow := k != nil
	if k == nil {
		k, _ = chooseKernel(l, differences)
	}
	px := tileOf(side, differences)
	g := grid.Grid{CellM: 0.5, Cols: 60, Rows: 60}
	u, _ := newUpright(grid.Affine{A: 0.2, B: 0.05, D: -0.2, F: -0.05}, g)
	w := grid.Window{Cols: side, Rows: side}
	over := u.over(w).clip(g)
	scratch := make([]byte, len(px))
	var blk block
	start := processorTime(b)
	for b.Loop() {
		copy(scratch, px)
		blk.reset(0, l, over, isNarrow)
		rows := u.rows(w, over)
		for row := range side {
			runs, base := rows.next()
			k(l, scratch[row*side*8:][:side*8], runs, base, &blk)
		}
		if isNarrow {
			blk.widen(l)
		}
	}
	b.ReportMetric((processorTime(b)-start)*1e9/float64(b.N)/(side*side), "cpu-ns/pixel")
}

// processorTime is what this process has taken, s: true also where other work
// runs beside.
func processorTime(tb testing.TB) float64 {
	tb.Helper()
	var use syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &use); err != nil {
		tb.Fatal(err)
	}
	return float64(use.Utime.Sec+use.Stime.Sec) + float64(use.Utime.Usec+use.Stime.Usec)/1e6
}
