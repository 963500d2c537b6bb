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
	progress.Watch
	out  io.Writer // nil when there is no terminal
	quit chan struct{}
	done sync.WaitGroup
	once sync.Once
}

func newProgress(out io.Writer) *progressLine {
	p := &progressLine{Watch: progress.Watch{Now: time.Now}, quit: make(chan struct{})}
	if !isTerminal(out) {
		return p
	}
	p.out = out
	p.done.Go(p.loop)
	return p
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
		case <-tick.C:
			fmt.Fprint(p.out, "\r\x1b[K"+describe(p.State()))
		}
	}
}

// describe is one line: stage, share, rate, time left.
func describe(s progress.State) string {
	line := s.Stage
	if s.Counted {
		line += fmt.Sprintf("  %.0f%%", s.Share*100)
	}
	if s.Rate > 0 {
		line += fmt.Sprintf("  %.0f %s/s", s.Rate, s.Unit)
	}
	if s.LeftS > 0 {
		line += fmt.Sprintf("  about %.0f s left", s.LeftS)
	}
	return line
}
