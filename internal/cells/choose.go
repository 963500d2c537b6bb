package cells

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"bittern/internal/grid"
	"bittern/internal/raster"
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
// into blocks changes nothing. What a block holds of all places is taken when it
// is first decoded: few blocks lie under all places of a coarse picture.
func (p *pass) chooseRange(ctx context.Context) error {
	if p.over == "" {
		return nil
	}
	jobs := slices.DeleteFunc(slices.Clone(p.jobs), func(j job) bool { return p.pictures[j.picture].layout.ratio == nil })
	spots := p.spots()
	at := spotsByCell(p.sum.Grid, spots)
	taken, err := p.sampleFirst(ctx, jobs, spots, at)
	if err != nil {
		return err
	}
	var readers shelf
	var logs []float64
	for k, spot := range spots {
		if k >= sampleSpots && len(logs) >= sampleEnough {
			break
		}
		for i, j := range jobs {
			if !j.over.meets(spot) {
				continue
			}
			if taken[i] == nil {
				if err := ctx.Err(); err != nil {
					return err
				}
				taken[i] = make([][]float64, len(spots))
				if err := p.sample(j, &readers, at, taken[i]); err != nil {
					return err
				}
			}
			logs = append(logs, taken[i][k]...)
		}
	}
	p.setLow(median(logs))
	return nil
}

// sampleFirst samples the jobs under the first places, which nearly always are
// enough, at the same time: what each job holds of every place.
func (p *pass) sampleFirst(ctx context.Context, jobs []job, spots []rect, at map[int][]int) (map[int][][]float64, error) {
	var first []int // of jobs
	for i, j := range jobs {
		if slices.ContainsFunc(spots[:min(sampleSpots, len(spots))], j.over.meets) {
			first = append(first, i)
		}
	}
	found, errs := make([][][]float64, len(first)), make([]error, len(first))
	raster.Bands(p.Workers, len(first), func(from, to int) {
		var readers shelf
		for k := from; k < to && ctx.Err() == nil; k++ {
			found[k] = make([][]float64, len(spots))
			errs[k] = p.sample(jobs[first[k]], &readers, at, found[k])
		}
	})
	taken := make(map[int][][]float64, len(first))
	for k, i := range first {
		taken[i] = found[k]
	}
	return taken, cmp.Or(cmp.Or(errs...), ctx.Err())
}

// spotsByCell lists the spots that each cell lies in.
func spotsByCell(g grid.Grid, spots []rect) map[int][]int {
	at := map[int][]int{}
	for k, r := range spots {
		for row := r.row; row < r.row+r.rows; row++ {
			for col := r.col; col < r.col+r.cols; col++ {
				at[g.Index(col, row)] = append(at[g.Index(col, row)], k)
			}
		}
	}
	return at
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

// sample adds the logarithms of some pixels of a job that lie inside to those of
// the spots that they lie in; at lists the spots of each cell.
func (p *pass) sample(j job, readers *shelf, at map[int][]int, logs [][]float64) error {
	px, err := readers.of(p.pictures, j.picture).read(j.chunk)
	if err != nil || px.data == nil {
		return err
	}
	pic, g := p.pictures[j.picture], p.sum.Grid
	l := pic.layout
	rows, veil := pic.place.rows(j.win, j.over), p.veil(pic, j.win, readers)
	for row := range j.win.Rows {
		runs, base := rows.next()
		if veil != nil {
			if runs, err = veil.next(runs); err != nil {
				return err
			}
		}
		line := px.line(row)
		if pic.differences {
			undo(l, line)
		}
		from := 0
		for _, r := range runs {
			cell := base + r.Cell
			if i := g.Index(j.over.col+cell%j.over.cols, j.over.row+cell/j.over.cols); r.Cell >= 0 && p.sum.Inside[i] {
				for _, spot := range at[i] {
					logs[spot] = l.appendLogs(logs[spot], line, from, r.End, j.win.Row+row+j.win.Col)
				}
			}
			from = r.End
		}
	}
	return nil
}

// appendLogs appends the logarithms of those pixels from from to end of a line
// with data whose number, counted from first, is a multiple of the step.
func (l *layout) appendLogs(logs []float64, line []byte, from, end, first int) []float64 {
	size := l.samples * l.kind.Bytes()
	for c := from; c < end; c++ {
		if (first+c)%sampleStep != 0 || !l.has(line[c*size:]) {
			continue
		}
		if v, ok := l.ratio.log(l, line[c*size:]); ok {
			logs = append(logs, v)
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
