package suspect

import (
	"context"
	"math"
	"slices"
	"sort"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/progress"
	"bittern/internal/stat"
	"bittern/internal/structure"
)

// seenIn is the least part of a planted patch that suspects must cover for it
// to count as found.
const seenIn = 0.5

// plantedSizes are the acres that are planted, and how many places of each.
var plantedSizes = [...]struct {
	acres  float64
	places int
}{{0.01, 40}, {0.02, 40}, {0.05, 40}, {0.1, 40}, {0.25, 20}, {1, 8}}

// plantedStrengths are the robust spreads that are planted besides a
// suspect's own; the second stands for it where there are none.
var plantedStrengths = [...]float64{1, 2, 3}

// Plant plants patches of off-colour pixels into the unsuspected crop of the
// grower's own flight, one at a time, finds norm, departure and suspects of
// the ground round about again, and counts how many come out. What it cannot
// find, the flight would not have shown.
//
// At a strength of k spreads so many pixels of every planted cell are turned
// into burnt and living weed that a patch of 0.05 acre departs by k in the
// median; the strength of a suspect is its median departure. A question that looks
// for whole effects, as bare ground is for gaps, counts none below its own demand,
// however many spreads that is: without suspects it plants what just counts. f is what Find
// returned for the same day. Places and amounts come from a hash, so the same
// day gives the same counts.
func Plant(ctx context.Context, s *cells.Summary, l *structure.Layout, d *norm.Departure, f *Finding, p Parameters) (*SmallestSeen, error) {
	out := &SmallestSeen{}
	strengths := slices.Clone(plantedStrengths[:])
	own := plantedStrengths[1]
	g := newGarden(s, l, d, f, p)
	if m := middling(f); m != nil {
		out.AsStrongAs, own = m.Letter, m.Spreads
		strengths = append(strengths, own)
	} else if p.Norm.Search != nil {
		own = max(own, g.strength(justCounts*p.High))
		strengths = append(strengths, own)
	}
	if err := g.calibrate(ctx, strengths); err != nil {
		return nil, err
	}
	total := int64(len(plantedSizes))
	for k, size := range plantedSizes {
		p.Progress.Report(progress.Event{Stage: "planting patches", Done: int64(k), Total: total})
		rows, err := g.plantSize(ctx, k, strengths)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			if r.Planted > 0 {
				out.Table = append(out.Table, r)
			}
		}
		for _, r := range rows {
			if r.Strength != own || r.Planted == 0 || out.Acres != nil {
				continue
			}
			out.Found, out.Planted, out.Cover = r.Found, r.Planted, r.Cover
			if 10*r.Found >= 9*r.Planted {
				acres := size.acres
				out.Acres = &acres
			}
			break
		}
	}
	p.Progress.Report(progress.Event{Stage: "planting patches", Done: total, Total: total})
	return out, nil
}

// middling returns the lettered suspect of middle strength, nil without any.
func middling(f *Finding) *Suspect {
	var lettered []*Suspect
	for i := range f.Suspects {
		if f.Suspects[i].Letter != "" {
			lettered = append(lettered, &f.Suspects[i])
		}
	}
	if len(lettered) == 0 {
		return nil
	}
	slices.SortStableFunc(lettered, func(a, b *Suspect) int {
		switch {
		case a.Spreads < b.Spreads:
			return -1
		case a.Spreads > b.Spreads:
			return 1
		}
		return 0
	})
	return lettered[(len(lettered)-1)/2]
}

// A garden is the unsuspected crop that patches are planted in.
type garden struct {
	s    *cells.Summary
	l    *structure.Layout
	d    *norm.Departure
	p    Parameters
	free []bool // unsuspected crop
	upTo []int  // by row, how many of them it and those above have

	leaves leaves // in the flight's bands

	tried  []float64 // covers of weeds, or parts of the full effect, that strengths are looked for among, 0..1
	covers []float64 // of those, what gives each strength
}

// calibrated is the size, as an index into plantedSizes, that strengths are
// measured on, and calibrateAt the places it is measured at.
const (
	calibrated  = 2
	calibrateAt = 5
)

