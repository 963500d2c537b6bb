package invent

import (
	"math"

	"bittern/internal/grid"
)

// pad is how many pixels beyond its window a block is painted, for blur and
// band shift.
const pad = 2

// A canvas holds one padded block while it is painted.
type canvas struct {
	win  grid.Window // the padded block, in picture coordinates
	cols int         // of the padded block

	brown, lush, hole []float32 // cover of burnt leaf, of live weed; missing stand
	light             []float32 // light on clumps: bright side, dark side
	band              [5][]float32
	tmp               []float32
	other             [5][]float32 // the second picture where two lie over each other
	out               []byte

	sharp, smooth ramp
	node          []float32
	line          [18][]float32
}

// reset readies the canvas for a padded block.
func (c *canvas) reset(win grid.Window, nb int) {
	c.win, c.cols = win, win.Cols
	n := win.Cols * win.Rows
	for _, p := range []*[]float32{&c.brown, &c.lush, &c.hole, &c.light, &c.tmp} {
		*p = sized(*p, n)
	}
	clear(c.brown)
	clear(c.lush)
	clear(c.hole)
	for i := range c.light {
		c.light[i] = 1
	}
	for b := range nb {
		c.band[b] = sized(c.band[b], n)
	}
	for i := range c.line {
		c.line[i] = sized(c.line[i], win.Cols)
	}
	c.node = sized(c.node, win.Cols+4)
}

// sized returns a slice of n, keeping v's memory when it is large enough.
func sized(v []float32, n int) []float32 {
	if cap(v) < n {
		return make([]float32, n)
	}
	return v[:n]
}

// A clump is one plant, tuft, dead leaf or missing plant.
type clump struct {
	x, y  float64 // picture coordinates
	r     float32 // pixels
	cover float32 // how opaque it is
	burn  float32
	kind  clumpKind
}

type clumpKind uint8

const (
	weedClump clumpKind = iota
	deadLeaf
	missing
)

// Clumps are strewn on two lattices, so that any window finds the same ones.
const (
	weedLatticeM = 0.30
	leafLatticeM = 0.50
	largestM     = 0.46 // m, no clump reaches further, its ragged edge included
)

// clumpArea is the mean area of a weed clump in square metres: its radius is
// 0.06 + 0.24 u^2 metres for u even over 0..1, so that the mean of r^2 is
// 0.0036 + 2*0.06*0.24/3 + 0.0576/5.
const clumpArea = math.Pi * (0.0036 + 2*0.06*0.24/3 + 0.0576/5)

// strew paints all clumps that touch the canvas.
func (f *Field) strew(c *canvas) {
	f.eachLattice(c, leafLatticeM, f.strewLeaves)
	f.eachLattice(c, weedLatticeM, f.strewWeeds)
}

// eachLattice visits the squares of a lattice that can touch the canvas, row by
// row: squares that touch a pixel are met in one order whatever the window.
func (f *Field) eachLattice(c *canvas, sideM float64, fn func(c *canvas, i, j int, side float64)) {
	side := sideM / f.place.pixelM
	reach := largestM / f.place.pixelM
	i0, i1 := floor((float64(c.win.Col)-reach)/side), floor((float64(c.win.Col+c.win.Cols)+reach)/side)
	j0, j1 := floor((float64(c.win.Row)-reach)/side), floor((float64(c.win.Row+c.win.Rows)+reach)/side)
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			fn(c, i, j, side)
		}
	}
}

func floor(x float64) int { return int(math.Floor(x)) }

// strewWeeds strews the clumps of one square: a Poisson number of them, so
// that together they cover the share that the plan asks for (Boolean model,
// cover = 1 - exp(-number x area)).
func (f *Field) strewWeeds(c *canvas, i, j int, side float64) {
	x0, y0 := float64(i)*side, float64(j)*side
	dens := float64(f.dens.at(x0+side/2, y0+side/2))
	if dens < 1e-5 {
		return
	}
	mean := -math.Log(1-min(dens, 0.9)) * weedLatticeM * weedLatticeM / clumpArea
	seed := sub(f.scene.Seed, 14)
	h := mix(seed, i, j)
	burn := f.burn.at(x0+side/2, y0+side/2)
	for k := range poisson(unit01(h), mean) {
		g := mix(seed+uint64(k)+1, i, j)
		u := unit01(g >> 40)
		vary := float32(unit01(g>>8)) - 0.5
		f.paint(c, clump{
			x: x0 + side*unit01(g), y: y0 + side*unit01(g>>20),
			r:     float32((0.06 + 0.24*u*u) / f.place.pixelM),
			cover: 0.95, burn: min(1, max(0.02, burn+0.5*vary)), kind: weedClump,
		})
	}
}

