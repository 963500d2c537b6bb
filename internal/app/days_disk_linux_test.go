package app_test

import (
	"bytes"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"bittern/internal/app"
)

// TestNoRoomOnTheDisk drops a picture that is larger than the disk's room, on a
// small disk of its own: it is said, and nothing of it is kept.
func TestNoRoomOnTheDisk(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("no small disk can be made here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	days, err := app.OpenDays(filepath.Join(disk, "days"), "bittern test", app.Setting{Workers: 1}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer days.Close()
	id, err := days.New()
	if err != nil {
		t.Fatal(err)
	}
	err = days.TakeFile(t.Context(), id, "picture", "large.tif", bytes.NewReader(make([]byte, 4<<20)))
	if err == nil {
		t.Fatal("a picture of 4 MB fits on a disk of 1 MB")
	}
	if says := app.PageSentence(err); !strings.Contains(says, "the disk is full") || !strings.Contains(says, "nothing was written") || strings.Contains(says, "--") {
		t.Errorf("%q", says)
	}
	onlyAsked(t, days, id)
	// What was there goes on, and smaller things still fit.
	if err := days.Answer(id, app.Answered{Flown: new("2026-07-14")}); err != nil {
		t.Error(err)
	}
}