// plantedCovers are the covers of weeds that strengths are looked for among. Thinner ones are not told from
// single plants.
var plantedCovers = [...]float64{0.04, 0.08, 0.12, 0.16, 0.2, 0.26, 0.32, 0.4, 0.5, 0.6, 0.8, 1}

// plantedAs is the part of a cover of weeds that is planted as leaf that fills its pixels. Real leaf shares
// most of its pixels with rice: on 31 invented fields with odd seeds weeds had the evidence of 2 spreads at 2.1 times (median)
// the cover at which leaf that fills its pixels had it.
const plantedAs = 0.5

// justCounts is how far above the demand of its question the evidence of a patch
// lies that just counts: parts of a planted patch lie lower than its median.
const justCounts = 1.2

// plantedEffects are the parts of a full effect that strengths are looked for among: a
// gap is bare in full, and a place with no plants is still what the question asks
// about.
var plantedEffects = [...]float64{0.02, 0.04, 0.06, 0.08, 0.1, 0.13, 0.16, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1}

// calibrate finds the least cover of weeds that makes a patch depart by each
// strength. A strength that no cover reaches is taken at its strongest.
func (g *garden) calibrate(ctx context.Context, strengths []float64) error {
	reached := make([]float64, len(g.tried))
	radius := g.radius(plantedSizes[calibrated].acres)
	got := make([][]float64, len(g.tried))
	for _, at := range g.places(calibrated, radius, calibrateAt) {
		b := g.plot(at, radius)
		for k, cover := range g.tried {
			d, _, err := b.plant(ctx, cover, uint64(at))
			if err != nil {
				return err
			}
			got[k] = append(got[k], g.strength(median(b.planted, d.Evidence)))
		}
	}
	best := 0
	for k := range reached {
		if reached[k] = stat.Median(got[k]); reached[k] > reached[best] {
			best = k
		}
	}
	for _, z := range strengths {
		at := best
		for k := best; k >= 0; k-- {
			if reached[k] >= z {
				at = k
			}
		}
		g.covers = append(g.covers, g.tried[at])
	}
	return nil
}

// strength turns evidence into spreads of the field's crop.
func (g *garden) strength(evidence float64) float64 {
	if len(g.d.Norms) == 0 || g.d.Norms[0].Spread[norm.Weight] == 0 {
		return 0
	}
	n := g.d.Norms[0]
	return (evidence - n.Center[norm.Weight]) / n.Spread[norm.Weight]
}

// radius is that of a disc of so many acres, in cells.
func (g *garden) radius(acres float64) float64 {
	return math.Sqrt(acres / g.s.Grid.AcresPerCell / math.Pi)
}

func newGarden(s *cells.Summary, l *structure.Layout, d *norm.Departure, f *Finding, p Parameters) *garden {
	g := &garden{s: s, l: l, d: d, p: p, tried: plantedCovers[:], free: make([]bool, s.Grid.Len()), leaves: leavesIn(s.Bands)}
	g.p.Norm.Given, g.p.Norm.Fitted, g.p.Norm.Taught, g.p.Norm.Shaded, g.p.Norm.Workers, g.p.Norm.Progress, g.p.Progress = d.Norms, d.Fitted, d.Taught, d.Shaded, 1, nil, nil
	if p.Norm.Search != nil {
		g.tried = plantedEffects[:]
		known := *p.Norm.Search
		known.Given, g.p.Norm.Search = d.Matched, &known
	}
	for i, share := range d.Share {
		g.free[i] = share == share && d.Evidence[i] < float32(p.Low) && !d.Killed[i] && (p.Skips == nil || !p.Skips[i])
	}
	for _, sus := range f.Suspects {
		for _, i := range sus.Cells {
			g.free[i] = false
		}
	}
	all := 0
	for row := range s.Grid.Rows {
		for _, ok := range g.free[row*s.Grid.Cols : (row+1)*s.Grid.Cols] {
			if ok {
				all++
			}
		}
		g.upTo = append(g.upTo, all)
	}
	return g
}

