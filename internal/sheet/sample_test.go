package sheet_test

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/sheet"
)

// The samples are invented: no such field, farm or person exists.

func known(v float64) *float64 { return &v }

const acreM2 = 4046.8564224

// ground is an invented field: its boundary, levees and checks.
type ground struct {
	boundary geo.MultiPolygon
	levees   []geo.Line
	checks   []sheet.CheckMark
	w, h     float64
}

const originX, originY = 702000.0, 3891000.0

// contourField has levees that wave across it from west to east.
func contourField(w, h float64, checks int) ground {
	g := ground{w: w, h: h}
	g.boundary = geo.MultiPolygon{{Outer: geo.Ring{
		at(0, 0.02*h), at(0.93*w, 0), at(w, 0.1*h), at(0.99*w, h), at(0.03*w, 0.985*h),
	}}}
	lines := make([]geo.Line, checks+1)
	for k := range lines {
		for i := range 61 {
			t := float64(i) / 60
			y := h * (float64(k)/float64(checks) + 0.35/float64(checks)*math.Sin(5*t+float64(k))*inner(k, checks))
			lines[k] = append(lines[k], at(w*(0.02+0.96*t), min(max(y, 0.03*h), 0.97*h)))
		}
	}
	g.levees = lines[1:checks]
	for k := checks; k > 0; k-- {
		ring := append(geo.Ring{}, lines[k-1]...)
		for i := len(lines[k]) - 1; i >= 0; i-- {
			ring = append(ring, lines[k][i])
		}
		g.checks = append(g.checks, sheet.CheckMark{ID: fmt.Sprint(checks - k + 1), Outline: geo.MultiPolygon{{Outer: ring}}})
	}
	return g
}

func inner(k, n int) float64 {
	if k == 0 || k == n {
		return 0
	}
	return 1
}

func at(x, y float64) geo.Point { return geo.Point{X: originX + x, Y: originY + y} }

func (g ground) acres() float64 { return g.w * g.h / acreM2 }

func (g ground) bounds() sheet.Bounds {
	return sheet.Bounds{MinX: originX - 20, MinY: originY - 20, MaxX: originX + g.w + 20, MaxY: originY + g.h + 20}
}

// blob is a ragged patch along cell edges of half a metre.
func blob(rng *rand.Rand, x, y, r float64) geo.MultiPolygon {
	var ring geo.Ring
	phase, lobes := rng.Float64()*6, 2+rng.IntN(3)
	for i := range 90 {
		a := 2 * math.Pi * float64(i) / 90
		d := r * (1 + 0.28*math.Sin(float64(lobes)*a+phase) + 0.1*rng.Float64())
		px, py := math.Round(2*(x+d*math.Cos(a)))/2, math.Round(2*(y+0.7*d*math.Sin(a)))/2
		if n := len(ring); n > 0 {
			ring = append(ring, at(px, ring[n-1].Y-originY))
		}
		ring = append(ring, at(px, py))
	}
	return geo.MultiPolygon{{Outer: ring}}
}

// strip is the ground d metres to both sides of a line.
func strip(l geo.Line, d float64) geo.Polygon {
	var ring geo.Ring
	for _, p := range l {
		ring = append(ring, geo.Point{X: p.X, Y: p.Y + d})
	}
	for i := len(l) - 1; i >= 0; i-- {
		ring = append(ring, geo.Point{X: l[i].X, Y: l[i].Y - d})
	}
	return geo.Polygon{Outer: ring}
}

func (g ground) leveeStrips() geo.MultiPolygon {
	var out geo.MultiPolygon
	for _, l := range g.levees {
		out = append(out, strip(l, 1.5))
	}
	return out
}

