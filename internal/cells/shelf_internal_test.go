package cells

import "testing"

type numbered struct{ picture int }

func (numbered) read(chunk) (pixels, error) { return pixels{}, nil }

func TestAShelfKeepsFewReadersAndFindsTheRightOne(t *testing.T) {
	opened := 0
	var pictures []*picture
	for i := range 100 {
		pictures = append(pictures, &picture{open: func() reader { opened++; return numbered{i} }})
	}
	var s shelf
	for round := range 50 {
		for k := range 12 { // a window of pictures that moves along
			i := round + k%6
			if got := s.of(pictures, i).(numbered).picture; got != i {
				t.Fatalf("the reader of picture %d is that of %d", i, got)
			}
		}
	}
	if len(s.readers) > mostReaders || opened > 60 {
		t.Errorf("%d readers kept, %d opened", len(s.readers), opened)
	}
}