// plantSize plants one size at every strength, all at the same places.
func (g *garden) plantSize(ctx context.Context, k int, strengths []float64) ([]Planting, error) {
	size := plantedSizes[k]
	rows := make([]Planting, len(strengths))
	for j, z := range strengths {
		rows[j] = Planting{Acres: size.acres, Strength: z, Cover: g.covers[j]}
	}
	radius := g.radius(size.acres)
	for _, at := range g.places(k, radius, size.places) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		plot := g.plot(at, radius)
		for j := range strengths {
			found, err := plot.grows(ctx, g.covers[j], uint64(at))
			if err != nil {
				return nil, err
			}
			rows[j].Planted++
			if found {
				rows[j].Found++
			}
		}
	}
	return rows, nil
}

// places picks up to most cells about which a disc of the radius is nearly all
// unsuspected crop.
func (g *garden) places(k int, radius float64, most int) []int32 {
	var out []int32
	all := 0
	if n := len(g.upTo); n > 0 {
		all = g.upTo[n-1]
	}
	if all == 0 {
		return nil
	}
	for try := 0; try < 12*most && len(out) < most; try++ {
		at := g.nth(int(hash(uint64(k), uint64(try)) % uint64(all)))
		in, n := 0, 0
		g.disc(at, radius, func(i int) {
			n++
			if i >= 0 && g.free[i] {
				in++
			}
		})
		if 10*in >= 9*n {
			out = append(out, at)
		}
	}
	return out
}

// nth is the free cell before which there are n.
func (g *garden) nth(n int) int32 {
	row, cols := sort.SearchInts(g.upTo, n+1), g.s.Grid.Cols
	if row > 0 {
		n -= g.upTo[row-1]
	}
	for i := row * cols; ; i++ {
		if !g.free[i] {
			continue
		}
		if n == 0 {
			return int32(i)
		}
		n--
	}
}

// disc calls fn with the cells within radius cells of at, -1 for those off the
// grid.
func (g *garden) disc(at int32, radius float64, fn func(i int)) {
	cols, rows := g.s.Grid.Cols, g.s.Grid.Rows
	c0, r0, k := int(at)%cols, int(at)/cols, int(radius)
	for r := r0 - k; r <= r0+k; r++ {
		for c := c0 - k; c <= c0+k; c++ {
			switch {
			case float64((c-c0)*(c-c0)+(r-r0)*(r-r0)) > radius*radius:
			case c < 0 || r < 0 || c >= cols || r >= rows:
				fn(-1)
			default:
				fn(r*cols + c)
			}
		}
	}
}

// A bed is the ground round one place, cut out of the field.
type bed struct {
	g       *garden
	s       cells.Summary
	l       structure.Layout
	planted []int32 // cells of the bed
}

// marginM is how far a patch can change norm and share round about, in metres.
const marginM = 8

// plot cuts out the ground about a place. Its corner lies on a multiple of four
// cells, so that cells are folded as in the whole field.
func (g *garden) plot(at int32, radius float64) *bed {
	grid := g.s.Grid
	reach := int(radius+marginM/grid.CellM) + 1
	c0, r0 := int(at)%grid.Cols, int(at)/grid.Cols
	win := clip(grid, c0-reach, r0-reach, c0+reach+1, r0+reach+1)
	b := &bed{g: g}
	b.s, b.l = cut(g.s, g.l, win)
	g.disc(at, radius, func(i int) {
		if i >= 0 && g.free[i] {
			b.planted = append(b.planted, int32((i/grid.Cols-win.Row)*win.Cols+i%grid.Cols-win.Col))
		}
	})
	slices.Sort(b.planted)
	return b
}

func clip(g grid.Grid, c0, r0, c1, r1 int) grid.Window {
	c0, r0 = max(c0, 0)&^3, max(r0, 0)&^3
	c1, r1 = min(c1, g.Cols), min(r1, g.Rows)
	return grid.Window{Col: c0, Row: r0, Cols: c1 - c0, Rows: r1 - r0}
}

