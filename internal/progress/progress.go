// Package progress carries how far a stage has come from the stage to whoever
// watches, without the stage knowing who that is.
package progress

// An Event says how much of one stage is done.
type Event struct {
	Stage       string // "reading the picture", "finding levees", ...
	Done, Total int64  // in the stage's own steps; Total is 0 while it is unknown
	Unit        string // what Done counts: "Mpx", "bytes", "patches"; may be empty
}

// A Func receives events. It may be called from several goroutines and must
// return quickly; a shell that draws slowly keeps the latest event and draws on
// its own clock. A nil Func is valid and discards.
type Func func(Event)

// Report calls f unless it is nil.
func (f Func) Report(e Event) {
	if f != nil {
		f(e)
	}
}
