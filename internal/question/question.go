// Package question is what each question asks of every stage: data and small
// functions that fill the stages' own parameters. Nothing else in the program
// asks what the question is called.
package question

import (
	"slices"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
)

// A Question is what a grower flew to learn.
type Question struct {
	Name         string
	NearInfrared bool // needs a near-infrared or a red-edge band
	Words        Words
	Tables       Tables

	// Treated says that the question is asked after a treatment, so that its day
	// matters; Priced that treating the suspects is what is reckoned.
	Treated, Priced bool
	// TooSoonDays and TooLateDays bound the days after treatment at which a
	// picture tells living from dying; 0 for no bound.
	TooSoonDays, TooLateDays int

	keep   []structure.Reason // ground that is looked at nonetheless
	search *norm.Search       // what is looked for in whole cells; nil for what lies below them
	change *norm.Search       // the same where an earlier flight is held beside the day's; nil where none is
	fill   func(*suspect.Parameters)
}

// Words are what paper and terminal say for a question.
type Words struct {
	Called    string    // what the flight looks for: "defoliation"
	Patch     [2]string // what stands out, one and many: "patch stands", "patches stand"
	Clear     string    // what to do when nothing does
	NoCrop    string    // the same when no crop shows at all; empty where crop need not be green
	Next      string    // what to do about what stands out, "%s" for the letters; empty for what prices and walks say
	Sure      string    // how far the answer can be trusted
	Unchanged string    // what the answer does not say; empty for nothing
	Since     string    // Sure, where an earlier flight is held beside the day's; empty where none is
	Planted   string    // what a planted patch is of, "%s" for how much: "weeds over %s of the ground"
	Thin      string    // what is too thin to show, "%s" for how much; empty where that is not said
	Hidden    string    // what hardly shows however much there is of it, a sentence; empty for nothing
}

// Tables are what a question tells of every check beside its suspects.
type Tables struct {
	Sufficiency bool                           // held against strips with extra nitrogen
	Ripeness    bool                           // the order of checks for harvest
	Looks       []norm.Look                    // acres of these
	LookWords   map[norm.Look]string           // what the look is called in the table: "dry"
	Kept        map[structure.Reason]norm.Look // kept ground that counts with a look: open water is wet
}

// Names lists the questions that can be asked.
func Names() []string {
	var names []string
	for _, q := range all() {
		names = append(names, q.Name)
	}
	return names
}

// Named finds a question.
func Named(name string) (Question, bool) {
	i := slices.IndexFunc(all(), func(q Question) bool { return q.Name == name })
	if i < 0 {
		return Question{}, false
	}
	return all()[i], true
}

// all lists every question that the program knows of.
func all() []Question {
	return []Question{escapes(), insects(), nitrogen(), harvest(), stand(), water()}
}

// Fits says whether a flight with these bands can answer.
func (q Question) Fits(bands []string) bool {
	return !q.NearInfrared || slices.Contains(bands, "nir") || slices.Contains(bands, "rededge")
}

// escapes: killed ground never counts; browned with open ground or water and no
// living green is reported as such by the norm stage.
//
// The days are common practice, no source: under about five days after a
// contact product, dying and living look alike; after three weeks new growth
// hides what lived.
func escapes() Question {
	return Question{
		Name: "escapes", Treated: true, Priced: true, TooSoonDays: 5, TooLateDays: 21,
		keep: []structure.Reason{structure.Shade},
		Words: Words{
			Called: "escapes", Patch: patchStands(),
			Clear:   "There is nothing to treat on this picture; keep the sheet.",
			Sure:    "Colour tells where, not what: only a walk makes a suspect sure.",
			NoCrop:  noCrop,
			Planted: "weeds over %s of the ground",
			Thin:    "weeds over less than %s of the ground hardly show here",
			Hidden:  "Weeds that stand as green as the rice hardly show.",
		},
	}
}

const noCrop = "That is no all-clear: the picture shows no crop to hold anything against."

func patchStands() [2]string { return [2]string{"patch stands", "patches stand"} }

// Structure is what the question asks of the structure stage.
func (q Question) Structure() structure.Options {
	return structure.Options{Keep: slices.Clone(q.keep)}
}

// Norm is what the question asks of the norm stage.
func (q Question) Norm(workers int) norm.Parameters {
	p := norm.Defaults()
	p.Workers = workers
	if q.search != nil {
		s := *q.search
		p.Search = &s
	}
	return p
}

// Beside is p with an earlier flight, laid on the day's, held beside the day's in
// the search; ok is false where the question does not do so.
func (q Question) Beside(p norm.Parameters, earlier *cells.Summary) (with norm.Parameters, ok bool) {
	if q.change == nil {
		return p, false
	}
	s := *q.change
	s.Then, s.Alone = earlier, p.Search
	p.Search = &s
	return p, true
}

// Suspect is what the question asks of the suspect stage, for a flight that
// many days after treatment (0 when not known).
func (q Question) Suspect(n norm.Parameters, daysSinceTreatment int) suspect.Parameters {
	p := suspect.Defaults()
	p.Norm = n
	p.DaysSinceTreatment = float64(daysSinceTreatment)
	if q.search != nil {
		// Evidence is then a part of an effect, not a log-odds, and no share of
		// off-colour pixels goes with it.
		p.WideMass, p.EdgeOwn, p.EdgeShare = 0, 0, 0
		p.EdgeAt = 0.65
	}
	if q.fill != nil {
		q.fill(&p)
	}
	return p
}

// adds is what a full effect adds to ln(band/green), ln units by band.
type adds = map[string]float64
