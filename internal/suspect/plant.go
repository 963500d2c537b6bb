package suspect

import (
	"context"
	"math"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/progress"
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
// A strength of k spreads turns so many pixels of a cell off-colour that its
// departure is k; the strength of a suspect is its median departure. f is what
// Find returned for the same day. Places and amounts come from a hash, so the
// same day gives the same counts.
func Plant(ctx context.Context, s *cells.Summary, l *structure.Layout, d *norm.Departure, f *Finding, p Parameters) (*SmallestSeen, error) {
	out := &SmallestSeen{}
	strengths := slices.Clone(plantedStrengths[:])
	own := plantedStrengths[1]
	if m := middling(f); m != nil {
		out.AsStrongAs, own = m.Letter, m.Spreads
		strengths = append(strengths, own)
	}
	g := newGarden(s, l, d, f, p)
	total := int64(len(plantedSizes))
	for k, size := range plantedSizes {
		p.Progress.Report(progress.Event{Stage: "planting patches", Done: int64(k), Total: total})
		rows, err := g.plantSize(ctx, k, strengths)
		if err != nil {
			return nil, err
		}
		out.Table = append(out.Table, rows...)
		for _, r := range rows {
			if r.Strength != own || r.Planted == 0 || out.Acres != nil {
				continue
			}
			out.Found, out.Planted = r.Found, r.Planted
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
	free []bool  // unsuspected crop
	list []int32 // the same, as cells
}

func newGarden(s *cells.Summary, l *structure.Layout, d *norm.Departure, f *Finding, p Parameters) *garden {
	g := &garden{s: s, l: l, d: d, p: p, free: make([]bool, s.Grid.Len())}
	g.p.Norm.Given, g.p.Norm.Workers, g.p.Norm.Progress, g.p.Progress = d.Norms, 1, nil, nil
	for i, share := range d.Share {
		g.free[i] = share == share && d.Evidence[i] < float32(p.Low) && !d.Killed[i]
	}
	for _, sus := range f.Suspects {
		for _, i := range sus.Cells {
			g.free[i] = false
		}
	}
	for i, ok := range g.free {
		if ok {
			g.list = append(g.list, int32(i))
		}
	}
	return g
}

// plantSize plants one size at every strength, all at the same places.
func (g *garden) plantSize(ctx context.Context, k int, strengths []float64) ([]Planting, error) {
	size := plantedSizes[k]
	rows := make([]Planting, len(strengths))
	for j, z := range strengths {
		rows[j] = Planting{Acres: size.acres, Strength: z}
	}
	radius := math.Sqrt(size.acres / g.s.Grid.AcresPerCell / math.Pi)
	for _, at := range g.places(k, radius, size.places) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		plot := g.plot(at, radius)
		for j, z := range strengths {
			found, err := plot.grows(ctx, z, uint64(at))
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
	if len(g.list) == 0 {
		return nil
	}
	for try := 0; try < 12*most && len(out) < most; try++ {
		at := g.list[hash(uint64(k), uint64(try))%uint64(len(g.list))]
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

// grows plants the bed at a strength and says whether the patch is found.
func (b *bed) grows(ctx context.Context, strength float64, seed uint64) (bool, error) {
	if b.s.Ratio == "" || len(b.planted) == 0 {
		return false, nil
	}
	s := b.s
	s.Hist = slices.Clone(b.s.Hist)
	for _, i := range b.planted {
		spread := 0.05
		if c := b.l.Check[i]; c >= 0 {
			spread = b.g.d.Norms[c].Spread[norm.OffColor]
		}
		// Weeds stand in clumps: between half and one and a half of the mean.
		part := strength * spread * (0.5 + float64(hash(seed, uint64(i))>>11)/(1<<53))
		b.plantCell(s.Hist[int(i)*cells.Bins:(int(i)+1)*cells.Bins], b.l.Check[i], part)
	}
	d, err := norm.Find(ctx, &s, &b.l, b.g.p.Norm)
	if err != nil {
		return false, err
	}
	w := newWork(&s, &b.l, d, b.g.p)
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

// plantCell turns a part of a cell's pixels off-colour: out of every bin alike,
// into the first bin that counts in full.
func (b *bed) plantCell(hist []uint16, check int32, part float64) {
	total := 0
	for _, n := range hist {
		total += int(n)
	}
	p := b.g.p.Norm
	at := p.StepMost + p.Ramp
	if check >= 0 {
		at += b.g.d.Norms[check].Center[norm.RatioPixel]
	}
	bin := min(max(int(math.Ceil((at-b.s.Low)/b.s.Width)), 0), cells.Bins-1)
	want := int(math.Round(min(part, 1) * float64(total)))
	for ; want > 0; want-- {
		from := 0
		for k, n := range hist { // the fullest bin gives: crop, not what stands out already
			if k != bin && n > hist[from] || from == bin {
				from = k
			}
		}
		if from == bin || hist[from] == 0 {
			return
		}
		hist[from]--
		hist[bin]++
	}
}

// hash mixes two numbers to 64 bits that look random.
func hash(a, b uint64) uint64 {
	h := a*0x9E3779B97F4A7C15 + b*0xBF58476D1CE4E5B9 + 0x94D049BB133111EB
	h = (h ^ h>>30) * 0xBF58476D1CE4E5B9
	h = (h ^ h>>27) * 0x94D049BB133111EB
	return h ^ h>>31
}
