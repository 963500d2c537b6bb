package norm

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/stat"
)

// plain is a field of 120 x 120 m whose figures scatter by chance, with waves of gaps 40 m long
// that roughen the red as much as weeds do and lift the green end with it; e is its evidence, which
// rises with the red alone. A disc of radius 8 m has weeds, which roughen red and leave the green end.
func plain(gaps float64) (w *work, e []float32, weeds, open []int) {
	const side = 120
	r := rand.New(rand.NewPCG(3, 4))
	size := stat.Size{Cols: side, Rows: side}
	w = &work{
		s: &cells.Summary{Grid: grid.Grid{CellM: 1}}, p: Parameters{Workers: 2}, near: true,
		pool: &pool{fold: 1, size: size, fine: size, check: make([]int32, size.Len()), cells: make([]uint16, size.Len())},
	}
	q := func() *quantity {
		return &quantity{v: make([]float32, size.Len()), center: []float64{0, 0}, spread: []float64{1, 1}, excess: make([]float64, size.Len())}
	}
	w.below = readings{low: q(), middle: q(), high: q(), green: q(), red: q(), infrared: q(), open: q()}
	w.below.middle.center[0] = -0.5 // leaf
	w.bright = nans(size.Len())
	e = make([]float32, size.Len())
	for at := range e {
		w.pool.cells[at] = 1
		col, row := at%side, at/side
		noise := func(d float64) float32 { return float32(d * r.NormFloat64()) }
		gap := gaps * math.Sin(2*math.Pi*float64(col)/40)
		w.below.red.v[at] = noise(0.1) + float32(0.6*gap)
		w.below.low.v[at] = noise(0.03) + float32(0.15*gap)
		if (col-60)*(col-60)+(row-60)*(row-60) <= 64 {
			w.below.red.v[at] += 0.6
			weeds = append(weeds, at)
		} else if gap > 0.9*gaps && gaps > 0 {
			open = append(open, at)
		}
		e[at] = -6 + 10*w.below.red.v[at]
	}
	for _, q := range []*quantity{w.below.low, w.below.middle, w.below.high, w.below.green, w.below.red, w.below.infrared, w.below.open} {
		w.findOff(q)
	}
	return w, e, weeds, open
}

// By evidence alone gaps stand out as far as weeds do; held against how the crop
// varies weeds do and gaps do not.
func TestWhatACropVariesInIsNoWeed(t *testing.T) {
	w, e, weeds, open := plain(1)
	if a, b := meanAt(e, weeds), meanAt(e, open); math.Abs(a-b) > 2.5 {
		t.Fatalf("the evidence itself tells weeds, %.1f, from gaps, %.1f", a, b)
	}
	browned := w.fit(e).browned
	if a, b := meanAt(browned, weeds), meanAt(browned, open); a < 3 || b > 2 {
		t.Errorf("weeds lie %.1f deviations of the crop above it, gaps %.1f", a, b)
	}
}

// Deviations are the crop's: their middle is 0 and their lower side 1, whatever share of
// the field is weeds.
func TestDeviationsAreTheCrops(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, part := range []float64{0, 0.1, 0.3} {
		v := make([]float32, 20000)
		for i := range v {
			if v[i] = float32(2 + 0.5*r.NormFloat64()); float64(i) < part*float64(len(v)) {
				v[i] += 4
			}
		}
		if c, d := cropOf(v); math.Abs(c-2) > 0.1 || d < 0.45 || d > 0.65 {
			t.Errorf("with %.0f %% weeds the crop's middle is %.2f for 2, its deviation %.2f for 0.5", 100*part, c, d)
		}
	}
}

// A crop with a long tail below has one above, too, and is given a wider deviation.
func TestAFarTailWidensTheCrop(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	v := make([]float32, 20000)
	for i := range v {
		if v[i] = float32(r.NormFloat64()); i%25 == 0 {
			v[i] *= 4
		}
	}
	if _, d := cropOf(v); d < 1.3 {
		t.Errorf("a crop of which one place in 25 scatters four times as widely has a deviation of %.2f", d)
	}
}

// A part of a field takes the sum that was fitted to the whole.
func TestGivenNormsTakeWhatWasFitted(t *testing.T) {
	w, e, _, _ := plain(1)
	browned := w.fit(e).browned
	part, _, _, _ := plain(1)
	part.p.Given, part.p.Fitted = []CheckNorm{{}}, w.out.Fitted
	of := part.fit(e)
	if of.coarse != nil || of.dried != nil {
		t.Error("a part of a field is asked for weeds of other kinds")
	}
	again := of.browned
	for at := range browned {
		if math.Abs(float64(browned[at]-again[at])) > 1e-3 {
			t.Fatalf("place %d: %g, and %g with the norms given", at, browned[at], again[at])
		}
	}
	part.p.Fitted = nil
	if part.fit(e).browned != nil {
		t.Error("a part of a field was fitted by itself")
	}
}

// Weeds over a third of a field, all in one place, are still found.
func TestWeedsOverAThirdOfAFieldAreNoCrop(t *testing.T) {
	w, e, _, _ := plain(0)
	var weeds []int
	for at := range e {
		if at%120 < 40 {
			w.below.red.v[at] += 0.6
			w.below.high.v[at] += 0.3
			e[at] += 8
			weeds = append(weeds, at)
		}
	}
	w.findOff(w.below.red)
	w.findOff(w.below.high)
	if at := meanAt(w.fit(e).browned, weeds); at < 4 {
		t.Errorf("weeds over a third of a field lie %.1f deviations of the crop above it", at)
	}
}

// Where soil is the norm nothing is fitted: what is expected is of weeds in a canopy.
func TestNothingIsFittedWhereSoilIsTheNorm(t *testing.T) {
	w, e, _, _ := plain(0)
	w.below.middle.center[0] = 0
	if of := w.fit(e); of.browned != nil || of.coarse != nil || of.dried != nil || w.out.Fitted != nil {
		t.Error("weights were fitted to a field whose norm is soil")
	}
}
