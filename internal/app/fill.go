package app

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/unit"
)

// describe turns what the stages left into the plain data of day.json.
func (r *run) describe(ctx context.Context) error {
	d := r.day
	d.Schema, d.Program, d.Question = SchemaDay, r.Program, r.ask.Name
	d.Flown, d.Treated, d.BeforeFlown = text(r.flown), text(r.treated), text(r.beforeFlown)
	d.Options = Options{SwathFt: r.SwathFt, SprayHeadingDeg: r.SprayHeadingDeg, Units: r.Units, Bands: orEmpty(r.Bands)}
	d.Grid = r.gridPlace()
	d.Field = Field{Name: r.name, Acres: acresOf(r.lonLat)}
	r.fillTrends()
	r.fillImagery()
	r.fillGround()
	r.fillChecks()
	r.fillSkips()
	r.fillSuspects()
	r.fillBefore()
	r.fillSmallest()
	r.fillTables()
	r.fillMoney()
	r.commonDoubts()
	r.coverDoubts()
	d.Warnings = warnings(r.doubts)
	d.Answer = d.answer(r.units)
	return r.timed("digests", func() error { return r.fillInputs(ctx) })
}

func text(m *moment) *string {
	if m == nil {
		return nil
	}
	return &m.text
}

func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

func (r *run) gridPlace() GridPlace {
	return GridPlace{
		CRS: fmt.Sprintf("EPSG:%d", r.grid.EPSG), CellM: r.grid.CellM,
		Origin:  [2]float64{r.grid.OriginX, r.grid.OriginY},
		Columns: r.grid.Cols, Rows: r.grid.Rows,
	}
}

func (r *run) fillInputs(ctx context.Context) error {
	for _, in := range r.inputs {
		sum, err := r.hashing.of(ctx, in)
		if err != nil {
			return err
		}
		r.day.Inputs = append(r.day.Inputs, Input{Role: in.role, Name: in.name, Bytes: in.bytes, SHA256: sum})
	}
	slices.SortStableFunc(r.day.Inputs, func(a, b Input) int { return cmp.Compare(a.Role, b.Role) })
	return nil
}

func (r *run) fillImagery() {
	seen, inside := 0, 0
	for i, in := range r.inside {
		if !in {
			continue
		}
		inside++
		if r.cells.Pixels[i] > 0 {
			seen++
		}
	}
	r.day.Imagery = Imagery{
		PixelM: r.flight.PixelM, CoversShare: float64(seen) / float64(max(1, inside)), Sensor: r.flight.Sensor, Bands: []Band{},
		DisplayGain: displayGain(r.cells),
	}
	for _, b := range r.flight.Bands {
		r.day.Imagery.Bands = append(r.day.Imagery.Bands, Band{Name: b.Name, File: b.File, Index: b.Index, How: b.How})
	}
	if b := r.before; b != nil {
		r.day.Imagery.Before = &BeforePicture{DisplayGain: b.gain, EastM: b.shift.East, NorthM: b.shift.North}
	}
	r.fillIndices()
}

// reasonWords are the reasons as day.json has them; "" is not left out.
func reasonWord(r structure.Reason) string {
	switch r {
	case structure.Levee:
		return "levee"
	case structure.BorrowDitch:
		return "borrow ditch"
	case structure.Water:
		return "water"
	case structure.Road:
		return "road"
	case structure.Track:
		return "track"
	case structure.Edge:
		return "edge"
	case structure.Shade:
		return "shade"
	case structure.Tree:
		return "tree"
	case structure.NoData:
		return "no data"
	case structure.ByHand:
		return "by hand"
	default: // looked at, or outside
		return ""
	}
}

// fillGround splits the field's acres into what was looked at and what was
// left out, so that they add up to the boundary's own area: the half cells
// along the boundary count with the edge, or where none is left out with the
// looked-at ground.
func (r *run) fillGround() {
	var counts [structure.ByHand + 1]int
	for i, reason := range r.layout.Reason {
		if r.inside[i] {
			counts[reason]++
		}
	}
	rest := r.day.Field.Acres - float64(counts[structure.LookedAt])*r.grid.AcresPerCell
	r.day.LeftOut = []LeftOut{}
	for reason := structure.Levee; reason <= structure.ByHand; reason++ {
		if counts[reason] == 0 || reason == structure.Edge {
			continue
		}
		acres := float64(counts[reason]) * r.grid.AcresPerCell
		rest -= acres
		r.day.LeftOut = append(r.day.LeftOut, LeftOut{Reason: reasonWord(reason), Acres: acres})
	}
	if counts[structure.Edge] > 0 && rest > 0 {
		r.day.LeftOut = append(r.day.LeftOut, LeftOut{Reason: reasonWord(structure.Edge), Acres: rest})
		rest = 0
	}
	slices.SortStableFunc(r.day.LeftOut, func(a, b LeftOut) int { return cmp.Compare(b.Acres, a.Acres) })
	r.day.LookedAt.Shows = showsWord(r.shown)
	r.day.LookedAt.Acres = float64(counts[structure.LookedAt])*r.grid.AcresPerCell + rest
}

