//go:build !linux

package heap

// wantLargePages does nothing: other systems give large pages by themselves or not at all.
func wantLargePages(int) {}
