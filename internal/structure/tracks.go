package structure

import (
	"errors"
	"math"

	"bittern/internal/stat"
)

// Settings of wheel tracks. Lengths in metres.
const (
	trackHeadings = 60   // tried in the first search
	trackWindows  = 8    // windows of the field that are searched
	trackWindow   = 128  // cells, the side of a window
	trackFirstM   = 8.0  // half the line of the first search
	trackHalfM    = 16.0 // half the line that a track is told by
	trackFlankM   = 1.0  // from a track's middle to the crop beside it
	trackFine     = 0.5  // degrees between the headings of the second search
	trackFan      = 8    // headings of the second search on either side
	trackRise     = 8.0  // times the usual response that the tracks' heading must have
	trackLow      = 0.4  // spreads, a track goes on
	trackHigh     = 1.1  // spreads, a track begins
	trackLeastM   = 20.0 // cells of a track, as a length
	trackAcross   = 1.5  // cells of all tracks, as lengths of the field, below which a heading is that of a few ditches and banks: one pair across it has two
	trackShoulder = 0.6  // of a track's strongest cell, from which one beside it is track too
)

func trackShape(half, cell float64) lineShape {
	off := math.Max(2, math.Round(trackFlankM/cell))
	return lineShape{Half: half / cell, Core: 0.5, From: off, To: off}
}

// findTracks finds wheel tracks: straight lines a cell wide at one heading.
func (f *finder) findTracks() error {
	f.tracks = make([]bool, len(f.ok))
	h, ok := f.trackHeading()
	if !ok {
		return f.lookBesideTracks()
	}
	lines := f.trackLines(h)
	mask := stat.Hysteresis(lines.Strength, f.fine.size, trackLow, trackHigh)
	f.narrow(mask, lines.Strength, h)
	least := int(trackLeastM / f.cell())
	stat.Keep(mask, f.fine.size, true, func(_ int32, n int) bool { return n >= least })
	f.dropBanks(mask, h)
	if float64(count(mask)) < trackAcross*math.Sqrt(float64(count(f.ok))) {
		return f.lookBesideTracks()
	}
	f.tracks, f.heading, f.hasTracks = mask, h, true
	f.addRounds()
	return f.lookBesideTracks()
}

// narrow keeps of each track the cells that are nearly as strong as its
// strongest across.
func (f *finder) narrow(mask []bool, strength []float32, h float64) {
	c := newCrossing(h, f.fine.size, f.cell())
	keep := make([]bool, len(mask))
	for i, in := range mask {
		keep[i] = in && f.ok[i] && strength[i] >= trackShoulder*c.top(strength, i, strength[i])
	}
	copy(mask, keep)
}

// lookBesideTracks takes the coarse view again without the tracks and without
// water, roads and shade, so that neither a pair of tracks nor a shore is a
// levee. Banks are sought in shade, too, but for the deepest; what is shaded is held against shaded ground, or
// the rim of the shade would be all that shows.
func (f *finder) lookBesideTracks() error {
	near := dilate(f.tracks, f.fine.size)
	lit, shaded := make([]bool, len(near)), make([]bool, len(near))
	for i, r := range f.areas {
		lit[i] = f.fine.known[i] && !near[i] && r == LookedAt
		shaded[i] = r == Shade && !f.inDeepShade(i)
	}
	if count(shaded) > 0 {
		shaded = stat.Shrink(shaded, f.fine.size, shadeRimM/f.cell())
		for i := range shaded {
			shaded[i] = shaded[i] && f.fine.known[i] && !near[i]
		}
	}
	err := f.lookAround(lit)
	if err == nil && count(shaded) > 0 {
		sun, step := f.coarse, f.step
		if err = f.lookAround(shaded); err == nil {
			for i, known := range f.coarse.known {
				if known && !sun.known[i] {
					sun.known[i], sun.bright[i], step[i] = true, f.coarse.bright[i], f.step[i]
				}
			}
		}
		f.coarse, f.step = sun, step
	}
	f.fine.ratio, f.fine.bright, f.fine.texture, f.coarse.ratio, f.coarse.texture = nil, nil, nil, nil, nil // not asked for again
	return err
}

// shadeRimM is how much of shade along its rim is half in the sun.
const shadeRimM = 1.5

// lookAround takes the coarse view of the cells in use, and how far each stands from those round about it.
func (f *finder) lookAround(use []bool) (err error) {
	f.coarsen(use)
	around := f.coarse.around(aroundM / f.coarseCell())
	_, f.step, err = f.coarse.steps(around, f.coarse.size, 1)
	if errors.Is(err, stat.ErrFewPoints) { // a field of a few cells has no lines
		f.step, err = make([]uint8, f.coarse.size.Len()), nil
	}
	return err
}

// trackLines is the strength of lines at about heading h on the day's cells.
func (f *finder) trackLines(h float64) lineField {
	lines := findLines(f.fineStep, f.fine.size, trackShape(trackHalfM, f.cell()), turnsAbout(h, 1, 2*trackFine), f.opt.Workers)
	for i := range lines.Strength {
		lines.Strength[i] /= stepsPer
	}
	return lines
}

// trackHeading is the heading at which thin lines respond most, and whether
// they respond at it far more than at others.
func (f *finder) trackHeading() (float64, bool) {
	windows := f.trackWindows()
	if len(windows) == 0 {
		return 0, false
	}
	s := stat.Size{Cols: trackWindow, Rows: trackWindow}
	first := response(windows, s, trackShape(trackFirstM, f.cell()), headings(trackHeadings), f.opt.Workers)
	best := stat.Largest(first)
	mid := math.Pi * float64(best) / trackHeadings
	fan := turnsAbout(mid, trackFan, trackFine)
	second := response(windows, s, trackShape(trackHalfM, f.cell()), fan, f.opt.Workers)
	h := fan[stat.Largest(second)]
	return h, first[best] >= trackRise*stat.Median(first)
}

// dilate marks the cells of in and the eight around each.
func dilate(in []bool, s stat.Size) []bool {
	out := make([]bool, len(in))
	for i, b := range in {
		if !b {
			continue
		}
		x, y := i%s.Cols, i/s.Cols
		for v := max(y-1, 0); v <= min(y+1, s.Rows-1); v++ {
			for u := max(x-1, 0); u <= min(x+1, s.Cols-1); u++ {
				out[v*s.Cols+u] = true
			}
		}
	}
	return out
}

// trackWindows cuts squares that lie inside, spread over the field.
func (f *finder) trackWindows() [][]uint8 {
	var at []int
	s := f.fine.size
	for y := 0; y+trackWindow <= s.Rows; y += trackWindow / 2 {
		for x := 0; x+trackWindow <= s.Cols; x += trackWindow / 2 {
			i := y*s.Cols + x
			if f.within(x, y, trackWindow) {
				at = append(at, i)
			}
		}
	}
	step := max(1, (len(at)+trackWindows-1)/trackWindows)
	var out [][]uint8
	for k := 0; k < len(at); k += step {
		w := make([]uint8, 0, trackWindow*trackWindow)
		for y := range trackWindow {
			w = append(w, f.fineStep[at[k]+y*s.Cols:at[k]+y*s.Cols+trackWindow]...)
		}
		out = append(out, w)
	}
	return out
}

// within says that most of a square lies inside and is known.
func (f *finder) within(x, y, side int) bool {
	n, of := 0, 0
	for dy := 0; dy < side; dy += 8 {
		for dx := 0; dx < side; dx += 8 {
			of++
			if f.ok[(y+dy)*f.fine.size.Cols+x+dx] {
				n++
			}
		}
	}
	return 10*n >= 9*of
}
