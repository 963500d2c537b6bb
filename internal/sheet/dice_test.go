package sheet_test

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/sheet"
)

// dice makes sheets by chance.
type dice struct{ *rand.Rand }

// words are at most n words, now and then none, or one without end.
func (d dice) words(n int) string {
	switch d.IntN(12) {
	case 0:
		return ""
	case 1:
		return strings.Repeat("W", 1+d.IntN(8*n+1))
	}
	out := make([]string, 1+d.IntN(n))
	for i := range out {
		out[i] = strings.Repeat("abcdefghij", 2)[d.IntN(10) : 11+d.IntN(9)]
	}
	return strings.Join(out, " ")
}

func (d dice) list(most, n int) []string {
	out := make([]string, d.IntN(most+1))
	for i := range out {
		out[i] = d.words(n)
	}
	return out
}

func (d dice) maybe(v float64) *float64 {
	if d.IntN(3) == 0 {
		return nil
	}
	v *= d.Float64()
	return &v
}

func (d dice) units() sheet.Units { return []sheet.Units{sheet.US, sheet.Metric}[d.IntN(2)] }

// shape is a ring within w x h metres.
func (d dice) shape(w, h float64) geo.MultiPolygon {
	x, y, r := w*d.Float64(), h*d.Float64(), 0.02+0.1*d.Float64()
	return geo.MultiPolygon{{Outer: geo.Ring{at(x-r*w, y), at(x, y-r*h), at(x+r*w, y), at(x, y+r*h)}}}
}

func (d dice) field() sheet.FieldSheet {
	w, h := 5+900*d.Float64()*d.Float64(), 5+900*d.Float64()*d.Float64()
	g := contourField(w, h, 1+d.IntN(9))
	f := sheet.FieldSheet{
		Field: d.words(9), Where: d.words(25), Question: d.words(2), Answer: d.list(2, 22), HowSure: d.words(40), Missed: d.words(40),
		Cost: d.words(40), Units: d.units(), ConvergenceDeg: 4*d.Float64() - 2, Boundary: g.boundary, Levees: g.levees, Checks: g.checks,
		KilledSays: d.words(20), Acres: 1e4 * d.Float64(), LookedAt: 1e4 * d.Float64(), Flips: d.list(4, 20),
		Notes: d.list(5, 20), Cautions: d.list(5, 20), Program: d.words(3),
	}
	for range d.IntN(8) {
		f.Doubts = append(f.Doubts, doubt.Doubt{About: d.words(2), Says: d.words(30), Settle: d.words(12)})
	}
	for i := range d.IntN(10) {
		o := d.shape(w, h)
		f.Suspects = append(f.Suspects, sheet.FieldSuspect{
			Letter: string(rune('A' + i)), Acres: 20 * d.Float64(), Look: d.words(5), Severity: []string{"faint", "some", "heavy"}[d.IntN(3)],
			Where: d.words(14), Verdict: d.words(6), Chance: d.words(6), Outline: o, Center: o[0].Outer[0],
			Hints: []sheet.Hint{{Cause: d.words(3), For: d.list(3, 5), Against: d.list(2, 5), LookFor: d.words(12)}},
		})
	}
	f.Small = sheet.Small{Count: d.IntN(60), Acres: d.Float64(), Look: d.words(3)}
	for i := range d.IntN(7) {
		f.LeftOut = append(f.LeftOut, sheet.LeftOut{Reason: d.words(2), Acres: 30 * d.Float64(), Outline: d.shape(w, h)})
		f.Plantings = append(f.Plantings, sheet.Planting{Acres: 0.01 * float64(i+1), Strength: 2, Found: i, Planted: 40})
	}
	for range d.IntN(6) {
		f.Alternatives = append(f.Alternatives, sheet.Alternative{
			Name: d.words(6), Note: d.words(5), Acres: d.maybe(1e4), Cost: d.maybe(1e6), LossLow: d.maybe(1e5), LossHigh: d.maybe(1e6),
			Minutes: d.maybe(1e4), Chosen: d.IntN(3) == 0,
		})
	}
	return f
}

