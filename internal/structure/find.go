package structure

import (
	"context"
	"errors"
	"math"

	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/progress"
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A Boundary is the field's edge.
type Boundary struct {
	Polygon geo.MultiPolygon // m, grid zone
}

// Options says what the grower gave and what the question wants.
type Options struct {
	Levees     []geo.Line       // m, grid zone: centre lines; they win over what the picture shows
	LeveeAreas geo.MultiPolygon // m, grid zone: levees drawn as areas; they win likewise
	ByHand     geo.MultiPolygon // m, grid zone: ground that the grower leaves out
	Keep       []Reason         // reasons that the question looks at nonetheless, Edge for insects
	Workers    int              // goroutines; below 1 counts as 1. Never changes a result
	Progress   progress.Func
}

// handDrawn says that the grower gave the levees.
func (o *Options) handDrawn() bool { return len(o.Levees) > 0 || len(o.LeveeAreas) > 0 }

// Find says what the field is made of: every cell inside gets a reason, and the
// ground that levees enclose is split into checks.
//
// It returns a *doubt.Problem of kind Unfit when no cell inside has a picture or
// the flight has a single band, of kind Input when the grower's lines do not
// meet the field, and ctx's error when it is cancelled.
func Find(ctx context.Context, s *cells.Summary, b Boundary, opt Options) (*Layout, error) {
	f := &finder{sum: s, boundary: b, opt: opt}
	steps := []struct {
		name string
		do   func() error
	}{
		{"looking at the picture", f.look},
		{"finding the field's edge", f.findEdge},
		{"finding water, roads and shade", f.findAreas},
		{"finding wheel tracks", f.findTracks},
		{"finding levees", f.findLevees},
		{"splitting the field into checks", f.finish},
	}
	for i, step := range steps {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		opt.Progress.Report(progress.Event{Stage: step.name, Done: int64(i), Total: int64(len(steps))})
		if err := step.do(); err != nil {
			return nil, err
		}
	}
	return f.out, nil
}

// A finder is the state of one run of the stage.
type finder struct {
	sum      *cells.Summary
	boundary Boundary
	opt      Options

	fine     *view // on the day's cells
	fineNorm cropNorm
	fineStep []uint8   // distance from the ground round about by colour, in steps
	fineBank []uint8   // the same with how much smoother the ground is: what banks are told by
	depth    []float32 // cells from the nearest cell outside
	ok       []bool    // inside and known

	coarse       *view // on cells of about a metre
	factor       int   // fine cells along the side of a coarse one
	norm         cropNorm
	dist         []uint8   // distance from the crop, in steps
	coarseDepths []float32 // see coarseDepth
	step         []uint8   // distance from the ground round about, smoothness with it, in steps

	areas     []Reason // Water, Road, Tree, Shade where found; LookedAt elsewhere
	deep      []bool   // coarse cells: shade that no question looks at
	tracks    []bool
	hasTracks bool
	heading   float64 // of the tracks, radians counter-clockwise from east

	lines    []leveePath
	areaMids []LeveeLine // centre lines of the grower's areas
	levee    []Reason    // Levee where one was drawn
	barrier  []bool      // what parts checks
	hemLevel float64     // steps from which ground beside a levee belongs to it
	out      *Layout
}

// look takes the views, the crop's colour and every cell's distance from it.
func (f *finder) look() error {
	f.fine = newView(f.sum, f.opt.Workers)
	f.ok = f.fine.crop()
	if len(f.fine.ratio) == 0 {
		return &doubt.Problem{Kind: doubt.Unfit, What: "the picture has one band only, and levees, crop and weeds cannot be told apart in it", Remedy: "fly with a colour or a multispectral camera"}
	}
	if count(f.ok) == 0 {
		return &doubt.Problem{Kind: doubt.Unfit, What: "no part of the field has a picture", Remedy: "check that the picture and the boundary are of the same field"}
	}
	f.coarsen(f.fine.known)
	var err error
	raster.Together(f.opt.Workers, func() { err = f.lookAtCrop() }, func() {
		f.depth = depths(f.fine.inside, f.fine.size, edgeInnerM/f.cell()+1)
	})
	return err
}

// lookAtCrop takes the crop's colour and every cell's distance from it.
func (f *finder) lookAtCrop() (err error) {
	if f.norm, err = f.coarse.norm(); err == nil {
		f.dist = f.coarse.distances(&f.norm)
		f.fineNorm, err = f.fine.norm()
	}
	if errors.Is(err, stat.ErrFewPoints) {
		f.norm, f.fineNorm = cropNorm{}, cropNorm{}
		f.dist = make([]uint8, f.coarse.size.Len())
		f.fineStep = make([]uint8, f.fine.size.Len())
		f.fineBank = f.fineStep
		err = nil
	} else if err == nil {
		err = f.contrast()
	}
	return err
}

// coarsen takes the view on cells of about a metre from the fine cells in use.
func (f *finder) coarsen(use []bool) {
	v := *f.fine
	v.known, v.picks = use, nil
	f.coarse, f.factor = &v, 1
	for cell := f.cell(); cell < 0.8; cell *= 2 {
		f.coarse, f.factor = f.coarse.halve(), 2*f.factor
	}
}

// cell is the side of a cell in metres.
func (f *finder) cell() float64 { return f.sum.Grid.CellM }

// coarseCell is the side of a coarse cell in metres.
func (f *finder) coarseCell() float64 { return f.sum.Grid.CellM * float64(f.factor) }

// findEdge measures the perimeter strip.
func (f *finder) findEdge() error {
	f.out = &Layout{Grid: f.sum.Grid}
	f.out.PerimeterM = perimeterWidth(f.edgeProfile())
	return nil
}

func count(in []bool) int {
	n := 0
	for _, b := range in {
		if b {
			n++
		}
	}
	return n
}

// simplifyM is how far a levee's line may lie from where it was followed.
const simplifyM = 0.3

// finish gives every cell its reason and splits the checks.
func (f *finder) finish() error {
	raster.Together(f.opt.Workers, func() { f.out.Reason = f.reasons() }, func() {
		f.out.Check, f.out.Checks = splitChecks(f.sum.Grid, f.fine.inside, f.barrier)
	})
	f.doubtShade()
	for _, l := range f.lines {
		for _, part := range f.insideParts(f.ground(l.path).Simplify(simplifyM)) {
			f.out.Levees = append(f.out.Levees, LeveeLine{Line: part, WidthM: l.width})
		}
	}
	f.out.Levees = append(f.out.Levees, f.areaMids...)
	return nil
}

// ground turns a path of fine cells into metres.
func (f *finder) ground(path []geo.Point) geo.Line {
	g := f.sum.Grid
	return geo.Line(path).Map(func(p geo.Point) geo.Point {
		return geo.Point{X: g.OriginX + float64((p.X+0.5)*g.CellM), Y: g.OriginY - float64((p.Y+0.5)*g.CellM)}
	})
}

// raster turns metres into places among fine cells.
func (f *finder) raster(l geo.Line) []geo.Point {
	g := f.sum.Grid
	return l.Map(func(p geo.Point) geo.Point {
		return geo.Point{X: (p.X-g.OriginX)/g.CellM - 0.5, Y: (g.OriginY-p.Y)/g.CellM - 0.5}
	})
}

// toFine turns a path of coarse cells into one of fine cells.
func (f *finder) toFine(path []geo.Point) []geo.Point {
	k := float64(f.factor)
	return geo.Line(path).Map(func(p geo.Point) geo.Point {
		return geo.Point{X: (p.X+0.5)*k - 0.5, Y: (p.Y+0.5)*k - 0.5}
	})
}

// reasons decides what each cell is. What is surest comes first: no picture,
// the grower's hand, then what stands above or lies below the crop, then the
// strip along the edge, then what lies on the crop.
func (f *finder) reasons() []Reason {
	byHand := f.byHand()
	edge := float32(f.out.PerimeterM/f.cell() + 0.5)
	out := make([]Reason, len(f.ok))
	for i := range out {
		switch {
		case !f.fine.inside[i]:
			out[i] = Outside
		case !f.fine.known[i]:
			out[i] = NoData
		case byHand != nil && byHand[i]:
			out[i] = ByHand
		case solid(f.areas[i]):
			out[i] = f.areas[i]
		case f.levee[i] != LookedAt:
			out[i] = f.levee[i]
		case f.depth[i] < edge:
			out[i] = Edge
		case f.areas[i] == Shade:
			out[i] = Shade
		case f.tracks[i]:
			out[i] = Track
		}
	}
	f.hem(out)
	f.addBent(out)
	f.keep(out)
	return out
}

// byHand says which cells the grower leaves out; nil for none. Each polygon is drawn
// alone, for they may overlap.
func (f *finder) byHand() []bool {
	var out []bool
	for k := range f.opt.ByHand {
		one := f.rasterize(f.opt.ByHand[k : k+1])
		if out == nil {
			out = one
			continue
		}
		for i, in := range one {
			out[i] = out[i] || in
		}
	}
	return out
}

// keep gives back the ground that the question looks at nonetheless.
func (f *finder) keep(reason []Reason) {
	var back [ByHand + 1]bool
	for _, r := range f.opt.Keep {
		back[r] = r != Outside && r != NoData && r != ByHand
	}
	if len(f.opt.Keep) > 0 {
		f.out.Kept = make([]Reason, len(reason))
	}
	for i, r := range reason {
		if back[r] && !(r == Shade && f.inDeepShade(i)) {
			reason[i], f.out.Kept[i] = LookedAt, r
		}
	}
}

func solid(r Reason) bool { return r == Water || r == Road || r == Tree }

// rasterize says which cells' middles lie in m; nil for an empty m.
func (f *finder) rasterize(m geo.MultiPolygon) []bool {
	if len(m) == 0 {
		return nil
	}
	g := f.sum.Grid
	return m.Map(func(p geo.Point) geo.Point {
		return geo.Point{X: (p.X - g.OriginX) / g.CellM, Y: (g.OriginY - p.Y) / g.CellM}
	}).Rasterize(g.Cols, g.Rows)
}

func (f *finder) doubt(d doubt.Doubt) { f.out.Doubts = append(f.out.Doubts, d) }

// headings are n headings over half a turn, radians.
func headings(n int) []float64 {
	out := make([]float64, n)
	for k := range out {
		out[k] = math.Pi * float64(k) / float64(n)
	}
	return out
}
