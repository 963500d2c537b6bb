package app

import (
	"context"
	"encoding/json"
	"errors"
	"image"
	"math"

	"bittern/internal/block"
	"bittern/internal/cells"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/job"
	"bittern/internal/norm"
	"bittern/internal/reckon"
	"bittern/internal/skip"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// Run does the whole job of one day and writes it to req.Out. The day that it
// returns is what day.json holds. On an error nothing was written; a
// *doubt.Problem is the sentence to say.
func Run(ctx context.Context, req Request, set Setting) (*Day, error) {
	r, err := carryOut(ctx, req, set)
	if err != nil {
		return nil, err
	}
	return r.day, nil
}

// carryOut is Run that keeps what the stages left.
func carryOut(ctx context.Context, req Request, set Setting) (*run, error) {
	c, err := req.check()
	if err != nil {
		return nil, err
	}
	r := &run{checked: *c, set: set, day: &Day{}}
	defer r.close()
	for _, stage := range []func(context.Context) error{
		r.readTyped, r.locate, r.look, r.see, r.treat, r.describe, r.write,
	} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := stage(ctx); err != nil {
			return nil, r.damagedFirst(ctx, err)
		}
	}
	return r, nil
}

// A run is one day while it is made: what was asked, and what each stage left.
type run struct {
	checked
	set    Setting
	day    *Day
	folder *folder
	doubts []doubt.Doubt

	given    given
	inputs   []*fileRead
	hashing  *digests         // of inputs, once the pictures were read
	name     string           // the field's
	lonLat   geo.MultiPolygon // the boundary, degrees
	boundary geo.MultiPolygon // the boundary, m, grid zone
	grid     grid.Grid
	inside   []bool
	flight   *imagery.Flight

	cells   *cells.Summary
	layout  *structure.Layout
	norm    *norm.Departure
	shown   norm.Shown
	skips   *skip.Finding
	finding *suspect.Finding

	bankWeeds []suspect.BankWeeds // on levees
	banksTold bool                // whether it could be said

	smallest *suspect.SmallestSeen
	before   *earlierFlight // nil without --before
	strips   []strip        // ground with extra nitrogen, as given

	plainPicture *image.NRGBA // the flight in plain colour; nil before it is asked for

	reckoning *reckon.Reckoning // nil without prices
	plan      *block.Plan       // of the cheapest blocks; nil when none pay
	job       *job.Job          // nil without blocks
}

func (r *run) close() {
	if r.hashing != nil {
		r.hashing.stop() // it reads from what is closed next
	}
	if r.flight != nil {
		_ = r.flight.Close() // only read from
	}
	if r.before != nil {
		_ = r.before.flight.Close() // only read from
	}
	if r.folder != nil {
		r.folder.drop()
	}
}

// damagedFirst looks for damage in the pictures before err, which says that a
// sound picture cannot answer, is believed.
func (r *run) damagedFirst(ctx context.Context, err error) error {
	var p *doubt.Problem
	if r.flight == nil || !errors.As(err, &p) || p.Kind != doubt.Unfit {
		return err
	}
	if damage := r.flight.Verify(ctx, r.set.Workers); damage != nil {
		return damage
	}
	return err
}

// doubt adds what a person should know beside the answer.
func (r *run) doubt(d ...doubt.Doubt) { r.doubts = append(r.doubts, d...) }

// timed runs one stage and notes what it took.
func (r *run) timed(stage string, do func() error) error {
	if r.set.Meter == nil {
		return do()
	}
	before := r.set.Meter()
	err := do()
	after := r.set.Meter()
	r.day.Timings = append(r.day.Timings, Timing{
		Stage:   stage,
		WallS:   round(after.Wall.Sub(before.Wall).Seconds(), 3),
		CPUS:    round((after.CPU - before.CPU).Seconds(), 3),
		PeakMiB: round(after.PeakMiB, 1),
	})
	return err
}

func round(v float64, decimals int) float64 {
	scale := math.Pow10(decimals)
	return math.Round(v*scale) / scale
}

// look opens the pictures and checks that they can answer the question.
func (r *run) look(ctx context.Context) error {
	flight, err := imagery.Open(ctx, r.Imagery, imagery.Options{Bands: r.Bands})
	if err != nil {
		return err
	}
	r.flight = flight
	for _, f := range flight.Files {
		r.inputs = append(r.inputs, &fileRead{role: "imagery", name: f.Name, bytes: f.Bytes, digest: f.Digest})
	}
	r.doubt(flight.Doubts...)
	r.doubt(apartDoubts(flight)...)
	if err := r.canAnswer(); err != nil {
		return err
	}
	r.sayPicture()
	return r.openBefore(ctx)
}

