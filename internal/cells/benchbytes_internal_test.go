//go:build unix

package cells

import (
	"encoding/binary"
	"math/rand/v2"
	"testing"

	"bittern/internal/grid"
)

func BenchmarkTriple(b *testing.B)      { benchmarkBytes(b, 3, -1) }
func BenchmarkTripleAlpha(b *testing.B) { benchmarkBytes(b, 4, 3) }
func BenchmarkFour(b *testing.B)        { benchmarkBytes(b, 4, -1) }

// benchmarkBytes measures the kernel for display colours, pixels of 5 cm in
// cells of half a metre.
func benchmarkBytes(b *testing.B, samples, alpha int) {
	b.Helper()
	const side = 512
	l := &layout{kind: Uint8, samples: samples, alpha: alpha, srgb: true, values: linearCodes()}
	for i := range samples {
		if i != alpha {
			l.lanes = append(l.lanes, lane{i, i})
		}
	}
	l.setNoData(nil)
	l.ratio = newRatio(l, 1, 0)
	l.ratio.setLow(-0.4)
	r := rand.New(rand.NewPCG(1, 2))
	px := make([]byte, side*side*samples)
	for i := range px {
		if px[i] = 255; i%samples != alpha {
			px[i] = byte([]float64{100, 120, 70, 90}[i%samples] * (1 + 0.1*r.NormFloat64()))
		}
	}
	u, over := benchmarkGrid(side)
	k, _ := chooseKernel(l, false)
	var blk block
	start := processorTime(b)
	for b.Loop() {
		blk.reset(0, l, over, false)
		rows := u.rows(grid.Window{Cols: side, Rows: side}, over)
		for row := range side {
			runs, base := rows.next()
			k(l, px[row*side*samples:][:side*samples], runs, base, &blk)
		}
		blk.unpack()
	}
	b.ReportMetric((processorTime(b)-start)*1e9/float64(b.N)/(side*side), "cpu-ns/pixel")
}

func BenchmarkPenta(b *testing.B)              { benchmarkPenta(b, false, penta) }
func BenchmarkPentaDifferences(b *testing.B)   { benchmarkPenta(b, true, nil) }
func BenchmarkPentaGeneric(b *testing.B)       { benchmarkPenta(b, false, generic) }
func BenchmarkPentaGenericUndone(b *testing.B) { benchmarkPenta(b, true, afterUndo(generic, true)) }

// benchmarkPenta measures a kernel, or the chosen one, for five 16-bit samples.
func benchmarkPenta(b *testing.B, differences bool, k kernel) {
	b.Helper()
	const side, size = 512, 10
	l := &layout{kind: Uint16, samples: 5, alpha: -1}
	for i := range 5 {
		l.lanes = append(l.lanes, lane{i, i})
	}
	l.setNoData(nil)
	l.ratio = newRatio(l, 2, 1)
	l.ratio.setLow(-0.9)
	if k == nil {
		k, _ = chooseKernel(l, differences)
	}
	r := rand.New(rand.NewPCG(1, 2))
	px := make([]byte, side*side*size)
	for i := 0; i < len(px); i += 2 {
		level := []float64{2000, 3000, 2500, 6000, 14000}[i/2%5]
		binary.LittleEndian.PutUint16(px[i:], uint16(level*(1+0.1*r.NormFloat64())))
	}
	if differences {
		for row := range side {
			difference(l, px[row*side*size:][:side*size])
		}
	}
	u, over := benchmarkGrid(side)
	scratch := make([]byte, len(px))
	var blk block
	start := processorTime(b)
	for b.Loop() {
		copy(scratch, px)
		blk.reset(0, l, over, false)
		rows := u.rows(grid.Window{Cols: side, Rows: side}, over)
		for row := range side {
			runs, base := rows.next()
			k(l, scratch[row*side*size:][:side*size], runs, base, &blk)
		}
		blk.unpack()
	}
	b.ReportMetric((processorTime(b)-start)*1e9/float64(b.N)/(side*side), "cpu-ns/pixel")
}

// benchmarkGrid places pixels of 5 cm in cells of half a metre.
func benchmarkGrid(side int) (upright, rect) {
	g := grid.Grid{CellM: 0.5, Cols: 60, Rows: 60}
	u, _ := newUpright(grid.Affine{A: 0.2, B: 0.05, D: -0.2, F: -0.05}, g)
	return u, u.over(grid.Window{Cols: side, Rows: side}).clip(g)
}
