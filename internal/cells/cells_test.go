package cells_test

import (
	"context"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"reflect"
	"strconv"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
)

// A toy is a picture in memory, for any sample type.
type toy struct {
	cells.Source
	px []byte
}

// newToy is a picture of noise about a level of its own for each band, with a
// hole without data.
func newToy(seed uint64, cols, rows int, kind cells.Sample, bands []string, a grid.Affine) *toy {
	r := rand.New(rand.NewPCG(seed, 1))
	t := &toy{px: make([]byte, cols*rows*len(bands)*kind.Bytes())}
	t.Source = cells.Source{Cols: cols, Rows: rows, Affine: a, Bands: bands, Sample: kind, Fill: t.fill}
	for i := range cols * rows {
		c, w := i%cols, i/cols
		hole := (c-cols/3)*(c-cols/3)+(w-rows/3)*(w-rows/3) < cols*rows/50
		for b := range bands {
			v := 0.2 + 0.1*float64(b) + 0.05*r.NormFloat64()
			if hole {
				v = 0
			}
			t.set(i*len(bands)+b, v)
		}
	}
	return t
}

func (t *toy) set(sample int, v float64) {
	v = max(v, 0)
	switch t.Sample {
	case cells.Uint8:
		t.px[sample] = byte(min(255, v*400))
	case cells.Uint16:
		binary.LittleEndian.PutUint16(t.px[2*sample:], uint16(v*30000))
	case cells.Float32:
		binary.LittleEndian.PutUint32(t.px[4*sample:], math.Float32bits(float32(v)))
	}
}

func (t *toy) fill(w grid.Window, dst []byte) error {
	size := len(t.Bands) * t.Sample.Bytes()
	for row := range w.Rows {
		from := ((w.Row+row)*t.Cols + w.Col) * size
		copy(dst[row*w.Cols*size:], t.px[from:from+w.Cols*size])
	}
	return nil
}

// value is sample b of pixel i in linear light, in the summary's unit.
func (t *toy) value(i, b int) float64 {
	s := i*len(t.Bands) + b
	switch t.Sample {
	case cells.Uint8:
		if !t.SRGB {
			return float64(t.px[s])
		}
		u := float64(t.px[s]) / 255
		if u <= 0.04045 {
			return u / 12.92
		}
		return math.Pow((u+0.055)/1.055, 2.4)
	case cells.Uint16:
		return float64(binary.LittleEndian.Uint16(t.px[2*s:]))
	default:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(t.px[4*s:])))
	}
}

func square(n int) (grid.Grid, []bool) {
	g := grid.Grid{EPSG: 32615, OriginX: 700000, OriginY: 3900000, CellM: 0.5, Cols: n, Rows: n}
	inside := make([]bool, g.Len())
	for i := range inside {
		inside[i] = i%n > 1 && i%n < n-2 && i/n > 1 && i/n < n-2
	}
	return g, inside
}

// affine of a picture that lies a metre beyond the grid at the north-west,
// turned by degrees.
func affine(pixel, degrees float64) grid.Affine {
	s, c := math.Sincos(degrees * math.Pi / 180)
	return grid.Affine{A: 699999, B: pixel * c, C: pixel * s, D: 3900001, E: pixel * s, F: -pixel * c}
}

// A tally is the slow, obvious sum over one cell.
type tally struct {
	n       int
	sum, sq []float64
}

func slow(t *toy, g grid.Grid) []tally {
	out := make([]tally, g.Len())
	for i := range out {
		out[i] = tally{sum: make([]float64, len(t.Bands)), sq: make([]float64, len(t.Bands))}
	}
	for i := range t.Cols * t.Rows {
		x, y := float64(i%t.Cols)+0.5, float64(i/t.Cols)+0.5
		a := t.Affine
		col := int(math.Floor((a.A+a.B*x+a.C*y-g.OriginX)/g.CellM + 1e-6))
		row := int(math.Floor((g.OriginY-(a.D+a.E*x+a.F*y))/g.CellM + 1e-6))
		if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows {
			continue
		}
		all := 0.0
		for b := range t.Bands {
			all += t.value(i, b)
		}
		if all == 0 && t.NoData == nil {
			continue
		}
		c := &out[g.Index(col, row)]
		c.n++
		for b := range t.Bands {
			c.sum[b] += t.value(i, b)
			c.sq[b] += t.value(i, b) * t.value(i, b)
		}
	}
	return out
}

