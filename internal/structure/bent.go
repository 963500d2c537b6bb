package structure

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// Settings of wheel tracks that are no straight lines across the field: where machines swerve, and along its sides. Lengths in metres.
const (
	bentHalfM  = 8.0  // half the line that they are told by
	bentStep   = 3.0  // degrees between headings
	bentLow    = 0.8  // spreads, such a track goes on
	bentHigh   = 1.5  // and begins, where one rut is seen
	bentLeastM = 25.0 // its least length, end to end

	pairHigh   = 1.2  // spreads, where both ruts of a pair are seen
	pairLeastM = 12.0 // its least length
	pairPart   = 0.6  // of a rut's cells at least that have the other rut beside them
	pairFromM  = 1.0  // from the middle of one rut to that of the other, at least
	pairToM    = 2.5  // and at most
	pairTurn   = 12.0 // degrees between the two, at most

	swerveTurns = 1    // headings to either side of the tracks' own
	besideTurns = 6    // and of a side's: a boundary is drawn by hand, and a driver keeps off what lies there
	besideSideM = 15.0 // the least straight piece of a side
	besideBendM = 2.5  // how far a piece may stray from straight
	besideEndM  = 10.0 // how far it is followed beyond its ends
)

// addBent marks the ruts that swerve from the tracks' heading, or run along the field's sides, in ground that is looked at. They are
// sought when all else is known, so that no ditch is taken for one.
func (f *finder) addBent(reason []Reason) {
	if !f.hasTracks {
		return
	}
	open := make([]bool, len(reason))
	for i, r := range reason {
		open[i] = r == LookedAt || r == Track
	}
	var found []int32
	for i, is := range f.ruts(f.fineStep, open, f.fine.size, turnsAbout(f.heading, swerveTurns, bentStep)) {
		if is {
			found = append(found, int32(i))
		}
	}
	f.eachSide(besideBendM, besideSideM, func(a, b geo.Point) {
		s := f.strip(a, b, besideEndM)
		within := make([]bool, len(s.at))
		for i, k := range s.at {
			within[i] = k >= 0 && open[k]
		}
		for i, is := range f.ruts(s.v, within, s.size, turnsAbout(0, besideTurns, bentStep)) {
			if is {
				found = append(found, s.at[i])
			}
		}
	})
	for _, i := range found {
		if reason[i] == LookedAt {
			reason[i] = Track
		}
	}
}

// turnsAbout are headings so many steps of so many degrees to either side of one, radians.
func turnsAbout(h float64, turns int, step float64) []float64 {
	var out []float64
	for k := -turns; k <= turns; k++ {
		out = append(out, h+float64(k)*step*math.Pi/180)
	}
	return out
}

// ruts marks the narrow lines at some headings among the open cells of a raster: long ones, and shorter ones
// that run in pairs, as the wheels of a machine do and nothing else.
func (f *finder) ruts(v []uint8, open []bool, s stat.Size, headings []float64) []bool {
	lines := findLines(v, s, trackShape(bentHalfM, f.cell()), headings, f.opt.Workers)
	in := make([]bool, len(open))
	across := make([]crossing, len(headings))
	for k, h := range headings {
		across[k] = newCrossing(h, s, f.cell())
	}
	for i, x := range lines.Strength {
		if x >= bentLow*stepsPer && open[i] {
			in[i] = x >= trackShoulder*across[lines.Heading[i]].top(lines.Strength, i, x)
		}
	}
	paired := func(i int32) bool {
		for _, off := range across[lines.Heading[i]].pair {
			if j := int(i) + off; j >= 0 && j < len(in) && in[j] &&
				math.Abs(headings[lines.Heading[i]]-headings[lines.Heading[j]]) <= pairTurn*math.Pi/180 {
				return true
			}
		}
		return false
	}
	runs, sizes := stat.Runs(in, s, true)
	parts := make([]rut, len(sizes))
	for _, r := range runs {
		parts[r.Part].take(r, s, lines.Strength, paired)
	}
	for _, r := range runs {
		if !parts[r.Part].stands(sizes[r.Part], f.cell()) {
			clear(in[r.From:r.To])
		}
	}
	return in
}

// A crossing is the places beside a cell, across a line, as steps through the raster.
type crossing struct {
	near [4]int // up to two cells off
	pair []int  // as far off as a pair's other rut
}

func newCrossing(h float64, s stat.Size, cell float64) (c crossing) {
	at := func(d float64) int {
		return int(math.Round(d*math.Cos(h)))*s.Cols + int(math.Round(d*math.Sin(h)))
	}
	for k, d := range [...]float64{-2, -1, 1, 2} {
		c.near[k] = at(d)
	}
	for d := math.Floor(pairFromM / cell); d <= pairToM/cell; d++ {
		if d >= 2 {
			c.pair = append(c.pair, at(-d), at(d))
		}
	}
	return c
}

// top is the largest of a cell's strength and those near it.
func (c *crossing) top(strength []float32, i int, own float32) float32 {
	for _, off := range c.near {
		if j := i + off; j >= 0 && j < len(strength) {
			own = max(own, strength[j])
		}
	}
	return own
}

// A rut is what is known of one line: where it reaches, how many of its cells have another beside them, and its strongest cell, in steps.
type rut struct {
	col, row, endCol, endRow int
	paired                   int
	top                      float32
}

func (p *rut) take(r stat.Run, s stat.Size, strength []float32, paired func(i int32) bool) {
	col, row := int(r.From)%s.Cols, int(r.From)/s.Cols
	end := col + int(r.To-r.From)
	if p.endCol == 0 {
		p.col, p.row = col, row
	}
	p.col, p.endCol, p.endRow = min(p.col, col), max(p.endCol, end), row+1 // runs come row by row
	for i := r.From; i < r.To; i++ {
		p.top = max(p.top, strength[i])
		if paired(i) {
			p.paired++
		}
	}
}

// stands says whether a rut of so many cells is one.
func (p *rut) stands(cells int, cell float64) bool {
	long := math.Hypot(float64(p.endCol-p.col), float64(p.endRow-p.row)) * cell
	if float64(p.paired) >= pairPart*float64(cells) && p.top >= pairHigh*stepsPer && long >= pairLeastM {
		return true
	}
	return p.top >= bentHigh*stepsPer && long >= bentLeastM
}
