package invent

import (
	"cmp"
	"math"

	"bittern/internal/geo"
)

// A blob is one patch of weeds in the field's own frame: a ragged shape with a
// cover that falls off towards its edge.
type blob struct {
	x, y     float64 // m, middle
	r        float64 // m, radius before the edge is made ragged
	cos, sin float64 // long axis
	long     float64 // how much longer than wide
	peak     float64 // cover of live weeds in the middle, 0 to 1
	soft     float64 // width of the edge as a share of the radius
	seed     uint64
	burn     float64 // share of a clump that is burnt leaf
	least    float64 // cover from which its ground counts; 0 means ActDensity
	fresh    bool    // came up after the treatment
}

// reach is how far from its middle a patch can stand.
func (b *blob) reach() float64 { return b.r*b.long*1.5 + 1 }

// cover is the expected cover of the patch's weeds at p, 0 to 1.
func (b *blob) cover(p geo.Point) float64 {
	dx, dy := p.X-b.x, p.Y-b.y
	u := (float64(dx*b.cos) + float64(dy*b.sin)) / (b.r * b.long)
	v := (float64(dy*b.cos) - float64(dx*b.sin)) * b.long / b.r
	q := float64(u*u) + float64(v*v)
	if q > 2.2 {
		return 0
	}
	scale := max(0.55*b.r, 1.5)
	f := 1 - q + float64(0.75*hills(b.seed, p.X, p.Y, scale, 4, 0.65))
	if f <= 0 {
		return 0
	}
	patchy := 0.72 + float64(0.5*hills(b.seed+5, p.X, p.Y, 3.1, 2, 0.7))
	return b.peak * smooth(f/b.soft) * clamp(patchy, 0.15, 1)
}

// planBlobs lays n patches of total acres in the field. Patches come in
// clusters, a few big and many small; ok says where a patch may have its
// middle and what ground counts.
func planBlobs(seed uint64, total float64, n int, light, heavy float64, ring geo.Ring, counts func(geo.Point) bool) []blob {
	return planAbove(ActDensity, seed, Trouble{total, n, light, heavy}, ring, counts, counts)
}

// planAbove is [planBlobs] for patches whose ground counts from another cover,
// and that have their middles on ground of their own.
func planAbove(least float64, seed uint64, t Trouble, ring geo.Ring, middles, counts func(geo.Point) bool) []blob {
	total, n, light, heavy := t.Acres, t.Patches, t.Light, t.Heavy
	if total <= 0 || n == 0 {
		return nil
	}
	d := dice{seed: seed}
	lo, hi := extent(ring, func(p geo.Point) geo.Point { return p })
	sizes := patchSizes(&d, total, n)
	var heads []geo.Point
	blobs := make([]blob, 0, n)
	for i, acres := range sizes {
		b := blob{seed: sub(seed, 1000+i), least: least, soft: d.u(0.35, 0.9), long: math.Sqrt(d.u(1, 2.2)), burn: d.u(0.45, 0.85)}
		b.sin, b.cos = math.Sincos(d.u(0, math.Pi))
		b.peak = light * math.Pow(heavy/light, d.u(0, 1))
		if i == 0 && n > 1 {
			b.peak = heavy // some ground is always thick
		}
		b.r = math.Sqrt(acres * sqMPerAcre / math.Pi)
		c, ok := placeBlob(&d, &b, heads, blobs, lo, hi, middles)
		if !ok {
			continue
		}
		b.x, b.y = c.X, c.Y
		if len(heads) < 2+n/5 {
			heads = append(heads, c)
		}
		b.fit(acres*sqMPerAcre, counts)
		blobs = append(blobs, b)
	}
	return blobs
}

// patchSizes shares total acres among n patches, largest first: sizes spread
// over two and a half decades, none above 3 acres where that can be.
func patchSizes(d *dice, total float64, n int) []float64 {
	sizes := make([]float64, n)
	for i := range sizes {
		rank := (float64(i) + d.u(0.1, 0.9)) / float64(n)
		sizes[i] = math.Pow(10, -2.4*rank)
	}
	for range 20 {
		sum := 0.0
		for _, a := range sizes {
			sum += a
		}
		for i := range sizes {
			sizes[i] = clamp(sizes[i]*total/sum, 0.005, 3)
		}
	}
	return sizes
}

// placeBlob looks for a middle for b: near a cluster's head or anywhere, clear
// of other patches.
func placeBlob(d *dice, b *blob, heads []geo.Point, others []blob, lo, hi geo.Point, counts func(geo.Point) bool) (geo.Point, bool) {
	for try := range 500 {
		p := geo.Point{X: d.u(lo.X, hi.X), Y: d.u(lo.Y, hi.Y)}
		if len(heads) > 0 && d.chance(0.6) && try < 200 {
			h := heads[int(d.u(0, float64(len(heads))))]
			p = geo.Point{X: h.X + 45*d.norm(), Y: h.Y + 45*d.norm()}
		}
		if apart := 1.5 - float64(try)/400; counts(p) && clearOf(p, b.r, others, apart) {
			return p, true
		}
	}
	return geo.Point{}, false
}

// clearOf says whether a patch of radius r at p keeps off the others by apart
// times both radii.
func clearOf(p geo.Point, r float64, others []blob, apart float64) bool {
	for i := range others {
		o := &others[i]
		if math.Hypot(p.X-o.x, p.Y-o.y) < apart*(o.r*o.long+r)+4 {
			return false
		}
	}
	return true
}

// fit scales b until the counted ground at or above [ActDensity] is area m2.
func (b *blob) fit(area float64, counts func(geo.Point) bool) {
	for range 12 {
		got := b.area(counts)
		if math.Abs(got-area) < 0.01*area {
			return
		}
		b.r *= clamp(math.Sqrt(area/max(got, area/9)), 0.5, 2)
	}
}

// area is the counted ground of b at or above [ActDensity], in m2, by sampling.
func (b *blob) area(counts func(geo.Point) bool) float64 {
	pitch := clamp(b.r/20, 0.25, 1)
	n := int(b.reach() / pitch)
	hits := 0
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			p := geo.Point{X: b.x + float64(float64(i)*pitch), Y: b.y + float64(float64(j)*pitch)}
			if b.cover(p) >= cmp.Or(b.least, ActDensity) && counts(p) {
				hits++
			}
		}
	}
	return float64(hits) * pitch * pitch
}
