//go:build !unix

package cli

import (
	"runtime"
	"time"

	"bittern/internal/app"
)

// meter reads the clock and what Go holds of memory; the processor time is not
// known here.
func meter() app.Reading {
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	return app.Reading{Wall: time.Now(), PeakMiB: float64(mem.Sys) / (1 << 20)}
}