// cut copies a window of the summary and of the layout.
func cut(s *cells.Summary, l *structure.Layout, w grid.Window) (cells.Summary, structure.Layout) {
	outS, outL := *s, *l
	g := s.Grid
	g.OriginX += float64(w.Col) * g.CellM
	g.OriginY -= float64(w.Row) * g.CellM
	g.Cols, g.Rows = w.Cols, w.Rows
	outS.Grid, outL.Grid = g, g
	outS.Inside = nil
	outS.Pixels = crop(s.Pixels, s.Grid.Cols, 1, w)
	outS.Hist = crop(s.Hist, s.Grid.Cols, cells.Bins, w)
	outS.Mean = make([][]float32, len(s.Mean))
	outS.Spread = make([][]float32, len(s.Spread))
	for b := range s.Mean {
		outS.Mean[b] = crop(s.Mean[b], s.Grid.Cols, 1, w)
		outS.Spread[b] = crop(s.Spread[b], s.Grid.Cols, 1, w)
	}
	outL.Reason = crop(l.Reason, s.Grid.Cols, 1, w)
	outL.Kept = crop(l.Kept, s.Grid.Cols, 1, w)
	outL.Check = crop(l.Check, s.Grid.Cols, 1, w)
	return outS, outL
}

func crop[T any](v []T, cols, lanes int, w grid.Window) []T {
	if len(v) == 0 {
		return nil
	}
	out := make([]T, 0, w.Cols*w.Rows*lanes)
	for r := w.Row; r < w.Row+w.Rows; r++ {
		out = append(out, v[(r*cols+w.Col)*lanes:(r*cols+w.Col+w.Cols)*lanes]...)
	}
	return out
}

// grows plants the bed with a cover of weeds and says whether the patch is found.
func (b *bed) grows(ctx context.Context, cover float64, seed uint64) (bool, error) {
	if b.s.Ratio == "" && b.g.p.Norm.Search == nil || len(b.planted) == 0 {
		return false, nil
	}
	d, s, err := b.plant(ctx, cover, seed)
	if err != nil {
		return false, err
	}
	w := newWork(s, &b.l, d, b.g.p)
	w.dead = make([]bool, len(d.Killed))
	found := make([]bool, len(d.Share))
	for _, patch := range w.patches() {
		for _, i := range patch {
			found[i] = true
		}
	}
	n := 0
	for _, i := range b.planted {
		if found[i] {
			n++
		}
	}
	return float64(n) >= seenIn*float64(len(b.planted)), nil
}

// plant returns the departure of the bed under a cover of weeds, or a part of the full effect, 0 to 1.
func (b *bed) plant(ctx context.Context, cover float64, seed uint64) (*norm.Departure, *cells.Summary, error) {
	s := b.s
	s.Hist = slices.Clone(b.s.Hist)
	s.Mean, s.Spread = cloneAll(b.s.Mean), cloneAll(b.s.Spread)
	for _, i := range b.planted {
		// Weeds stand in clumps: between half and one and a half of the mean.
		clump := 0.5 + float64(float64(hash(seed, uint64(i))>>11)/(1<<53))
		if b.g.p.Norm.Search != nil {
			b.plantEffect(&s, int(i), min(1, cover*clump))
			continue
		}
		b.plantCell(&s, int(i), min(1, plantedAs*cover*clump))
	}
	d, err := norm.Find(ctx, &s, &b.l, b.g.p.Norm)
	return d, &s, err
}

func cloneAll(v [][]float32) [][]float32 {
	out := make([][]float32, len(v))
	for k := range v {
		out[k] = slices.Clone(v[k])
	}
	return out
}

const (
	burntPart = 0.65 // of a weed's leaf; the rest is living
	burntRise = 0.85 // ln units of the ratio of a burnt leaf above the crop's norm
)

// A leaf is how a planted leaf's light compares with the crop's, by band; the
// red of a burnt one follows from the ratio.
type leaf map[string]float64