// pictures paints the field at a metre: green rows, brown levees, paler
// patches; and how far it departs.
func (g ground) pictures(rng *rand.Rand, patches []geo.Point, radius []float64) (plain, departure sheet.Picture) {
	b := g.bounds()
	cols, rows := int(b.MaxX-b.MinX), int(b.MaxY-b.MinY)
	photo, ramp := image.NewRGBA(image.Rect(0, 0, cols, rows)), image.NewNRGBA(image.Rect(0, 0, cols, rows))
	for r := range rows {
		for c := range cols {
			x, y := b.MinX+float64(c)-originX, b.MaxY-float64(r)-originY
			n := rng.Float64()*26 - 13
			red, green, blue := 84+n, 128+n, 62+n/2
			if x < 0 || y < 0 || x > g.w || y > g.h {
				red, green, blue = 150+n, 132+n, 104+n
			}
			red += 8 * math.Sin(x/31) * math.Cos(y/43)
			near := 0.0
			for i, p := range patches {
				d := math.Hypot(x-(p.X-originX), (y-(p.Y-originY))/0.7) / radius[i]
				near = max(near, 1.15-d)
			}
			if near > 0 {
				near = min(1, near*1.6)
				red, green = red+60*near, green+5*near
				ramp.SetNRGBA(c, r, color.NRGBA{0x6b, 0x1e, 0x5e, uint8(210 * near)})
			} else if rng.IntN(400) == 0 {
				ramp.SetNRGBA(c, r, color.NRGBA{0x6b, 0x1e, 0x5e, 60})
			}
			photo.SetRGBA(c, r, color.RGBA{uint8(red), uint8(green), uint8(blue), 255})
		}
	}
	for _, l := range g.levees {
		for _, p := range l {
			for d := -6; d <= 6; d++ {
				for e := -1; e <= 1; e++ {
					photo.SetRGBA(int(p.X-b.MinX)+d, int(b.MaxY-p.Y)+e, color.RGBA{139, 118, 88, 255})
				}
			}
		}
	}
	return sheet.Picture{Image: photo, Bounds: b}, sheet.Picture{Image: ramp, Bounds: b}
}

const (
	capAcres   = "Seven patches stand out, 4.3 acres of 118."
	labelLaw   = "The label is the law. A licensed applicator decides. Local rules come first."
	lookIsNot  = "A look is not a diagnosis: colour alone can't tell what a plant is."
	planeWords = "spray the blocks by plane"
)

func digest(seed string) string {
	return fmt.Sprintf("%064x", []byte(seed + "0123456789abcdef0123456789abcdef")[:32])
}

