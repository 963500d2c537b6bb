//go:build unix

package cli

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"syscall"
	"time"

	"bittern/internal/app"
)

// meter reads the clock, the processor time and the peak memory of the process.
func meter() app.Reading {
	var use syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &use) // zeros then, and only timings suffer
	return app.Reading{
		Wall:    time.Now(),
		CPU:     time.Duration(use.Utime.Nano() + use.Stime.Nano()),
		PeakMiB: peakMiB(int64(use.Maxrss)), //nolint:unconvert // its size differs between systems
	}
}

// peakMiB is the largest resident size. Linux's own record is preferred: the
// figure of getrusage counts what the parent held before it started us, and
// Darwin counts bytes where the others count KiB.
func peakMiB(maxRSS int64) float64 {
	if text, err := os.ReadFile("/proc/self/status"); err == nil {
		for line := range strings.Lines(string(text)) {
			var kib float64
			if n, _ := fmt.Sscanf(line, "VmHWM: %f kB", &kib); n == 1 {
				return kib / 1024
			}
		}
	}
	if runtime.GOOS == "darwin" {
		return float64(maxRSS) / (1 << 20)
	}
	return float64(maxRSS) / 1024
}