// burntLeaf and livingLeaf are rounded from ordinary leaf spectra: a burnt leaf
// is paler in green and darker in the near infrared than a closed canopy, a
// living weed a little brighter than rice in both.
func burntLeaf() leaf { return leaf{"blue": 1.8, "green": 1.25, "rededge": 0.95, "nir": 0.68} }

func livingLeaf() leaf {
	return leaf{"blue": 1, "green": 1.15, "red": 1.05, "rededge": 1.1, "nir": 1.12}
}

// leaves are the light of both leaves in the bands of a flight.
type leaves struct {
	dead, alive []float64 // by band
	green       float64   // of the dead
}

func leavesIn(bands []string) leaves {
	dead, alive := burntLeaf(), livingLeaf()
	out := leaves{green: dead["green"]}
	for _, band := range bands {
		out.dead, out.alive = append(out.dead, dead[band]), append(out.alive, alive[band])
	}
	return out
}

// plantCell fills a part of a cell's pixels with weeds: in its histogram and in the
// mean and spread of every band.
func (b *bed) plantCell(s *cells.Summary, i int, part float64) {
	ratio := s.Low + s.Width*cells.Bins/2
	if c := b.l.Check[i]; c >= 0 {
		ratio = b.g.d.Norms[c].Center[norm.RatioPixel]
	}
	burnt := part * burntPart
	plantPixels(s, i, ratio+burntRise, burnt)
	plantPixels(s, i, ratio, part-burnt)
	green, _ := s.Band("green")
	base := float64(0)
	if green != nil {
		base = float64(green[i])
	}
	for k, band := range s.Bands {
		m, sd := float64(s.Mean[k][i]), float64(s.Spread[k][i])
		d, a := m*b.g.leaves.dead[k], m*b.g.leaves.alive[k]
		if band == "red" {
			d = base * b.g.leaves.green * math.Exp(ratio+burntRise)
		}
		mean := float64((1-part)*m) + float64(burnt*d) + float64((part-burnt)*a)
		square := float64((1-part)*squares(m, sd)) + float64(burnt*squares(d, sd)) + float64((part-burnt)*squares(a, sd))
		s.Mean[k][i], s.Spread[k][i] = float32(mean), float32(math.Sqrt(max(0, square-float64(mean*mean))))
	}
}

// plantEffect changes a cell by a part of the full effect of what the question
// looks for first: every band by what it adds to its logarithm.
func (b *bed) plantEffect(s *cells.Summary, i int, part float64) {
	adds := b.g.p.Norm.Search.Targets[0].Adds
	for k, band := range s.Bands {
		if add := adds[band]; add != 0 {
			by := float32(math.Exp(part * add))
			s.Mean[k][i] *= by
			s.Spread[k][i] *= by
		}
	}
}

// squares is the mean square of a mean and a deviation.
func squares(m, sd float64) float64 { return float64(m*m) + float64(sd*sd) }

// plantPixels moves a part of a cell's pixels to a ratio, spread over the two
// bins about it, out of all bins in proportion.
func plantPixels(s *cells.Summary, i int, ratio, part float64) {
	hist := s.Hist[i*cells.Bins : (i+1)*cells.Bins]
	moved := 0.0
	for k, n := range hist {
		if n == 0 {
			continue
		}
		left := math.Round(float64(n) * (1 - part))
		moved += float64(n) - left
		hist[k] = uint16(left)
	}
	at := held((ratio-s.Low)/s.Width-0.5, 0, cells.Bins-1)
	bin := int(at)
	upper := math.Round(moved * (at - float64(bin)))
	hist[bin] += uint16(moved - upper)
	hist[min(bin+1, cells.Bins-1)] += uint16(upper)
}

func held(x, low, high float64) float64 { return max(low, min(high, x)) }

// hash mixes two numbers to 64 bits that look random.
func hash(a, b uint64) uint64 {
	h := a*0x9E3779B97F4A7C15 + b*0xBF58476D1CE4E5B9 + 0x94D049BB133111EB
	h = (h ^ h>>30) * 0xBF58476D1CE4E5B9
	h = (h ^ h>>27) * 0x94D049BB133111EB
	return h ^ h>>31
}
