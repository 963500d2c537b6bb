// Package question is what each question asks of every stage: data and small
// functions that fill the stages' own parameters. Nothing else in the program
// asks what the question is called.
package question

import (
	"slices"

	"bittern/internal/norm"
	"bittern/internal/suspect"
)

// A Question is what a grower flew to learn.
type Question struct {
	Name         string
	Answered     bool // the stages can answer it
	NearInfrared bool // needs a near-infrared or a red-edge band

	// TooSoonDays and TooLateDays bound the days after treatment at which a
	// picture tells living from dying; 0 for no bound.
	TooSoonDays, TooLateDays int

	counts []norm.Look // looks that make a suspect
}

// Names lists the questions that can be asked.
func Names() []string {
	var names []string
	for _, q := range all() {
		if q.Answered {
			names = append(names, q.Name)
		}
	}
	return names
}

// Named finds a question, answered or not.
func Named(name string) (Question, bool) {
	i := slices.IndexFunc(all(), func(q Question) bool { return q.Name == name })
	if i < 0 {
		return Question{}, false
	}
	return all()[i], true
}

// all lists every question that the program knows of. Killed ground never
// counts for escapes: browned with open ground or water and no living green is
// reported as such by the norm stage.
//
// The days are common practice, no source: under about five days after a
// contact product, dying and living look alike; after three weeks new growth
// hides what lived.
func all() []Question {
	return []Question{
		{Name: "escapes", Answered: true, TooSoonDays: 5, TooLateDays: 21, counts: suspect.Defaults().Counts},
		{Name: "nitrogen", NearInfrared: true, counts: []norm.Look{norm.Yellowed}},
	}
}

// Norm is what the question asks of the norm stage.
func (q Question) Norm(workers int) norm.Parameters {
	p := norm.Defaults()
	p.Workers = workers
	return p
}

// Suspect is what the question asks of the suspect stage, for a flight that
// many days after treatment (0 when not known).
func (q Question) Suspect(n norm.Parameters, daysSinceTreatment int) suspect.Parameters {
	p := suspect.Defaults()
	p.Question = q.Name
	p.Counts = q.counts
	p.Norm = n
	p.DaysSinceTreatment = float64(daysSinceTreatment)
	return p
}
