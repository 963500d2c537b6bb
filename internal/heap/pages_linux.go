package heap

import (
	"runtime"

	"golang.org/x/sys/unix"
)

const (
	goPage   = 8 << 10  // bytes; a large slice begins at a multiple of it
	mostPage = 64 << 10 // of Linux, on any processor
)

// wantLargePages asks Linux to back the next so many bytes of the heap with large pages, where it gives them to those who
// ask (the usual setting, "madvise"). Touching 2 MiB is then one page fault rather than 512, each of
// which took some 9 microseconds on a virtual machine. The heap is made to grow by a slice that is never touched, so
// that it takes addresses and no memory; the garbage collector gives the addresses to what comes next. Nothing is asked
// where so many addresses may not be had, nor of a heap that has grown: addresses that were used would be cleared, and so touched.
func wantLargePages(bytes int) {
	var now runtime.MemStats
	if runtime.ReadMemStats(&now); now.HeapSys > uint64(bytes)/4 {
		return
	}
	probe, err := unix.Mmap(-1, 0, 2*bytes, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE)
	if err != nil || unix.Munmap(probe) != nil {
		return
	}
	room := make([]byte, bytes)
	for at := 0; at < mostPage; at += goPage { // it must begin at a page of Linux
		if unix.Madvise(room[at:], unix.MADV_HUGEPAGE) == nil {
			break // a wish: without it all goes on as before
		}
	}
	runtime.GC() // room is used no more
}
