package norm

import (
	"fmt"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/structure"
)

// Shown is what a picture shows of the ground that is looked at, before anything
// is held against anything: whether there is a crop to hold it against.
type Shown struct {
	Crop, Water, Bare float64  // parts of the ground that have the colour of living leaf, of open water, of bare soil, 0 to 1
	NoCrop            bool     // next to nothing has the green of a crop
	Even              bool     // nothing differs from place to place but the noise of the camera
	Flat              []string // bands that have one value nearly all over
	Doubts            []doubt.Doubt
}

// Limits of Shown. Of the rows of docs/references.md, table of indices (illustrative
// there), "drysoil" has 1.5 times as much near infrared as red, and two fifths of
// "canopy" over it 2.8 times; the limit lies between, nearer the soil. The other
// limits are common practice, no source.
const (
	leafOverRed   = 1.75  // near infrared over red, from which ground bears leaf
	leafOverGreen = 2.3   // near infrared over green, where there is no red
	greenOverRed  = 1.1   // where a picture has colour only, and for converted cameras, whose red sees infrared
	darkInfrared  = 0.8   // near infrared over green, below which ground is open water
	leastCrop     = 0.05  // part of the ground with leaf, below which there is no crop to compare with
	closedCrop    = 0.5   // the same, below which most of what a place is compared with is no crop
	flatPart      = 0.9   // of the cells with one value, from which a band says nothing
	flatBy        = 1e-6  // of the value, within which values are one
	evenBelow     = 0.05  // correlation of a cell with the next, below which a band is noise
	evenSample    = 50000 // cells that the hundredths and the median are taken from
	evenCells     = 2000  // pairs of cells that a correlation needs: four of its standard errors are then below 0.1
)

// Show says what the picture shows of the ground that layout l looks at.
func Show(s *cells.Summary, l *structure.Layout) Shown {
	var at []int32
	for i, reason := range l.Reason {
		if reason == structure.LookedAt && s.Pixels[i] > 0 {
			at = append(at, int32(i))
		}
	}
	var out Shown
	if len(at) == 0 {
		return out // which the norm's doubts say
	}
	out.colors(s, at)
	differs := false
	for k, band := range s.Bands {
		some := someSorted(s.Mean[k], at)
		if flat(s.Mean[k], at, some[len(some)/2]) {
			out.Flat = append(out.Flat, band)
		} else {
			differs = differs || hangsTogether(s.Mean[k], at, s.Grid.Cols, some)
		}
	}
	out.Even = !differs
	out.Doubts = out.doubts(len(s.Bands))
	return out
}

// colors counts the cells that have the colour of leaf, water and soil. Ratios of
// bands stand for reflectance; a picture whose bands have gains of their own moves
// them, which the wide limits bear.
func (o *Shown) colors(s *cells.Summary, at []int32) {
	green, _ := s.Band("green")
	red, _ := s.Band("red")
	infrared, _ := s.Band("nir")
	if infrared == nil {
		infrared, _ = s.Band("rededge")
	}
	if green == nil || red == nil && infrared == nil {
		return
	}
	leaf, water, bare := 0, 0, 0
	for _, i := range at {
		switch g := green[i]; {
		case infrared == nil:
			if g > greenOverRed*red[i] {
				leaf++
			}
		case infrared[i] < darkInfrared*g:
			water++
		case red == nil && infrared[i] > leafOverGreen*g,
			red != nil && (infrared[i] > leafOverRed*red[i] || g > greenOverRed*red[i]):
			leaf++
		case red != nil:
			bare++
		}
	}
	n := float64(len(at))
	o.Crop, o.Water, o.Bare = float64(leaf)/n, float64(water)/n, float64(bare)/n
	o.NoCrop = o.Crop < leastCrop
}

// someSorted is the values of up to evenSample of the cells, spread over all, in
// rising order.
func someSorted(v []float32, at []int32) []float32 {
	step := len(at)/evenSample + 1
	some := make([]float32, 0, len(at)/step+1)
	for k := 0; k < len(at); k += step {
		some = append(some, v[at[k]])
	}
	slices.Sort(some)
	return some
}

// flat says whether nearly all cells have the band's median value.
func flat(v []float32, at []int32, median float32) bool {
	m, same := float64(median), 0
	for _, i := range at {
		if math.Abs(float64(v[i])-m) <= flatBy*math.Abs(m) {
			same++
		}
	}
	return float64(same) >= flatPart*float64(len(at))
}

// hangsTogether says whether a cell tells anything of the next one: the noise of
// the camera does not, whatever grows does. Values are cut at the outer
// hundredths of those sorted, so that a few odd cells do not decide. Too little
// ground is taken to hang together.
func hangsTogether(v []float32, at []int32, cols int, sorted []float32) bool {
	low, mid, high := float64(sorted[len(sorted)/100]), float64(sorted[len(sorted)/2]), float64(sorted[len(sorted)-1-len(sorted)/100])
	held := func(i int32) float64 { return min(max(float64(v[i]), low), high) - mid }
	var xy, xx, yy float64
	pairs := 0
	for k := 1; k < len(at); k++ {
		if at[k] != at[k-1]+1 || int(at[k])%cols == 0 {
			continue
		}
		x, y := held(at[k-1]), held(at[k])
		xy, xx, yy = xy+float64(x*y), xx+float64(x*x), yy+float64(y*y)
		pairs++
	}
	return pairs < evenCells || xy > evenBelow*math.Sqrt(xx*yy)
}

func (o *Shown) doubts(bands int) []doubt.Doubt {
	var ds []doubt.Doubt
	switch {
	case o.Even:
		ds = append(ds, doubt.Doubt{
			About: "picture", Weight: 1,
			Says:   "Nothing on this picture differs from place to place but the camera's noise: it is blank, burnt out, taken in the dark, or of ground without a stand.",
			Settle: "Look at the picture, and fly again in daylight if it is blank.",
		})
	case o.NoCrop:
		ds = append(ds, doubt.Doubt{
			About: "crop", Weight: 1,
			Says:   "Next to none of the ground has the green of a crop, so there is no crop to hold anything against.",
			Settle: "Walk the field, or check which band is which.",
		})
	case o.Crop > 0 && o.Crop < closedCrop:
		ds = append(ds, doubt.Doubt{
			About: "crop", Weight: 0.9,
			Says: fmt.Sprintf("Only %.0f %% of the ground has the green of leaf. Everything is held against the rest, soil, straw or water between the plants, "+
				"so a bare lane can stand out, and weeds among young plants cannot.", 100*o.Crop),
			Settle: "Walk the field, or fly again when the crop has closed.",
		})
	}
	if n := len(o.Flat); n > 0 && n < bands {
		ds = append(ds, doubt.Doubt{
			About: "bands", Weight: 0.95,
			Says:   "One value stands nearly all over in the band " + joined(o.Flat) + ": it is burnt out or empty and tells nothing, so what shows in it is missed.",
			Settle: "Fly again with a shorter exposure, or give the picture as the camera's program makes it.",
		})
	}
	return ds
}

func joined(words []string) string {
	out := words[0]
	for _, w := range words[1:] {
		out += " and " + w
	}
	return out
}
