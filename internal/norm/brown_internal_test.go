package norm

import (
	"math/rand/v2"
	"testing"
)

// brown is a field of 120 x 120 m that browns evenly over a disc of radius 12 m, whose evidence that holds for all fields is
// that of crop; red, green and gaps are what the disc's contrasts have above the norm, fall is that of the near infrared.
func brown(red, green, gaps, fall float64) (w *work, e []float32, disc []int) {
	w, e, inner, _ := plain(0)
	for _, at := range inner {
		w.below.red.v[at] -= 0.6
	}
	r := rand.New(rand.NewPCG(9, 10))
	noise := func(d float64) float32 { return float32(d * r.NormFloat64()) }
	for at := range e {
		w.below.middle.v[at], w.below.high.v[at], w.below.infrared.v[at] = -0.5+noise(0.06), noise(0.08), noise(0.05)
		w.below.green.excess[at], w.below.open.excess[at] = float64(noise(0.04)), float64(noise(0.05))
		if col, row := at%120-60, at/120-60; col*col+row*row > 144 {
			continue
		}
		disc = append(disc, at)
		w.below.red.v[at] += float32(red)
		w.below.green.excess[at] += green
		w.below.open.excess[at] += gaps
		w.below.low.v[at] += 0.12
		w.below.middle.v[at] += 0.3
		w.below.high.v[at] += 0.3
		w.below.infrared.v[at] -= float32(fall)
		e[at] = -6
	}
	for _, q := range []*quantity{w.below.low, w.below.middle, w.below.high, w.below.red, w.below.infrared} {
		w.findOff(q)
	}
	w.pooledEvidence = append([]float32(nil), e...)
	return w, e, disc
}

// Ground that has browned all over is told by the near infrared that its leaf throws back, or as a patch by the specks
// of leaf in red and green; soil between plants, whose near infrared falls and which gaps speckle, is not.
func TestBrownPatchesAreToldFromSoil(t *testing.T) {
	for _, c := range []struct {
		name                   string
		red, green, gaps, fall float64
		told                   bool
	}{
		{"dried leaf", 0.15, 0, 0, 0.04, true},
		{"a mat of dead weeds", 0.05, -0.05, 0, 0.04, false},
		{"burnt leaf in specks", 0.5, 0.04, 0, 0.2, true},
		{"soil", 0.3, 0, 0.08, 0.25, false},
		{"open ground under dead weeds", 0.9, 0.06, 0.13, 0.35, false},
	} {
		w, e, disc := brown(c.red, c.green, c.gaps, c.fall)
		of := w.fit(e)
		w.addBrown(&of)
		if told := meanAt(w.pooledEvidence, disc) > brownedFrom; told != c.told {
			t.Errorf("%s: told %v, want %v", c.name, told, c.told)
		}
	}
}

// Of a brown patch that is no rougher than crop the near infrared tells: leaf keeps most of it, evenly.
func TestBrownLeafKeepsItsNearInfrared(t *testing.T) {
	for _, c := range []struct {
		name            string
		red, gaps, fall float64
		leaf            bool
	}{
		{"brown leaf", 0.25, 0.04, 0.15, true},
		{"dead weeds", 0.25, 0.04, 0.24, false},
		{"a mat of dead weeds", 0.05, 0.04, 0.15, false},
		{"gaps", 0.25, 0.12, 0.15, false},
	} {
		w, _, disc := brown(c.red, -0.02, c.gaps, c.fall)
		patch := make([]int32, len(disc))
		for i, at := range disc {
			patch[i] = int32(at)
		}
		if leaf := w.isBrownLeaf(patch); leaf != c.leaf {
			t.Errorf("%s: leaf %v, want %v", c.name, leaf, c.leaf)
		}
	}
}

