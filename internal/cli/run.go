package cli

import (
	"context"
	"runtime"

	"bittern/internal/app"
)

// runCommand is `bittern run`: the contract of the whole job.
type runCommand struct {
	Boundary     string   `required:"" placeholder:"FIELD" help:"The field's boundary: GeoJSON, shapefile, KML or KMZ, GeoPackage."`
	Imagery      []string `required:"" sep:"none" placeholder:"FILE" help:"A picture of the flight; may be repeated, a later one lies on top where they overlap."`
	Question     string   `required:"" placeholder:"NAME" help:"What the flight should answer: escapes, insects, nitrogen, harvest, stand or water."`
	Out          string   `required:"" placeholder:"DIR" help:"The folder to write, new or of an earlier run."`
	Bands        string   `placeholder:"NAMES" help:"Which band is which, from the first: green,red,rededge,nir."`
	Field        string   `placeholder:"NAME" help:"Which field, where the file holds several."`
	Flown        string   `placeholder:"DATE" help:"When the flight was: 2026-07-14 or 2026-07-14T09:05."`
	Treated      string   `placeholder:"DATE" help:"When the field was treated."`
	Before       string   `placeholder:"FILE" help:"A picture of an earlier flight."`
	BeforeFlown  string   `placeholder:"DATE" help:"When that was."`
	Swath        *float64 `placeholder:"FT" help:"Swath of the treatment that was made."`
	SprayHeading *float64 `placeholder:"DEG" help:"Heading of its passes, clockwise from true north."`
	Levees       string   `placeholder:"FILE" help:"Levee lines or polygons of your own; they win."`
	Marks        string   `placeholder:"FILE" help:"Wires, poles, neighbours and other fixed things."`
	Strip        string   `placeholder:"FILE" help:"Strips with extra nitrogen, for the question nitrogen: polygons with pounds_per_acre and date."`
	Applicator   []string `sep:"none" placeholder:"FILE" help:"An applicator.toml; may be repeated."`
	Prices       string   `placeholder:"FILE" help:"A prices.toml."`
	Products     string   `placeholder:"FILE" help:"A products.toml."`
	Sightings    string   `placeholder:"FILE" help:"A sightings.csv of stops walked."`
	Page         bool     `help:"Also write the field sheet as a picture, which the day page prints."`
	Units        string   `default:"us" placeholder:"us" help:"Units on paper: us or metric."`
	JSON         bool     `name:"json" help:"Print day.json instead of the letter."`
}

func (c runCommand) run(ctx context.Context, env Env) ([]byte, error) {
	date, err := printed(env)
	if err != nil {
		return nil, err
	}
	bar := newProgress(env.Stderr)
	defer bar.stop()
	day, err := app.Run(ctx, app.Request{
		Boundary: c.Boundary, Imagery: c.Imagery, Question: c.Question, Out: c.Out,
		Bands: splitBands(c.Bands), Field: c.Field,
		Flown: c.Flown, Treated: c.Treated, Before: c.Before, BeforeFlown: c.BeforeFlown,
		SwathFt: c.Swath, SprayHeadingDeg: c.SprayHeading,
		Levees: c.Levees, Marks: c.Marks, Strip: c.Strip,
		Applicators: c.Applicator, Prices: c.Prices, Products: c.Products, Sightings: c.Sightings,
		Page: c.Page, Units: c.Units, Printed: date, Program: "bittern " + Version,
	}, app.Setting{Workers: runtime.GOMAXPROCS(0), Progress: bar.Report, Meter: meter})
	bar.stop()
	if err != nil {
		return nil, err
	}
	if c.JSON {
		return app.JSON(day)
	}
	return []byte(day.Letter(c.Out)), nil
}

// demoCommand is `bittern demo`: the same job on an invented field.
type demoCommand struct {
	Out   string  `default:"demo" placeholder:"DIR" help:"The folder to write."`
	Seed  uint64  `default:"1" help:"Which field to invent."`
	Acres float64 `default:"0" help:"How large; 0 for the usual size."`
	JSON  bool    `name:"json" help:"Print for programs."`
}

func (c demoCommand) run(ctx context.Context, env Env) ([]byte, error) {
	bar := newProgress(env.Stderr)
	defer bar.stop()
	shown, err := app.RunDemo(ctx, app.DemoRequest{Out: c.Out, Seed: c.Seed, Acres: c.Acres, Program: "bittern " + Version},
		app.Setting{Workers: runtime.GOMAXPROCS(0), Progress: bar.Report, Meter: meter})
	bar.stop()
	if err != nil {
		return nil, err
	}
	if c.JSON {
		return app.JSON(shown)
	}
	return []byte(shown.Letter()), nil
}
