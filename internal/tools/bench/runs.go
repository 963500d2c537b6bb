//go:build unix

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	_ "embed"
)

//go:embed gdal_read.py
var gdalRead string

// python is the interpreter that Debian's GDAL, NumPy and SciPy are installed
// for.
const python = "/usr/bin/python3"

// took is what one run took; the reader prints the same as JSON.
type took struct {
	WallS   float64 `json:"wall_s"`
	CPUS    float64 `json:"cpu_s"`
	PeakMiB float64 `json:"peak_mib"`
	ReadMpx float64 `json:"read_mpx"`
}

// otherTook is what another reader may print instead.
type otherTook struct {
	UserS  float64 `json:"user_s"`
	SysS   float64 `json:"sys_s"`
	RSSMiB float64 `json:"rss_mib"`
}

// selfTook is what a run of ours prints.
type selfTook struct {
	Cells    took
	Suspects *took // from opening the picture on; nil when not asked for
	Smallest *took // smallest seen alone; its peak is that of the whole run
}

// runGDAL reads a picture with GDAL in a process of its own: by the program
// that BITTERN_GDAL_READ names, else by ours.
func runGDAL(ctx context.Context, picture string) (t took, err error) {
	cmd := exec.CommandContext(ctx, python, "-c", gdalRead, picture)
	if other := os.Getenv("BITTERN_GDAL_READ"); other != "" {
		cmd = exec.CommandContext(ctx, other, picture)
	}
	out, err := output(cmd)
	if err != nil {
		return t, err
	}
	if err := json.Unmarshal(out, &t); err != nil {
		return t, fmt.Errorf("%s printed %q: %w", cmd.Args[0], out, err)
	}
	if t.CPUS == 0 {
		var o otherTook
		if err := json.Unmarshal(out, &o); err != nil {
			return t, fmt.Errorf("%s printed %q: %w", cmd.Args[0], out, err)
		}
		t.CPUS, t.PeakMiB = o.UserS+o.SysS, o.RSSMiB
	}
	return t, nil
}

// runSelf measures the pass in a process of its own, so that its memory is
// its own.
func (s settings) runSelf(ctx context.Context, t task) (o selfTook, err error) {
	self, err := os.Executable()
	if err != nil {
		return o, err
	}
	args := []string{"--pass", t.dir, "--picture", t.picture, "--workers", fmt.Sprint(s.workers)}
	if t.all {
		args = append(args, "--all")
	}
	if t.suspects {
		args = append(args, "--suspects")
	}
	out, err := output(exec.CommandContext(ctx, self, args...))
	if err != nil {
		return o, err
	}
	if err := json.Unmarshal(out, &o); err != nil {
		return o, fmt.Errorf("a run printed %q: %w", out, err)
	}
	return o, nil
}

func output(cmd *exec.Cmd) ([]byte, error) {
	var say strings.Builder
	cmd.Stderr = &say
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %s", filepath.Base(cmd.Args[0]), err, say.String())
	}
	return out, nil
}

// timed runs a program that prints nothing of worth, and measures it whole.
func timed(cmd *exec.Cmd) (t took, err error) {
	start := time.Now()
	if _, err := output(cmd); err != nil {
		return t, err
	}
	t.WallS = time.Since(start).Seconds()
	t.CPUS = (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
	if use, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		t.PeakMiB = float64(use.Maxrss) / rssUnits()
	}
	return t, nil
}

// rssUnits is how many units of the peak memory make a MiB: kilobytes, but
// bytes on macOS.
func rssUnits() float64 {
	if runtime.GOOS == "darwin" {
		return 1 << 20
	}
	return 1 << 10
}