// Burnt leaf that is finer than a pixel turns no pixel brown: all of them a little, and the green is rougher, for such leaf
// is paler in it than rice. Soil between plants is not, and gaps speckle the near infrared.
func TestSpecksFinerThanAPixelAreToldByTheGreen(t *testing.T) {
	for _, c := range []struct {
		name                                string
		red, green, gaps, fall, middle, end float64
		light                               float32
		told                                bool
	}{
		{"straw", 0.35, 0.12, 0.05, 0.25, 0.3, 0.32, 0.2, false},
		{"fine specks", 0.27, 0.09, 0, 0.09, 0.13, 0.18, 0.03, true},
		{"soil", 0.27, 0, 0.05, 0.2, 0.13, 0.18, 0.03, false},
		{"gaps", 0.27, 0.09, 0.12, 0.09, 0.13, 0.18, 0.03, false},
		{"dead weeds", 0.35, 0.06, 0.07, 0.37, 0.4, 0.37, 0.03, false},
		{"leaf that has browned all over, in specks", 0.67, 0.11, 0.04, 0.35, 0.45, 0.43, 0.03, true},
	} {
		w, e, disc := brown(c.red, c.green, c.gaps, c.fall)
		for _, at := range disc {
			w.below.low.v[at] -= 0.05
			w.below.middle.v[at] += float32(c.middle - 0.3)
			w.below.high.v[at] += float32(c.end - 0.3)
			w.bright[at] = c.light
		}
		for _, q := range []*quantity{w.below.low, w.below.middle, w.below.high} {
			w.findOff(q)
		}
		of := w.fit(e)
		w.addBrown(&of)
		if told := meanAt(w.pooledEvidence, disc) > brownedFrom; told != c.told {
			t.Errorf("%s: told %v, want %v", c.name, told, c.told)
		}
	}
}

// Leaf that has turned a little brown all over keeps its near infrared, and its tips have turned as far as the rest. A mosaic's
// lines shift every pixel alike and roughen nothing; soil and gaps take the near infrared.
func TestLeafThatHasTurnedALittle(t *testing.T) {
	for _, c := range []struct {
		name                         string
		red, gaps, fall, middle, end float64
		told                         bool
	}{
		{"tinged leaf", 0.12, 0, 0, 0.13, 0.16, true},
		{"a shift of every pixel", 0.01, 0, 0, 0.13, 0.13, false},
		{"a paler crop", 0.15, 0, 0, 0.13, 0.07, false},
		{"soil", 0.12, 0.02, 0.12, 0.13, 0.16, false},
		{"gaps", 0.12, 0.06, 0, 0.13, 0.16, false},
		{"a mat of dead weeds", 0.12, 0, 0.04, 0.3, 0.3, false},
	} {
		w, _, disc := brown(c.red, 0.03, c.gaps, c.fall)
		patch := make([]int32, len(disc))
		for i, at := range disc {
			w.below.middle.v[at] += float32(c.middle - 0.3)
			w.below.high.v[at] += float32(c.end - 0.3)
			patch[i] = int32(at)
		}
		w.findOff(w.below.middle)
		w.findOff(w.below.high)
		if told := w.isTinged(patch); told != c.told {
			t.Errorf("%s: told %v, want %v", c.name, told, c.told)
		}
	}
	for _, c := range []struct {
		brownEnd float64 // of the crop, ln(red/green)
		asked    bool
	}{{-0.3, true}, {0.1, false}} {
		w, e, _ := brown(0.12, 0.03, 0, 0)
		w.below.high.center[0] = c.brownEnd
		if of := w.fit(e); (of.tinged != nil) != c.asked {
			t.Errorf("a crop whose brown end is %.1f: asked %v", c.brownEnd, !c.asked)
		}
	}
}

// Where the reddest tenth of the crop's own pixels is soil, browned leaf raises the middle and the green end and no
// brown end. That is asked only of such a crop.
func TestBrownedLeafInACropWithGaps(t *testing.T) {
	for _, c := range []struct {
		brownEnd float32 // of the crop, ln(red/green)
		told     bool
	}{{0.1, true}, {-0.3, false}} {
		w, e, disc := brown(0.3, 0, -0.02, 0.12)
		for at := range e {
			w.below.high.v[at] += c.brownEnd
		}
		w.below.high.center[0] = float64(c.brownEnd)
		for _, at := range disc {
			w.below.middle.v[at] -= 0.16
			w.below.high.v[at] -= 0.3
		}
		w.findOff(w.below.middle)
		w.findOff(w.below.high)
		of := w.fit(e)
		if asked := of.gappy != nil; asked != c.told {
			t.Errorf("a crop whose brown end is %.1f: asked as one with gaps %v", c.brownEnd, asked)
		}
		w.addBrown(&of)
		if told := meanAt(w.pooledEvidence, disc) > brownedFrom; told != c.told {
			t.Errorf("a crop whose brown end is %.1f: told %v, want %v", c.brownEnd, told, c.told)
		}
	}
}