// fullField is an ordinary day: suspects of every kind, prices typed.
func fullField(lettered, small int) sheet.FieldSheet {
	rng := rand.New(rand.NewPCG(7, uint64(lettered)))
	g := contourField(700, 682, 9)
	looks := []string{"browned, live green above", "browned", "lush", "coarse", "thinned"}
	severities := []string{"heavy", "some", "faint"}
	verdicts := []string{"walk", "same either way: worth it", "same either way: not worth it", "walk", "not crop"}
	var spots []geo.Point
	var radii []float64
	f := sheet.FieldSheet{
		Field: "Heron Bend 7", Question: "escapes",
		Where: "Heron Bend 7, flown Tuesday 14 July at 9:05, twelve days after spraying. Looking for escapes.",
		Answer: []string{
			fmt.Sprintf("%d patches stand out, 4.3 acres of 118.", lettered),
			"Walk A, B and D first; for the rest the choice is the same either way.",
		},
		HowSure: "Fairly: every patch stands well above the spread of its own check. None has been walked, so none is sure.",
		Missed:  "Of 40 patches of 0.05 acre planted in this picture, as strong as C, 36 were found. Of 0.02 acre, 21 of 40: patches that small could be missed.",
		Cost:    "Spraying the blocks by plane costs $931 and takes 11 minutes; the whole field $5,428. Leaving it may lose up to $1,290.",
		Doubts: []doubt.Doubt{
			{About: "shade", Says: "Cloud shade lies over 5.0 acres in the north-east, and nothing is known there.", Settle: "Fly that corner again in full sun."},
			{About: "pinning", Says: "The picture was not moved onto marks; it may lie up to 6 ft off.", Settle: "Pin it to two gates."},
		},
		ConvergenceDeg: -1.2,
		Boundary:       g.boundary, Levees: g.levees, Checks: g.checks,
		KilledSays: "Killed weeds: 14.0 acres browned, open and sinking, without living green. That is the good news, and no suspect.",
		Acres:      118, LookedAt: 103.5, KilledAcres: 14.02,
		Units:   sheet.US,
		Stamp:   time.Date(2026, 7, 14, 14, 5, 0, 0, time.UTC),
		Program: "bittern 0.3.0",
		Inputs: []sheet.Input{
			{Role: "imagery", Name: "heron7.tif", SHA256: digest("a")},
			{Role: "boundary", Name: "farm.geojson", SHA256: digest("b")},
			{Role: "prices", Name: "prices.toml", SHA256: digest("c")},
		},
		Cautions: []string{lookIsNot, "Do not enter treated ground before the REI has run out.", labelLaw},
		Flips: []string{
			"a rice price under $4.10 a bushel (now $6.00) makes leaving it the choice.",
			"if fewer than 1 in 6 of the suspects are real, leave it.",
		},
		Notes: []string{
			"Weeds stand along 2,140 ft of the levees.",
			"Check 4 as a whole is yellowed against its peers.",
		},
	}
	f.Checks[3].Apart = "yellowed against its peers"
	for i := range lettered {
		x, y := 90+rng.Float64()*520, 80+rng.Float64()*520
		r := 8 + 26*rng.Float64()/(1+float64(i)/4)
		spots, radii = append(spots, at(x, y)), append(radii, r)
		s := sheet.FieldSuspect{
			Letter: string(rune('A' + i)), Acres: 0.7 * math.Pi * r * r / acreM2,
			Look: looks[i%len(looks)], Severity: severities[i%3],
			Where:   fmt.Sprintf("check %d, %d ft from the north turnrow", 1+i, 120+93*i),
			Verdict: verdicts[i%len(verdicts)],
			Outline: blob(rng, x, y, r), Center: at(x, y),
			Hints: []sheet.Hint{
				{Cause: "escapes", For: []string{"ragged outline", "living green above burnt leaves"}, Against: []string{"not here in earlier years"}, LookFor: "burnt leaf tips with new green from the crown, above the rice"},
				{Cause: "missed strip", For: []string{"lies along the spray heading"}, LookFor: "a straight edge"},
			}[:1+i%2],
		}
		if s.Verdict == "walk" {
			s.Chance = "worth it if at least 1 in 6"
		}
		f.Suspects = append(f.Suspects, s)
	}
	for range small {
		x, y := 60+rng.Float64()*580, 60+rng.Float64()*560
		f.Small.Outlines = append(f.Small.Outlines, blob(rng, x, y, 2+2*rng.Float64()))
	}
	f.Small.Count, f.Small.Acres = small, 0.0216*float64(small)
	f.Small.Look, f.Small.Verdict = "mostly browned", "same either way: not worth it"
	f.Plain, f.Departure = g.pictures(rng, spots, radii)
	for range 7 {
		f.Killed = append(f.Killed, blob(rng, 100+rng.Float64()*500, 80+rng.Float64()*500, 25+25*rng.Float64())...)
	}
	f.LeftOut = []sheet.LeftOut{
		{Reason: "levee", Acres: 7.21, Outline: g.leveeStrips()},
		{Reason: "edge", Acres: 2.24, Outline: geo.MultiPolygon{{
			Outer: g.boundary[0].Outer,
			Holes: []geo.Ring{{at(10, 0.04*g.h), at(0.92*g.w, 10), at(g.w-12, 0.11*g.h), at(0.98*g.w, g.h-12), at(0.045*g.w, 0.965*g.h)}},
		}}},
		{Reason: "shade", Acres: 5.0, Outline: blob(rng, 590, 600, 60)},
		{Reason: "water", Acres: 0.05, Outline: blob(rng, 40, 300, 9)},
	}
	for _, a := range []float64{0.01, 0.02, 0.05, 0.1, 0.25, 1} {
		for _, s := range []float64{1, 2, 3} {
			f.Plantings = append(f.Plantings, sheet.Planting{Acres: a, Strength: s, Found: min(40, int(60*math.Sqrt(a)*s)), Planted: 40})
		}
	}
	f.Alternatives = []sheet.Alternative{
		{Name: "leave it", Acres: known(0), Cost: known(0), LossLow: known(0), LossHigh: known(1290.4), Minutes: known(0)},
		{Name: planeWords, Note: "billed the 30-acre minimum", Acres: known(14.6), Cost: known(931.2), LossLow: known(0), LossHigh: known(194), Minutes: known(11), Chosen: true},
		{Name: "spray the whole field", Acres: known(118), Cost: known(5428), LossLow: known(0), LossHigh: known(180), Minutes: known(38)},
	}
	return f
}

