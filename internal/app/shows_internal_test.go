package app

import (
	"strings"
	"testing"

	"bittern/internal/norm"
	"bittern/internal/question"
	"bittern/internal/unit"
)

func TestSilenceOfAPictureThatShowsNothingIsNoAllClear(t *testing.T) {
	for name, c := range map[string]struct {
		shown norm.Shown
		want  string // begins the answer
	}{
		"bare":              {norm.Shown{NoCrop: true, Bare: 1}, "No crop shows in 40.0 acres."},
		"bare and even":     {norm.Shown{NoCrop: true, Bare: 1, Even: true}, "No crop shows in 40.0 acres."},
		"water":             {norm.Shown{NoCrop: true, Water: 0.97}, "Nothing but open water shows in 40.0 acres."},
		"the same all over": {norm.Shown{Crop: 1, Even: true}, "This picture shows nothing that differs from place to place in 40.0 acres."},
	} {
		for _, ask := range question.Names() {
			d := &Day{Question: ask, Field: Field{Acres: 40}, LookedAt: LookedAt{Acres: 40, Shows: showsWord(c.shown)}}
			got := d.answer(unit.US)
			q, _ := question.Named(ask)
			if got[0] != c.want || got[1] == "" || got[1] == q.Words.Clear {
				t.Errorf("%s, %s: %q", ask, name, got)
			}
			if c.shown.Bare == 1 && ask == "stand" && !strings.Contains(got[1], "failed whole") {
				t.Errorf("a stand that failed whole is not spoken of: %q", got)
			}
		}
	}
}

func TestClearOnlyWherePlantedPatchesWereFound(t *testing.T) {
	acres := 0.05
	for _, c := range []struct {
		seen  SmallestSeen
		clear bool
	}{
		{SmallestSeen{Acres: &acres, Found: 36, Planted: 40}, true},
		{SmallestSeen{Found: 0, Planted: 8}, false},
		{SmallestSeen{Acres: &acres, Found: 36, Planted: 40, Table: []Planting{{Strength: 2, Cover: 0.12}}}, true},
		{SmallestSeen{Acres: &acres, Found: 36, Planted: 40, Table: []Planting{{Strength: 2, Cover: 0.26}}}, false},
	} {
		d := &Day{Question: "escapes", Field: Field{Acres: 40}, LookedAt: LookedAt{Acres: 40, Shows: showsCrop}, SmallestSeen: &c.seen}
		if got := d.answer(unit.US)[1]; (got == d.words().Clear) != c.clear {
			t.Errorf("%d of %d found: %q", c.seen.Found, c.seen.Planted, got)
		}
	}
}

func TestHowMuchWeedsWereOfIsSaid(t *testing.T) {
	acres, letter := 0.05, "C"
	for _, c := range []struct {
		seen SmallestSeen
		want string
	}{
		{SmallestSeen{Acres: &acres, Found: 36, Planted: 40}, "Of patches of 0.05 acre of faint strength planted in the picture, 36 of 40"},
		{SmallestSeen{Acres: &acres, Found: 36, Planted: 40, Cover: 0.12}, "Of patches of 0.05 acre with weeds over about 10 % of the ground planted in the picture, 36 of 40"},
		{SmallestSeen{Acres: &acres, AsStrongAs: &letter, Found: 36, Planted: 40, Cover: 0.26}, "Of patches of 0.05 acre as strong as C (weeds over about 25 % of the ground) planted in the picture, 36 of 40"},
	} {
		d := &Day{Question: "escapes", SmallestSeen: &c.seen}
		if got := d.missed(unit.US); !strings.HasPrefix(got, c.want) {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}
