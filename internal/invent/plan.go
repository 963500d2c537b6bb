package invent

import (
	"fmt"
	"math"
	"sync"

	"bittern/internal/geo"
	"bittern/internal/grid"
)

// A Field is a planned scene, ready to be rendered. Its methods may be called
// from several goroutines.
type Field struct {
	scene                   Scene
	ring                    geo.Ring // the true edge, own frame
	hand                    geo.Ring // as drawn
	halfW                   float64
	halfH                   float64
	land                    relief
	place                   *placement
	banks                   []bank
	weeds                   []blob
	killed                  []blob
	checks                  *paddies
	odd                     int16 // the check that is wholly untreated or without nitrogen, -1 for none
	chewed                  []blob
	short                   []blob
	lodged                  []blob
	strips                  []strip
	trends                  []trend
	trails                  []geo.Line
	lineAcross, lineSpacing float64 // angle of the direction across the mapping lines, own frame; m between them
	day                     uint64  // seed of what differs from one flight of the field to the next
	trees                   []tree
	ponds                   []pool
	pads                    []geo.Point
	rowsAlong               bool // drill rows run along Y of the own frame
	skipQ                   float64
	nodeStep                int // pixels between the nodes of the sharp layers

	// sharp layers
	bank, ditch, road, pond, tree, shade, dens, burn, weed, seen, trail *layer
	// smooth layers, four times as coarse
	stand, tone, wet, litter, gaps, grass, cloud, across, track, glint, veil *layer
	gain                                                                     []*layer // per stored band

	fine, tuft, slow tile
	normal           *gauss
	curve            *toneCurve
	look             look
	kernels          []kernel // per stored band
	pool             sync.Pool
}

// A tree casts shade; a pool is round and ragged.
type (
	tree struct{ x, y, r, h float64 }
	pool struct {
		x, y, r float64
		seed    uint64
	}
)

// New plans the field of a scene. It returns an error when the scene asks for
// what cannot be drawn.
func New(s Scene) (*Field, error) {
	if err := s.validate(); err != nil {
		return nil, fmt.Errorf("scene %q: %w", s.Name, err)
	}
	s = s.withDefaults()
	f := &Field{scene: s, day: s.Seed, odd: -1}
	if s.Before {
		f.day = sub(s.Seed, 990)
	}
	f.ring, f.halfW, f.halfH = outline(s)
	f.hand = drawn(s, f.ring)
	f.land = newRelief(s)
	place, err := newPlacement(s, f.day, f.ring)
	if err != nil {
		return nil, fmt.Errorf("scene %q: %w", s.Name, err)
	}
	f.place = place
	f.banks = planLevees(s, f.ring, f.land)
	f.planExtras()
	f.checks = newPaddies(f.ring, f.banks)
	f.planTroubles()
	f.nodeStep = max(4, int(math.Round(0.42/s.PixelM)))
	near := f.nearLevees()
	f.drawStructure(near)
	f.planWeeds()
	f.planPatches()
	f.drawSmooth(near)
	f.drawPlants()
	f.drawGain()
	f.prepareOptics()
	return f, nil
}

// planExtras places trees, ponds and pads.
func (f *Field) planExtras() {
	s := f.scene
	d := dice{seed: sub(s.Seed, 6)}
	f.rowsAlong = d.chance(0.5)
	f.skipQ = d.u(-0.5, 0.5) * min(f.halfW, f.halfH)
	if s.TreeShade > 0 {
		f.planTrees(&d)
	}
	if s.Pond {
		a := f.ring[int(d.u(0, float64(len(f.ring))))]
		m := along(a, geo.Point{}, 26)
		f.ponds = append(f.ponds, pool{m.X, m.Y, d.u(9, 15), sub(s.Seed, 61)})
	}
	if s.PumpPad {
		a := f.ring[int(d.u(0, float64(len(f.ring))))]
		f.pads = append(f.pads, along(a, geo.Point{}, 5))
		m := along(a, geo.Point{}, 13)
		f.ponds = append(f.ponds, pool{m.X, m.Y, 5, sub(s.Seed, 62)})
	}
}