func (r *run) fillTrends() {
	r.day.Trends = []Trend{}
	for _, t := range r.norm.Trends {
		r.day.Trends = append(r.day.Trends, Trend{
			From: t.From, Look: string(t.Look), Acres: t.Acres,
			HalfDistanceFt: float64(unit.Meters(t.HalfM * r.groundPerGrid()).Feet()),
		})
	}
}

func (r *run) fillChecks() {
	r.day.Checks = []Check{}
	for i, c := range r.layout.Checks {
		out := Check{
			ID: c.ID, Acres: float64(c.Cells) * r.grid.AcresPerCell,
			Norm: map[string]float64{}, Spread: map[string]float64{},
		}
		if i < len(r.norm.Norms) {
			n := r.norm.Norms[i]
			out.Norm, out.Spread = finite(n.Center), finite(n.Spread)
			out.Standing = standing(n.Standing)
		}
		r.day.Checks = append(r.day.Checks, out)
	}
	feet := 0.0
	for _, l := range r.layout.Levees {
		feet += float64(unit.Meters(r.groundM(l.Line)).Feet())
	}
	r.day.Levees = Levees{Found: r.layout.Found, Feet: feet, Weeds: []LeveeWeeds{}}
	if !r.banksTold {
		return
	}
	weeds := 0.0
	for _, w := range r.bankWeeds {
		long := float64(unit.Meters(w.LengthM * r.groundPerGrid()).Feet())
		weeds += long
		r.day.Levees.Weeds = append(r.day.Levees.Weeds, LeveeWeeds{Levee: strconv.Itoa(w.Levee + 1), Feet: long})
	}
	r.day.Levees.WeedsFeet = &weeds
}

// groundM is the length of a line on the ground, in metres.
func (r *run) groundM(l geo.Line) float64 { return l.Length() * r.groundPerGrid() }

// groundPerGrid is ground metres to a metre of the grid's zone at the field.
func (r *run) groundPerGrid() float64 {
	return math.Sqrt(float64(unit.Acres(r.grid.AcresPerCell).SquareMeters())) / r.grid.CellM
}

// finite drops what JSON cannot say.
func finite(m map[string]float64) map[string]float64 {
	out := map[string]float64{}
	for k, v := range m {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			out[k] = v
		}
	}
	return out
}

func standing(s *norm.Standing) *Standing {
	if s == nil {
		return nil
	}
	out := &Standing{Spreads: s.Spreads, Apart: s.Apart}
	if s.Look != norm.NoLook {
		look := string(s.Look)
		out.Look = &look
	}
	return out
}

func (r *run) fillSuspects() {
	r.day.Suspects = []Suspect{}
	for _, s := range r.finding.Suspects {
		r.day.Suspects = append(r.day.Suspects, r.plainSuspect(s))
	}
	r.day.Killed.Acres = r.finding.KilledAcres
	r.day.Context = []Context{}
	for _, c := range r.finding.Context {
		r.day.Context = append(r.day.Context, Context{Look: string(c.Look), Acres: c.Acres})
	}
}

func (r *run) plainSuspect(s suspect.Suspect) Suspect {
	at := r.grid.LonLat(s.Center)
	out := Suspect{
		ID: s.ID, Check: s.Check, Acres: s.Acres, Severity: string(s.Severity), Look: string(s.Look),
		State: "suspect", Lon: at.X, Lat: at.Y, Place: placeWords(s.Center, r.boundary, r.units), Hints: []Hint{},
	}
	if s.Letter != "" {
		letter := s.Letter
		out.Letter = &letter
	}
	for _, h := range s.Hints {
		out.Hints = append(out.Hints, Hint{Cause: h.Cause, For: orEmpty(h.For), Against: orEmpty(h.Against), LookFor: h.LookFor})
	}
	return out
}

func (r *run) fillSmallest() {
	s := r.smallest
	if s == nil {
		return
	}
	out := &SmallestSeen{Acres: s.Acres, Found: s.Found, Planted: s.Planted, Cover: s.Cover, Table: []Planting{}}
	if s.AsStrongAs != "" {
		out.AsStrongAs = &s.AsStrongAs
	}
	for _, row := range s.Table {
		out.Table = append(out.Table, Planting(row))
	}
	r.day.SmallestSeen = out
}

