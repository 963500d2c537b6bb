package lanes

import (
	"bytes"
	"encoding/binary"
	"flag"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"
)

var laneInputs = flag.Int("inputs", 20_000, "rows of TestSumsMany")

// TestSumsMany holds the sums, as they are made on this machine and in plain
// Go, to sums made in the simplest way, on as many rows as -inputs says.
func TestSumsMany(t *testing.T) {
	workers := runtime.GOMAXPROCS(0)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			r := rand.New(rand.NewPCG(21, uint64(w)))
			c := newCase()
			for i := w; i < *laneInputs && !t.Failed(); i += workers {
				c.draw(r)
				c.hold(t)
			}
		})
	}
	wg.Wait()
}

// FuzzSums draws the case from the bytes it is given.
func FuzzSums(f *testing.F) {
	f.Add(uint64(1), []byte{0, 0, 0, 0, 0, 0, 0, 0, 255, 255, 255, 255, 255, 255, 255, 255})
	f.Add(uint64(2), bytes.Repeat([]byte{0x00, 0x80}, 4*40))
	f.Fuzz(func(t *testing.T, seed uint64, px []byte) {
		c := newCase()
		c.draw(rand.New(rand.NewPCG(seed, 1)))
		c.row = px[:min(len(px), 8*cellsOfCase*Most)&^7]
		c.drawRuns(rand.New(rand.NewPCG(seed, 2)))
		c.hold(t)
	})
}

const cellsOfCase = 13

// A sumCase is a row with its runs and a scheme.
type sumCase struct {
	Scheme
	row  []byte
	runs []Run
}

func newCase() *sumCase { return &sumCase{Scheme: Scheme{Logs: new([1 << 16]int32)}} }

// draw makes the next case. The table of logarithms is one with all sorts of
// differences, not that of the program.
func (c *sumCase) draw(r *rand.Rand) {
	for range 200 {
		c.Logs[r.IntN(1<<16)] = int32(r.IntN(60<<16) - 30<<16)
	}
	c.Over, c.Under, c.Low = r.IntN(4), r.IntN(4), int32(r.IntN(16<<16)-8<<16)
	c.HasVoid, c.Void = r.IntN(3) > 0, uint16(r.Uint32())
	if r.IntN(2) == 0 {
		c.Void = []uint16{0, 1, 0x7fff, 0x8000, 0xffff}[r.IntN(5)]
	}
	c.row = c.row[:0]
	few := r.IntN(3)
	for range r.IntN(80) {
		var px [8]byte
		switch {
		case r.IntN(4) == 0:
			binary.LittleEndian.PutUint64(px[:], uint64(c.Void)*laneOnes)
		case few == 0:
			binary.LittleEndian.PutUint64(px[:], r.Uint64())
		default:
			for k := range 4 {
				binary.LittleEndian.PutUint16(px[2*k:], []uint16{0, 1, 0x7fff, 0x8000, 0xffff, c.Void}[r.IntN(6)])
			}
		}
		c.row = append(c.row, px[:]...)
	}
	c.drawRuns(r)
}

// drawRuns covers the row with runs, some empty, that put no more than Most
// pixels into a cell.
func (c *sumCase) drawRuns(r *rand.Rand) {
	var room [cellsOfCase]int
	for i := range room {
		room[i] = Most
	}
	c.runs = c.runs[:0]
	cols := len(c.row) / 8
	longest := 1 + r.IntN(40)
	for end := 0; end < cols; {
		n := min(r.IntN(longest+1), cols-end)
		cell := r.IntN(cellsOfCase+2) - 2
		if cell >= 0 {
			n = min(n, room[cell])
			room[cell] -= n
		}
		end += n
		c.runs = append(c.runs, Run{End: end, Cell: cell})
	}
}

