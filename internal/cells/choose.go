package cells

import (
	"context"
	"fmt"
	"math"
	"slices"
)

const (
	sampleChunks = 6    // chunks read before the pass to place the histogram
	sampleStep   = 37   // of their pixels every so manieth is looked at
	sampleEnough = 2000 // pixels; when the first chunks hold fewer, more are read
)

// chooseRange places the histogram: bin 0 begins 0.7 ln units below the
// median of the ratio in a few chunks spread over the field.
func (p *pass) chooseRange(ctx context.Context) error {
	if p.over == "" {
		return nil
	}
	jobs := slices.DeleteFunc(slices.Clone(p.jobs), func(j job) bool { return p.pictures[j.picture].layout.ratio == nil })
	readers := make([]reader, len(p.pictures))
	var logs []float64
	for k, i := range spread(len(jobs)) {
		if k >= sampleChunks && len(logs) >= sampleEnough {
			break
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		j := jobs[i]
		if readers[j.picture] == nil {
			readers[j.picture] = p.pictures[j.picture].open()
		}
		px, err := readers[j.picture].read(j.chunk)
		if err != nil {
			return err
		}
		logs = append(logs, p.sample(j, px)...)
	}
	p.setLow(median(logs))
	return nil
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

// spread is the numbers below n, those first that lie furthest apart: by
// their bits in reverse.
func spread(n int) []int {
	order := make([]int, 0, n)
	top := 1
	for top < n {
		top *= 2
	}
	for i := range top {
		r := 0
		for bit := 1; bit < top; bit *= 2 {
			r *= 2
			if i&bit != 0 {
				r++
			}
		}
		if k := r; k < n {
			order = append(order, k)
		}
	}
	return order
}

// sample is the logarithms of some pixels of a job that lie inside.
func (p *pass) sample(j job, px pixels) (logs []float64) {
	if px.data == nil {
		return nil
	}
	pic, g := p.pictures[j.picture], p.sum.Grid
	l := pic.layout
	size := l.samples * l.kind.Bytes()
	rows := pic.place.rows(j.win, j.over)
	for row := range j.win.Rows {
		runs, base := rows.next()
		line := px.data[row*px.stride:][:px.stride]
		if pic.differences {
			undo(l, line)
		}
		from := 0
		for _, r := range runs {
			cell := base + r.cell
			if r.cell >= 0 && p.sum.Inside[g.Index(j.over.col+cell%j.over.cols, j.over.row+cell/j.over.cols)] {
				for c := from; c < r.end; c++ {
					if (row*j.win.Cols+c)%sampleStep != 0 || !l.has(line[c*size:]) {
						continue
					}
					if v, ok := l.ratio.log(l, line[c*size:]); ok {
						logs = append(logs, v)
					}
				}
			}
			from = r.end
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
