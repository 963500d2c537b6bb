package export

import (
	"image/color"
	"math"

	"bittern/internal/block"
	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/suspect"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// A layer is one layer of a day: as GeoJSON has it, and as a table has it.
type layer struct {
	vector.Layer
	ownFile     bool
	description string
	lines       bool
	columns     []string
	style       vector.Style
	table       []vector.Feature // for the GeoPackage; nil takes the features
}

// Colours of the project: plum for suspects, teal for blocks, ink and quiet ink
// for the ground.
var (
	plum  = color.NRGBA{0x6b, 0x1e, 0x5e, 255}
	teal  = color.NRGBA{0x0b, 0x5a, 0x5c, 255}
	ink   = color.NRGBA{0x1c, 0x1b, 0x19, 255}
	quiet = color.NRGBA{0x4a, 0x48, 0x43, 255}
)

func fade(c color.NRGBA, alpha uint8) color.NRGBA {
	c.A = alpha
	return c
}

// layers are all layers of the day in the order in which a map stacks them, the
// ground first.
func (d *Day) layers() []layer {
	p := d.placer()
	out := []layer{d.field(), d.checks(p), d.levees(p), d.skips(p), d.suspects(p)}
	if d.Planned {
		out = append(out, d.blocks(p), d.runs(p))
	}
	return out
}

// A placer brings grid metres into longitude and latitude.
type placer struct {
	zone   crs.CRS
	perM   float64 // ground metres to a metre of the zone
	toTrue float64 // degrees from true north to grid north
}

func (d *Day) placer() placer {
	return newPlacer(d.Grid.CRS(), d.Grid.CellM, d.Grid.AcresPerCell, d.Grid.ConvergenceDeg)
}

func newPlacer(zone crs.CRS, cellM, acresPerCell, convergence float64) placer {
	ground := math.Sqrt(float64(unit.Acres(acresPerCell).SquareMeters()))
	return placer{zone: zone, perM: ground / cellM, toTrue: convergence}
}

func (p placer) point(q geo.Point) geo.Point {
	lon, lat := p.zone.Inverse(q.X, q.Y)
	return geo.Point{X: lon, Y: lat}
}

// feet is the length of l on the ground in feet.
func (p placer) feet(l geo.Line) float64 {
	return float64(unit.Meters(l.Length() * p.perM).Feet())
}

// bearing is the true bearing from a to b, 0 to 360 degrees.
func (p placer) bearing(a, b geo.Point) float64 {
	deg := math.Atan2(b.X-a.X, b.Y-a.Y)*180/math.Pi + p.toTrue
	if deg = math.Mod(deg+720, 360); math.Round(deg*10) >= 3600 {
		return 0
	}
	return deg
}

func acres(v float64) vector.Fixed   { return vector.Fixed{Value: v, Decimals: 4} }
func tenths(v float64) vector.Fixed  { return vector.Fixed{Value: v, Decimals: 1} }
func seconds(v float64) vector.Fixed { return vector.Fixed{Value: v, Decimals: 2} }

func (d *Day) field() layer {
	l := layer{ownFile: true, columns: []string{"name", "acres"}, description: "The field's boundary", style: vector.Style{Stroke: ink, StrokePx: 2}}
	l.Layer = vector.Layer{Name: "field", Features: []vector.Feature{{
		Polygons:   d.Boundary,
		Properties: vector.Properties{{Name: "name", Value: d.FieldName}, {Name: "acres", Value: acres(d.Acres)}},
	}}}
	return l
}

func (d *Day) checks(p placer) layer {
	l := layer{
		ownFile: true, description: "Checks: the paddies that levees enclose",
		columns: []string{"id", "acres", "apart", "look"}, style: vector.Style{Stroke: quiet, StrokePx: 1, Label: "id"},
	}
	l.Name = "checks"
	for i, c := range d.Layout.Checks {
		apart, look := d.standing(i)
		l.Features = append(l.Features, vector.Feature{
			Polygons: c.Outline.Map(p.point),
			Properties: vector.Properties{
				{Name: "id", Value: c.ID},
				{Name: "acres", Value: acres(float64(c.Cells) * d.Grid.AcresPerCell)},
				{Name: "apart", Value: apart},
				{Name: "look", Value: look},
			},
		})
	}
	return l
}

func (d *Day) skips(p placer) layer {
	l := layer{
		ownFile: true, lines: true, description: "Skips: centre lines of strips that a pass missed",
		columns: []string{"id", "width_ft", "length_ft", "acres", "heading_deg", "spacing_ft"},
		style:   vector.Style{Stroke: ink, StrokePx: 2, Label: "id"},
	}
	l.Name = "skips"
	for _, s := range d.Skips {
		f := vector.Feature{Properties: vector.Properties{
			{Name: "id", Value: s.ID},
			{Name: "width_ft", Value: tenths(s.WidthFt)},
			{Name: "length_ft", Value: tenths(s.LengthFt)},
			{Name: "acres", Value: acres(s.Acres)},
			{Name: "heading_deg", Value: tenths(s.HeadingDeg)},
			{Name: "spacing_ft", Value: tenths(s.SpacingFt)},
		}}
		for _, line := range s.Lines {
			f.Lines = append(f.Lines, line.Map(p.point))
		}
		l.Features = append(l.Features, f)
	}
	return l
}

// standing is whether check i stands apart from its peers and its look then; nil
// where it is not known.
func (d *Day) standing(i int) (apart, look any) {
	if i >= len(d.Norms) || d.Norms[i].Standing == nil {
		return nil, nil
	}
	s := d.Norms[i].Standing
	return s.Apart, orNull(string(s.Look))
}

func (d *Day) levees(p placer) layer {
	l := layer{
		ownFile: true, lines: true, description: "Centre lines of levees, " + d.Layout.Found,
		columns: []string{"id", "feet", "width_ft"}, style: vector.Style{Stroke: quiet, StrokePx: 1.5},
	}
	l.Name = "levees"
	for i, levee := range d.Layout.Levees {
		l.Features = append(l.Features, vector.Feature{
			Lines: []geo.Line{levee.Line.Map(p.point)},
			Properties: vector.Properties{
				{Name: "id", Value: i + 1},
				{Name: "feet", Value: tenths(p.feet(levee.Line))},
				{Name: "width_ft", Value: tenths(float64(unit.Meters(levee.WidthM).Feet()))},
			},
		})
	}
	return l
}

// A hint is a suspect's hint by the names of day.json.
type hint struct {
	Cause   string   `json:"cause"`
	For     []string `json:"for"`
	Against []string `json:"against"`
	LookFor string   `json:"look_for"`
}

// walked counts stops by the names of day.json.
type walked struct {
	Stops int `json:"stops"`
	Found int `json:"found"`
}

func hints(s suspect.Suspect) (all []hint, causes []string) {
	all, causes = []hint{}, []string{}
	for _, h := range s.Hints {
		all = append(all, hint{h.Cause, orNone(h.For), orNone(h.Against), h.LookFor})
		causes = append(causes, h.Cause)
	}
	return all, causes
}

func orNone(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// suspects are the patches, and the killed ground as one feature. A table has no
// lists: there hints are their causes alone.
func (d *Day) suspects(p placer) layer {
	l := layer{
		ownFile: true, description: "Ground that departs from the rest of its check. A look or a hint is never a diagnosis",
		columns: []string{"id", "letter", "check", "acres", "severity", "look", "hints", "stops", "found", "probability", "state"},
		style: vector.Style{
			Stroke: plum, StrokePx: 2, Fill: fade(plum, 64), Label: "letter", Dashed: "severity", DashedValue: string(suspect.Faint),
		},
	}
	l.Name = "suspects"
	for _, s := range d.Finding.Suspects {
		w := d.walkOf(s.ID)
		all, causes := hints(s)
		before := vector.Properties{
			{Name: "id", Value: s.ID},
			{Name: "letter", Value: orNull(s.Letter)},
			{Name: "check", Value: orNull(s.Check)},
			{Name: "acres", Value: acres(s.Acres)},
			{Name: "severity", Value: string(s.Severity)},
			{Name: "look", Value: orNull(string(s.Look))},
		}
		l.add(s.Outline.Map(p.point), before, all, causes, w)
	}
	if len(d.Finding.Killed) > 0 {
		before := vector.Properties{
			{Name: "id", Value: "killed"},
			{Name: "letter", Value: nil},
			{Name: "check", Value: nil},
			{Name: "acres", Value: acres(d.Finding.KilledAcres)},
			{Name: "severity", Value: nil},
			{Name: "look", Value: "browned"},
		}
		l.add(d.Finding.Killed.Map(p.point), before, []hint{}, []string{}, Walked{State: "killed"})
	}
	return l
}

func (d *Day) walkOf(id string) Walked {
	w, ok := d.Walked[id]
	if !ok || w.State == "" {
		w.State = "suspect"
	}
	return w
}

// add adds one suspect to both forms of the layer.
func (l *layer) add(m geo.MultiPolygon, before vector.Properties, all []hint, causes []string, w Walked) {
	var probability any
	if w.Probability != nil {
		probability = vector.Fixed{Value: *w.Probability, Decimals: 4}
	}
	last := vector.Properties{{Name: "probability", Value: probability}, {Name: "state", Value: w.State}}
	join := func(parts ...vector.Properties) (out vector.Properties) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	own := vector.Properties{{Name: "hints", Value: all}, {Name: "walked", Value: walked{w.Stops, w.Found}}}
	l.Features = append(l.Features, vector.Feature{Polygons: m, Properties: join(before, own, last)})
	flat := vector.Properties{{Name: "hints", Value: causes}, {Name: "stops", Value: w.Stops}, {Name: "found", Value: w.Found}}
	l.table = append(l.table, vector.Feature{Polygons: m, Properties: join(before, flat, last)})
}

func (d *Day) blocks(p placer) layer {
	l := layer{
		ownFile: true, description: "Blocks: the runs that are flown together",
		columns: []string{"id", "applicator", "acres", "valve_on_acres", "runs", "heading_deg", "longest_run_ft", "shortest_open_s"},
		style:   vector.Style{Stroke: teal, StrokePx: 2, Fill: fade(teal, 64), Label: "id"},
	}
	l.Name = "blocks"
	for _, b := range d.plan().Blocks {
		l.Features = append(l.Features, vector.Feature{
			Polygons: geo.MultiPolygon{b.Outline.Map(p.point)},
			Properties: vector.Properties{
				{Name: "id", Value: b.ID},
				{Name: "applicator", Value: d.plan().Applicator},
				{Name: "acres", Value: acres(b.Acres)},
				{Name: "valve_on_acres", Value: acres(b.ValveOnAcres)},
				{Name: "runs", Value: len(b.Runs)},
				{Name: "heading_deg", Value: tenths(b.HeadingDeg)},
				{Name: "longest_run_ft", Value: tenths(float64(unit.Meters(b.LongestRunM).Feet()))},
				{Name: "shortest_open_s", Value: openSeconds(b.ShortestOpenS)},
			},
		})
	}
	return l
}

// openSeconds is null where the speed was not given.
func openSeconds(s float64) any {
	if s == 0 {
		return nil
	}
	return seconds(s)
}

func (d *Day) plan() *block.Plan {
	if d.Plan == nil {
		return &block.Plan{}
	}
	return d.Plan
}

func (d *Day) runs(p placer) layer {
	l := layer{
		ownFile: true, lines: true, description: "Runs with the valve open, in their order and direction",
		columns: []string{"block", "order", "heading_deg", "length_ft", "open_s", "valve_on_acres"},
		style:   vector.Style{Stroke: teal, StrokePx: 1},
	}
	l.Name = "runs"
	for _, r := range d.plan().Runs {
		line := geo.Line{r.From, r.To}
		l.Features = append(l.Features, vector.Feature{
			Lines: []geo.Line{line.Map(p.point)},
			Properties: vector.Properties{
				{Name: "block", Value: r.Block},
				{Name: "order", Value: r.Order},
				{Name: "heading_deg", Value: tenths(p.bearing(r.From, r.To))},
				{Name: "length_ft", Value: tenths(float64(unit.Meters(r.LengthM).Feet()))},
				{Name: "open_s", Value: openSeconds(r.OpenS)},
				{Name: "valve_on_acres", Value: acres(float64(unit.SquareMeters(r.ValveOnM2).Acres()))},
			},
		})
	}
	return l
}

// sheets are the layers as a GeoPackage has them.
func sheets(layers []layer) []vector.Sheet {
	var out []vector.Sheet
	for _, l := range layers {
		s := vector.Sheet{Layer: l.Layer, Description: l.description, Lines: l.lines, Columns: l.columns, Style: l.style}
		if l.table != nil {
			s.Features = l.table
		}
		out = append(out, s)
	}
	return out
}