func agree(t *testing.T, s *cells.Summary, toy *toy, want []tally, tol float64) {
	t.Helper()
	for cell, w := range want {
		if int(s.Pixels[cell]) != w.n {
			t.Fatalf("cell %d has %d pixels, want %d", cell, s.Pixels[cell], w.n)
		}
		for b, name := range toy.Bands {
			mean, spread := s.Band(name)
			if w.n == 0 {
				if !math.IsNaN(float64(mean[cell])) || !math.IsNaN(float64(spread[cell])) {
					t.Fatalf("cell %d is empty, but its %s is %g ± %g", cell, name, mean[cell], spread[cell])
				}
				continue
			}
			m := w.sum[b] / float64(w.n)
			sd := math.Sqrt(max(w.sq[b]/float64(w.n)-m*m, 0))
			if math.Abs(float64(mean[cell])-m) > tol || math.Abs(float64(spread[cell])-sd) > tol {
				t.Fatalf("cell %d %s: %g ± %g, want %g ± %g", cell, name, mean[cell], spread[cell], m, sd)
			}
		}
	}
}

func TestSummaryEqualsTheObviousSums(t *testing.T) {
	g, in := square(40)
	for _, tc := range []struct {
		name    string
		kind    cells.Sample
		srgb    bool
		pixel   float64
		degrees float64
		tol     float64
	}{
		{"16 bits, pixel divides the cell", cells.Uint16, false, 0.05, 0, 0.01},
		{"16 bits, it does not", cells.Uint16, false, 0.053, 0, 0.01},
		{"16 bits, centres on edges", cells.Uint16, false, 0.2, 0, 0.01},
		{"16 bits, turned", cells.Uint16, false, 0.053, 17, 0.01},
		{"8 bits, linear", cells.Uint8, false, 0.05, 0, 1e-4},
		{"8 bits, sRGB", cells.Uint8, true, 0.05, 0, 1e-6},
		{"float", cells.Float32, false, 0.05, 0, 1e-6},
		{"float, turned", cells.Float32, false, 0.07, -40, 1e-6},
	} {
		t.Run(tc.name, func(t *testing.T) {
			toy := newToy(7, 600, 550, tc.kind, []string{"green", "red", "rededge", "nir"}, affine(tc.pixel, tc.degrees))
			toy.SRGB = tc.srgb
			if tc.kind == cells.Float32 {
				zero := -1.0
				toy.NoData = &zero
			}
			s, err := cells.FromSource(t.Context(), []cells.Source{toy.Source}, g, in, 2)
			if err != nil {
				t.Fatal(err)
			}
			agree(t, s, toy, slow(toy, g), tc.tol)
			if tc.srgb != s.Lossy || s.Bits != 8*tc.kind.Bytes() || math.Abs(s.PixelM-tc.pixel) > 1e-9 {
				t.Errorf("lossy %v, %d bits, pixel %g m", s.Lossy, s.Bits, s.PixelM)
			}
		})
	}
}

func TestHistogramCountsTheLogarithmOfRedOverGreen(t *testing.T) {
	g, in := square(40)
	for _, kind := range []cells.Sample{cells.Uint8, cells.Uint16, cells.Float32} {
		toy := newToy(8, 420, 420, kind, []string{"green", "red", "nir"}, affine(0.05, 0))
		toy.NoData = new(float64)
		s, err := cells.FromSource(t.Context(), []cells.Source{toy.Source}, g, in, 2)
		if err != nil {
			t.Fatal(err)
		}
		if s.Ratio != "ln(red/green)" || s.Width != 0.15 {
			t.Fatalf("histogram of %q in steps of %g", s.Ratio, s.Width)
		}
		var want [cells.Bins]int
		var got [cells.Bins]int
		for i := range toy.Cols * toy.Rows {
			x, y := 699999+0.05*(float64(i%toy.Cols)+0.5), 3900001-0.05*(float64(i/toy.Cols)+0.5)
			green, red := toy.value(i, 0), toy.value(i, 1)
			if x < 700000 || x >= 700020 || y > 3900000 || y <= 3899980 || green+red == 0 {
				continue
			}
			want[min(max(int(math.Floor((math.Log(red/green)-s.Low)/s.Width)), 0), cells.Bins-1)]++
		}
		total := 0
		for i, n := range s.Hist {
			got[i%cells.Bins] += int(n)
			total += int(n)
		}
		for bin := range want {
			if d := got[bin] - want[bin]; d > total/2000 || d < -total/2000 {
				t.Errorf("sample type %d: bin %d holds %d pixels, want %d", kind, bin, got[bin], want[bin])
			}
		}
	}
}

