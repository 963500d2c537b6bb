package app

import (
	"context"
	"fmt"
	"math"

	"bittern/internal/export"
	"bittern/internal/geo"
	"bittern/internal/skip"
	"bittern/internal/unit"
)

// findSkips seeks strips that passes missed, before suspects are cut: their
// ground is in no suspect.
func (r *run) findSkips(ctx context.Context) (err error) {
	if !r.ask.Treated {
		r.skips = &skip.Finding{
			Verdict: skip.None, HeadingDeg: math.NaN(), SpacingM: math.NaN(),
			Why: "Missed passes are looked for only where the question is what lived through a treatment.",
		}
		return nil
	}
	p := skip.Parameters{HeadingDeg: math.NaN(), Progress: r.set.Progress}
	if r.SwathFt != nil {
		p.SwathM = float64(unit.Feet(*r.SwathFt).Meters())
	}
	if r.SprayHeadingDeg != nil {
		p.HeadingDeg = *r.SprayHeadingDeg
	}
	if r.skips, err = skip.Find(ctx, r.cells, r.layout, r.norm, p); err == nil {
		r.doubt(r.skips.Doubts...)
	}
	return err
}

func (r *run) fillSkips() {
	f := r.skips
	out := &Skips{Verdict: string(f.Verdict), Why: f.Why, Strips: []SkipStrip{}}
	if !math.IsNaN(f.HeadingDeg) {
		heading, spacing := f.HeadingDeg, float64(unit.Meters(f.SpacingM).Feet())
		out.HeadingDeg, out.SpacingFt = &heading, &spacing
	}
	for _, s := range f.Strips {
		out.Strips = append(out.Strips, SkipStrip{
			ID: s.ID, WidthFt: float64(unit.Meters(s.WidthM).Feet()), LengthFt: float64(unit.Meters(s.LengthM).Feet()), Acres: s.Acres,
		})
	}
	r.day.Skips = out
}

// skipWords says in a sentence what is named, or that it cannot be told; empty
// when there is nothing to say.
func (d *Day) skipWords(units unit.System) string {
	switch s := d.Skips; {
	case s == nil || s.Verdict == string(skip.None):
		return ""
	case s.Verdict == string(skip.CannotTell):
		return "Skips: cannot tell. " + s.Why
	default:
		acres := 0.0
		for _, strip := range s.Strips {
			acres += strip.Acres
		}
		return fmt.Sprintf("Skips: %s, kept apart from what stands out. %s", units.Area(unit.Acres(acres)), s.Why)
	}
}

// exportSkips are the strips as the data files have them.
func (r *run) exportSkips() []export.Skip {
	var out []export.Skip
	for i, s := range r.skips.Strips {
		plain := r.day.Skips.Strips[i]
		out = append(out, export.Skip{
			ID: s.ID, Lines: s.Lines, Acres: s.Acres, WidthFt: plain.WidthFt, LengthFt: plain.LengthFt,
			HeadingDeg: *r.day.Skips.HeadingDeg, SpacingFt: *r.day.Skips.SpacingFt,
		})
	}
	return out
}

// skipLines are the strips' centre lines, for the map.
func (r *run) skipLines() []geo.Line {
	var out []geo.Line
	for _, s := range r.skips.Strips {
		out = append(out, s.Lines...)
	}
	return out
}