// hold compares all ways of summing the case.
func (c *sumCase) hold(t *testing.T) {
	t.Helper()
	want := c.simplest()
	differences := bytes.Clone(c.row)
	for i := len(differences) - 2; i >= 8; i -= 2 {
		v := binary.LittleEndian.Uint16(differences[i:]) - binary.LittleEndian.Uint16(differences[i-8:])
		binary.LittleEndian.PutUint16(differences[i:], v)
	}
	for _, way := range []struct {
		name   string
		row    []byte
		add    func([]byte, []Run, []Sums, []uint32)
		unpack func(*Sums, uint32) Tally
	}{
		{"pixels", c.row, c.Add, c.Unpack},
		{"differences", differences, c.AddDifferences, c.Unpack},
		{"pixels in plain Go", c.row, c.portableAdd, c.portableUnpack},
		{"differences in plain Go", differences, c.portableAddDifferences, c.portableUnpack},
	} {
		const beyond = 0xa5
		row := append(bytes.Clone(way.row), bytes.Repeat([]byte{beyond}, 32)...)
		cells, empty := make([]Sums, cellsOfCase+1), make([]uint32, cellsOfCase)
		way.add(row[:len(c.row)], c.runs, cells[:cellsOfCase], empty)
		if !bytes.Equal(row[:len(c.row)], c.row) {
			t.Fatalf("%s: the row does not hold its pixels afterwards: %+v", way.name, c)
		}
		if bytes.Count(row[len(c.row):], []byte{beyond}) != 32 || cells[cellsOfCase] != (Sums{}) {
			t.Fatalf("%s: something was written beyond the end: %+v", way.name, c)
		}
		for i := range cellsOfCase {
			if got := way.unpack(&cells[i], empty[i]); got != want[i].Tally || empty[i] != want[i].empty {
				t.Fatalf("%s, cell %d: %+v, %d empty, want %+v\n%+v", way.name, i, got, empty[i], want[i], c)
			}
		}
	}
}

// A counted is a tally with its pixels without data.
type counted struct {
	Tally
	empty uint32
}

func (c *sumCase) simplest() (cells [cellsOfCase]counted) {
	from := 0
	for _, r := range c.runs {
		for ; from < r.End; from++ {
			if r.Cell < 0 {
				continue
			}
			to := &cells[r.Cell]
			var px [4]uint16
			empty := c.HasVoid
			for k := range px {
				px[k] = binary.LittleEndian.Uint16(c.row[8*from+2*k:])
				empty = empty && px[k] == c.Void
			}
			if empty {
				to.empty++
				continue
			}
			to.Pixels++
			for k, v := range px {
				to.Sum[k] += uint64(v)
				to.Squares[k] += uint64(v) * uint64(v)
			}
			bin := int(math.Floor(float64(c.Logs[px[c.Over]]-c.Logs[px[c.Under]]-c.Low) / (1 << 16)))
			to.Hist[min(max(bin, 0), Bins-1)]++
		}
	}
	return cells
}

func TestRunsOutsideTheirRowAreRefused(t *testing.T) {
	c := newCase()
	for _, runs := range [][]Run{
		{{End: 5, Cell: 0}},
		{{End: 3, Cell: 0}, {End: 2, Cell: 1}, {End: 4, Cell: 1}},
		{{End: 4, Cell: 2}},
		{{End: 2, Cell: 0}, {End: math.MaxInt, Cell: -1}},
		{{End: math.MinInt, Cell: 0}},
	} {
		for name, add := range map[string]func([]byte, []Run, []Sums, []uint32){"pixels": c.Add, "differences": c.AddDifferences} {
			func() {
				defer func() {
					if recover() == nil && !(runtime.GOARCH != "amd64" && runs[0].End != 5) {
						t.Errorf("%s: runs %v were taken", name, runs)
					}
				}()
				add(make([]byte, 32, 256), runs, make([]Sums, 2, 9), make([]uint32, 2, 9))
			}()
		}
	}
}

// TestACellTakesTheBrightestPixels is the packing itself: the largest and the
// smallest sample, as often as a cell may hold it.
func TestACellTakesTheBrightestPixels(t *testing.T) {
	for _, v := range []uint16{0, math.MaxUint16, 1 << 15, 1<<15 - 1} {
		c := newCase()
		c.Void = 7
		var px [8]byte
		binary.LittleEndian.PutUint64(px[:], uint64(v)*laneOnes)
		c.row = bytes.Repeat(px[:], Most)
		c.runs = []Run{{End: Most, Cell: 3}}
		c.hold(t)
	}
}