// strewLeaves strews dead leaves and missing plants of one square.
func (f *Field) strewLeaves(c *canvas, i, j int, side float64) {
	x0, y0 := float64(i)*side, float64(j)*side
	seed := sub(f.scene.Seed, 15)
	const leafArea, holeArea = math.Pi * 0.0042, math.Pi * 0.031
	if d := float64(f.litter.at(x0, y0)); d > 0 {
		for k := range poisson(unit01(mix(seed, i, j)), d*leafLatticeM*leafLatticeM/leafArea) {
			g := mix(seed+uint64(k)+1, i, j)
			f.paint(c, clump{
				x: x0 + side*unit01(g), y: y0 + side*unit01(g>>20),
				r: float32((0.035 + 0.055*unit01(g>>40)) / f.place.pixelM), cover: 0.85, kind: deadLeaf,
			})
		}
	}
	if d := float64(f.gaps.at(x0, y0)); d > 0 {
		for k := range poisson(unit01(mix(seed+99, i, j)), d*leafLatticeM*leafLatticeM/holeArea) {
			g := mix(seed+100+uint64(k), i, j)
			f.paint(c, clump{
				x: x0 + side*unit01(g), y: y0 + side*unit01(g>>20),
				r: float32((0.08 + 0.20*unit01(g>>40)) / f.place.pixelM), cover: 0.9, kind: missing,
			})
		}
	}
}

// poisson is the number that u, even over 0..1, draws from a Poisson
// distribution, 6 at most.
func poisson(u, mean float64) int {
	p := math.Exp(-mean)
	n := 0
	for u >= p && n < 6 {
		u -= p
		n++
		p *= mean / float64(n)
	}
	return n
}

// paint lays one clump over the canvas.
func (f *Field) paint(c *canvas, k clump) {
	// Smaller than a pixel: as wide as one, and as much more transparent.
	const least = 0.6
	if k.r < least {
		k.cover *= k.r * k.r / (least * least)
		k.r = least
	}
	reach := float64(k.r*1.45 + 1)
	x0, x1 := max(c.win.Col, floor(k.x-reach)), min(c.win.Col+c.win.Cols-1, floor(k.x+reach))
	y0, y1 := max(c.win.Row, floor(k.y-reach)), min(c.win.Row+c.win.Rows-1, floor(k.y+reach))
	for y := y0; y <= y1; y++ {
		fine, tuft := f.fine.row(y), f.tuft.row(y)
		dy := float32(float64(y) + 0.5 - k.y)
		for x := x0; x <= x1; x++ {
			dx := float32(float64(x) + 0.5 - k.x)
			edge := k.r * (1 + clampF(0.30*tuft[wrap(x, f.tuft.side)]+0.12*fine[wrap(x, f.fine.side)], -0.6, 0.45))
			d := edge + 0.5 - float32(math.Sqrt(float64(dx*dx)+float64(dy*dy)))
			if d <= 0 {
				continue
			}
			a := k.cover * min(d, 1)
			at := (y-c.win.Row)*c.cols + x - c.win.Col
			c.blend(k, at, a, fine[wrap(x+7, f.fine.side)]+0.5*tuft[wrap(x+99, f.tuft.side)], (dx-dy)/k.r)
		}
	}
}

// blend lays a clump with cover a over one pixel.
func (c *canvas) blend(k clump, at int, a, grain, sunward float32) {
	switch k.kind {
	case missing:
		c.hole[at] = lerp(c.hole[at], 1, a)
	case deadLeaf:
		c.brown[at] = lerp(c.brown[at], 1, a)
		c.lush[at] = lerp(c.lush[at], 0, a)
	case weedClump:
		b := clampF(k.burn*(1+0.5*grain), 0, 1)
		c.brown[at] = lerp(c.brown[at], b, a)
		c.lush[at] = lerp(c.lush[at], 1-b, a)
		c.light[at] = lerp(c.light[at], 1+0.16*sunward, a)
	}
}

// clampF holds x between lo and hi.
func clampF(x, lo, hi float32) float32 { return max(lo, min(hi, x)) }
