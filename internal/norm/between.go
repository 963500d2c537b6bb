package norm

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// Then is what an earlier flight says of each cell of the day's grid.
type Then struct {
	Known []bool // looked at on both flights
	Stood []bool // stood out then as living weeds do: greener than the crop beside it, and coarser
}

// Part returns which part of the given cells both flights show, and which part of
// those stood out on the earlier one.
func (t *Then) Part(cells []int32) (stood, known float64) {
	n, k := 0, 0
	for _, i := range cells {
		if t.Known[i] {
			k++
			if t.Stood[i] {
				n++
			}
		}
	}
	return float64(n) / float64(max(k, 1)), float64(k) / float64(max(len(cells), 1))
}

// A greenness weighs how the earlier flight shows weeds that live: greener than the
// crop of their check and coarser, in spreads of the check.
type greenness struct {
	red      float64 // ln(red/green)
	greens   float64 // contrast from pixel to pixel in green
	reds     float64 // and in red
	infrared float64 // ln(nir/green)
	bias     float64
}

// The weights are those of logistic regressions of ground with weeds, whatever
// became of them, against crop, on one invented field each of an odd seed, rounded.
var (
	greenInfrared = greenness{red: -2.1, greens: 0.7, reds: 1.3, infrared: -1.2, bias: 3.2}
	greenColour   = greenness{red: -1, greens: 0.7, reds: 1.1, bias: 3.1}
)

const (
	mostApart = 5.0  // spreads that a quantity is held within
	stoodFrom = -0.8 // weight from which a cell stood out then
	grown     = 2.0  // evidence that browned ground must have gained since then to count in full
)

// Between holds two flights together. s and then are the summaries, the earlier
// picture laid on the day's, l the structure of both, before the departures of the
// earlier flight. It returns what stood out then, and changes now: ground that was
// as browned on the day of treatment as it is since does not owe that to the
// treatment, so its evidence is no more than it gained, less a margin. Ground that
// the earlier flight does not show stays as the day's flight alone has it.
func Between(s, then *cells.Summary, l *structure.Layout, now, before *Departure) *Then {
	n := s.Grid.Len()
	out := &Then{Known: lookedAt(s, l), Stood: make([]bool, n)}
	for i, seen := range then.Pixels {
		e, b := now.Evidence[i], before.Evidence[i]
		out.Known[i] = out.Known[i] && seen > 0 && e == e && b == b
	}
	v := readThen(then, l, out.Known)
	by := greenInfrared
	if v[3] == nil {
		by = greenColour
	}
	weights := [...]float64{by.red, by.greens, by.reds, by.infrared}
	browned := lookIndex(Browned)
	for i, known := range out.Known {
		if !known {
			continue
		}
		sum := -by.bias
		for k, w := range weights {
			if v[k] != nil {
				sum += float64(w * held(float64(v[k][i]), -mostApart, mostApart))
			}
		}
		out.Stood[i] = sum >= stoodFrom
		gained := now.Evidence[i] - before.Evidence[i] - grown
		if gained >= now.Evidence[i] {
			continue
		}
		now.Evidence[i] = max(gained, leastEvidence)
		if now.Evidence[i] < brownedFrom && now.Toward[i] == browned && !now.Killed[i] {
			now.Toward[i] = 0
		}
	}
	return out
}

// readThen reads the quantities of a greenness over 3 m, each less the middle of its
// check and in its spreads; nil for what the flight has not.
func readThen(s *cells.Summary, l *structure.Layout, in []bool) [4][]float32 {
	var out [4][]float32
	green, greens := s.Band("green")
	red, reds := s.Band("red")
	nir, _ := s.Band("nir")
	if green == nil {
		return out
	}
	ln := func(over, under []float32) []float32 {
		if over == nil {
			return nil
		}
		v := make([]float32, len(over))
		for i := range v {
			v[i] = float32(math.Log(float64(over[i]) / float64(under[i])))
		}
		return standard(v, s, l, in)
	}
	out = [4][]float32{ln(red, green), ln(greens, green), ln(reds, red), ln(nir, green)}
	return out
}

// standard takes the mean of v over 3 m, and each check's middle and spread off.
func standard(v []float32, s *cells.Summary, l *structure.Layout, in []bool) []float32 {
	ok := make([]bool, len(v))
	for i, x := range v {
		if ok[i] = in[i] && x-x == 0; !ok[i] {
			v[i] = 0
		}
	}
	out := make([]float32, len(v))
	stat.Box(out, v, ok, stat.Size{Cols: s.Grid.Cols, Rows: s.Grid.Rows}, int(math.Round(1.5/s.Grid.CellM)))
	for c := -1; c < len(l.Checks); c++ {
		of := make([]bool, len(v))
		for i := range of {
			of[i] = ok[i] && l.Check[i] == int32(c)
		}
		center, spread := stat.CenterSpread(stat.Sample(out, of, sampleMost))
		if !(spread > 0) {
			center, spread = 0, math.Inf(1)
		}
		for i, mine := range of {
			if mine {
				out[i] = float32((float64(out[i]) - center) / spread)
			}
		}
	}
	for i := range out {
		if !ok[i] {
			out[i] = 0
		}
	}
	return out
}
