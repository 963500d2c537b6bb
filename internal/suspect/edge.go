package suspect

import (
	"math"
	"slices"

	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// sampleMost is about how many cells what is said of the crop is taken from.
const sampleMost = 20000

// sharpen draws the edges of patches: within a metre where the field's own patches tell what differs
// there, by evidence elsewhere.
func (w *work) sharpen(in, taken []bool) {
	if w.p.EdgeAt <= 0 {
		return
	}
	likeness := w.likeness(in)
	w.takeSpill(in, likeness)
	if likeness != nil {
		w.takeUnlike(in, taken, likeness)
	}
	w.thin(in)
}

// takeSpill takes off what evidence, which is averaged over metres, spills over the
// edge of a strong patch: an edge lies where it has come down EdgeAt of the way
// from the patch to the crop. Of a faint patch that lies below what belongs to it anyway. Ground whose
// likeness is known is left alone.
func (w *work) takeSpill(in []bool, likeness []float32) {
	base := w.cropEvidence(in)
	if math.IsNaN(base) {
		return
	}
	// What spills keeps the mean of the inside down, so the edge of a heavy patch is sought twice.
	for again := range 2 {
		var spilled []int
		w.eachRound(in, [][]float32{w.d.Evidence}, func(i int, means []float64) {
			inside := means[0]
			if again > 0 && inside < w.p.HeavyFrom || likeness != nil && likeness[i] == likeness[i] {
				return
			}
			// Where there is no evidence the ground is no crop, and stays.
			if float64(w.d.Evidence[i]) < base+float64(w.p.EdgeAt*(inside-base)) {
				spilled = append(spilled, i)
			}
		})
		for _, i := range spilled {
			in[i] = false
		}
	}
}

// takeUnlike moves the edge of each patch to where its likeness has come down to EdgeOwn of the patch's own, and
// outward to where it has come down to that of the field's patches.
func (w *work) takeUnlike(in, taken []bool, likeness []float32) {
	beside := stat.Grow(in, w.size, w.p.EdgeReachM/w.s.Grid.CellM)
	var off []int
	w.eachRound(in, [][]float32{likeness}, func(i int, means []float64) {
		if float64(likeness[i]) < w.p.EdgeOwn*means[0] { // NaN is not
			off = append(off, i)
		}
	})
	for i, near := range beside {
		if near && !in[i] && !taken[i] && !w.dead[i] && float64(likeness[i]) >= w.p.EdgeOwn && w.d.Evidence[i] >= float32(w.p.HemFrom) {
			in[i] = true
		}
	}
	for _, i := range off {
		in[i] = false
	}
}

const (
	edgeSigmaM = 1.0   // m, standard deviation over which figures are averaged at an edge; evidence is taken over 3 to 5 m
	edgeCoreM  = 1.0   // m from a patch's edge, from where it teaches
	edgeAwayM  = 4.0   // m from a patch, from where the ground beside it is surely crop
	edgeRingM  = 8.0   // m, how far that ground reaches
	edgeCoreM2 = 60.0  // m2 of the cores of all patches, below which they teach nothing
	edgeCropM2 = 25.0  // m2 of crop beside a patch, below which its likeness is not known
	edgeFloor  = 0.05  // part of its own variance that is added to that of each figure, since cores are few
	edgeLeast  = 0.002 // ln units, or a share, by which any figure varies
)

// likeness is how far ground beside patches is like the field's patches, 1, or like the crop beside them, 0, by Fisher's
// discriminant of the two (Annals of Eugenics 7 (1936), 179-188): the bands' ratios to green, green, the bands'
// variation within the cell and the off-colour share, averaged over a metre. What differs is taken from the
// field, since what weeds change differs from field to field while those of one field are alike; where crop ends differs
// from place to place, and is taken from the ground beside each patch. NaN where not known; nil without enough of both.
// Weeds that stand above the crop unburnt differ from it otherwise, and neither teach nor are asked.
func (w *work) likeness(in []bool) []float32 {
	if w.p.EdgeOwn <= 0 || len(w.s.Bands) == 0 {
		return nil
	}
	f := w.edgeField(in)
	weights := f.discriminant()
	if weights == nil {
		return nil
	}
	out := make([]float32, len(in))
	for i := range out {
		out[i] = float32(math.NaN())
	}
	for k, b := range f.boxes {
		if f.crop[k] != nil {
			f.fill(out, b, weights, f.crop[k])
		}
	}
	return out
}

// An edgeField is the ground about patches.
type edgeField struct {
	w          *work
	core       []bool // within patches that teach
	near, wide []bool // what may belong to a patch; that and the crop beside it
	boxes      []box
	figures    int
	green      int         // the place of that band; -1 without it
	crop       [][]float64 // by box: mean figures of the crop beside patches; nil where it is not known
}

func (w *work) edgeField(in []bool) *edgeField {
	cell := w.s.Grid.CellM
	f := &edgeField{w: w, core: stat.Shrink(in, w.size, edgeCoreM/cell), near: stat.Grow(in, w.size, edgeAwayM/cell), figures: 2*len(w.s.Bands) + 1, green: slices.Index(w.s.Bands, "green")}
	f.wide = stat.Grow(f.near, w.size, edgeRingM/cell)
	for i := range f.core {
		f.core[i] = f.core[i] && !w.unburnt(i)
	}
	f.boxes = w.boxes(f.wide)
	f.crop = make([][]float64, len(f.boxes))
	return f
}

// unburnt says whether a cell departs as living weeds above the crop do.
func (w *work) unburnt(i int) bool {
	look := w.d.Looks[w.d.Toward[i]]
	return look == norm.Coarse || look == norm.Lush
}

// known says whether a cell has all figures.
func (f *edgeField) known(i int) bool {
	w := f.w
	if w.l.Kept != nil && w.l.Kept[i] != structure.LookedAt {
		return false // in shade; what is beside it may lie in the sun
	}
	if share := w.d.Share[i]; w.l.Reason[i] != structure.LookedAt || w.s.Pixels[i] == 0 || share != share {
		return false
	}
	for k, mean := range w.s.Mean {
		m, d := mean[i], w.s.Spread[k][i]
		if !(m > 0 && d >= 0) || math.IsInf(float64(m), 0) || math.IsInf(float64(d), 0) {
			return false
		}
	}
	return true
}

// figure reads one of them at a cell where all are known.
func (f *edgeField) figure(k, i int) float64 {
	s := f.w.s
	if k == f.figures-1 {
		return float64(f.w.d.Share[i])
	}
	m := float64(s.Mean[k/2][i])
	if k%2 == 1 {
		return float64(s.Spread[k/2][i]) / m
	}
	if f.green >= 0 && f.green != k/2 {
		m /= float64(s.Mean[f.green][i])
	}
	return math.Log(m)
}

// knownIn says which cells of a box are known, and averages over those about each.
func (f *edgeField) knownIn(b box) ([]bool, *stat.Smoother) {
	in := make([]bool, b.cols*b.rows)
	f.w.overBox(b, func(j, i int) { in[j] = f.known(i) })
	return in, stat.NewSmoother(in, stat.Size{Cols: b.cols, Rows: b.rows}, edgeSigmaM/f.w.s.Grid.CellM)
}

// plane is a sum of figures over a box, averaged over a metre of what is known; the share, which is smoothed
// already, comes as it is. In says which cells are known; NaN elsewhere.
func (f *edgeField) plane(b box, in []bool, smoother *stat.Smoother, weights []float64) []float32 {
	out := make([]float32, len(in))
	last := f.figures - 1
	f.w.overBox(b, func(j, i int) {
		if !in[j] {
			return
		}
		sum := 0.0
		for k, a := range weights[:last] {
			if a != 0 {
				sum += float64(a * f.figure(k, i))
			}
		}
		out[j] = float32(sum)
	})
	smoother.Mean(out, out)
	for j := range out {
		if !in[j] {
			out[j] = float32(math.NaN())
		}
	}
	if a := weights[last]; a != 0 {
		f.w.overBox(b, func(j, i int) {
			if in[j] {
				out[j] += float32(a * f.figure(last, i))
			}
		})
	}
	return out
}

// isCrop says whether a cell is of the crop beside patches.
func (f *edgeField) isCrop(i int) bool { return f.wide[i] && !f.near[i] && !f.w.dead[i] }

// examples are some cells of a box that are known, the crop's and the cores', as places in it.
func (f *edgeField) examples(b box, step int) (crop, core []int32) {
	n := 0
	f.w.overBox(b, func(j, i int) {
		isCrop := f.isCrop(i)
		if !isCrop && !f.core[i] {
			return
		}
		if n++; n%step != 0 || !f.known(i) {
			return
		}
		if isCrop {
			crop = append(crop, int32(j))
		} else {
			core = append(core, int32(j))
		}
	})
	return crop, core
}

// edgeSums are what the ground about patches says of its figures: sums over the cores of what they have above the crop beside
// them, and over the crop of the products of what it departs from its own mean by (row-major, the lower half).
type edgeSums struct {
	mean, cov    []float64
	cores, crops int
}

// gather sums over every step-th cell of all boxes, and finds the crop of each where it has enough of it.
func (f *edgeField) gather(step int, leastCrop float64) edgeSums {
	n := f.figures
	out := edgeSums{mean: make([]float64, n), cov: make([]float64, n*n)}
	for at, b := range f.boxes {
		crop, core := f.examples(b, step)
		if float64(len(crop)) < leastCrop {
			continue
		}
		f.crop[at] = make([]float64, n)
		off := make([][]float64, n)
		in, smoother := f.knownIn(b)
		for k := range n {
			one := make([]float64, n)
			one[k] = 1
			v := f.plane(b, in, smoother, one)
			middle := 0.0
			for _, j := range crop {
				middle += float64(v[j]) / float64(len(crop))
			}
			f.crop[at][k] = middle
			for _, j := range core {
				out.mean[k] += float64(v[j]) - middle
			}
			off[k] = make([]float64, len(crop))
			for m, j := range crop {
				off[k][m] = float64(v[j]) - middle
			}
			for l := range k + 1 {
				for m, x := range off[k] {
					out.cov[k*n+l] += float64(x * off[l][m])
				}
			}
		}
		out.cores, out.crops = out.cores+len(core), out.crops+len(crop)
	}
	return out
}

// discriminant are the weights by which the cores of patches lie 1 above the crop beside them; nil where too few
// teach. It finds the crop of each box.
func (f *edgeField) discriminant() []float64 {
	total := 0
	for _, b := range f.boxes {
		total += b.cols * b.rows
	}
	step := max(total/sampleMost, 1)
	cellM2 := f.w.cellM2() * float64(step)
	s, n := f.gather(step, edgeCropM2/cellM2), f.figures
	if float64(s.cores)*cellM2 < edgeCoreM2 || s.crops < 2*n {
		return nil
	}
	for k := range n {
		s.mean[k] /= float64(s.cores)
		for l := range k + 1 {
			s.cov[k*n+l] /= float64(s.crops)
			s.cov[l*n+k] = s.cov[k*n+l]
		}
		s.cov[k*n+k] = float64(s.cov[k*n+k]*(1+edgeFloor)) + edgeLeast*edgeLeast
	}
	e := stat.NewEllipsoid(make([]float64, n), s.cov)
	weights := e.Solve(s.mean)
	length := 0.0
	for k, a := range weights {
		length += float64(a * s.mean[k])
	}
	if !(length > 0) || math.IsInf(length, 0) {
		return nil
	}
	for k := range weights {
		weights[k] /= length
	}
	return weights
}

// fill sets the likeness of a box's cells, which weights make of their figures and those of the crop beside them.
func (f *edgeField) fill(out []float32, b box, weights, crop []float64) {
	base := 0.0
	for k, a := range weights {
		base += float64(a * crop[k])
	}
	in, smoother := f.knownIn(b)
	v := f.plane(b, in, smoother, weights)
	f.w.overBox(b, func(j, i int) {
		if f.near[i] && !f.w.unburnt(i) {
			out[i] = v[j] - float32(base)
		}
	})
}

// cropEvidence is the median evidence of a sample of the crop beside the patches;
// not a number without any.
func (w *work) cropEvidence(in []bool) float64 {
	crop := func(i int, r structure.Reason) bool { return r == structure.LookedAt && !in[i] && !w.dead[i] }
	n := 0
	for i, r := range w.l.Reason {
		if crop(i, r) {
			n++
		}
	}
	step := max(n/sampleMost, 1)
	known, k := make([]float32, 0, n/step+1), 0
	for i, r := range w.l.Reason {
		if !crop(i, r) {
			continue
		}
		if e := w.d.Evidence[i]; k%step == 0 && e == e {
			known = append(known, e)
		}
		k++
	}
	return stat.Median(known)
}

// thin takes ground off heavy patches whose off-colour share is a small part of that
// round about: a share is taken over a metre where evidence is taken over three, and
// grows evenly with the weeds, while the evidence of few is nearly that of many.
func (w *work) thin(in []bool) {
	if w.p.EdgeShare <= 0 {
		return
	}
	var thin []int
	w.eachRound(in, [][]float32{w.d.Evidence, w.d.Share}, func(i int, means []float64) {
		// Without a share the ground is no crop, and stays.
		if share := w.d.Share[i]; share == share && means[0] >= w.p.HeavyFrom && float64(share) < w.p.EdgeShare*means[1] {
			thin = append(thin, i)
		}
	})
	for _, i := range thin {
		in[i] = false
	}
}
