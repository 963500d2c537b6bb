package cli

import (
	"fmt"
	"io"
	"sync"
	"time"

	"bittern/internal/progress"
)

// redraw is how often the progress line is drawn.
const redraw = 200 * time.Millisecond

// A progressLine shows the latest event of a run on one line of a terminal. On
// anything else it shows nothing.
type progressLine struct {
	out   io.Writer // nil when there is no terminal
	mu    sync.Mutex
	event progress.Event
	began time.Time
	quit  chan struct{}
	done  sync.WaitGroup
	once  sync.Once
}

func newProgress(out io.Writer) *progressLine {
	p := &progressLine{quit: make(chan struct{})}
	if !isTerminal(out) {
		return p
	}
	p.out = out
	p.done.Go(p.loop)
	return p
}

// report keeps the latest event. It may be called from several goroutines.
func (p *progressLine) report(e progress.Event) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if e.Stage != p.event.Stage {
		p.began = time.Now()
	}
	p.event = e
}

// stop clears the line. It may be called twice.
func (p *progressLine) stop() {
	p.once.Do(func() {
		close(p.quit)
		p.done.Wait()
		if p.out != nil {
			fmt.Fprint(p.out, "\r\x1b[K")
		}
	})
}

func (p *progressLine) loop() {
	tick := time.NewTicker(redraw)
	defer tick.Stop()
	for {
		select {
		case <-p.quit:
			return
		case now := <-tick.C:
			p.mu.Lock()
			line := describe(p.event, now.Sub(p.began))
			p.mu.Unlock()
			fmt.Fprint(p.out, "\r\x1b[K"+line)
		}
	}
}

// describe is one line: stage, share, rate, time left.
func describe(e progress.Event, elapsed time.Duration) string {
	if e.Stage == "" {
		return ""
	}
	line := e.Stage
	seconds := elapsed.Seconds()
	if e.Total > 0 {
		line += fmt.Sprintf("  %d%%", e.Done*100/e.Total)
	}
	if e.Unit != "" && seconds > 0.5 {
		line += fmt.Sprintf("  %.0f %s/s", float64(e.Done)/seconds, e.Unit)
	}
	if e.Total > 0 && e.Done > 0 && seconds > 1 {
		left := seconds * float64(e.Total-e.Done) / float64(e.Done)
		line += fmt.Sprintf("  about %.0f s left", left)
	}
	return line
}
