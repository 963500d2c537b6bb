//go:build !race

// The race detector touches memory of its own beside the heap.

package heap_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bittern/internal/heap"
)

// Asking takes addresses and no memory, and the mapping that then holds a large slice has the flag "hg", hugepage advised (Linux, Documentation/filesystems/proc.rst,
// VmFlags).
func TestLargeSlicesLieWhereLargePagesAreAskedFor(t *testing.T) {
	if _, err := os.Stat("/sys/kernel/mm/transparent_hugepage/enabled"); err != nil {
		t.Skip("this Linux has no large pages")
	}
	before := resident(t)
	heap.Set()
	heap.Set() // a second time does nothing
	if after := resident(t); after > before+32<<10 {
		t.Errorf("%d KiB resident before, %d after", before, after)
	}
	large := make([]byte, 64<<20)
	maps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		t.Fatal(err)
	}
	var at uint64
	if _, err := fmt.Sscanf(fmt.Sprintf("%p", large[len(large)/2:]), "0x%x", &at); err != nil {
		t.Fatal(err)
	}
	inside := false
	for line := range strings.Lines(string(maps)) {
		var from, to uint64
		if n, _ := fmt.Sscanf(line, "%x-%x ", &from, &to); n == 2 {
			inside = from <= at && at < to
		}
		if flags, ok := strings.CutPrefix(line, "VmFlags:"); ok && inside {
			if !strings.Contains(flags+" ", " hg") {
				t.Errorf("flags of the mapping: %s", flags)
			}
			return
		}
	}
	t.Error("no mapping holds the slice")
}

// resident is the memory that this process holds, KiB.
func resident(t *testing.T) (kib int) {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			_, _ = fmt.Sscan(rest, &kib)
		}
	}
	return kib
}
