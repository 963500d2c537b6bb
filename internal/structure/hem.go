package structure

import (
	"math"

	"bittern/internal/geo"
)

// Settings of the hem: what belongs to a levee or to the perimeter beside the
// ground that was drawn. Lengths in metres.
const (
	hemM      = 2.5  // so far from what was drawn
	hemStep   = 2.4  // spreads from the ground round about, the mean of three cells by three, at least
	hemUsual  = 0.85 // and no less than this quantile of the field's cells
	hemBeyond = 2    // steps of crop must follow, or a patch stands there
	hemPatchM = 1.5  // and only so much of it goes with the levee
)

// hem adds to levees the borrow ditches beside them, and to the perimeter strip
// its ditch where the boundary was drawn too far out: a narrow strip of ground
// that is not like the crop, with crop behind it. Where weeds reach on into the
// check, only the width of a ditch is taken from them.
func (f *finder) hem(reason []Reason) {
	f.hemLevel = max(hemStep*stepsPer, f.usualStep(reason, hemUsual))
	for _, l := range f.lines {
		half := l.width / 2 / f.cell()
		eachStation(l.path, 0.7, func(p geo.Point, h float64) {
			f.hemAlong(reason, ahead(p, h+math.Pi/2, half), h+math.Pi/2, BorrowDitch)
			f.hemAlong(reason, ahead(p, h-math.Pi/2, half), h-math.Pi/2, BorrowDitch)
		})
	}
	f.hemEdge(reason)
}

// hemEdge goes inwards from the perimeter strip.
func (f *finder) hemEdge(reason []Reason) {
	s := f.fine.size
	rim := float32(f.out.PerimeterM/f.cell() + 0.5)
	for y := 1; y+1 < s.Rows; y++ {
		for x := 1; x+1 < s.Cols; x++ {
			i := y*s.Cols + x
			if f.depth[i] >= rim || f.depth[i] < rim-1.5 || reason[i] != Edge {
				continue
			}
			dx, dy := f.depth[i+1]-f.depth[i-1], f.depth[i+s.Cols]-f.depth[i-s.Cols]
			if dx != 0 || dy != 0 {
				f.hemAlong(reason, geo.Point{X: float64(x), Y: float64(y)}, math.Atan2(float64(dy), float64(dx)), Edge)
			}
		}
	}
}

// hemAlong marks the cells from p on at heading h that are unlike the crop: all
// of them when crop follows within reach.
func (f *finder) hemAlong(reason []Reason, p geo.Point, h float64, as Reason) {
	var run [16]int
	n, like := 0, 0
	s := f.fine.size
	reach := min(int(hemM/f.cell()+0.5), len(run)-hemBeyond)
	for d := 1; d <= reach+hemBeyond; d++ {
		q := ahead(p, h, float64(d))
		x, y := int(math.Floor(q.X+0.5)), int(math.Floor(q.Y+0.5))
		if x < 0 || y < 0 || x >= s.Cols || y >= s.Rows || reason[y*s.Cols+x] == Outside {
			break
		}
		if i := y*s.Cols + x; f.unlike(i) {
			run[n] = i
			n, like = n+1, 0
		} else if like++; like == hemBeyond {
			break
		}
	}
	if like < hemBeyond {
		n = min(n, int(hemPatchM/f.cell()+0.5))
	}
	for _, i := range run[:n] {
		if reason[i] == LookedAt || reason[i] == Track {
			reason[i] = as
		}
	}
}

// unlike says that the nine cells about cell i stand out from the ground round
// about, taken together.
func (f *finder) unlike(i int) bool {
	s := f.fine.size
	x, y := i%s.Cols, i/s.Cols
	sum, n := 0, 0
	for v := max(y-1, 0); v <= min(y+1, s.Rows-1); v++ {
		for u := max(x-1, 0); u <= min(x+1, s.Cols-1); u++ {
			if j := v*s.Cols + u; f.ok[j] {
				sum += int(f.fineStep[j])
				n++
			}
		}
	}
	return n > 0 && float64(sum) >= f.hemLevel*float64(n)
}

// usualStep is a quantile, over the cells that are looked at, of the distance
// from the ground round about, in steps.
func (f *finder) usualStep(reason []Reason, q float64) float64 {
	var counts [256]int32
	for _, i := range f.fine.sample() {
		if reason[i] == LookedAt {
			counts[f.fineStep[i]]++
		}
	}
	return countQuantile(&counts, q)
}