func TestWorkersNeverChangeTheSummary(t *testing.T) {
	g, in := square(60)
	for _, kind := range []cells.Sample{cells.Uint16, cells.Float32} {
		a := newToy(1, 1100, 1050, kind, []string{"green", "red", "nir"}, affine(0.028, 5))
		b := newToy(2, 700, 900, kind, []string{"rededge", "nir"}, affine(0.041, 0))
		var first *cells.Summary
		for _, workers := range []int{1, 2, 5} {
			s, err := cells.FromSource(t.Context(), []cells.Source{a.Source, b.Source}, g, in, workers)
			if err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = s
			} else if !same(first, s) {
				t.Errorf("sample type %d: %d workers give another summary than 1", kind, workers)
			}
		}
	}
}

// same is reflect.DeepEqual with NaN equal to NaN.
func same(a, b *cells.Summary) bool {
	bitsOf := func(s *cells.Summary) (out []uint32) {
		for b := range s.Bands {
			for i := range s.Mean[b] {
				out = append(out, math.Float32bits(s.Mean[b][i]), math.Float32bits(s.Spread[b][i]))
			}
		}
		return out
	}
	return reflect.DeepEqual(bitsOf(a), bitsOf(b)) && reflect.DeepEqual(a.Hist, b.Hist) &&
		reflect.DeepEqual(a.Pixels, b.Pixels) && a.Low == b.Low && reflect.DeepEqual(a.Bands, b.Bands)
}

func TestPicturesOnDifferentGridsAreSummedIntoTheSameCells(t *testing.T) {
	g, in := square(40)
	color := newToy(3, 500, 500, cells.Uint16, []string{"red", "green", "blue"}, affine(0.05, 0))
	infrared := newToy(4, 300, 300, cells.Float32, []string{"nir"}, affine(0.08, 0))
	s, err := cells.FromSource(t.Context(), []cells.Source{color.Source, infrared.Source}, g, in, 2)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"blue", "green", "red", "nir"}; !reflect.DeepEqual(s.Bands, want) {
		t.Fatalf("bands %v, want %v", s.Bands, want)
	}
	a, b := slow(color, g), slow(infrared, g)
	mean, _ := s.Band("nir")
	for cell := range a {
		if got, want := int(s.Pixels[cell]), min(a[cell].n, b[cell].n); got != want {
			t.Fatalf("cell %d: %d pixels, want the lesser, %d", cell, got, want)
		}
		if n := b[cell].n; n > 0 && math.Abs(float64(mean[cell])-b[cell].sum[0]/float64(n)) > 1e-6 {
			t.Fatalf("cell %d: near infrared %g, want %g", cell, mean[cell], b[cell].sum[0]/float64(n))
		}
	}
}

func TestCancellingEndsThePass(t *testing.T) {
	g, in := square(40)
	ctx, cancel := context.WithCancel(t.Context())
	toy := newToy(5, 900, 900, cells.Uint16, []string{"red", "green"}, affine(0.03, 0))
	fill := toy.Fill
	toy.Source.Fill = func(w grid.Window, dst []byte) error { cancel(); return fill(w, dst) }
	if _, err := cells.FromSource(ctx, []cells.Source{toy.Source}, g, in, 2); err == nil {
		t.Fatal("a cancelled pass gives a summary")
	}
}

func ftoa(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
