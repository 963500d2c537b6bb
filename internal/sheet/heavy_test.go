package sheet_test

import (
	"math"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/sheet"
)

// BenchmarkHeavyField has outlines along the edges of half-metre cells, as a
// quarter section has them: wheel tracks across the whole field, and a
// thousand specks.
func BenchmarkHeavyField(b *testing.B) {
	f := fullField(9, 37)
	var tracks, specks geo.MultiPolygon
	for k := range 80 {
		var up, down geo.Ring
		for i := range 1300 {
			y := float64(i) / 2
			x := 20 + 8*float64(k) + math.Round(2*(0.2*y))/2
			up = append(up, at(x, y), at(x, y+0.5))
			down = append(geo.Ring{at(x+1, y+0.5), at(x+1, y)}, down...)
		}
		tracks = append(tracks, geo.Polygon{Outer: append(up, down...)})
	}
	for i := range 1000 {
		x, y := float64(i%40)*17, float64(i/40)*26
		specks = append(specks, geo.Polygon{Outer: geo.Ring{at(x, y), at(x+1, y), at(x+1, y+1), at(x, y+1)}})
	}
	f.LeftOut = append(f.LeftOut, sheet.LeftOut{Reason: "track", Acres: 3, Outline: tracks}, sheet.LeftOut{Reason: "tree", Acres: 0.2, Outline: specks})
	size := 0
	for b.Loop() {
		n := counter(0)
		if err := sheet.Field(&n, f); err != nil {
			b.Fatal(err)
		}
		size = int(n)
	}
	b.ReportMetric(float64(size), "bytes")
}

type counter int

func (c *counter) Write(p []byte) (int, error) {
	*c += counter(len(p))
	return len(p), nil
}
