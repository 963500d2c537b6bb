package norm

import (
	"math"
	"math/rand/v2"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/stat"
)

// lessonField is a field of 200 x 200 m whose weeds roughen the red twice as much for
// each 1 of evidence as the green: a disc of radius 12 m of them, sure, and one of radius 10 m
// two thirds as strong; and a disc of radius 10 m that has the same evidence as the weaker
// one for another reason, a rise of the green end.
// Weak and other are the middles of the last two.
func lessonField(radius int) (w *work, e []float32, weak, other []int) {
	const side = 200
	r := rand.New(rand.NewPCG(7, 8))
	size := stat.Size{Cols: side, Rows: side}
	w = &work{
		s: &cells.Summary{Grid: grid.Grid{CellM: 1}}, p: Parameters{Workers: 2},
		pool: &pool{fold: 1, size: size, fine: size, check: make([]int32, size.Len()), cells: make([]uint16, size.Len())},
	}
	q := func() *quantity {
		return &quantity{v: make([]float32, size.Len()), center: []float64{0, 0}, spread: []float64{1, 1}, excess: make([]float64, size.Len())}
	}
	w.below = readings{low: q(), middle: q(), high: q(), green: q(), red: q()}
	w.bright = nans(size.Len())
	e = make([]float32, size.Len())
	for at := range e {
		w.pool.cells[at] = 1
		col, row := at%side, at/side
		in := func(c, r, radius int) bool { return (col-c)*(col-c)+(row-r)*(row-r) <= radius*radius }
		noise := func() float32 { return float32(0.05 * r.NormFloat64()) }
		w.below.red.v[at], w.below.low.v[at] = noise(), noise()
		w.below.green.excess[at] = float64(noise()) / 5
		e[at] = -6 + 10*noise()
		switch {
		case in(25, 25, radius):
			w.below.red.v[at] += 0.6
			e[at] += 10
		case in(75, 25, 10):
			w.below.red.v[at] += 0.42
			e[at] += 2
			if in(75, 25, 6) {
				weak = append(weak, at)
			}
		case in(75, 75, 10):
			w.below.low.v[at] += 0.2
			e[at] += 2
			if in(75, 75, 6) {
				other = append(other, at)
			}
		}
	}
	for _, q := range [...]*quantity{w.below.low, w.below.middle, w.below.high, w.below.red} {
		w.findOff(q)
	}
	return w, e, weak, other
}

func meanAt(e []float32, at []int) float64 {
	sum := 0.0
	for _, i := range at {
		sum += float64(e[i])
	}
	return sum / float64(len(at))
}

// taught is the field with what its sure weeds taught of the rest.
func taught(w *work, e []float32) []float32 {
	base := append([]float32(nil), e...)
	w.teach(e, base, w.spots(base))
	return e
}

// Weaker weeds of the kind that is sure come nearer to it; ground of the same
// evidence that differs in another way goes away from it.
func TestSureWeedsTeachWhatWeakerOnesLookLike(t *testing.T) {
	w, e, weak, other := lessonField(12)
	weakBefore, otherBefore := meanAt(e, weak), meanAt(e, other)
	taught(w, e)
	if w.out.Taught == nil {
		t.Fatal("nothing was taught by 450 m2 of sure weeds")
	}
	up, otherUp := meanAt(e, weak)-weakBefore, meanAt(e, other)-otherBefore
	if up < 0.25 || otherUp > -0.25 {
		t.Errorf("weaker weeds went up by %.2f, ground that differs otherwise by %.2f", up, otherUp)
	}
}

func TestFewSureWeedsTeachNothing(t *testing.T) {
	w, e, weak, _ := lessonField(8) // 200 m2
	before := meanAt(e, weak)
	if taught(w, e); w.out.Taught != nil || meanAt(e, weak) != before {
		t.Error("200 m2 of sure weeds changed the evidence")
	}
}

// A part of a field that is held against norms that are given takes what the whole
// field taught, and learns nothing by itself.
func TestGivenNormsTakeWhatTheFieldTaught(t *testing.T) {
	w, e, _, _ := lessonField(12)
	again := append([]float32(nil), e...)
	taught(w, e)
	part, _, _, _ := lessonField(12)
	part.p.Given, part.p.Taught = []CheckNorm{{}}, w.out.Taught
	taught(part, again)
	for at := range e {
		if math.Abs(float64(e[at]-again[at])) > 1e-3 {
			t.Fatalf("cell %d: %g, and %g with the norms given", at, e[at], again[at])
		}
	}
	bare, e, weak, _ := lessonField(12)
	bare.p.Given = []CheckNorm{{}}
	before := meanAt(e, weak)
	if taught(bare, e); meanAt(e, weak) != before {
		t.Error("with norms given and nothing taught the evidence changed")
	}
}

// A patch goes as far as ground is like what it taught, where a good part of that is told; what is told already keeps its
// evidence, and ground of which little is told or that is killed is left.
func TestAPatchGoesAsFarAsWhatItTaught(t *testing.T) {
	for _, c := range []struct {
		told int // cells of a row of 9 that are alike; the tenth is killed
		all  bool
	}{{4, true}, {2, false}} {
		size := stat.Size{Cols: 12, Rows: 3}
		w := &work{pool: &pool{size: size}}
		e, v := make([]float32, size.Len()), nans(size.Len())
		for at := range e {
			e[at] = -8
		}
		for k := range 10 {
			at := size.Cols + 1 + k
			v[at] = 2
			if k < c.told {
				e[at] = 3
			}
		}
		v[2*size.Cols+1] = -1 // beside it, and no more alike than crop
		killed := make([]bool, size.Len())
		killed[size.Cols+10] = true
		w.grow(e, v, killed)
		for k := range 10 {
			want := float32(-8)
			switch {
			case k == 9: // killed
			case k < c.told:
				want = 3
			case c.all:
				want = taughtMost
			}
			if got := e[size.Cols+1+k]; got != want {
				t.Errorf("%d of 9 cells told: cell %d has evidence %g, want %g", c.told, k, got, want)
			}
		}
		if got := e[2*size.Cols+1]; got != -8 {
			t.Errorf("ground that is unlike has evidence %g", got)
		}
	}
}
