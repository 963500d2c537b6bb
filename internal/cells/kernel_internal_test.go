package cells

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"bittern/internal/grid"
)

// TestEveryKernelGivesWhatTheGenericOneGives draws layouts, pixels and runs
// at random and holds the kernel chosen for them to the plain one, exactly.
func TestEveryKernelGivesWhatTheGenericOneGives(t *testing.T) {
	if testing.Short() {
		t.Skip("draws thousands of layouts")
	}
	r := rand.New(rand.NewPCG(3, 4))
	drawn := map[string]int{}
	for range 3000 {
		l := randomLayout(r)
		plain, _ := chooseKernel(l, false)
		drawn[runtime.FuncForPC(reflect.ValueOf(plain).Pointer()).Name()]++
		cols := 1 + r.IntN(70)
		px := randomPixels(r, l, cols)
		runs := randomRuns(r, cols)
		for _, differences := range []bool{false, true} {
			k, wants := chooseKernel(l, differences)
			row := slices.Clone(px)
			if wants {
				difference(l, row)
			}
			got, want := newBlock(l), newBlock(l)
			k(l, row, runs, 3, got)
			got.unpack()
			got.joined = nil
			generic(l, slices.Clone(px), runs, 3, want)
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("layout %+v, differences %v:\n%+v\nwant\n%+v", *l, wants, got, want)
			}
		}
	}
	for name, n := range drawn {
		if len(drawn) < 8 || n < 30 {
			t.Errorf("%s is drawn %d times, of %d kernels", name, n, len(drawn))
		}
	}
}

func newBlock(l *layout) *block {
	b := &block{}
	b.reset(0, l, rect{cols: 4, rows: 4}, false)
	return b
}

func randomLayout(r *rand.Rand) *layout {
	l := &layout{kind: Sample(r.IntN(3)), samples: 1 + r.IntN(6), alpha: -1, values: plainCodes()}
	if l.kind == Uint8 && r.IntN(2) == 0 {
		l.srgb, l.values = true, linearCodes()
	}
	if l.samples > 1 && r.IntN(3) == 0 {
		l.alpha = l.samples - 1
	}
	for s := range l.samples {
		if s != l.alpha && (s == 0 || r.IntN(8) > 0) {
			l.lanes = append(l.lanes, lane{sample: s, band: s})
		}
	}
	switch r.IntN(3) {
	case 0:
		l.setNoData(nil)
	case 1:
		v := float64(r.IntN(4)) * 85
		l.setNoData(&v)
	}
	if n := len(l.lanes); n > 1 && r.IntN(4) > 0 {
		l.ratio = newRatio(l, l.lanes[r.IntN(n)].sample, l.lanes[r.IntN(n)].sample)
		l.ratio.setLow(-0.7 + r.NormFloat64()/3)
	}
	return l
}

// randomPixels are pixels of few values, so that voids come, or of many.
func randomPixels(r *rand.Rand, l *layout, cols int) []byte {
	px := make([]byte, cols*l.samples*l.kind.Bytes())
	few := r.IntN(2) == 0
	for i := range cols * l.samples {
		if few && i%l.samples > 0 && r.IntN(4) > 0 {
			copy(px[i*l.kind.Bytes():], px[(i-1)*l.kind.Bytes():i*l.kind.Bytes()])
			continue
		}
		v := r.Uint32()
		if few {
			v = uint32(r.IntN(4)) * 85
		}
		switch l.kind {
		case Uint8:
			px[i] = byte(v)
		case Uint16:
			binary.LittleEndian.PutUint16(px[2*i:], uint16(v))
		default:
			f := float32(v)
			if !few {
				f = math.Float32frombits(v)
			}
			binary.LittleEndian.PutUint32(px[4*i:], math.Float32bits(f))
		}
	}
	return px
}

func randomRuns(r *rand.Rand, cols int) (runs []run) {
	for end := 0; end < cols; {
		end = min(end+1+r.IntN(12), cols)
		runs = append(runs, run{End: end, Cell: r.IntN(14) - 1})
	}
	for i := range runs {
		runs[i].Cell = max(runs[i].Cell, -1)
	}
	return runs
}

// difference is the inverse of undo.
func difference(l *layout, row []byte) {
	n := l.kind.Bytes()
	for i := len(row) - n; i >= n*l.samples; i -= n {
		if l.kind == Uint8 {
			row[i] -= row[i-l.samples]
		} else {
			v := binary.LittleEndian.Uint16(row[i:]) - binary.LittleEndian.Uint16(row[i-2*l.samples:])
			binary.LittleEndian.PutUint16(row[i:], v)
		}
	}
}

