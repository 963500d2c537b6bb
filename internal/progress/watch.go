package progress

import (
	"sync"
	"time"
)

// A Watch keeps the latest event and how fast its stage goes. Its Report may be
// called from several goroutines.
type Watch struct {
	Now func() time.Time

	mu    sync.Mutex
	event Event
	began time.Time
}

// Report keeps e.
func (w *Watch) Report(e Event) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if e.Stage != w.event.Stage {
		w.began = w.Now()
	}
	w.event = e
}

// A State is how far the current stage has come. Values that are not known yet
// are 0.
type State struct {
	Stage   string  // "" before the first event
	Share   float64 // 0 to 1
	Rate    float64 // units a second
	Unit    string
	LeftS   float64 // seconds
	Counted bool    // Share is known
}

// State is how far the current stage has come.
func (w *Watch) State() State {
	w.mu.Lock()
	defer w.mu.Unlock()
	e := w.event
	s := State{Stage: e.Stage, Unit: e.Unit}
	seconds := 0.0
	if e.Stage != "" {
		seconds = w.Now().Sub(w.began).Seconds()
	}
	if e.Total > 0 {
		s.Share, s.Counted = float64(e.Done)/float64(e.Total), true
	}
	if e.Unit != "" && seconds > 0.5 {
		s.Rate = float64(e.Done) / seconds
	}
	if e.Total > 0 && e.Done > 0 && seconds > 1 {
		s.LeftS = seconds * float64(e.Total-e.Done) / float64(e.Done)
	}
	return s
}