// Mid-morning shade falls towards the west-north-west, in the field's own
// frame; its length goes by the scene's TreeShade.
const (
	shadeX = -0.9
	shadeY = 0.43
)

// planTrees lines up trees outside one side of the field.
func (f *Field) planTrees(d *dice) {
	// On the sunward side, so that their shade falls on the field; at times
	// anywhere.
	i, best := 0, math.Inf(-1)
	for k, p := range f.ring {
		if reach := d.u(0, 1.2)*f.halfW - float64(p.X*shadeX) - float64(p.Y*shadeY); reach > best {
			i, best = k, reach
		}
	}
	f.treeRow(d, i, clamp(0.4+0.6*f.scene.TreeShade, 0, 1))
	if f.scene.TreeShade > 0.6 {
		f.treeRow(d, (i+1)%len(f.ring), 1)
	}
}

// treeRow lines up trees along a share of the ring's side i.
func (f *Field) treeRow(d *dice, i int, share float64) {
	a, b := f.ring[i], f.ring[(i+1)%len(f.ring)]
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	nx, ny := (b.Y-a.Y)/length, -(b.X-a.X)/length // outward of a counterclockwise ring
	for t := d.u(0, 10); t < length*share; t += d.u(3, 9) {
		p := along(a, b, t)
		off := d.u(5, 10)
		r := d.u(2, 4.5)
		f.trees = append(f.trees, tree{p.X + nx*off, p.Y + ny*off, r, r * d.u(2.5, 4)})
	}
}

// planWeeds lays the patches of living and of killed weeds.
func (f *Field) planWeeds() {
	s := f.scene
	counts := func(p geo.Point) bool { return f.isCrop(p) && !f.isOdd(p) }
	w := s.Weeds
	f.weeds = planBlobs(sub(s.Seed, 7), w.Acres, w.Patches, w.Light, w.Heavy, f.ring, counts)
	for i := range f.weeds {
		if w.Burn > 0 {
			f.weeds[i].burn = w.Burn
			continue
		}
		// Two days a step: burnt leaf wears off as the weed grows new.
		f.weeds[i].burn *= clamp(1.25-0.025*float64(s.FlownDays), 0.5, 1.1)
	}
	free := func(p geo.Point) bool { return counts(p) && f.weedCover(p) == 0 }
	f.killed = planBlobs(sub(s.Seed, 8), s.KilledAcres, max(1, int(s.KilledAcres*4)), 0.3, 0.6, f.ring, free)
	f.planFresh(free)
}

// isCrop says whether p is ground of the crop: inside, and on no structure.
func (f *Field) isCrop(p geo.Point) bool {
	if inset(f.ring, p) < 5 {
		return false
	}
	col, row := f.place.toPixel(f.place.ground(p))
	return f.bank.at(col, row) < 0.4 && f.ditch.at(col, row) < 0.4 && f.pond.at(col, row) < 0.4
}

// weedCover is the cover of live escapes at p, 0 to 1.
func (f *Field) weedCover(p geo.Point) float64 {
	c, _, _ := f.alive(p)
	return c
}

// alive is the cover of live weeds of the crop at p, whose they are, and the
// share of them that is burnt leaf.
func (f *Field) alive(p geo.Point) (cover float64, which int, burn float64) {
	cover, which = strongest(f.weeds, p)
	if which >= 0 {
		burn = f.weeds[which].burn
	}
	if c := f.skipCover(p); c > cover {
		cover, which, burn = c, SkipPatch, 0.15
	}
	if c, b := f.stripCover(p); c > cover {
		cover, which, burn = c, SkipPatch, b
	}
	if f.scene.Untreated > 0 && f.isOdd(p) {
		// No dose at all: green, and thick where the seed lies thick.
		c := 0.42 * f.scene.Untreated * clamp(0.55+float64(0.75*hills(sub(f.scene.Seed, 640), p.X, p.Y, 26, 4, 0.65)), 0.02, 1.5)
		if c > cover {
			cover, which, burn = c, UntreatedPatch, 0.1
		}
	}
	if f.scene.Before {
		burn = min(burn, 0.05)
	}
	return cover, which, burn
}

