package app

import (
	"strings"
	"testing"

	"bittern/internal/unit"
)

func TestSkipWordsSayWhatIsNamedAndNothingWhenNothingIs(t *testing.T) {
	heading, spacing := 12.0, 65.0
	d := &Day{}
	if got := d.skipWords(unit.US); got != "" {
		t.Errorf("without skips: %q", got)
	}
	d.Skips = &Skips{Verdict: "none", Why: "No strips."}
	if got := d.skipWords(unit.US); got != "" {
		t.Errorf("none: %q", got)
	}
	d.Skips = &Skips{Verdict: "cannot tell", Why: "The picture's own lines run as the passes do."}
	if got := d.skipWords(unit.US); got != "Skips: cannot tell. The picture's own lines run as the passes do." {
		t.Errorf("cannot tell: %q", got)
	}
	d.Skips = &Skips{
		Verdict: "named", HeadingDeg: &heading, SpacingFt: &spacing, Why: "2 straight strips.",
		Strips: []SkipStrip{{ID: "1", Acres: 0.19}, {ID: "2", Acres: 0.21}},
	}
	got := d.skipWords(unit.US)
	if !strings.HasPrefix(got, "Skips: 0.40 acre") || !strings.HasSuffix(got, "2 straight strips.") {
		t.Errorf("named: %q", got)
	}
	if strings.Contains(strings.ToLower(got), "owe") {
		t.Error("what the applicator owes is for the grower to say")
	}
}
