package cells

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"

	"bittern/internal/doubt"
	"bittern/internal/grid"
	"bittern/internal/progress"
	"bittern/internal/raster"
)

// Options are the parameters of the pass.
type Options struct {
	Workers  int     // goroutines that decode; below 1 counts as 1. Never changes a result
	MarginM  float64 // m beyond the boundary within which tiles are read; negative reads every tile on the grid
	Progress progress.Func
	Plain    bool // for a picture: means and spread only, no ratio and no histogram
}

// Margin is how far beyond the boundary, in metres, the stages that follow
// want to see.
const Margin = 15

// A picture is one file, or another origin of pixels, as the pass sees it.
type picture struct {
	name        string
	place       placer
	layout      *layout
	kernel      kernel
	differences bool // rows come as differences to the pixel before, and kernel expects them so
	narrow      bool // kernel leaves narrow sums
	chunks      []chunk
	across      int           // chunks side by side
	covers      []cover       // later pictures that lie on it
	open        func() reader // called for each worker that reads from it
	reduced     *Reduced      // a smaller copy that is made on the way; nil for none
}

// A chunk is what is read at once: a tile, or some strips.
type chunk struct {
	win   grid.Window
	block int // of the file, for those that have blocks
}

// A reader fills rows of pixels. It belongs to one worker.
type reader interface {
	// read returns the pixels of a chunk, which hold until the next call.
	read(c chunk) (pixels, error)
}

// mostReaders is how many pictures one worker keeps readers of. A mosaic has
// hundreds, of which few lie under a row of cells.
const mostReaders = 8

// A shelf keeps one worker's readers of the pictures it read from last.
type shelf struct {
	readers  []reader
	pictures []int // of each reader
	next     int   // of readers to give up
}

// of is the reader of a picture.
func (s *shelf) of(pictures []*picture, i int) reader {
	if k := slices.Index(s.pictures, i); k >= 0 {
		return s.readers[k]
	}
	r := pictures[i].open()
	if len(s.readers) < mostReaders {
		s.readers, s.pictures = append(s.readers, r), append(s.pictures, i)
		return r
	}
	s.readers[s.next], s.pictures[s.next] = r, i
	s.next = (s.next + 1) % mostReaders
	return r
}

// pixels are interleaved little-endian samples, row after row, stride bytes
// apart; data is nil where there is nothing.
type pixels struct {
	data   []byte
	stride int
}

func (px pixels) line(row int) []byte { return px.data[row*px.stride:][:px.stride] }

// A job is a chunk with the cells under it.
type job struct {
	chunk
	picture int
	over    rect
}

// A pass is one run over all pictures.
type pass struct {
	Options
	pictures    []*picture
	sum         *Summary
	shown       *shown
	mixed       string // the first picture with another on it of which neither hides the other
	floats      bool   // samples are turned into numbers of their bands' units first
	over, under string // bands of the ratio; empty when there is none
	jobs        []job
	collect     *collector
	blocks      chan *block // idle blocks
	readers     chan *shelf // idle readers
}

// run reads the pictures and fills the summary, whose Grid, Inside and Bands
// are set.
func (p *pass) run(ctx context.Context) error {
	p.jobs = p.plan()
	if len(p.jobs) == 0 {
		return missed(p.pictures)
	}
	if err := p.chooseRange(ctx); err != nil {
		return err
	}
	p.collect = newCollector(p.sum, p.pictures)
	for _, j := range p.jobs {
		p.collect.expect(j.over)
		if r := p.pictures[j.picture].reduced; r != nil {
			r.expect(j.win)
		}
	}
	p.collect.finishUntouched()
	// One set of readers more than processors, so that a worker that waits for
	// the disk leaves none idle; and more blocks than readers, so that one slow
	// window does not hold up those after it.
	readers := max(p.Workers, 1) + 1
	blocks := 4 * readers
	p.readers = make(chan *shelf, readers)
	for range readers {
		p.readers <- &shelf{}
	}
	p.blocks = make(chan *block, blocks+1)
	done, all := int64(0), p.pixels()
	for b, err := range raster.MapOrdered(ctx, blocks, p.queue(), p.sumUp) {
		if err != nil {
			return err
		}
		p.collect.add(b)
		if b.piece != nil {
			if err := p.pictures[b.picture].reduced.take(b.piece); err != nil {
				return err
			}
		}
		done += b.pixels
		p.recycle(b)
		p.Progress.Report(progress.Event{Stage: "reading the picture", Done: done / 1e6, Total: all / 1e6, Unit: "Mpx"})
	}
	return p.conclude()
}

// recycle keeps a block for the next worker that needs one.
func (p *pass) recycle(b *block) {
	select {
	case p.blocks <- b:
	default:
	}
}

func (p *pass) queue() iter.Seq2[job, error] { return raster.Of(slices.Values(p.jobs)) }

func (p *pass) pixels() (n int64) {
	for _, j := range p.jobs {
		n += int64(j.win.Cols) * int64(j.win.Rows)
	}
	return n
}