// cleanField shows nothing, and nothing is typed but the boundary.
func cleanField() sheet.FieldSheet {
	f := fullField(0, 0)
	f.Field, f.Where = "Otter Point", "Otter Point, flown Friday 3 July at 10:40. Looking for escapes."
	f.Answer = []string{"Nothing over 0.05 acre stands out in 118 acres."}
	f.HowSure = "Sound picture, even light, 9 checks alike."
	f.Cost = "Prices are not typed, so nothing is reckoned in dollars."
	f.Alternatives, f.Flips, f.Killed, f.KilledSays, f.Notes, f.Small = nil, nil, nil, "", nil, sheet.Small{}
	f.Doubts = []doubt.Doubt{{About: "treated", Says: "The day of spraying was not given, so dying and living weeds may look alike.", Settle: "Run again with --treated DATE."}}
	return f
}

// longField is two miles long and 250 ft wide, with names as long as names get.
func longField() sheet.FieldSheet {
	f := fullField(9, 37)
	rng := rand.New(rand.NewPCG(3, 4))
	g := contourField(3200, 76, 2)
	f.Field = "The old Willowherb place behind the second pump, north half, strip along the borrow ditch (lower end)"
	f.Where = f.Field + ", flown Wednesday 22 July at 11:15, nine days after spraying. Looking for escapes."
	f.Boundary, f.Levees, f.Checks = g.boundary, g.levees, g.checks
	f.Killed, f.LeftOut = nil, []sheet.LeftOut{{Reason: "levee", Acres: 1.2, Outline: g.leveeStrips()}}
	f.Acres, f.LookedAt = g.acres(), g.acres()-1.2
	var spots []geo.Point
	var radii []float64
	for i := range f.Suspects {
		s := &f.Suspects[i]
		x, y, r := 100+float64(i)*300+rng.Float64()*60, 20+rng.Float64()*35, 5+8*rng.Float64()
		if i == 5 { // close beside the one before
			x = spots[4].X - originX + 25
		}
		s.Outline, s.Center = blob(rng, x, y, r), at(x, y)
		s.Where = "check 2, 1,340 ft west of the gate on the county road, against the foot of the second levee from the pump"
		spots, radii = append(spots, s.Center), append(radii, r)
	}
	f.Small.Outlines = nil
	f.Plain, f.Departure = g.pictures(rng, spots, radii)
	for i := range 6 {
		f.Doubts = append(f.Doubts, doubt.Doubt{
			About: fmt.Sprintf("number %d", i), Settle: "Look again.",
			Says: "Something long-winded is not known here, and it goes on for a good while, so that it takes more than one line to say it.",
		})
	}
	f.Inputs = append(f.Inputs, sheet.Input{Role: "levees", Name: "une-très-longue-façon-de-nommer-un-fichier-日本-" + digest("x") + ".geojson", SHA256: digest("d")})
	return f
}

