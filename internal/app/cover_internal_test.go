package app

import (
	"strings"
	"testing"

	"bittern/internal/imagery"
	"bittern/internal/unit"
)

func TestGroundWithoutAPictureIsNamedInAcres(t *testing.T) {
	for name, c := range map[string]struct {
		lacks float64
		want  string // in the answer; empty for nothing about it
	}{
		"half of the field": {20, "Nothing stands out in 18.0 acres; 20.0 of the field's 40.0 were not seen."},
		"a corner":          {0.1, ""},
		"nothing":           {0, ""},
	} {
		r := &run{day: &Day{Question: "escapes", Field: Field{Acres: 40}, LookedAt: LookedAt{Acres: 18, Shows: showsCrop}}, checked: checked{units: unit.US}, flight: &imagery.Flight{}}
		if c.lacks > 0 {
			r.day.LeftOut = []LeftOut{{Reason: "edge", Acres: 2}, {Reason: "no data", Acres: c.lacks}}
		}
		r.coverDoubts()
		answer := r.day.answer(unit.US)[0]
		if c.want == "" {
			if len(r.doubts) != 0 || strings.Contains(answer, "not seen") {
				t.Errorf("%s: %q and %+v", name, answer, r.doubts)
			}
			continue
		}
		if answer != c.want {
			t.Errorf("%s: %q, want %q", name, answer, c.want)
		}
		if len(r.doubts) != 1 || !strings.Contains(r.doubts[0].Says, "20.0 acres") || r.doubts[0].Weight < 0.5 {
			t.Errorf("%s: doubts %+v", name, r.doubts)
		}
	}
}

func TestPixelsOfDifferentSizesAreADoubt(t *testing.T) {
	for _, c := range []struct {
		pixels []float64 // m
		want   int
	}{{[]float64{0.1}, 0}, {[]float64{0.1, 0.1004}, 0}, {[]float64{0.13, 0.1}, 1}} {
		r := &run{day: &Day{Field: Field{Acres: 40}}, flight: &imagery.Flight{}}
		for _, m := range c.pixels {
			r.flight.Files = append(r.flight.Files, &imagery.File{PixelM: m})
		}
		r.coverDoubts()
		if len(r.doubts) != c.want {
			t.Errorf("pixels of %v m: %d doubts, want %d", c.pixels, len(r.doubts), c.want)
		}
	}
}
