package invent_test

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"

	"bittern/internal/grid"
	"bittern/internal/invent"
)

// cellsOf is the working grid of 0.5 m cells under a field's picture.
func cellsOf(f *invent.Field) grid.Grid {
	is := f.Format()
	a := is.Affine
	lox, hix := math.Inf(1), math.Inf(-1)
	loy, hiy := math.Inf(1), math.Inf(-1)
	for _, c := range [4][2]float64{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
		x := a.A + a.B*c[0]*float64(is.Cols) + a.C*c[1]*float64(is.Rows)
		y := a.D + a.E*c[0]*float64(is.Cols) + a.F*c[1]*float64(is.Rows)
		lox, hix, loy, hiy = min(lox, x), max(hix, x), min(loy, y), max(hiy, y)
	}
	g := grid.Grid{EPSG: is.EPSG, CellM: 0.5, OriginX: math.Floor(lox*2) / 2, OriginY: math.Ceil(hiy*2) / 2}
	g.Cols, g.Rows = int(math.Ceil((hix-g.OriginX)*2)), int(math.Ceil((g.OriginY-loy)*2))
	g.AcresPerCell = 0.25 / 4046.8564224
	return g
}

// redder renders the picture and returns, for each cell, the share of pixels
// that are redder than green, and the mean of every band in linear light.
func redder(tb testing.TB, f *invent.Field, g grid.Grid) (share []float32, mean map[string][]float32) {
	return over(tb, f, g, 0)
}

// over is the share of each cell's pixels whose ln(red/green) exceeds limit,
// and the mean of every band in linear light.
func over(tb testing.TB, f *invent.Field, g grid.Grid, limit float64) (share []float32, mean map[string][]float32) {
	tb.Helper()
	is := f.Format()
	nb, size := len(is.Bands), is.SampleBytes
	n, hits := make([]int, g.Len()), make([]int, g.Len())
	sums := make([][]float64, nb)
	for b := range sums {
		sums[b] = make([]float64, g.Len())
	}
	green, red := -1, -1
	for b, name := range is.Bands {
		switch name {
		case "green":
			green = b
		case "red":
			red = b
		}
	}
	const strip = 256
	factor := math.Exp(limit)
	buf := make([]byte, is.Cols*strip*nb*size)
	v := make([]float64, nb)
	for row := 0; row < is.Rows; row += strip {
		w := grid.Window{Row: row, Cols: is.Cols, Rows: min(strip, is.Rows-row)}
		part := buf[:w.Cols*w.Rows*nb*size]
		if err := f.Fill(w, part); err != nil {
			tb.Fatal(err)
		}
		for i := range w.Cols * w.Rows {
			c, r := float64(i%w.Cols)+0.5, float64(row+i/w.Cols)+0.5
			x := is.Affine.A + is.Affine.B*c + is.Affine.C*r
			y := is.Affine.D + is.Affine.E*c + is.Affine.F*r
			k := g.Index(int((x-g.OriginX)/g.CellM), int((g.OriginY-y)/g.CellM))
			for b := range v {
				v[b] = sample(part[(i*nb+b)*size:], size)
				sums[b][k] += v[b]
			}
			n[k]++
			if v[red] > factor*v[green] {
				hits[k]++
			}
		}
	}
	share = make([]float32, g.Len())
	mean = map[string][]float32{}
	for b, name := range is.Bands {
		mean[name] = make([]float32, g.Len())
		for k := range n {
			mean[name][k] = float32(sums[b][k] / float64(max(n[k], 1)))
		}
	}
	for k := range n {
		share[k] = float32(hits[k]) / float32(max(n[k], 1))
	}
	return share, mean
}

// sample decodes one sample as linear light.
func sample(b []byte, size int) float64 {
	switch size {
	case 2:
		return float64(binary.LittleEndian.Uint16(b)) / 20000
	case 4:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	}
	u := float64(b[0]) / 255
	if u <= 0.04045 {
		return u / 12.92
	}
	return math.Pow((u+0.055)/1.055, 2.4)
}