// canAnswer says whether the flight's bands allow the question.
func (r *run) canAnswer() error {
	var bands []string
	for _, b := range r.flight.Bands {
		bands = append(bands, b.Name)
	}
	if !r.ask.Fits(bands) {
		return &doubt.Problem{
			Kind: doubt.Unfit, File: r.flight.Files[0].Name,
			What:   "a colour picture cannot tell how much " + r.ask.Name + " the crop has",
			Remedy: "give a picture with a near-infrared or a red-edge band, or ask escapes",
		}
	}
	return nil
}

// see goes from pixels to suspects.
func (r *run) see(ctx context.Context) error {
	for _, stage := range []struct {
		name string
		do   func(context.Context) error
	}{
		{"cells", r.sum},
		{"structure", r.findStructure},
		{"before", r.layBefore},
		{"norm", r.findDepartures},
		{"skips", r.findSkips},
		{"suspects", r.findSuspects},
		{"smallest seen", r.plant},
	} {
		if err := r.timed(stage.name, func() error { return stage.do(ctx) }); err != nil {
			return err
		}
	}
	return nil
}

func (r *run) sum(ctx context.Context) (err error) {
	r.cells, err = cells.Pass(ctx, r.flight, r.grid, r.inside, cells.Options{
		Workers: r.set.Workers, MarginM: cells.Margin, Progress: r.set.Progress,
	})
	if err != nil {
		return err
	}
	r.doubt(r.cells.Doubts...)
	r.hashing = digestsOf(ctx, r.inputs)
	return nil
}

func (r *run) findStructure(ctx context.Context) (err error) {
	opt := r.ask.Structure()
	opt.Levees, opt.LeveeAreas = r.given.leveeLines, r.given.leveeAreas
	opt.Workers, opt.Progress = r.set.Workers, r.set.Progress
	opt.ByHand = r.markedGround()
	r.layout, err = structure.Find(ctx, r.cells, structure.Boundary{Polygon: r.boundary}, opt)
	if err != nil {
		return named(err, r.Levees)
	}
	r.doubt(r.layout.Doubts...)
	r.sayGround()
	return nil
}

func (r *run) findDepartures(ctx context.Context) (err error) {
	r.norm, err = norm.Find(ctx, r.cells, r.layout, r.normParameters())
	if err != nil {
		return err
	}
	r.shown = norm.Show(r.cells, r.layout)
	r.doubt(r.norm.Doubts...)
	r.doubt(r.shown.Doubts...)
	return nil
}

func (r *run) normParameters() norm.Parameters {
	p := r.ask.Norm(r.set.Workers)
	p.Progress, p.Inlets = r.set.Progress, r.inlets()
	if b := r.before; b != nil {
		p.Then = b.then
		if b.beside != nil {
			p, _ = r.ask.Beside(p, b.beside)
		}
	}
	return p
}

// inlets are the places where the grower marked that water comes in.
func (r *run) inlets() []geo.Point {
	var out []geo.Point
	for _, m := range r.given.pinned {
		if m.what == "inlet" {
			out = append(out, m.points...)
		}
	}
	return out
}

func (r *run) suspectParameters() suspect.Parameters {
	since := 0
	if r.flown != nil && r.treated != nil {
		since = days(r.treated, r.flown)
	}
	p := r.ask.Suspect(r.normParameters(), since)
	p.Progress = r.set.Progress
	if r.skips != nil {
		p.Skips = r.skips.Ground
	}
	return p
}

func (r *run) findSuspects(ctx context.Context) (err error) {
	earlier, err := r.earlierSuspects()
	if err != nil {
		return err
	}
	r.finding, err = suspect.Find(ctx, r.cells, r.layout, r.norm, r.suspectParameters(), earlier)
	if err != nil {
		return err
	}
	r.doubt(r.finding.Doubts...)
	r.bankWeeds, r.banksTold, err = suspect.LeveeWeeds(ctx, r.cells, r.layout, r.norm, r.suspectParameters())
	if err != nil {
		return err
	}
	r.saySuspects()
	return r.checkSightings()
}

func (r *run) plant(ctx context.Context) (err error) {
	if r.shown.NoCrop && r.ask.Words.NoCrop != "" {
		r.smallest = &suspect.SmallestSeen{} // no crop to plant in
		return nil
	}
	r.smallest, err = suspect.Plant(ctx, r.cells, r.layout, r.norm, r.finding, r.suspectParameters())
	return err
}

// named fills in the file of a Problem that a stage without files returned.
func named(err error, file string) error {
	var p *doubt.Problem
	if errors.As(err, &p) && p.File == "" && p.Kind == doubt.Input && file != "" {
		with := *p
		with.File = file
		return &with
	}
	return err
}

// JSON prints v the way that day.json is printed.
func JSON(v any) ([]byte, error) {
	text, err := json.MarshalIndent(v, "", "  ")
	return append(text, '\n'), err
}
