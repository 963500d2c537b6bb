package norm_test

import (
	"math"
	"testing"

	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// In shade the sky lights the crop: a third as bright, and bluer, so that the ratio of red to green falls. What is held against the
// crop in the sun there is off all over, and a patch of weeds in it is lost or drawn too large.
func TestWeedsInShadeAreHeldAgainstCropInShade(t *testing.T) {
	const side = 240
	shaded := func(i int) bool { return i%side < side/3 }
	p := newPlot(side, side, side, 21)
	weeds := map[int]bool{}
	p.disc(40, 120, 14, func(i int) { weeds[i] = true })
	p.disc(180, 120, 14, func(i int) { weeds[i] = true })
	p.layout.Kept = make([]structure.Reason, side*side)
	for i := range side * side {
		part := 0.0
		if weeds[i] {
			part = 0.2
		}
		shift := 0.0
		if shaded(i) {
			shift = -0.3
		}
		p.grow(i, shift, part)
		if shaded(i) {
			p.layout.Kept[i] = structure.Shade
			for b := range p.summary.Mean {
				p.summary.Mean[b][i] *= 0.35
				p.summary.Spread[b][i] *= 0.35
			}
		}
	}
	d := find(t, p)
	if d.Shaded == nil || len(d.Shaded.Light) == 0 || math.Abs(d.Shaded.Light[0]-math.Log(0.35)) > 0.1 {
		t.Fatalf("shade: %+v", d.Shaded)
	}
	of := func(inShade, inWeeds bool) float64 {
		var e []float32
		for i, x := range d.Evidence {
			// Away from the border of the shade, over which quantities are averaged.
			if col := i % side; shaded(i) == inShade && weeds[i] == inWeeds && (col < side/3-12 || col > side/3+12) {
				e = append(e, x)
			}
		}
		return stat.Median(e)
	}
	if crop := of(true, false); crop > -3 {
		t.Errorf("evidence of crop in shade %.1f", crop)
	}
	if dark, sun := of(true, true), of(false, true); dark < 1.5 || math.Abs(dark-sun) > 3 {
		t.Errorf("evidence of weeds: %.1f in shade, %.1f in the sun", dark, sun)
	}
	for _, name := range []string{norm.Middle, norm.RatioPixel} {
		if got := d.Norms[0].Center[name]; math.Abs(got-cropRatio) > 0.06 {
			t.Errorf("%s of the norm is %.3f: shade has moved it", name, got)
		}
	}
}

// A cloud may hide a whole check: it has no crop in the sun, leans on its neighbours, and stands apart for nothing.
func TestACheckThatLiesInShadeAllOverGoesByItsNeighbours(t *testing.T) {
	const side, check = 300, 100
	p := newPlot(side, side, check, 22)
	p.layout.Kept = make([]structure.Reason, side*side)
	weeds := map[int]bool{}
	p.disc(150, 150, 14, func(i int) { weeds[i] = true })
	for i := range side * side {
		part := 0.0
		if weeds[i] {
			part = 0.2
		}
		p.grow(i, 0, part)
		if p.layout.Check[i] == 4 {
			p.layout.Kept[i] = structure.Shade
			for b := range p.summary.Mean {
				p.summary.Mean[b][i] *= 0.35
				p.summary.Spread[b][i] *= 0.35
			}
		}
	}
	d := find(t, p)
	dark := d.Norms[4]
	if s := dark.Standing; s != nil && s.Apart {
		t.Errorf("the shaded check stands apart: %+v", *s)
	}
	if got := dark.Center[norm.Middle]; math.Abs(got-cropRatio) > 0.06 {
		t.Errorf("the norm of the shaded check is %.3f", got)
	}
	var in, round []float32
	for i, e := range d.Evidence {
		if col, row := i%side, i/side; col > 112 && col < 188 && row > 112 && row < 188 {
			if weeds[i] {
				in = append(in, e)
			} else if math.Hypot(float64(col-150), float64(row-150)) > 24 {
				round = append(round, e)
			}
		}
	}
	if stat.Median(in) < 1.5 || stat.Median(round) > -3 {
		t.Errorf("evidence of weeds in the shaded check %.1f, of crop %.1f", stat.Median(in), stat.Median(round))
	}
}
