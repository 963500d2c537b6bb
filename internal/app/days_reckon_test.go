package app_test

import (
	"reflect"
	"testing"
	"time"

	"bittern/internal/app"
	"bittern/internal/invent"
)

// TestPricesMoveWithoutTheRun: reckoned from the files of a day, other prices come
// to what a run with them says.
func TestPricesMoveWithoutTheRun(t *testing.T) {
	long(t)
	req := bring(t, invent.FourBand16)
	days := openDays(t)
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	for role, path := range map[string]string{"picture": req.Imagery[0], "boundary": req.Boundary} {
		if err := days.TakePath(t.Context(), id, role, path); err != nil {
			t.Fatal(err)
		}
	}
	if err := days.Answer(id, app.Answered{Flown: &req.Flown, Treated: &req.Treated}); err != nil {
		t.Fatal(err)
	}
	prices := func(crop float64) map[string]any {
		return map[string]any{"crop_dollars_per_bushel": crop, "yield_bushels_per_acre": 170.0, "loss_percent": 60.0, "control_percent": 85.0}
	}
	for kind, values := range map[string]map[string]any{
		"prices": prices(6),
		"products": {
			"copied_from_label_on": "2026-06-30", "carrier_gallons_per_acre": 3.0,
			"product": []map[string]any{{"name": "herbicide A", "rate": 1.0, "rate_unit": "qt/ac", "dollars_per_unit": 11.5}},
		},
		"applicator": {
			"name": "drone", "kind": "spray drone", "swath_ft": 20.0, "speed_mph": 15.0, "turn_s": 6.0, "tank_gallons": 8.0,
			"charge": map[string]any{"per_acre_dollars": 20.0},
		},
	} {
		if err := days.Type(id, kind, values); err != nil {
			t.Fatal(kind, err)
		}
	}
	made := func() *app.DayPage {
		t.Helper()
		if err := days.Start(id); err != nil {
			t.Fatal(err)
		}
		if g := wait(t, days, id); g.Problem != nil {
			t.Fatal(*g.Problem)
		}
		page, err := days.Page(t.Context(), id)
		if err != nil || page.Words == nil {
			t.Fatalf("%+v, %v", page, err)
		}
		return page
	}
	same := func(what string, got *app.Reckoned, want *app.DayPage) {
		t.Helper()
		if !reflect.DeepEqual(got.Words, want.Words) || !reflect.DeepEqual(got.Answer, want.Day.Answer) {
			t.Errorf("%s:\n%v %+v\nand a run says\n%v %+v", what, got.Answer, got.Words, want.Day.Answer, want.Words)
		}
	}
	first := made()
	if len(first.Words.Money) < 3 || len(first.Words.Flips) == 0 {
		t.Fatalf("%+v", first.Words)
	}
	from := time.Now()
	again, err := days.Reckon(t.Context(), id, prices(6))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("reckoned in %v", time.Since(from))
	same("the prices of the day", again, first)
	dear, err := days.Reckon(t.Context(), id, prices(0.4))
	if err != nil {
		t.Fatal(err)
	}
	if reflect.DeepEqual(dear.Words.Money, first.Words.Money) {
		t.Error("another price changes nothing")
	}
	if err := days.Type(id, "prices", prices(0.4)); err != nil {
		t.Fatal(err)
	}
	same("another price", dear, made())
	if _, err := days.Reckon(t.Context(), id, map[string]any{"profit": 1.0}); err == nil {
		t.Error("an unknown price was taken")
	}
}
