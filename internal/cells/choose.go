package cells

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

const (
	sampleSpots  = 7    // places looked at before the pass to place the histogram
	sampleSide   = 4    // cells, the side of one: small, so that it lies in few blocks of any file
	sampleStep   = 3    // of its pixels every so manieth is taken
	sampleEnough = 2000 // pixels; when the first places hold fewer, more are looked at
	sampleMost   = 200  // places at most
)

// chooseRange places the histogram: bin 0 begins 0.7 ln units below the median
// of the ratio at a few places spread over the field. Places are chosen on the
// ground and pixels by their place in the picture, so that how a file is cut
// into blocks changes nothing.
func (p *pass) chooseRange(ctx context.Context) error {
	if p.over == "" {
		return nil
	}
	jobs := slices.DeleteFunc(slices.Clone(p.jobs), func(j job) bool { return p.pictures[j.picture].layout.ratio == nil })
	var readers shelf
	var logs []float64
	for k, spot := range p.spots() {
		if k >= sampleSpots && len(logs) >= sampleEnough {
			break
		}
		for _, j := range jobs {
			if !j.over.meets(spot) {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			px, err := readers.of(p.pictures, j.picture).read(j.chunk)
			if err != nil {
				return err
			}
			logs = append(logs, p.sample(j, px, spot)...)
		}
	}
	p.setLow(median(logs))
	return nil
}

// spots are small squares of cells inside the field, those first that lie
// furthest apart.
func (p *pass) spots() []rect {
	g := p.sum.Grid
	inside := 0
	for _, in := range p.sum.Inside {
		if in {
			inside++
		}
	}
	order := spread(inside, sampleMost)
	byPlace := make([]int, len(order)) // indices into order, by rising number
	for k := range byPlace {
		byPlace[k] = k
	}
	slices.SortFunc(byPlace, func(a, b int) int { return cmp.Compare(order[a], order[b]) })
	out := make([]rect, len(order))
	n := 0
	for i, in := range p.sum.Inside {
		if !in {
			continue
		}
		if len(byPlace) > 0 && order[byPlace[0]] == n {
			out[byPlace[0]] = rect{i%g.Cols - sampleSide/2, i/g.Cols - sampleSide/2, sampleSide, sampleSide}.clip(g)
			byPlace = byPlace[1:]
		}
		n++
	}
	return out
}

// setLow fixes the histogram for a median of the ratio, on a whole twentieth.
func (p *pass) setLow(median float64) {
	s := p.sum
	s.Ratio = fmt.Sprintf("ln(%s/%s)", p.over, p.under)
	s.Low = math.Round((median-belowNorm)*20) / 20
	for _, pic := range p.pictures {
		if pic.layout.ratio != nil {
			pic.layout.ratio.setLow(s.Low)
		}
	}
}

// spread is up to most of the numbers below n, those first that lie furthest
// apart: by their bits in reverse.
func spread(n, most int) []int {
	order := make([]int, 0, min(n, most))
	top := 1
	for top < n {
		top *= 2
	}
	for i := 0; i < top && len(order) < most; i++ {
		r := 0
		for bit := 1; bit < top; bit *= 2 {
			r *= 2
			if i&bit != 0 {
				r++
			}
		}
		if r < n {
			order = append(order, r)
		}
	}
	return order
}

// sample is the logarithms of some pixels of a job that lie inside, and in a
// square of cells.
func (p *pass) sample(j job, px pixels, square rect) (logs []float64) {
	if px.data == nil {
		return nil
	}
	pic, g := p.pictures[j.picture], p.sum.Grid
	l := pic.layout
	size := l.samples * l.kind.Bytes()
	rows := pic.place.rows(j.win, j.over)
	for row := range j.win.Rows {
		runs, base := rows.next()
		line := j.line(px, row, size)
		if pic.differences {
			undo(l, line)
		}
		from := 0
		for _, r := range runs {
			cell := base + r.Cell
			col, down := j.over.col+cell%j.over.cols, j.over.row+cell/j.over.cols
			if r.Cell >= 0 && square.has(col, down) && p.sum.Inside[g.Index(col, down)] {
				for c := from; c < r.End; c++ {
					if (j.win.Row+row+j.win.Col+c)%sampleStep != 0 || !l.has(line[c*size:]) {
						continue
					}
					if v, ok := l.ratio.log(l, line[c*size:]); ok {
						logs = append(logs, v)
					}
				}
			}
			from = r.End
		}
	}
	return logs
}

// median is the lower median, 0 of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[(len(v)-1)/2]
}