func (d dice) job() sheet.JobSheet {
	w, h := 5+900*d.Float64()*d.Float64(), 5+900*d.Float64()*d.Float64()
	g := contourField(w, h, 1+d.IntN(9))
	j := sheet.JobSheet{
		State: []string{"draft", "ready"}[d.IntN(2)], WhyDraft: d.list(3, 10), Unpinned: d.words(20), Number: d.words(1), Revision: d.IntN(100),
		Date: d.words(4), Code: "ABC234", Grower: d.words(6), PhoneDay: d.words(2), PhoneNight: d.words(2), OrderedBy: d.words(5), BillTo: d.words(5),
		Service: d.words(5), Field: d.words(9), FarmNumbers: d.words(7), County: d.words(2), Section: d.words(4), FromStrip: d.words(4), Road: d.words(4),
		Center: sheet.Position{Lon: 360*d.Float64() - 180, Lat: 180*d.Float64() - 90}, Crop: d.words(2), Stage: d.words(2), Height: d.words(2),
		Flood: d.words(2), DropWaterBy: d.words(2), NoMix: d.words(20), Carrier: d.words(2), Droplet: d.words(2), MaxWind: d.words(2),
		ReleaseHeight: d.words(2), Group: d.words(2), WeedsAcres: d.maybe(2e3), WeedsLow: d.maybe(1e3), WeedsHigh: d.maybe(4e3),
		BlockAcres: 1e4 * d.Float64(), ValveOnAcres: 1e4 * d.Float64(), BilledAcres: d.maybe(1e4), Loads: d.words(3), Gallons: d.words(3),
		Balance: d.words(4), FieldAcres: 1e4 * d.Float64(), Machine: d.words(8), Units: d.units(), Boundary: g.boundary, Levees: g.levees,
		NoSpray: d.shape(w, h), Cautions: d.list(4, 20), Program: d.words(3),
	}
	for range d.IntN(5) {
		j.Products = append(j.Products, sheet.Product{
			Name: d.words(5), Registration: d.words(2), Rate: d.words(2), Total: d.words(2), PerLoad: d.words(2), REI: d.words(1), PHI: d.words(1), Season: d.words(12),
		})
	}
	for i := range d.IntN(12) {
		j.Blocks = append(j.Blocks, sheet.JobBlock{
			ID: fmt.Sprint(i + 1), Acres: 500 * d.Float64(), ValveOnAcres: 500 * d.Float64(), Outline: d.shape(w, h)[0],
			Center: j.Center, Runs: d.IntN(300), HeadingDeg: 180 * d.Float64(), LongestRunFt: 2e4 * d.Float64(), ShortestOpen: 9 * d.Float64(), WindNotFrom: d.words(3),
		})
	}
	for range d.IntN(4) {
		j.Headings = append(j.Headings, sheet.HeadingChoice{HeadingDeg: 180 * d.Float64(), Acres: 900 * d.Float64(), Runs: d.IntN(999), Cost: d.maybe(1e6), Chosen: d.IntN(2) == 0})
	}
	kinds := []sheet.MarkKind{sheet.MarkEntry, sheet.MarkPole, sheet.MarkTree, sheet.MarkHome, sheet.MarkNeighbour, sheet.MarkPad, sheet.MarkWire, "kite"}
	for range d.IntN(7) {
		j.Marks = append(j.Marks, sheet.Mark{Kind: kinds[d.IntN(len(kinds))], Label: d.words(3), At: point(at(w*(1.4*d.Float64()-0.2), h*(1.4*d.Float64()-0.2)))})
		j.Hazards = append(j.Hazards, sheet.Listed{What: d.words(12), Entered: d.words(2), By: d.words(2)})
		j.Neighbours = append(j.Neighbours, sheet.Listed{What: d.words(12)})
	}
	return j
}
