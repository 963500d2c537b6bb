package question_test

import (
	"slices"
	"strings"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/question"
	"bittern/internal/structure"
)

func TestEveryQuestionSaysWhatItIs(t *testing.T) {
	want := []string{"escapes", "insects", "nitrogen", "harvest", "stand", "water"}
	if got := question.Names(); !slices.Equal(got, want) {
		t.Fatalf("questions %v, want %v", got, want)
	}
	for _, name := range question.Names() {
		q, ok := question.Named(name)
		w := q.Words
		if !ok || w.Called == "" || w.Patch[0] == "" || w.Patch[1] == "" || w.Clear == "" || w.Sure == "" {
			t.Errorf("%s lacks words: %+v", name, w)
		}
		if w.Next != "" && strings.Count(w.Next, "%s") != 1 {
			t.Errorf("%s: %q has no one place for the letters", name, w.Next)
		}
		if strings.Contains(w.Next+w.Clear, "Treat ") || strings.Contains(w.Next+w.Clear, "Spray ") {
			t.Errorf("%s advises: %q %q", name, w.Next, w.Clear)
		}
	}
}

func TestParametersAgree(t *testing.T) {
	for _, name := range question.Names() {
		q, _ := question.Named(name)
		n := q.Norm(1)
		p := q.Suspect(n, 0)
		for _, look := range p.Evident {
			if !slices.Contains(p.Counts, look) {
				t.Errorf("%s: %s is evident and does not count", name, look)
			}
		}
		if p.Low > p.High {
			t.Errorf("%s: a patch begins at %g and must reach %g", name, p.Low, p.High)
		}
		if n.Search == nil {
			continue
		}
		if n.Search.From > p.Low {
			t.Errorf("%s: cells have the look from %g, patches from %g", name, n.Search.From, p.Low)
		}
		for _, target := range n.Search.Targets {
			if !slices.Contains(p.Evident, target.Look) {
				t.Errorf("%s looks for %s, which makes no suspect", name, target.Look)
			}
		}
		for _, look := range q.Tables.Looks {
			if q.Tables.LookWords[look] == "" {
				t.Errorf("%s has no word for %s", name, look)
			}
		}
	}
}

func TestOnlyDefoliationHoldsAnEarlierFlightBesideTheDays(t *testing.T) {
	then := &cells.Summary{}
	for _, name := range question.Names() {
		q, _ := question.Named(name)
		p, ok := q.Beside(q.Norm(1), then)
		if ok != (name == "insects") || ok != (q.Words.Since != "") {
			t.Errorf("%s: %v, %q", name, ok, q.Words.Since)
		}
		if ok && (p.Search.Then != then || p.Search.Alone == nil || p.Search.From > q.Suspect(p, 0).Low) {
			t.Errorf("%s: %+v", name, p.Search)
		}
	}
}

func TestWhatIsKept(t *testing.T) {
	for name, want := range map[string][]structure.Reason{
		"escapes":  {structure.Shade},
		"nitrogen": nil, "harvest": nil, "stand": nil,
		"insects": {structure.Edge, structure.BorrowDitch},
		"water":   {structure.Water, structure.Levee, structure.BorrowDitch, structure.Edge},
	} {
		q, _ := question.Named(name)
		if got := q.Structure().Keep; !slices.Equal(got, want) {
			t.Errorf("%s keeps %v, want %v", name, got, want)
		}
	}
}

func TestColourAloneCannotTellNitrogen(t *testing.T) {
	for _, name := range question.Names() {
		q, _ := question.Named(name)
		if got, want := q.Fits([]string{"blue", "green", "red"}), name != "nitrogen"; got != want {
			t.Errorf("%s fits colour: %v", name, got)
		}
		if !q.Fits([]string{"green", "red", "rededge"}) {
			t.Errorf("%s does not fit a red edge", name)
		}
	}
}
