package norm_test

import (
	"math"
	"testing"

	"bittern/internal/norm"
)

// Leaves of other plants than rice; ratios beside cropRatio.
var (
	paleGrass = kind{0.135, 0.47, cropRatio - 0.03} // a paler grass, as high as the rice
	richRice  = kind{0.09, 0.48, cropRatio - 0.15}  // rice with twice the fertiliser
)

// part of the disc's cells that are coarse, and of all others.
func coarsePart(d *norm.Departure, p *plot, col, row, radius int) (in, out float64) {
	inside := map[int]bool{}
	p.disc(col, row, radius, func(i int) { inside[i] = true })
	for i, e := range d.Evidence {
		if d.Looks[d.Toward[i]] != norm.Coarse || e < 0 {
			continue
		}
		if inside[i] {
			in++
		} else {
			out++
		}
	}
	return in / float64(len(inside)), out / float64(len(d.Evidence)-len(inside))
}

func TestLivingWeedsWithoutBurntLeafAreCoarse(t *testing.T) {
	p := newPlot(200, 200, 200, 21)
	p.disc(100, 100, 20, func(i int) { p.blend(i, 0.35, paleGrass) })
	// What spills over the edge of a strong patch is taken off with the patch.
	if in, out := coarsePart(find(t, p), p, 100, 100, 20); in < 0.7 || out > 0.03 {
		t.Errorf("%.2f of a patch of pale grass and %.3f of the rice are coarse", in, out)
	}
}

func TestGreenerRiceIsNoWeed(t *testing.T) {
	p := newPlot(200, 200, 200, 22)
	p.disc(100, 100, 20, func(i int) { p.blend(i, 1, richRice) })
	if in, out := coarsePart(find(t, p), p, 100, 100, 20); in > 0.01 || out > 0.01 {
		t.Errorf("%.2f of richer rice and %.3f of the rest are coarse", in, out)
	}
}

func TestAStandThatSwellsSlowlyIsNoPatch(t *testing.T) {
	p := newPlot(400, 200, 400, 23)
	for i := range p.summary.Pixels {
		p.blend(i, 0.25*max(0, 1-math.Abs(float64(i%400-200))/120), paleGrass)
	}
	if _, out := coarsePart(find(t, p), p, 0, 0, 0); out > 0.01 {
		t.Errorf("%.2f of a stand that swells over 60 m is coarse", out)
	}
}

// In a very even crop ground that is a little rougher stands out many deviations, and is no weed.
func TestALittleRoughnessIsNoWeed(t *testing.T) {
	p := newPlot(200, 200, 200, 24)
	p.disc(100, 100, 20, func(i int) {
		for b := range p.summary.Spread {
			p.summary.Spread[b][i] *= 1.11
		}
	})
	if in, out := coarsePart(find(t, p), p, 100, 100, 20); in > 0.01 || out > 0.01 {
		t.Errorf("%.2f of ground that is rougher by a tenth and %.3f of the rest are coarse", in, out)
	}
}
