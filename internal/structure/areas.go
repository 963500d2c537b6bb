package structure

import (
	"bittern/internal/doubt"
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// Settings of water, roads, trees and shade. Brightness is ln(green) against the
// crop's, texture ln of the relative spread within a cell against the crop's.
const (
	otherDistance = 4.5  // spreads from the crop's colour that open water and bare road have at least
	waterTexture  = -0.6 // water is at most so rough
	waterNIR      = -0.8 // ln(nir/green) against the crop's, at most, where the flight has it
	waterBright   = 0.4  // and no brighter
	roadTexture   = 0.0
	roadBright    = 0.5   // a road is brighter
	openRadiusM   = 1.5   // water and roads are wider than twice this
	waterLeastM2  = 15.0  // smaller is a puddle
	glintSpreads  = 2.0   // of the crop's colour, which water that mirrors the sun is from other water at most
	roadLeastM2   = 60.0  // smaller is a bare spot
	roadReachM    = 4.0   // a road comes so near to the perimeter strip
	shadeSmoothM  = 1.5   // standard deviation of the smoothing before shade is judged
	shadeLow      = -0.40 // shade goes on
	shadeHigh     = -0.55 // shade begins
	deepLow       = -1.8  // shade that no question looks at: a sixth of the light
	deepHigh      = -2.0  // and where it begins
	shadeLeastM2  = 30.0
	treeTexture   = 0.6  // a crown is at least so rough
	shadeDoubt    = 0.01 // share of the field in shade that is worth a doubt
)

// findAreas finds open water, roads and pads, crowns of trees, and shade, on
// coarse cells. Each needs its material and its shape: weeds are rough where
// water and roads are smooth, and lighter than shade.
func (f *finder) findAreas() error {
	a := f.newAreas()
	out := make([]Reason, f.coarse.size.Len())
	set := func(in []bool, r Reason) {
		for i, b := range in {
			if b && out[i] == LookedAt {
				out[i] = r
			}
		}
	}
	var water, road, dark, deep, crowns []bool
	raster.Together(f.opt.Workers, func() { water = a.water() }, func() { road = a.road() }, func() {
		dark, deep = a.dark()
		crowns = a.crowns(dark)
	})
	set(water, Water)
	set(road, Road)
	set(crowns, Tree)
	set(dark, Shade)
	f.areas = f.toFineReasons(out)
	f.deep = deep
	return nil
}

// areas is what findAreas looks at.
type areas struct {
	f       *finder
	in      []bool
	bright  []float32 // against the crop's
	texture []float32 // against the crop's; nil when it says nothing
	depth   []float32
}

func (f *finder) newAreas() *areas {
	c := f.coarse
	a := &areas{f: f, in: c.crop(), depth: f.coarseDepth()}
	a.bright = make([]float32, len(c.bright))
	for i, b := range c.bright {
		a.bright[i] = b - float32(f.norm.bright)
	}
	a.texture = f.textureOf(a.in)
	return a
}

// textureOf is that of the coarse view against the crop's.
func (f *finder) textureOf(in []bool) []float32 {
	if f.coarse.texture == nil {
		return nil
	}
	out := make([]float32, len(in))
	crop := stat.Median(stat.Sample(f.coarse.texture, in, cropSample))
	for i, x := range f.coarse.texture {
		out[i] = x - float32(crop)
	}
	return out
}

// water is open water: smooth, without near infrared, unlike the crop, wide.
func (a *areas) water() []bool {
	nir := a.f.nirRatio()
	in := a.where(func(i int) bool {
		switch {
		case a.f.spreads(i) < otherDistance || a.bright[i] > waterBright:
			return false
		case nir != nil && nir[i] > waterNIR:
			return false
		case a.texture != nil:
			return a.texture[i] <= waterTexture
		}
		return nir != nil
	})
	in = a.wide(in, waterLeastM2, nil)
	return a.grow(a.ofColour(in))
}

// ofColour takes in what hangs together with open water and has its colour, whatever its light and its roughness: the sun that it mirrors.
func (a *areas) ofColour(water []bool) []bool {
	n := count(water)
	if n == 0 {
		return water
	}
	w := whiten(&a.f.norm.Ellipsoid)
	ratio := a.f.coarse.ratio[:w.p]
	for j, r := range ratio {
		sum := 0.0
		for i, in := range water {
			if in {
				sum += float64(r[i])
			}
		}
		w.center[j] = float32(sum / float64(n))
	}
	const alike, open = 1, 2
	v := make([]float32, len(water))
	for i, in := range a.in {
		var d [mostFeatures]float32
		for j, r := range ratio {
			d[j] = r[i]
		}
		switch {
		case water[i]:
			v[i] = open
		case in && a.f.spreads(i) >= otherDistance && w.squared(&d) <= glintSpreads*glintSpreads:
			v[i] = alike
		}
	}
	return stat.Hysteresis(v, a.f.coarse.size, alike, open)
}

// road is bare hard ground: bright, smooth, unlike the crop, wide, and it comes
// from the perimeter.
func (a *areas) road() []bool {
	if a.texture == nil {
		return make([]bool, len(a.in))
	}
	in := a.where(func(i int) bool {
		return a.f.spreads(i) >= otherDistance && a.bright[i] >= roadBright && a.texture[i] <= roadTexture
	})
	reach := float32((a.f.out.PerimeterM + roadReachM) / a.f.coarseCell())
	return a.grow(a.wide(in, roadLeastM2, func(i int) bool { return a.depth[i] <= reach }))
}

// dark is ground with much less light than the field: shade, or a crown; deep is
// what of it has too little to tell anything by.
func (a *areas) dark() (dark, deep []bool) {
	v := make([]float32, len(a.bright))
	stat.Gauss(v, a.bright, a.in, a.f.coarse.size, shadeSmoothM/a.f.coarseCell())
	for i := range v {
		if v[i] = -v[i]; !a.in[i] {
			v[i] = -1e3
		}
	}
	least := a.cells(shadeLeastM2)
	within := func(low, high float32) []bool {
		in := stat.Hysteresis(v, a.f.coarse.size, -low, -high)
		stat.Keep(in, a.f.coarse.size, true, func(_ int32, n int) bool { return n >= least })
		return in
	}
	return within(shadeLow, shadeHigh), within(deepLow, deepHigh)
}

// crowns are the rough parts of what is dark.
func (a *areas) crowns(dark []bool) []bool {
	if a.texture == nil {
		return make([]bool, len(dark))
	}
	v := make([]float32, len(dark))
	stat.Box(v, a.texture, dark, a.f.coarse.size, 1)
	return a.where(func(i int) bool { return dark[i] && v[i] >= treeTexture })
}

func (a *areas) where(ok func(i int) bool) []bool {
	out := make([]bool, len(a.in))
	for i, in := range a.in {
		out[i] = in && ok(i)
	}
	return out
}

func (a *areas) cells(m2 float64) int {
	c := a.f.coarseCell()
	return max(1, int(m2/(c*c)))
}

// wide keeps what is wider than twice openRadiusM, of at least m2, and, when
// touches is given, holds a cell that it is true for.
func (a *areas) wide(in []bool, m2 float64, touches func(i int) bool) []bool {
	s := a.f.coarse.size
	if count(in) == 0 {
		return in
	}
	in = stat.Open(in, s, openRadiusM/a.f.coarseCell()-0.5)
	labels, sizes := stat.Components(in, s, true)
	ok := make([]bool, len(sizes))
	for i, l := range labels {
		if l > 0 && sizes[l] >= a.cells(m2) && (touches == nil || touches(i)) {
			ok[l] = true
		}
	}
	for i, l := range labels {
		in[i] = ok[l]
	}
	return in
}

// grow takes in the mixed cells around.
func (a *areas) grow(in []bool) []bool {
	if count(in) == 0 {
		return in
	}
	out := stat.Grow(in, a.f.coarse.size, 1/a.f.coarseCell())
	for i := range out {
		out[i] = out[i] && a.in[i]
	}
	return out
}

// spreads is the distance of coarse cell i from the crop.
func (f *finder) spreads(i int) float64 { return float64(f.dist[i]) / stepsPer }

// nirRatio is ln(nir/green) against the crop's; nil when the flight has none.
func (f *finder) nirRatio() []float32 {
	for j, name := range f.coarse.names {
		if name != "nir" || j >= len(f.norm.Center) {
			continue
		}
		out := make([]float32, len(f.coarse.ratio[j]))
		for i, r := range f.coarse.ratio[j] {
			out[i] = r - float32(f.norm.Center[j])
		}
		return out
	}
	return nil
}

// toFineReasons repeats coarse reasons on the day's cells.
func (f *finder) toFineReasons(v []Reason) []Reason {
	s := f.fine.size
	out := make([]Reason, s.Len())
	for y := range s.Rows {
		from := v[y/f.factor*f.coarse.size.Cols:]
		for x := range s.Cols {
			out[y*s.Cols+x] = from[x/f.factor]
		}
	}
	return out
}

// inDeepShade says whether a fine cell has too little light for any question.
func (f *finder) inDeepShade(i int) bool {
	x, y := i%f.fine.size.Cols, i/f.fine.size.Cols
	return f.deep[y/f.factor*f.coarse.size.Cols+x/f.factor]
}

// doubtShade says how much of the field lay in shade, and what became of it.
func (f *finder) doubtShade() {
	left, kept, of := 0, 0, 0
	for i, in := range f.ok {
		switch {
		case !in:
			continue
		case f.out.Reason[i] == Shade:
			left++
		case f.out.Kept != nil && f.out.Kept[i] == Shade:
			kept++
		}
		of++
	}
	if share := float64(left) / float64(max(of, 1)); share > shadeDoubt {
		f.doubt(doubt.Doubt{
			About:  "shade",
			Says:   "Part of the field lay in deep shade when it was flown, and is left out.",
			Settle: "Walk the shaded ground, or fly again when it is in the sun.",
			Weight: min(1, 2*share),
		})
	}
	if share := float64(kept) / float64(max(of, 1)); share > shadeDoubt {
		f.doubt(doubt.Doubt{
			About:  "shade",
			Says:   "Part of the field lay in shade when it was flown. It was held against other shaded ground, and less is sure there.",
			Settle: "Walk the shaded ground, or fly again when it is in the sun.",
			Weight: min(0.5, share),
		})
	}
}
