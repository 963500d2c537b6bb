package app

import (
	"fmt"
	"math"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/norm"
	"bittern/internal/stat"
	"bittern/internal/structure"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// Rules for a strip to be held against. The widths, the distance and the number
// are common practice, no source; the four weeks are Arkansas' for nitrogen before
// flood (docs/references.md, nitrogen).
const (
	stripWidthFt  = 60.0
	stripLengthFt = 300.0
	stripClearFt  = 20.0 // of what is left out; nearer ground of a strip is not used
	stripDays     = 28
	stripPart     = 0.9 // of its ground must be one check's
	stripsFor     = 3   // strips that a large field needs
	largeAcres    = 80.0
)

// A strip is one polygon with extra nitrogen, on the grid.
type strip struct {
	shape  geo.MultiPolygon // m, grid zone
	pounds *float64
	date   string
}

// placeStrips puts the strips that were given on the grid.
func (r *run) placeStrips() error {
	if r.given.strips == nil {
		return nil
	}
	for _, f := range r.given.strips.Features {
		_, areas, _, err := r.onGrid(f)
		if err != nil {
			return &doubt.Problem{File: r.Strip, What: "a strip lies nowhere near the field", Remedy: "check that the strips are of this field", Err: err}
		}
		if len(areas) == 0 {
			continue
		}
		s := strip{shape: areas, date: f.Properties.Text("date")}
		if v, ok := f.Properties.Number("pounds_per_acre"); ok && v >= 0 && !math.IsInf(v, 0) {
			s.pounds = &v
		}
		r.strips = append(r.strips, s)
	}
	if len(r.strips) == 0 {
		return &doubt.Problem{File: r.Strip, What: "it holds no polygons", Remedy: "draw each strip as a polygon with pounds_per_acre and date, or leave --strip out"}
	}
	return nil
}

// readStrips reads the file of strips.
func (r *run) readStrips() error {
	if r.Strip == "" {
		return nil
	}
	layer, err := vector.ReadFile(r.Strip)
	if err != nil {
		return err
	}
	r.given.strips = layer
	r.doubt(layer.Doubts...)
	return r.input("strip", r.Strip)
}

// fillNitrogen holds the crop against the strips that serve.
func (r *run) fillNitrogen() {
	out := &Nitrogen{Strips: []Strip{}, Checks: []CheckNitrogen{}}
	r.day.Nitrogen = out
	if len(r.strips) == 0 {
		r.doubt(doubt.Doubt{
			About: "strip", Weight: 0.6,
			Says:   "No strip with extra nitrogen was given, so paler ground is shown and no sufficiency figure.",
			Settle: "Give strips with --strip: polygons with pounds_per_acre and date.",
		})
		return
	}
	rich := make([]bool, r.grid.Len())
	used := 0
	for k, s := range r.strips {
		row, cells, why := r.judgeStrip(k, s)
		if row.Used = why == ""; row.Used {
			used++
			for _, i := range cells {
				rich[i] = true
			}
		} else {
			row.Why = &why
			r.doubt(doubt.Doubt{About: "strip", Weight: 0.6, Says: fmt.Sprintf("Strip %s was not used: %s.", row.ID, why), Settle: "See what a strip needs in docs/methods/question-nitrogen.md."})
		}
		out.Strips = append(out.Strips, row)
	}
	r.doubtStrips(used)
	if used == 0 {
		return
	}
	if index := norm.Suffice(r.cells, r.layout, rich); index != nil {
		out.take(index)
		r.doubtIndex(index)
	}
}

func (n *Nitrogen) take(x *norm.Index) {
	n.Index, n.Sufficiency, n.Low, n.High = &x.Name, known(x.SI), known(x.Low), known(x.High)
	for _, c := range x.Checks {
		n.Checks = append(n.Checks, CheckNitrogen{Check: c.Check, Sufficiency: known(c.SI), Low: known(c.Low), High: known(c.High)})
	}
}

func (r *run) doubtStrips(used int) {
	switch {
	case used == 1:
		r.doubt(doubt.Doubt{
			About: "strip", Weight: 0.7, Says: "One strip only: whatever else is odd about its ground counts as nitrogen.",
			Settle: "Make three strips next time, in different checks.",
		})
	case used > 1 && used < stripsFor && r.day.Field.Acres > largeAcres:
		r.doubt(doubt.Doubt{
			About: "strip", Weight: 0.5, Says: "A field of more than 80 acres was held against two strips only.",
			Settle: "Make three strips next time, in different checks.",
		})
	}
}

func (r *run) doubtIndex(x *norm.Index) {
	if x.Name != "NDRE" {
		r.doubt(doubt.Doubt{
			About: "bands", Weight: 0.5, Says: "Without a red-edge band the index is of near infrared and green, which no published threshold for rice is for.",
			Settle: "Fly with a red-edge band.",
		})
	}
	if r.cells.Bits == 8 {
		r.doubt(doubt.Doubt{
			About: "bands", Weight: 0.5, Says: "The picture has 8 bits a band, which are not reflectance, so the sufficiency figure ranks ground and cannot be held against a published threshold.",
			Settle: "Give the reflectance that the camera's program makes.",
		})
	}
}

// judgeStrip measures a strip and says why it does not serve; empty when it does.
// cells are those of it that are looked at and clear of what is left out.
func (r *run) judgeStrip(k int, s strip) (row Strip, cells []int, why string) {
	row = Strip{ID: fmt.Sprint(k + 1), PoundsPerAcre: s.pounds}
	if s.date != "" {
		row.Date = &s.date
	}
	in, near := r.grid.Inside(s.shape), r.nearLeftOut()
	all := 0
	count := map[int32]int{}
	for i, yes := range in {
		if !yes {
			continue
		}
		all++
		if r.layout.Reason[i] != structure.LookedAt || r.layout.Check[i] < 0 {
			continue
		}
		count[r.layout.Check[i]]++
		if !near[i] {
			cells = append(cells, i)
		}
	}
	row.Acres = float64(all) * r.grid.AcresPerCell
	width, length := sides(s.shape)
	toFt := func(m float64) float64 { return float64(unit.Meters(m * r.groundPerGrid()).Feet()) }
	row.WidthFt, row.LengthFt = toFt(width), toFt(length)
	most := 0
	for _, n := range count {
		most = max(most, n)
	}
	return row, cells, r.whyNot(s, row, all, most)
}

// nearLeftOut marks what lies within stripClearFt of a levee, a ditch, water, the
// edge or what else is left out, wheel tracks but not counted.
func (r *run) nearLeftOut() []bool {
	out := make([]bool, len(r.layout.Reason))
	for i, reason := range r.layout.Reason {
		out[i] = reason != structure.LookedAt && reason != structure.Track
	}
	size := stat.Size{Cols: r.grid.Cols, Rows: r.grid.Rows}
	return stat.Grow(out, size, float64(unit.Feet(stripClearFt).Meters())/r.groundPerGrid()/r.grid.CellM)
}

// whyNot is why a strip does not serve, the surest reason first.
func (r *run) whyNot(s strip, row Strip, all, most int) string {
	const half = 0.5 // ft, drawing
	date, err := time.Parse("2006-01-02", s.date)
	switch {
	case all == 0:
		return "it lies outside the field"
	case s.pounds == nil:
		return "pounds_per_acre is not given"
	case *s.pounds == 0:
		return "it had no extra nitrogen"
	case s.date == "" || err != nil:
		return "the day it was put out is not given as year-month-day"
	case row.WidthFt < stripWidthFt-half:
		return fmt.Sprintf("it is %.0f ft wide, too narrow: %.0f ft are needed", row.WidthFt, stripWidthFt)
	case row.LengthFt < stripLengthFt-half:
		return fmt.Sprintf("it is %.0f ft long, too short: %.0f ft are needed", row.LengthFt, stripLengthFt)
	case float64(most) < stripPart*float64(all):
		return "it crosses a levee, or much of it is not crop"
	case r.flown == nil:
		return "the day of the flight is not given, so its age is not known"
	}
	if n := int(math.Round(r.flown.time.Truncate(24*time.Hour).Sub(date).Hours() / 24)); n < stripDays {
		return fmt.Sprintf("too early: four weeks have not passed since it was put out (%d days to go)", stripDays-n)
	}
	return ""
}

// sides are the short and the long side of the smallest rectangle about a shape, in
// its own unit.
func sides(m geo.MultiPolygon) (short, long float64) {
	var points []geo.Point
	for _, p := range m {
		points = append(points, p.Outer...)
	}
	short, long = math.Inf(1), 0
	best := math.Inf(1)
	for k := range 180 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 180)
		u0, u1, v0, v1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for _, p := range points {
			u, v := float64(p.X*cos)+float64(p.Y*sin), float64(p.Y*cos)-float64(p.X*sin)
			u0, u1, v0, v1 = min(u0, u), max(u1, u), min(v0, v), max(v1, v)
		}
		if a := (u1 - u0) * (v1 - v0); a < best {
			best, short, long = a, min(u1-u0, v1-v0), max(u1-u0, v1-v0)
		}
	}
	return short, long
}

func noOrder() doubt.Doubt {
	return doubt.Doubt{
		About: "harvest", Weight: 0.9, Says: "The picture has no red and green together, or too little crop, so the checks could not be put in order.",
		Settle: "Fly with a colour camera.",
	}
}