// commonDoubts are about what was not given at all.
func (r *run) commonDoubts() {
	add := func(missing bool, d doubt.Doubt) {
		if missing {
			r.doubt(d)
		}
	}
	add(r.treated == nil && r.ask.Treated, doubt.Doubt{
		About: "treated", Weight: 0.7,
		Says:   "The day of treatment was not given, so it is not known whether dying and living weeds can be told apart yet.",
		Settle: "Give it with --treated.",
	})
	add(r.flown == nil, doubt.Doubt{
		About: "flown", Weight: 0.3, Says: "The day of the flight was not given.", Settle: "Give it with --flown.",
	})
	r.timingDoubts()
	add(r.BeforeFlown != "" && r.Before == "", doubt.Doubt{
		About: "before", Weight: 0.3, Says: "The day of an earlier flight was given without its picture, so it was not used.", Settle: "Give the picture with --before.",
	})
	add(r.Before != "" && r.beforeFlown == nil, doubt.Doubt{
		About: "before", Weight: 0.3, Says: "The day of the earlier flight was not given, so it is not known whether it shows the weeds alive.", Settle: "Give it with --before-flown.",
	})
	r.beforeTiming()
	add(r.Sightings != "", doubt.Doubt{
		About: "sightings", Weight: 0.5, Says: "The sightings were not used: what was walked does not change the answer yet.", Settle: "Write them on the sheet.",
	})
	add(r.Strip != "" && !r.ask.Tables.Sufficiency, doubt.Doubt{
		About: "strip", Weight: 0.3, Says: "The strips with extra nitrogen were not used: only nitrogen is held against them.", Settle: "Ask nitrogen, or leave --strip out.",
	})
	thin := r.day.hardlyShows()
	add(thin != "" && len(r.day.Suspects) > 0, doubt.Doubt{
		About: "thin weeds", Weight: 0.45, Says: unit.Sentence(thin) + ".",
		Settle: "Walk where you expect them outside the suspects, too, or fly again lower.",
	})
	add(true, doubt.Doubt{
		About: "position", Weight: 0.25,
		Says:   "The picture was not pinned to marks on the ground, so its place may be some feet off.",
		Settle: "Hold one corner of the field against the guidance files before treating.",
	})
}

// timingDoubts say when the flight was too soon or too late after treatment.
func (r *run) timingDoubts() {
	if r.flown == nil || r.treated == nil || !r.ask.Treated {
		return
	}
	switch n := days(r.treated, r.flown); {
	case n < 0:
		r.doubt(doubt.Doubt{
			About: "treated", Weight: 0.9, Says: "The flight was before the treatment, so nothing on it can have lived through that.",
			Settle: "Check --treated and --flown.",
		})
	case n < r.ask.TooSoonDays:
		again := r.treated.time.AddDate(0, 0, r.ask.TooSoonDays+2).Format("Monday 2 January")
		r.doubt(doubt.Doubt{
			About: "treated", Weight: 0.95,
			Says:   fmt.Sprintf("Too soon: dying and living look alike until about day %d.", r.ask.TooSoonDays),
			Settle: "Fly again from " + again + ".",
		})
	case r.ask.TooLateDays > 0 && n > r.ask.TooLateDays:
		r.doubt(doubt.Doubt{
			About: "treated", Weight: 0.6,
			Says:   fmt.Sprintf("The flight was %d days after treatment: new growth may hide what lived.", n),
			Settle: "Walk before deciding.",
		})
	}
}

// beforeTiming says when the earlier flight came too late to show the weeds alive.
func (r *run) beforeTiming() {
	if r.Before == "" || r.beforeFlown == nil || r.treated == nil || !r.ask.Treated {
		return
	}
	if n := days(r.treated, r.beforeFlown); n > 0 {
		r.doubt(doubt.Doubt{
			About: "before", Weight: 0.5,
			Says:   fmt.Sprintf("The earlier flight was %s after the treatment: weeds may have browned by then, and what died may be told as weeds that never stood there.", plural(n, "day", "days")),
			Settle: "Fly on the day of treatment, before it works.",
		})
	}
}

// warnings are the doubts as day.json has them, those that could change most first.
func warnings(ds []doubt.Doubt) []Warning {
	sorted := slices.Clone(ds)
	slices.SortStableFunc(sorted, func(a, b doubt.Doubt) int { return cmp.Compare(b.Weight, a.Weight) })
	out := []Warning{}
	for _, d := range sorted {
		w := Warning{About: d.About, Says: d.Says, Settle: d.Settle}
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}

// acresOf is the area of a boundary in degrees, on the ellipsoid.
func acresOf(m geo.MultiPolygon) float64 {
	return float64(unit.SquareMeters(crs.AreaM2(m)).Acres())
}