// sumUp makes the block of one job, with the next free readers.
func (p *pass) sumUp(ctx context.Context, j job) (*block, error) {
	readers := <-p.readers
	defer func() { p.readers <- readers }()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	px, err := readers.of(p.pictures, j.picture).read(j.chunk)
	if err != nil {
		return nil, err
	}
	b, err := p.fill(j, px, readers)
	if err != nil {
		return nil, err
	}
	p.collect.settle(b)
	return b, nil
}

// fill makes the block of one job from its pixels, but for those that lie under
// other pictures.
func (p *pass) fill(j job, px pixels, readers *shelf) (*block, error) {
	pic := p.pictures[j.picture]
	var b *block
	select {
	case b = <-p.blocks:
	default:
		b = &block{}
	}
	b.reset(j.picture, pic.layout, j.over, pic.narrow)
	b.pixels = int64(j.win.Cols) * int64(j.win.Rows)
	if pic.reduced != nil {
		b.piece = pic.reduced.shrink(j.win, px, pic.differences)
	}
	if pic.narrow {
		defer b.widen(pic.layout)
	}
	if px.data == nil {
		return b, nil
	}
	rows, veil := pic.place.rows(j.win, j.over), p.veil(pic, j.win, readers)
	for row := range j.win.Rows {
		runs, base := rows.next()
		if veil != nil {
			var err error
			if runs, err = veil.next(runs); err != nil {
				return nil, err
			}
		}
		pic.kernel(pic.layout, px.line(row), runs, base, b)
	}
	b.unpack()
	return b, nil
}

// plan lists the chunks to read, from the northernmost cells southwards so
// that few rows of cells are open at a time.
func (p *pass) plan() []job {
	near := newReach(p.sum.Grid, p.sum.Inside, p.MarginM)
	var jobs []job
	for i, pic := range p.pictures {
		for _, c := range pic.chunks {
			over := pic.place.over(c.win).clip(p.sum.Grid)
			if over.cols > 0 && near.touches(over) {
				jobs = append(jobs, job{chunk: c, picture: i, over: over})
			}
		}
	}
	slices.SortStableFunc(jobs, func(a, b job) int { return cmp.Compare(a.over.row, b.over.row) })
	return jobs
}

// A reach knows which cells lie near the field: for each row of cells the
// first and the last column inside. It errs towards reading.
type reach struct {
	all         bool
	margin      int // cells
	first, last []int
}

func newReach(g grid.Grid, in []bool, marginM float64) *reach {
	if marginM < 0 {
		return &reach{all: true}
	}
	r := &reach{margin: int(marginM/g.CellM) + 1, first: make([]int, g.Rows), last: make([]int, g.Rows)}
	for row := range g.Rows {
		cells := in[row*g.Cols:][:g.Cols]
		r.first[row], r.last[row] = slices.Index(cells, true), -1
		for col := g.Cols - 1; col >= 0 && r.last[row] < 0; col-- {
			if cells[col] {
				r.last[row] = col
			}
		}
	}
	return r
}

func (r *reach) touches(over rect) bool {
	if r.all {
		return true
	}
	for row := max(over.row-r.margin, 0); row < min(over.row+over.rows+r.margin, len(r.first)); row++ {
		if r.last[row] >= 0 && r.first[row] < over.col+over.cols+r.margin && r.last[row] >= over.col-r.margin {
			return true
		}
	}
	return false
}

// missed is the problem that no picture lies on the field.
func missed(pictures []*picture) error {
	return &doubt.Problem{
		Kind: doubt.Unfit, File: pictures[0].name,
		What:   "the picture does not lie over the field",
		Remedy: "give the boundary of the field that was flown, or the picture of this field",
	}
}

// conclude fills what is known at the end.
func (p *pass) conclude() error {
	s := p.sum
	var in, covered int
	for cell, yes := range s.Inside {
		if yes {
			in++
			if s.Pixels[cell] > 0 {
				covered++
			}
		}
	}
	if covered == 0 {
		return &doubt.Problem{
			Kind: doubt.Unfit, File: p.pictures[0].name,
			What:   "the picture has no data inside the boundary",
			Remedy: "check that picture and boundary belong together, or fly the field again",
		}
	}
	s.Covered = float64(covered) / float64(in)
	s.Doubts = append(s.Doubts, p.doubts()...)
	return nil
}

// doubts is what the pixels gave reason to say.
func (p *pass) doubts() []doubt.Doubt {
	d := p.mixedDoubt()
	empty := p.collect.tally.empty
	if all := empty + p.collect.tally.full; p.guessesVoid() && float64(empty) > 0.001*float64(all) {
		d = append(d, doubt.Doubt{
			About:  "picture",
			Says:   fmt.Sprintf("%.1f %% of the pixels in the field are 0 in every band, and were taken for gaps in the picture.", 100*float64(empty)/float64(all)),
			Settle: "Export the picture with a no-data value or with transparency.",
			Weight: 0.1,
		})
	}
	return d
}

// guessesVoid says whether some picture's gaps are known by zeros only.
func (p *pass) guessesVoid() bool {
	return slices.ContainsFunc(p.pictures, func(q *picture) bool { return q.layout.guessed })
}
