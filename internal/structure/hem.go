package structure

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// Settings of the hem: what belongs to a levee or to the perimeter beside the
// ground that was drawn. Lengths in metres.
const (
	hemM      = 2.5  // so far from what was drawn
	hemStep   = 2.4  // spreads from the ground round about, the mean of three cells by three, at least
	hemUsual  = 0.85 // and no less than this quantile of the field's cells
	hemBeyond = 2    // steps of crop must follow, or a patch stands there
	hemPatchM = 1.5  // the most that goes with the levee there
)

// hem adds to levees the borrow ditches beside them, and to the perimeter strip
// its ditch where the boundary was drawn too far out: a narrow strip of ground
// that is not like the crop, with crop behind it. Where weeds reach on into the
// check no width shows, and the strip is as wide as it mostly is along the rest
// of that side.
func (f *finder) hem(reason []Reason) {
	f.hemLevel = max(hemStep*stepsPer, f.usualStep(reason, hemUsual))
	for _, l := range f.lines {
		half := l.width / 2 / f.cell()
		for _, side := range [2]float64{math.Pi / 2, -math.Pi / 2} {
			var out []foot
			eachStation(l.path, 0.7, func(p geo.Point, h float64) {
				out = append(out, foot{ahead(p, h+side, half), h + side})
			})
			f.hemSide(reason, out, BorrowDitch)
		}
	}
	f.hemSide(reason, f.inwards(reason), Edge)
}

// A foot is a place on the rim of what was drawn, and the way from it into
// the check.
type foot struct {
	from    geo.Point
	heading float64
}

// inwards are the ways from the perimeter strip into the field.
func (f *finder) inwards(reason []Reason) []foot {
	var out []foot
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
				out = append(out, foot{geo.Point{X: float64(x), Y: float64(y)}, math.Atan2(float64(dy), float64(dx))})
			}
		}
	}
	return out
}

// hemSide marks the strip along one side of a line.
func (f *finder) hemSide(reason []Reason, side []foot, as Reason) {
	runs := make([]hemRun, len(side))
	var widths []float64
	for k, o := range side {
		if runs[k] = f.hemRun(reason, o); runs[k].ends {
			widths = append(widths, float64(runs[k].n))
		}
	}
	usual := int(hemPatchM/f.cell() + 0.5)
	if len(widths) > 0 {
		usual = min(usual, int(stat.Median(widths)))
	}
	for _, r := range runs {
		if !r.ends {
			r.n = min(r.n, usual)
		}
		for _, i := range r.cells[:r.n] {
			if reason[i] == LookedAt || reason[i] == Track {
				reason[i] = as
			}
		}
	}
}

// A hemRun is the cells on the way into the check that are unlike the crop.
type hemRun struct {
	cells [16]int32
	n     int
	ends  bool // crop follows within reach
}

// hemRun goes from o on.
func (f *finder) hemRun(reason []Reason, o foot) hemRun {
	var r hemRun
	like := 0
	s := f.fine.size
	reach := min(int(hemM/f.cell()+0.5), len(r.cells)-hemBeyond)
	sin, cos := math.Sin(o.heading), math.Cos(o.heading)
	for d := 1; d <= reach+hemBeyond; d++ {
		x, y := int(math.Floor(o.from.X+float64(float64(d)*cos)+0.5)), int(math.Floor(o.from.Y+float64(float64(d)*sin)+0.5))
		if x < 0 || y < 0 || x >= s.Cols || y >= s.Rows || reason[y*s.Cols+x] == Outside {
			break
		}
		if i := y*s.Cols + x; f.unlike(i) {
			r.cells[r.n] = int32(i)
			r.n, like = r.n+1, 0
		} else if like++; like == hemBeyond {
			break
		}
	}
	r.ends = like >= hemBeyond
	return r
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
				sum += int(f.fineBank[j])
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
			counts[f.fineBank[i]]++
		}
	}
	return countQuantile(&counts, q)
}