// Leaf that has burnt dark is no paler in green than the crop, and its near infrared falls as over soil; what tells it is
// that few pixels have turned while the others are as green as ever. Where most of it looks dead it is left to what asks for that.
func TestDarkBurntLeafIsToldByItsFewPixels(t *testing.T) {
	for _, c := range []struct {
		name                     string
		low, middle, high, falls float64
		told                     bool
	}{
		{"dark burnt leaf", 0.02, 0.06, 0.38, 0.12, true},
		{"rough crop", 0, 0, 0, 0, false},
		{"dead weeds", 0.3, 0.3, 0.38, 0.4, false},
	} {
		w, e, disc := brown(0.6, 0, 0.07, 0)
		for _, at := range disc {
			w.below.low.v[at] += float32(c.low - 0.12)
			w.below.middle.v[at] += float32(c.middle - 0.3)
			w.below.high.v[at] += float32(c.high - 0.3)
			w.below.infrared.v[at] -= float32(c.falls)
		}
		for _, q := range []*quantity{w.below.low, w.below.middle, w.below.high, w.below.infrared} {
			w.findOff(q)
		}
		of := w.fit(e)
		w.addBrown(&of)
		if told := meanAt(w.pooledEvidence, disc) > brownedFrom; told != c.told {
			t.Errorf("%s: told %v, want %v", c.name, told, c.told)
		}
	}
}

// A brown patch of which a good part is told by its specks is left to them: what is round it is its rim.
func TestBrownGroundRoundWeedsIsTheirRim(t *testing.T) {
	w, e, disc := brown(0.5, 0.04, 0, 0.2)
	for _, at := range disc[:len(disc)/2] {
		w.pooledEvidence[at] = 2
	}
	of := w.fit(e)
	w.addBrown(&of)
	if rim := meanAt(w.pooledEvidence, disc[len(disc)/2:]); rim > brownedFrom {
		t.Errorf("the rest of the patch has evidence %.1f", rim)
	}
}

// Ground that is as rough as weeds and no browner than the crop is none of browned weeds.
func TestRoughGroundThatIsNoBrownerIsNotBrowned(t *testing.T) {
	for _, c := range []struct {
		rise float64
		kept bool
	}{{0.1, true}, {-0.1, false}} {
		w, e, weeds, _ := plain(0)
		for _, at := range weeds {
			w.below.middle.v[at] = float32(c.rise - 0.5)
			w.below.high.v[at] += float32(c.rise)
			e[at] = 3
		}
		w.findOff(w.below.middle)
		w.findOff(w.below.high)
		w.pooledEvidence = e
		w.dropUnbrowned()
		if kept := meanAt(e, weeds) > 2; kept != c.kept {
			t.Errorf("rough ground whose pixels rose by %.1f: kept %v", c.rise, kept)
		}
	}
}

// A faint patch that speckles the near infrared is of gaps, one that is smoother in the green is of no leaf, and one that is
// brighter than any leaf is of straw, but in colour, where dead leaf is as straw; what speaks louder is not asked.
func TestFaintPatchesAreAskedForTheSpecksOfLeaf(t *testing.T) {
	for _, c := range []struct {
		name            string
		near            bool
		strength, light float32
		gaps, green     float64
		kept            bool
	}{
		{"faint leaf", true, 0.5, 0.05, 0.04, 0.05, true},
		{"faint gaps", true, 0.5, 0, 0.15, 0.1, false},
		{"faint and smooth in green", true, 0.5, 0, 0, -0.1, false},
		{"faint straw", true, 0.5, 0.2, 0, 0.1, false},
		{"faint and bright in colour", false, 0.5, 0.2, 0, 0.1, true},
		{"loud, with gaps", true, 2, 0, 0.15, 0.1, true},
		{"loud and smooth in green", true, 2, 0, 0, -0.1, true},
		{"loud and bright", true, 2, 0.2, 0, 0.1, true},
	} {
		w, e, disc := brown(0.5, c.green, c.gaps, 0.1)
		w.near = c.near
		for _, at := range disc {
			e[at], w.bright[at] = c.strength, c.light
		}
		w.pooledEvidence = e
		w.dropUnbrowned()
		if kept := meanAt(e, disc) > 0; kept != c.kept {
			t.Errorf("%s: kept %v, want %v", c.name, kept, c.kept)
		}
	}
}