// tinyField is a third of an acre in metres, with hardly anything given.
func tinyField() sheet.FieldSheet {
	g := contourField(36, 34, 1)
	rng := rand.New(rand.NewPCG(1, 1))
	return sheet.FieldSheet{
		Field: "Plot 2", Where: "Plot 2, day not given. Looking for a thin stand.", Units: sheet.Metric,
		Answer: []string{"One patch stands out, 0.01 hectare of 0.12.", "Walk A."},
		Acres:  g.acres(), LookedAt: g.acres(), Boundary: g.boundary,
		Suspects: []sheet.FieldSuspect{{
			Letter: "A", Acres: 0.02, Look: "thinned", Severity: "faint", Where: "in the middle", Verdict: "walk",
			Outline: blob(rng, 18, 17, 4), Center: at(18, 17),
		}},
	}
}

// fullJob is a ready job for a plane with three blocks.
func fullJob() sheet.JobSheet {
	g := contourField(700, 682, 9)
	j := sheet.JobSheet{
		State: "ready", Number: "14", Revision: 2, Date: "15 July 2026", Code: "K7M2QX",
		Grower: "Ada Farrow", PhoneDay: "555-0142", Service: "Two Rivers Flying", OrderedBy: "Ada Farrow",
		Field: "Heron Bend 7", FarmNumbers: "farm 12, tract 345, field 7", County: "Marsh", Section: "S14 T9N R3E",
		FromStrip: "5 miles, 040\u00b0", Road: "County road 9",
		Center: sheet.Position{Lon: -90.50761, Lat: 35.24998}, Entry: &sheet.Position{Lon: -90.51123, Lat: 35.24712},
		Crop: "rice", Stage: "tillering", Height: "14 in", Flood: "", DropWaterBy: "",
		Products: []sheet.Product{
			{Name: "herbicide A", Registration: "000-000", Rate: "1.0 qt/ac", Total: "17.8 qt", PerLoad: "17.8 qt", REI: "12 h", PHI: "60 d", Season: "1 of 2"},
			{Name: "crop oil B", Registration: "", Rate: "1.0 pt/ac", Total: "17.8 pt", PerLoad: "17.8 pt"},
		},
		Carrier: "10 gal/ac", Droplet: "medium", MaxWind: "10 mph", ReleaseHeight: "10 ft", Group: "2",
		WeedsAcres: known(11.8), WeedsLow: known(9.9), WeedsHigh: known(14.0), BlockAcres: 14.6, ValveOnAcres: 17.8, BilledAcres: known(40),
		Loads: "1 load", Gallons: "178 gal", Balance: "nothing left over", FieldAcres: 118,
		Machine: "plane, 65 ft swath, 145 mph",
		Hazards: []sheet.Listed{
			{What: "power line, 28 ft, along the east side", Entered: "12 June 2026", By: "A. Farrow"},
			{What: "tower, 180 ft, half a mile west"},
		},
		Boundary: g.boundary, Levees: g.levees, ConvergenceDeg: -1.2,
		Marks: []sheet.Mark{
			{Kind: sheet.MarkWire, Label: "wire 28 ft", Lines: []geo.Line{{at(722, -60), at(726, 740)}}},
			{Kind: sheet.MarkPole, Label: "pole", At: point(at(726, 300))},
			{Kind: sheet.MarkEntry, Label: "entry", At: point(at(8, 12))},
			{Kind: sheet.MarkHome, Label: "home", At: point(at(-60, 640))},
			{Kind: sheet.MarkTree, Label: "trees", At: point(at(300, 720))},
			{Kind: sheet.MarkNeighbour, Label: "bees", At: point(at(-80, 200))},
		},
		NoSpray:  geo.MultiPolygon{{Outer: geo.Ring{at(0, 600), at(60, 600), at(60, 670), at(0, 670)}}},
		Cautions: []string{"Check wind and inversion at the field."},
		Inputs:   []sheet.Input{{Role: "imagery", Name: "heron7.tif", SHA256: digest("a")}, {Role: "products", Name: "products.toml", SHA256: digest("p")}},
		Program:  "bittern 0.3.0", Units: sheet.US,
		Headings: []sheet.HeadingChoice{
			{HeadingDeg: 12, Acres: 17.8, Runs: 11, Cost: known(931.2), Chosen: true},
			{HeadingDeg: 96, Acres: 18.9, Runs: 13, Cost: known(958)},
			{HeadingDeg: 141, Acres: 19.4, Runs: 14, Cost: known(990)},
		},
	}
	for i, b := range [][4]float64{{110, 130, 90, 60}, {430, 210, 150, 120}, {250, 520, 60, 40}} {
		j.Blocks = append(j.Blocks, blockAt(i+1, 12, b))
	}
	j.Blocks[0].WindNotFrom = "170\u00b0\u2013285\u00b0"
	return j
}