// strongest returns the largest cover of the patches at p and whose it is, -1
// for nobody's.
func strongest(blobs []blob, p geo.Point) (cover float64, which int) {
	which = -1
	for i := range blobs {
		b := &blobs[i]
		if r := b.reach(); math.Abs(p.X-b.x) > r || math.Abs(p.Y-b.y) > r {
			continue
		}
		if c := b.cover(p); c > cover {
			cover, which = c, i
		}
	}
	return cover, which
}

// acrossDrill is the coordinate across the drill rows, with the driver's sway.
func (f *Field) acrossDrill(p geo.Point) float64 {
	q, along := p.X, p.Y
	if !f.rowsAlong {
		q, along = p.Y, p.X
	}
	return q + float64(0.35*math.Sin(along/57))
}

// skipCover is the cover of the weeds that an airplane's skip left alive.
func (f *Field) skipCover(p geo.Point) float64 {
	if f.scene.Skip == 0 {
		return 0
	}
	q := f.acrossDrill(p) - f.skipQ
	if math.Abs(q) > 3 {
		return 0
	}
	patchy := 0.5 + float64(0.6*hills(sub(f.scene.Seed, 71), p.X, p.Y, 14, 2, 0.7))
	return 0.4 * f.scene.Skip * within(-1.5, 1.5, 0.4, q) * clamp(patchy, 0, 1)
}

// newSharp makes a layer of the sharp kind.
func (f *Field) newSharp() *layer { return newLayer(f.place.cols, f.place.rows, f.nodeStep) }

// newSmooth makes a layer of the smooth kind.
func (f *Field) newSmooth() *layer { return newLayer(f.place.cols, f.place.rows, 4*f.nodeStep) }

// Size is the picture's columns and rows.
func (f *Field) Size() (cols, rows int) { return f.place.cols, f.place.rows }

// Scene is the scene that f was planned from, with nothing left open.
func (f *Field) Scene() Scene { return f.scene }

// A Format says how a field's picture is stored and where it lies.
type Format struct {
	Cols, Rows  int
	Bands       []string // in the order of the samples of a pixel
	SampleBytes int      // 1 for uint8, 2 for uint16, 4 for float32
	Float       bool
	NoData      *float64    // number that stands for no data, nil for none; 8-bit pictures leave black
	Affine      grid.Affine // pixel corners to metres of the zone
	EPSG        int         // of the field's UTM zone (WGS84)
}

// Format says how the picture is stored.
func (f *Field) Format() Format {
	out := Format{
		Cols: f.place.cols, Rows: f.place.rows, SampleBytes: f.scene.Sensor.sampleBytes(),
		Float: f.scene.Sensor == FiveBandFloat, Affine: f.place.aff, EPSG: f.place.zone.EPSG(),
	}
	out.Affine.A += f.scene.ShiftE
	out.Affine.D += f.scene.ShiftN
	if f.scene.Collar && out.SampleBytes > 1 {
		v := float64(f.scene.Sensor.noData())
		out.NoData = &v
	}
	for _, b := range f.scene.Sensor.bands() {
		out.Bands = append(out.Bands, bandNames[b])
	}
	return out
}

// Boundary is the field's boundary as the grower gives it, in degrees of
// longitude and latitude: drawn by hand when the scene says so.
func (f *Field) Boundary() geo.Polygon { return f.degrees(f.hand) }

// BoundaryExact is the field's true edge, in degrees.
func (f *Field) BoundaryExact() geo.Polygon { return f.degrees(f.ring) }

// degrees turns a ring of the own frame into a polygon in degrees.
func (f *Field) degrees(r geo.Ring) geo.Polygon {
	out := make(geo.Ring, len(r))
	for i, p := range r {
		g := f.place.ground(p)
		out[i].X, out[i].Y = f.place.zone.Inverse(g.X, g.Y)
	}
	return geo.Polygon{Outer: out}
}
