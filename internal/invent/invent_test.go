package invent_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"bittern/internal/grid"
	"bittern/internal/invent"
)

// field plans a scene or fails the test.
func field(tb testing.TB, s invent.Scene) *invent.Field {
	tb.Helper()
	f, err := invent.New(s)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

// small is a believable scene of a few acres, for tests of the machinery.
func small(sensor invent.Sensor, seed uint64) invent.Scene {
	s := invent.Believable(sensor, seed)
	s.Acres, s.Weeds.Acres, s.KilledAcres = 4, 0.3, 0.05
	return s
}

// seeds is n, and one in a short run.
func seeds(n uint64) uint64 {
	if testing.Short() {
		return 1
	}
	return n
}

var sensors = []invent.Sensor{invent.ColorJPEGLike8, invent.ColorNIR8, invent.FourBand16, invent.FiveBandFloat}

func TestAnyOrderOfWindowsGivesTheSamePixels(t *testing.T) {
	for _, sensor := range sensors {
		t.Run(sensor.String(), func(t *testing.T) {
			scene := small(sensor, 3)
			scene.Acres, scene.Weeds.Acres, scene.Collar = 1.5, 0.1, true
			if sensor%2 == 0 { // half of them with everything that a flight can spoil
				scene = named(t, "traps", sensor, 3, 1.5)
				scene.Seams, scene.Ghosts = 1, 1
			}
			if testing.Short() {
				scene.PixelM = 0.15
			}
			f := field(t, scene)
			cols, rows := f.Size()
			px := len(f.Format().Bands) * f.Format().SampleBytes
			whole := make([]byte, cols*rows*px)
			if err := f.Fill(grid.Window{Cols: cols, Rows: rows}, whole); err != nil {
				t.Fatal(err)
			}
			again := field(t, scene)
			rng := rand.New(rand.NewPCG(1, 2))
			var wg sync.WaitGroup
			for range 16 {
				w := grid.Window{Col: rng.IntN(cols - 1), Row: rng.IntN(rows - 1)}
				w.Cols, w.Rows = 1+rng.IntN(min(300, cols-w.Col)), 1+rng.IntN(min(300, rows-w.Row))
				wg.Go(func() {
					got := make([]byte, w.Cols*w.Rows*px)
					if err := again.Fill(w, got); err != nil {
						t.Error(err)
						return
					}
					for r := range w.Rows {
						at := ((w.Row+r)*cols + w.Col) * px
						if !bytes.Equal(got[r*w.Cols*px:(r+1)*w.Cols*px], whole[at:at+w.Cols*px]) {
							t.Errorf("window %v differs from the whole picture in its row %d", w, r)
							return
						}
					}
				})
			}
			wg.Wait()
		})
	}
}

func TestAcresOfTheTruthAddUp(t *testing.T) {
	for seed := range seeds(4) {
		s := invent.Believable(invent.FourBand16, 60+seed)
		f := field(t, s)
		truth := f.Truth(cellsOf(f))
		sum := truth.Skip
		for _, p := range truth.Patches {
			sum += p.Acres
			if p.Acres < 0.003 || p.Acres > 3.2 {
				t.Errorf("seed %d: a patch of %.4f acres", s.Seed, p.Acres)
			}
		}
		if math.Abs(sum-truth.Acres()) > 1e-9*sum {
			t.Errorf("seed %d: patches add up to %.4f acres, cells to %.4f", s.Seed, sum, truth.Acres())
		}
		if math.Abs(sum-s.Weeds.Acres) > 0.08*s.Weeds.Acres {
			t.Errorf("seed %d: %.3f acres planted, %.3f asked for", s.Seed, sum, s.Weeds.Acres)
		}
	}
}