func point(p geo.Point) *geo.Point { return &p }

// blockAt is a block along a heading: middle x, y and half length, half width.
func blockAt(id int, heading float64, b [4]float64) sheet.JobBlock {
	s, c := math.Sincos(heading * math.Pi / 180)
	corner := func(along, across float64) geo.Point {
		return at(b[0]+along*s+across*c, b[1]+along*c-across*s)
	}
	return sheet.JobBlock{
		ID: fmt.Sprint(id), Acres: 4 * b[2] * b[3] / acreM2, ValveOnAcres: 4.4 * b[2] * b[3] / acreM2,
		Outline: geo.Polygon{Outer: geo.Ring{corner(-b[2], -b[3]), corner(b[2], -b[3]), corner(b[2], b[3]), corner(-b[2], b[3])}},
		Center:  sheet.Position{Lon: -90.5 - b[0]/91000, Lat: 35.25 + b[1]/111000},
		Runs:    int(2*b[3]/20) + 1, HeadingDeg: heading, LongestRunFt: 2 * b[2] / 0.3048, ShortestOpen: 1.6,
	}
}

// crowdedJob has twelve blocks, six products and long lists.
func crowdedJob() sheet.JobSheet {
	j := fullJob()
	j.Field = "The old Willowherb place behind the second pump, north half, strip along the borrow ditch"
	j.Grower, j.Service = "Bartholomew Featherstonehaugh-Cholmondeley and Daughters Farming Partnership", "Upper Slough and Lower Slough Agricultural Flying Cooperative"
	j.Blocks = nil
	for i := range 12 {
		b := blockAt(i+1, 96, [4]float64{100 + 180*float64(i%4), 100 + 230*float64(i/4), 20 + 4*float64(i), 12 + 3*float64(i%5)})
		b.WindNotFrom = "170\u00b0\u2013285\u00b0"
		j.Blocks = append(j.Blocks, b)
	}
	for i := range 3 {
		j.Products = append(j.Products, sheet.Product{Name: fmt.Sprintf("adjuvant with a long name number %d", i), Registration: "00000-00000-00000", Rate: "12.75 fl oz/ac", Total: "1,204.5 fl oz", PerLoad: "602.3 fl oz", REI: "48 h", PHI: "120 days", Season: "12.75 of 25.5 left"})
	}
	for i := range 9 {
		j.Hazards = append(j.Hazards, sheet.Listed{What: fmt.Sprintf("guy wire number %d beside the pump on the far side of the levee", i), Entered: "12 June 2026", By: "A. Farrow"})
		j.Neighbours = append(j.Neighbours, sheet.Listed{What: fmt.Sprintf("organic beans, %d ft east, bearing 080\u00b0, 555-0199", 100*i)})
	}
	return j
}

// draftJob is what a first run knows: charges and a swath, and no products.
func draftJob() sheet.JobSheet {
	j := fullJob()
	return sheet.JobSheet{
		State: "draft", WhyDraft: []string{"No products were typed.", "No suspect has been walked."},
		Unpinned: "The picture was not moved onto marks; the blocks may lie up to 6 ft off.",
		Revision: 1, Code: "3XWQ8A", Field: "Heron Bend 7", Center: j.Center,
		BlockAcres: 14.6, ValveOnAcres: 17.8, Machine: "plane, 65 ft swath", Blocks: j.Blocks, Headings: j.Headings,
		Boundary: j.Boundary, Levees: j.Levees, Program: "bittern 0.3.0", Inputs: j.Inputs,
	}
}