func TestALongRunOfWhitePixelsDoesNotOverflow(t *testing.T) {
	l := &layout{kind: Uint16, samples: 4, alpha: -1}
	for s := range 4 {
		l.lanes = append(l.lanes, lane{s, s})
	}
	const cols = 3*quadMost + 5
	px := make([]byte, cols*8)
	for i := range px {
		px[i] = 0xff
	}
	b := newBlock(l)
	quad(l, px, []run{{End: cols, Cell: 0}}, 0, b)
	for s := range 4 {
		if b.sum[s] != cols*65535 || b.sq[s] != cols*65535*65535 {
			t.Errorf("sample %d: sums %d and %d", s, b.sum[s], b.sq[s])
		}
	}
}

// TestManyPixelsInOneCellAreCounted goes beyond what packed sums and counts
// hold, also with the largest samples.
func TestManyPixelsInOneCellAreCounted(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	for _, l := range []*layout{{kind: Uint8, samples: 3}, {kind: Uint8, samples: 4}, {kind: Uint16, samples: 5}} {
		l.alpha, l.values = -1, linearCodes()
		for s := range l.samples {
			l.lanes = append(l.lanes, lane{s, s})
		}
		l.setNoData(nil)
		l.ratio = newRatio(l, 1, 0)
		l.ratio.setLow(-0.7)
		k, _ := chooseKernel(l, false)
		got, want := newBlock(l), newBlock(l)
		for _, cols := range []int{1, 40_000, 30_000, 2768, 70_000, 200_000, 15} {
			px := make([]byte, l.samples*l.kind.Bytes())
			for i := range px {
				px[i] = byte(r.UintN(256) | 255*r.UintN(2))
			}
			px = bytes.Repeat(px, cols)
			runs := []run{{End: cols, Cell: 0}}
			k(l, px, runs, 3, got)
			generic(l, px, runs, 3, want)
		}
		got.unpack()
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%d samples: %d pixels in bins %v, want %d in %v", l.samples, got.n[3], got.hist[3*Bins:4*Bins], want.n[3], want.hist[3*Bins:4*Bins])
		}
	}
}

func TestEveryQuotientFallsIntoTheBinOfItsEdges(t *testing.T) {
	if testing.Short() {
		t.Skip("goes through half a million quotients")
	}
	r := &ratio{}
	for _, low := range []float64{-0.9, -0.35, 0.15, -3, 4} {
		r.setLow(low)
		check := func(q float32) {
			if got, want := r.slotBin(q), r.quotientBin(q); got != want {
				t.Fatalf("quotient %g: bin %d, want %d", q, got, want)
			}
		}
		for w := uint64(0); w < 1<<32; w += 9973 {
			check(math.Float32frombits(uint32(w)))
		}
		for _, e := range r.edges {
			check(e)
			check(math.Nextafter32(e, 0))
			check(math.Nextafter32(e, 100))
		}
	}
}

func TestLinearCodesReproduceTheStandard(t *testing.T) {
	// IEC 61966-2-1, to six decimals.
	codes := linearCodes().value
	for code, want := range map[int]float64{0: 0, 10: 0.003035, 11: 0.003347, 64: 0.051269, 128: 0.215861, 188: 0.502886, 255: 1} {
		if got := float64(codes[code]) / linearWhite; math.Abs(got-want) > 1e-6 {
			t.Errorf("code %d is %.7f, want %.6f", code, got, want)
		}
	}
}

func TestAMeshKeepsToTheExactPlaces(t *testing.T) {
	// A strongly bent way: a second derivative as of a projection 500 km from
	// its origin, ten times over.
	g := grid.Grid{CellM: 0.5, Cols: 4000, Rows: 4000, OriginY: 2000}
	exact := func(c, r float64) (x, y float64) {
		x, y = 0.3*c+0.02*r, 2000-0.3*r+0.02*c
		return x + 1.6e-6*x*x/2, y - 1.6e-6*x*y
	}
	m := newMesh(exact, g, 0.3)
	w := grid.Window{Col: 700, Row: 900, Cols: 512, Rows: 512}
	at, cols := m.spots(w)
	worst := 0.0
	for r := range w.Rows {
		for c := range w.Cols {
			col, row := w.Col+c, w.Row+r
			i := (row/m.step-w.Row/m.step)*cols + col/m.step - w.Col/m.step
			s, u := (float64(col%m.step)+0.5)/float64(m.step), (float64(row%m.step)+0.5)/float64(m.step)
			p := between(between(at[i], at[i+cols], u), between(at[i+1], at[i+cols+1], u), s)
			x, y := m.at(float64(col)+0.5, float64(row)+0.5)
			worst = max(worst, math.Hypot(p.x-x, p.y-y)*g.CellM)
		}
	}
	if worst > 0.01 {
		t.Errorf("a pixel is %.4f m from its place", worst)
	}
}