// bestIoU is the intersection over union with ground worth acting on of the
// best of all thresholds on share; light weeds are forgiven, ground outside
// the field is not looked at.
func bestIoU(share []float32, truth *invent.Truth) (best, threshold float64) {
	const bins = 200
	var in, out [bins + 1]int
	all := 0
	for k, s := range share {
		if truth.Class[k] == invent.Outside || truth.Light(k) {
			continue
		}
		b := int(s * bins)
		if truth.Acting(k) {
			in[b]++
			all++
		} else {
			out[b]++
		}
	}
	hit, false_ := 0, 0
	for b := bins; b > 0; b-- {
		hit += in[b]
		false_ += out[b]
		if iou := float64(hit) / float64(all+false_); iou > best {
			best, threshold = iou, float64(b)/bins
		}
	}
	return best, threshold
}

// knowingBetter is what the same colours give to one who knows every levee,
// track and ditch of the truth, and the crop's norm: the best IoU of the share
// of pixels browner than the norm, smoothed over 1.5 m.
func knowingBetter(tb testing.TB, f *invent.Field, truth *invent.Truth, mean map[string][]float32) float64 {
	g := truth.Grid
	var norm []float64
	for k, c := range truth.Class {
		if c == invent.Crop && truth.Density[k] == 0 {
			norm = append(norm, math.Log(float64(mean["red"][k]/mean["green"][k])))
		}
	}
	slices.Sort(norm)
	share, _ := over(tb, f, g, norm[len(norm)/2]+0.35)
	smooth := make([]float32, len(share))
	for row := 2; row < g.Rows-2; row++ {
		for col := 2; col < g.Cols-2; col++ {
			k := g.Index(col, row)
			n := 0
			for j := -2; j <= 2; j++ {
				for i := -2; i <= 2; i++ {
					near := k + j*g.Cols + i
					if c := truth.Class[near]; c == invent.Crop || c == invent.Shade {
						smooth[k] += share[near]
						n++
					}
				}
			}
			if c := truth.Class[k]; n > 0 && (c == invent.Crop || c == invent.Shade) {
				smooth[k] /= float32(n)
			} else {
				smooth[k] = 0
			}
		}
	}
	iou, _ := bestIoU(smooth, truth)
	return iou
}

func TestOneLineRuleFailsOnBelievableScenesAndSolvesPlainOnes(t *testing.T) {
	if testing.Short() {
		t.Skip("renders twelve scenes of 20 to 30 acres")
	}
	for _, sensor := range sensors {
		for seed := range uint64(2) {
			f := field(t, invent.Believable(sensor, 100+10*uint64(sensor)+seed))
			truth := f.Truth(cellsOf(f))
			share, mean := redder(t, f, truth.Grid)
			iou, at := bestIoU(share, truth)
			better := knowingBetter(t, f, truth, mean)
			t.Logf("%-32s %4.1f ac %.1f cm, weeds %.2f ac: best IoU %.2f at share %.2f; knowing the structure %.2f", f.Scene().Name, f.Scene().Acres, 100*f.Scene().PixelM, truth.Acres(), iou, at, better)
			if iou >= 0.3 {
				t.Errorf("%s: the one-line rule reaches %.2f, must stay under 0.30", f.Scene().Name, iou)
			}
		}
		f := field(t, invent.Plain(sensor, 7))
		truth := f.Truth(cellsOf(f))
		share, _ := redder(t, f, truth.Grid)
		iou, at := bestIoU(share, truth)
		t.Logf("%-32s best IoU %.2f at share %.2f", f.Scene().Name, iou, at)
		if iou < 0.85 {
			t.Errorf("%s: the one-line rule reaches %.2f, must exceed 0.85", f.Scene().Name, iou)
		}
	}
}

func BenchmarkFill(b *testing.B) {
	for _, sensor := range sensors {
		b.Run(sensor.String(), func(b *testing.B) {
			f := field(b, small(sensor, 1))
			is := f.Format()
			w := grid.Window{Col: 128, Row: 128, Cols: 1024, Rows: 1024}
			dst := make([]byte, w.Cols*w.Rows*len(is.Bands)*is.SampleBytes)
			for b.Loop() {
				if err := f.Fill(w, dst); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(w.Cols*w.Rows), "ns/pixel")
		})
	}
}