// slimJob is one sliver of a block on a field two miles long, in metres.
func slimJob() sheet.JobSheet {
	g := contourField(3200, 76, 2)
	j := draftJob()
	j.Boundary, j.Levees, j.Units, j.Headings = g.boundary, g.levees, sheet.Metric, nil
	j.Blocks = []sheet.JobBlock{blockAt(1, 90, [4]float64{1500, 38, 60, 10})}
	return j
}

// overfullJob has more of everything than a page can hold.
func overfullJob() sheet.JobSheet {
	j := crowdedJob()
	j.State = "draft"
	for i := range 5 {
		j.WhyDraft = append(j.WhyDraft, fmt.Sprintf("Reason number %d why this is not an order yet, at some length.", i))
		j.Cautions = append(j.Cautions, fmt.Sprintf("Caution number %d, which says at some length what has to be kept in mind by whoever flies or drives this job.", i))
		j.Inputs = append(j.Inputs, sheet.Input{Role: "imagery", Name: fmt.Sprintf("a-long-file-name-of-one-of-many-flights-%d.tif", i), SHA256: digest("q")})
	}
	for i := range 50 {
		b := blockAt(13+i, 96, [4]float64{50 + 60*float64(i%10), 60 + 110*float64(i/10), 14, 9})
		b.WindNotFrom = "170 to 285, 300 to 340, 350 to 10"
		j.Blocks = append(j.Blocks, b)
	}
	return j
}

// overfullField has more of everything than anybody should be shown.
func overfullField() sheet.FieldSheet {
	f := longField()
	g := contourField(700, 682, 60)
	f.Boundary, f.Levees, f.Checks = g.boundary, g.levees, g.checks
	for i := range f.Suspects {
		f.Suspects[i].Center = at(340+float64(i), 340)
		f.Suspects[i].Outline = geo.MultiPolygon{strip(geo.Line{at(330+float64(i), 340), at(350+float64(i), 340)}, 8)}
		f.Suspects[i].State = []string{"suspect", "confirmed", "cleared"}[i%3]
		for k := range f.Suspects[i].Hints {
			f.Suspects[i].Hints[k].For = append(f.Suspects[i].Hints[k].For, fmt.Sprintf("reason %d of its own", i))
		}
	}
	f.Answer = []string{
		"Sixty-one patches of many kinds stand out in nearly every one of the sixty checks, 44.3 acres of 118.",
		"Walk A, B, C, D, E, F, G, H and I first, in whatever order the levees allow, and come back for the others when these are known.",
	}
	for i := range 12 {
		f.Alternatives = append(f.Alternatives, sheet.Alternative{Name: fmt.Sprintf("plane on blocks 1 to %d, drone on the rest, hand tools along the levees", i), Note: "billed the minimum of both"})
		f.Cautions = append(f.Cautions, "One more caution that has to be kept in mind.")
		f.LeftOut = append(f.LeftOut, sheet.LeftOut{Reason: fmt.Sprintf("reason %d", i), Acres: 0.3, Outline: blob(rand.New(rand.NewPCG(1, uint64(i))), 60*float64(i), 100, 20)})
	}
	return f
}

// tallField is a narrow field from north to south.
func tallField() sheet.FieldSheet {
	f := fullField(6, 3)
	g := contourField(130, 1500, 12)
	f.Boundary, f.Levees, f.Checks = g.boundary, g.levees, g.checks
	f.Killed, f.LeftOut, f.Small.Outlines = nil, []sheet.LeftOut{{Reason: "levee", Acres: 2.2, Outline: g.leveeStrips()}}, nil
	rng := rand.New(rand.NewPCG(9, 9))
	for i := range f.Suspects {
		x, y := 30+70*rng.Float64(), 100+220*float64(i)
		f.Suspects[i].Outline, f.Suspects[i].Center = blob(rng, x, y, 14), at(x, y)
	}
	f.Plain, f.Departure = g.pictures(rng, nil, nil)
	return f
}
