package norm_test

import (
	"math"
	"reflect"
	"testing"

	"bittern/internal/cells"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

func find(t *testing.T, p *plot) *norm.Departure {
	t.Helper()
	d, err := norm.Find(t.Context(), &p.summary, &p.layout, norm.Defaults())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func meanShare(d *norm.Departure, in []int) float64 {
	sum := 0.0
	for _, i := range in {
		sum += float64(d.Share[i])
	}
	return sum / float64(len(in))
}

func TestAnEvenCropDoesNotDepart(t *testing.T) {
	d := find(t, newPlot(200, 200, 200, 1))
	for i, v := range d.Share {
		if v > 0.01 || d.Spreads[i] > 3 {
			t.Fatalf("cell %d of an even crop has share %g and departs by %g spreads", i, v, d.Spreads[i])
		}
	}
}

func TestTheShareOfAPatchIsThePartOfBurntPixels(t *testing.T) {
	for _, weeds := range []float64{0.05, 0.1, 0.2, 0.4} {
		p := newPlot(200, 200, 200, 2)
		p.disc(100, 100, 20, func(i int) { p.grow(i, 0, weeds) })
		d := find(t, p)
		var middle []int
		p.disc(100, 100, 10, func(i int) { middle = append(middle, i) })
		if got := meanShare(d, middle); math.Abs(got-weeds) > 0.15*weeds {
			t.Errorf("the middle of a patch of %g shows a share of %.3f", weeds, got)
		}
	}
}

func TestTheCenterHoldsWhileTwoFifthsOfTheCheckAreSick(t *testing.T) {
	p := newPlot(200, 200, 200, 3)
	for i := range 200 * 80 {
		p.grow(i, 0.15, 0.25)
	}
	d := find(t, p)
	// The 0.35 quantile of the healthy crop's normal pixels.
	want := cropRatio - 0.3853*pixelSD
	if got := d.Norms[0].Center[norm.RatioPixel]; math.Abs(got-want) > 0.03 {
		t.Errorf("centre %.3f, want %.3f", got, want)
	}
}

func TestAPalerStripMovesTheNormAndNotTheShare(t *testing.T) {
	p := newPlot(200, 200, 200, 4)
	for r := range 200 {
		for c := 90; c < 110; c++ {
			p.grow(r*200+c, 0.2, 0)
		}
	}
	for i, v := range find(t, p).Share {
		if v > 0.04 {
			t.Fatalf("cell %d in or beside a paler strip has an off-colour share of %.3f", i, v)
		}
	}
}

func TestASmallCheckLeansOnItsNeighbours(t *testing.T) {
	p := newPlot(210, 200, 200, 5) // the second check is 5 m wide
	for i, c := range p.layout.Check {
		if c == 1 && i/210 >= 30 {
			p.layout.Reason[i] = structure.Water // 75 m2 of it are left
		} else if c == 1 {
			p.grow(i, 0.1, 0.5)
		}
	}
	d := find(t, p)
	if got := d.Norms[1].Center[norm.RatioPixel]; math.Abs(got-cropRatio) > 0.08 {
		t.Errorf("a small sick check beside a large one takes %.3f for its norm", got)
	}
}

func TestACheckThatIsWrongAllOverStandsApart(t *testing.T) {
	p := newPlot(150, 150, 50, 6)
	for i, c := range p.layout.Check {
		if c == 4 {
			p.grow(i, 0.35, 0)
		}
	}
	for c, n := range find(t, p).Norms {
		if n.Standing == nil {
			t.Fatalf("check %s of nine has no standing", n.Check)
		}
		if n.Standing.Apart != (c == 4) {
			t.Errorf("check %s: standing %+v", n.Check, *n.Standing)
		}
	}
}

func TestThreeChecksHaveNoStanding(t *testing.T) {
	for _, n := range find(t, newPlot(150, 50, 50, 7)).Norms {
		if n.Standing != nil {
			t.Errorf("check %s of three stands %+v", n.Check, *n.Standing)
		}
	}
}

func TestDeadLeafOverOpenGroundIsKilledAndNoEvidence(t *testing.T) {
	p := newPlot(200, 200, 200, 8)
	p.disc(60, 60, 15, func(i int) { p.mix(i, 0.1, 0.4, 0.4) })
	p.disc(140, 140, 15, func(i int) { p.grow(i, 0, 0.35) })
	d := find(t, p)
	dead, alive := 60*200+60, 140*200+140
	if !d.Killed[dead] || d.Killed[alive] {
		t.Errorf("killed: %v in dead ground, %v in living", d.Killed[dead], d.Killed[alive])
	}
	if d.Evidence[alive] < 1 {
		t.Errorf("evidence %g in living weeds", d.Evidence[alive])
	}
}

func TestAThinStandIsNoEvidence(t *testing.T) {
	p := newPlot(200, 200, 200, 13)
	p.disc(100, 100, 30, func(i int) { p.mix(i, 0.1, 0, 0.25) })
	d := find(t, p)
	if e := d.Evidence[100*200+100]; e > -2 {
		t.Errorf("evidence %g in a thin stand", e)
	}
}

func TestEveryWeightPointsItsWay(t *testing.T) {
	p := newPlot(200, 200, 200, 14)
	for k, weeds := range []float64{0.04, 0.08, 0.16, 0.3} {
		p.disc(40+40*k, 100, 12, func(i int) { p.grow(i, 0, weeds) })
	}
	d := find(t, p)
	last := float32(-100)
	for k := range 4 {
		e := d.Evidence[100*200+40+40*k]
		if e < last-1 { // above a third the terms are held
			t.Errorf("denser patch %d has less evidence, %g after %g", k, e, last)
		}
		last = e
	}
}

func TestWorkersDoNotChangeABit(t *testing.T) {
	p := newPlot(173, 131, 60, 9)
	p.disc(80, 60, 20, func(i int) { p.grow(i, 0, 0.3) })
	want := find(t, p)
	for _, workers := range []int{2, 3, 16} {
		q := norm.Defaults()
		q.Workers = workers
		got, err := norm.Find(t.Context(), &p.summary, &p.layout, q)
		if err != nil {
			t.Fatal(err)
		}
		if !same(got, want) {
			t.Errorf("%d workers give another departure", workers)
		}
	}
}

// same compares bits, so that NaN equals itself.
func same(a, b *norm.Departure) bool {
	bits := func(v []float32) []uint32 {
		out := make([]uint32, len(v))
		for i, x := range v {
			out[i] = math.Float32bits(x)
		}
		return out
	}
	return reflect.DeepEqual(bits(a.Share), bits(b.Share)) && reflect.DeepEqual(bits(a.Evidence), bits(b.Evidence)) && reflect.DeepEqual(bits(a.Spreads), bits(b.Spreads)) &&
		reflect.DeepEqual(a.Toward, b.Toward) && reflect.DeepEqual(a.Killed, b.Killed) && reflect.DeepEqual(a.Norms, b.Norms)
}

func TestOddFieldsGiveNumbersAndNoPanic(t *testing.T) {
	for name, spoil := range map[string]func(*plot){
		"all water": func(p *plot) {
			for i := range p.layout.Reason {
				p.layout.Reason[i] = structure.Water
			}
		},
		"no pixels":  func(p *plot) { clear(p.summary.Pixels) },
		"no checks":  func(p *plot) { clearChecks(p) },
		"no ratio":   func(p *plot) { p.summary.Ratio, p.summary.Hist = "", nil },
		"dark bands": func(p *plot) { clear(p.summary.Mean[0]); clear(p.summary.Mean[1]); clear(p.summary.Mean[2]) },
		"constant": func(p *plot) {
			for i := range p.summary.Hist {
				p.summary.Hist[i] = 0
				if i%cells.Bins == 4 {
					p.summary.Hist[i] = perCell
				}
			}
		},
		"empty histograms": func(p *plot) { clear(p.summary.Hist) },
		"infinite means": func(p *plot) {
			for i := range p.summary.Mean[1] {
				p.summary.Mean[1][i] = float32(math.Inf(1))
				p.summary.Mean[2][i] = float32(math.NaN())
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPlot(40, 30, 20, 10)
			spoil(p)
			d := find(t, p)
			for i, r := range p.layout.Reason {
				looked := r == structure.LookedAt && p.summary.Pixels[i] > 0
				if known := d.Share[i] == d.Share[i]; known != looked {
					t.Fatalf("cell %d: looked at %v, share %g", i, looked, d.Share[i])
				}
				if known := d.Evidence[i] == d.Evidence[i] || p.summary.Ratio == ""; known != looked && p.summary.Ratio != "" {
					t.Fatalf("cell %d: looked at %v, evidence %g", i, looked, d.Evidence[i])
				}
				if looked && !(d.Spreads[i] >= 0) {
					t.Fatalf("cell %d departs by %g", i, d.Spreads[i])
				}
			}
			for _, n := range d.Norms {
				for q, v := range n.Center {
					if math.IsNaN(v) || math.IsInf(v, 0) || !(n.Spread[q] >= 0.05) {
						t.Errorf("check %s: %s has centre %g and spread %g", n.Check, q, v, n.Spread[q])
					}
				}
			}
		})
	}
}

func clearChecks(p *plot) {
	p.layout.Checks = nil
	for i := range p.layout.Check {
		p.layout.Check[i] = -1
	}
}

func TestDoubtsNameWhatTheNormCannotRestOn(t *testing.T) {
	p := newPlot(100, 100, 100, 11)
	for i := range 100 * 60 {
		p.grow(i, 0, 0.5)
	}
	d := find(t, p)
	if len(d.Doubts) == 0 || d.Doubts[0].About != "norm" {
		t.Errorf("a field that is sick over three fifths brings %v", d.Doubts)
	}
	if d := find(t, newPlot(10, 10, 10, 12)); len(d.Doubts) == 0 {
		t.Error("a field of 25 m2 brings no doubt")
	}
}
