// Package doubt holds the two things that a stage says to a person beside its
// result: a Doubt, which goes along with an answer, and a Problem, which
// replaces it.
//
// Every room may use it; it imports nothing of ours.
package doubt

// A Doubt is something not known, or not known well enough, that could change
// an answer. It never withholds the answer.
type Doubt struct {
	About  string  // what it concerns, one or two words: "treated", "bands", "shade"
	Says   string  // one sentence in the grower's words
	Settle string  // what would settle it, one sentence
	Weight float64 // how much it could change the answer, 0 to 1; doubts are shown by falling weight
}

// Kind says what sort of thing stopped a run; shells turn it into an exit status.
type Kind int

// The kinds of problem. The zero Kind is Input.
const (
	Input  Kind = iota // the command line or an input is wrong, damaged, unplaced or of a kind that is not read (exit 2)
	Unfit              // a sound picture that cannot answer the question (exit 3)
	System             // the disk, the memory or a defect of ours (exit 1)
)

// A Problem stops a run. It is one sentence: what file, what is wrong, and
// what to do.
type Problem struct {
	Kind   Kind
	File   string // the file's name as the user gave it; empty when no file is at fault
	What   string // what is wrong, without the file's name, no capital, no full stop
	Remedy string // what to do next, an imperative, no full stop; may be empty
	Err    error  // the cause, for errors.Is; never printed
}

// Error is the sentence: "FILE: what is wrong; what to do".
func (p *Problem) Error() string {
	s := p.What
	if p.File != "" {
		s = p.File + ": " + s
	}
	if p.Remedy != "" {
		s += "; " + p.Remedy
	}
	return s
}

// Unwrap returns the cause.
func (p *Problem) Unwrap() error { return p.Err }
