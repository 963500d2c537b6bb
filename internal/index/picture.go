package index

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/progress"
	"bittern/internal/raster"
)

// Options are how the picture of an index is made. Workers changes no byte.
type Options struct {
	Workers  int
	Software string // name of the program, kept in the file
	Progress progress.Func
}

// A Picture is an index over a flight, before it is written.
type Picture struct {
	index  Index
	opt    Options
	files  []*imagery.File
	stacks []stack // each is one picture
	format geotiff.Format

	counts []int64 // pixels by step of value
	done   int64
}

// A stack is one file, or several that hold different bands of the same pixels.
type stack struct {
	files    []*imagery.File
	col, row int // of its first pixel in the picture that is made
}

// A Range is where the values of a picture lie.
type Range struct {
	Low, High float64 // 2 % of the pixels with a value lie below, 2 % above; to a hundredth, outwards
	Pixels    int64   // with a value
}

// Of prepares the picture of an index over a flight. It has the pixels of the
// flight: nothing is moved or resampled.
//
// The error is a *doubt.Problem when a band is missing, or when the flight's
// pictures do not lie on one raster.
func Of(x Index, f *imagery.Flight, opt Options) (*Picture, error) {
	p := &Picture{index: x, opt: opt, files: f.Files, counts: make([]int64, steps)}
	if err := p.stack(); err != nil {
		return nil, err
	}
	return p, p.frame()
}

// stack gathers files whose pixels coincide, and asks whether each has the
// bands.
func (p *Picture) stack() error {
	for _, f := range p.files {
		i := slices.IndexFunc(p.stacks, func(s stack) bool { return s.takes(f) })
		if i < 0 {
			i, p.stacks = len(p.stacks), append(p.stacks, stack{})
		}
		p.stacks[i].files = append(p.stacks[i].files, f)
	}
	for _, s := range p.stacks {
		for _, band := range p.index.Bands {
			if file, _ := s.find(band); file == nil {
				return p.missing(s, band)
			}
		}
	}
	return nil
}

// missing says which band the index needs and does not find.
func (p *Picture) missing(s stack, band string) error {
	var have []string
	for _, f := range s.files {
		for _, b := range f.Bands {
			if b != "" {
				have = append(have, words(b))
			}
		}
	}
	what := fmt.Sprintf("%s needs %s, and the picture has no %s band", p.index.Title, list(p.index.Bands), words(band))
	if len(have) > 0 {
		what += " (it has " + strings.Join(have, ", ") + ")"
	} else {
		what += " that is known by name"
	}
	return &doubt.Problem{
		Kind: doubt.Unfit, File: s.files[0].Name, What: what,
		Remedy: "give a picture that has it, ask for another index, or say which band is which with --bands, for example --bands green,red,rededge,nir",
	}
}

// words is a band as it is written in a sentence.
func words(band string) string {
	switch band {
	case "rededge":
		return "red edge"
	case "nir":
		return "near infrared"
	}
	return band
}

func list(bands []string) string {
	var out []string
	for _, b := range bands {
		out = append(out, words(b))
	}
	if n := len(out) - 1; n > 0 {
		return strings.Join(out[:n], ", ") + " and " + out[n]
	}
	return strings.Join(out, "")
}

// find is the file of the stack that has a band, and its sample.
func (s stack) find(band string) (*imagery.File, int) {
	for _, f := range s.files {
		if i := slices.Index(f.Bands, band); i >= 0 {
			return f, i
		}
	}
	return nil, 0
}

// takes reports whether f's pixels coincide with the stack's and hold other
// bands.
func (s stack) takes(f *imagery.File) bool {
	a, b := s.files[0].Image, f.Image
	for _, band := range f.Bands {
		if file, _ := s.find(band); band != "" && file != nil {
			return false
		}
	}
	return a.Cols == b.Cols && a.Rows == b.Rows && sameAffine(a.Affine, b.Affine) && s.files[0].CRS == f.CRS
}

func sameAffine(a, b *grid.Affine) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// frame finds the raster that all stacks lie on.
func (p *Picture) frame() error {
	first := p.files[0]
	im := first.Image
	f := geotiff.Format{
		Bands: 1, Deflate: true, Predictor: true, Workers: p.opt.Workers, Software: p.opt.Software,
		BandNames: []string{p.index.Title}, DateTime: im.DateTime,
	}
	if first.CRS.Valid() {
		if f.EPSG = first.CRS.EPSG(); f.EPSG == 0 {
			f.GeoKeys = im.GeoKeys
		}
	}
	left, top, right, bottom := 0, 0, 0, 0
	for i := range p.stacks {
		s := &p.stacks[i]
		g := s.files[0].Image
		if i > 0 {
			col, row, ok := offset(im.Affine, g.Affine)
			if !ok || s.files[0].CRS != first.CRS {
				return &doubt.Problem{
					Kind: doubt.Unfit, File: s.files[0].Name,
					What:   "its pixels do not lie on the raster of " + first.Name + ", and pictures are not moved onto each other",
					Remedy: "ask for the index of each picture by itself",
				}
			}
			s.col, s.row = col, row
		}
		left, top = min(left, s.col), min(top, s.row)
		right, bottom = max(right, s.col+g.Cols), max(bottom, s.row+g.Rows)
	}
	for i := range p.stacks {
		p.stacks[i].col -= left
		p.stacks[i].row -= top
	}
	f.Cols, f.Rows = right-left, bottom-top
	if im.Affine != nil {
		a := *im.Affine
		a.A += float64(a.B*float64(left)) + float64(a.C*float64(top))
		a.D += float64(a.E*float64(left)) + float64(a.F*float64(top))
		f.Affine = a
	}
	p.format = f
	return nil
}

// offset is where b's first pixel lies among a's pixels, if it lies on one.
func offset(a, b *grid.Affine) (col, row int, ok bool) {
	if a == nil || b == nil || a.B != b.B || a.C != b.C || a.E != b.E || a.F != b.F {
		return 0, 0, false
	}
	det := float64(a.B*a.F) - float64(a.C*a.E)
	dx, dy := b.A-a.A, b.D-a.D
	x, y := (float64(dx*a.F)-float64(dy*a.C))/det, (float64(dy*a.B)-float64(dx*a.E))/det
	c, r := math.Round(x), math.Round(y)
	const near = 0.01 // of a pixel
	return int(c), int(r), math.Abs(x-c) < near && math.Abs(y-r) < near && math.Abs(c) < 1<<30 && math.Abs(r) < 1<<30
}

// Doubts is what should be known of the picture beside its values.
func (p *Picture) Doubts() (d []doubt.Doubt) {
	for _, f := range p.files {
		switch {
		case f.SRGB:
			return append(d, doubt.Doubt{
				About:  p.index.Title,
				Says:   "The picture is display colour, not reflectance; the index is made of its bytes as they are, and compares within this picture only.",
				Settle: "Give a picture of reflectance if values of several days are to be compared.", Weight: 0.3,
			})
		case p.index.Absolute && !f.Image.Sample.Float() && Unscaled(f):
			return append(d, doubt.Doubt{
				About:  p.index.Title,
				Says:   "The picture does not say what its numbers stand for; the largest that it can hold was taken for a reflectance of 1, and " + p.index.Title + " changes with that.",
				Settle: "Export the picture with its scale, or as reflectance from 0 to 1; NDVI does not depend on it.", Weight: 0.3,
			})
		}
	}
	return d
}

// Unscaled reports whether the file says nothing of its units.
func Unscaled(f *imagery.File) bool {
	for i, band := range f.Bands {
		if band != "" && (f.Image.Scales[i] != 1 || f.Image.Offsets[i] != 0) {
			return false
		}
	}
	return true
}

// A job is a block of a stack.
type job struct {
	stack, block int
	win          grid.Window // in the picture that is made
}

// made is the values of a job.
type made struct {
	job
	px []byte
}

// WriteValues writes the index of every pixel as a cloud-optimised picture of
// 32-bit floats to w, where a pixel without a value is not a number. spool
// keeps what is compressed meanwhile. Every block of the flight is decoded once.
func (p *Picture) WriteValues(ctx context.Context, w io.Writer, spool geotiff.Spool) (Range, error) {
	f := p.format
	void := math.NaN()
	f.Sample, f.NoData, f.Level = geotiff.Float32, &void, 1 // noise hardly compresses: not worth more time
	b, err := geotiff.NewBuilder(f, spool)
	if err != nil {
		return Range{}, err
	}
	jobs, all := p.jobs(), int64(0)
	for _, j := range jobs {
		b.Expect(j.win)
		all += int64(j.win.Cols) * int64(j.win.Rows)
	}
	upper := newHeights(p.stacks, f)
	free := make(chan []byte, p.opt.Workers+2)
	start := func() func(context.Context, job) (made, error) { return p.worker(free) }
	for m, err := range raster.MapOrderedWith(ctx, p.opt.Workers, raster.Of(slices.Values(jobs)), start) {
		if err != nil {
			return Range{}, err
		}
		stride := 4 * m.win.Cols
		upper.hide(m)
		if err := b.Put(m.win, m.px, stride); err != nil {
			return Range{}, err
		}
		if m.px != nil {
			p.count(m.px)
			select {
			case free <- m.px:
			default:
			}
		}
		p.done += int64(m.win.Cols) * int64(m.win.Rows)
		p.opt.Progress.Report(progress.Event{Stage: "making the index", Done: p.done / 1e6, Total: all / 1e6, Unit: "Mpx"})
	}
	if err := b.Finish(w); err != nil {
		return Range{}, err
	}
	return p.span(), nil
}

// jobs lists the blocks from the top downwards.
func (p *Picture) jobs() (jobs []job) {
	for i, s := range p.stacks {
		im := s.files[0].Image
		for k := range im.Blocks() {
			win := im.Block(k)
			win.Col, win.Row = win.Col+s.col, win.Row+s.row
			jobs = append(jobs, job{i, k, win})
		}
	}
	slices.SortStableFunc(jobs, func(a, b job) int { return a.win.Row - b.win.Row })
	return jobs
}

// worker returns what one goroutine makes of jobs.
func (p *Picture) worker(free chan []byte) func(context.Context, job) (made, error) {
	readers := map[int]*reader{}
	return func(_ context.Context, j job) (made, error) {
		r := readers[j.stack]
		if r == nil {
			if len(readers) >= mostReaders {
				clear(readers)
			}
			r = newReader(p.index, p.stacks[j.stack])
			readers[j.stack] = r
		}
		n := 4 * j.win.Cols * j.win.Rows
		var px []byte
		select {
		case px = <-free:
		default:
		}
		px = slices.Grow(px[:0], n)[:n]
		has, err := r.values(j.block, px)
		if err != nil || !has {
			px = nil
		}
		return made{j, px}, err
	}
}

// mostReaders is how many pictures of a mosaic one worker keeps open.
const mostReaders = 8

// Values are counted in steps of v/(1+|v|), which goes from -1 to 1: a step is
// 0.00003 at 0 and 0.001 at 5.
const steps = 1 << 16

func stepOf(v float64) int {
	return min(steps-1, max(0, int((v/(1+math.Abs(v))+1)/2*steps)))
}

// valueOf is the middle of a step.
func valueOf(step int) float64 {
	s := (float64(step)+0.5)/steps*2 - 1
	return s / (1 - math.Abs(s))
}

// count counts the values of a block.
func (p *Picture) count(px []byte) {
	for ; len(px) >= 4; px = px[4:] {
		if v := math.Float32frombits(binary.LittleEndian.Uint32(px)); v == v {
			p.counts[stepOf(float64(v))]++
		}
	}
}

// span is the range of what was counted.
func (p *Picture) span() Range {
	r := Range{}
	for _, n := range p.counts {
		r.Pixels += n
	}
	if r.Pixels == 0 {
		return r
	}
	at := func(share float64) float64 {
		sum, want := int64(0), int64(share*float64(r.Pixels-1))
		for step, n := range p.counts {
			if sum += n; sum > want {
				return valueOf(step)
			}
		}
		return valueOf(steps - 1)
	}
	r.Low, r.High = math.Floor(at(0.02)*100)/100, math.Ceil(at(0.98)*100)/100
	if r.High <= r.Low {
		r.High = r.Low + 0.01
	}
	return r
}

// WriteColors writes the picture of the values in src, size bytes long, as
// WriteValues made them, to w: a cloud-optimised picture of bytes with a colour
// for each. 0 is no value; 1 to 255 run from the low end of the range to the
// high one, and the file's scale and offset turn them into values again.
func (p *Picture) WriteColors(ctx context.Context, w io.Writer, spool geotiff.Spool, src io.ReaderAt, size int64, r Range) error {
	from, err := geotiff.Open(src, size)
	if err != nil {
		return fmt.Errorf("reading the values again: %w", err)
	}
	f := p.format
	void := 0.0
	step := (r.High - r.Low) / 254
	f.Sample, f.NoData, f.Predictor, f.Level = geotiff.Uint8, &void, false, 3
	f.Scales, f.Offsets = []float64{step}, []float64{r.Low - step}
	f.Palette = palette()
	b, err := geotiff.NewBuilder(f, spool)
	if err != nil {
		return err
	}
	for i := range from.Blocks() {
		b.Expect(from.Block(i))
	}
	start := func() func(context.Context, int) ([]byte, error) {
		dec, values := from.NewDecoder(), make([]byte, from.BlockBytes())
		return func(_ context.Context, i int) ([]byte, error) {
			if err := dec.Decode(i, values); err != nil {
				return nil, fmt.Errorf("reading the values again: %w", err)
			}
			out := make([]byte, len(values)/4)
			for k := range out {
				v := float64(math.Float32frombits(binary.LittleEndian.Uint32(values[4*k:])))
				if v == v {
					out[k] = uint8(1 + math.Round(254*min(1, max(0, (v-r.Low)/(r.High-r.Low)))))
				}
			}
			return out, nil
		}
	}
	blocks := func(yield func(int, error) bool) {
		for i := range from.Blocks() {
			if !yield(i, nil) {
				return
			}
		}
	}
	next := 0
	for px, err := range raster.MapOrderedWith(ctx, p.opt.Workers, blocks, start) {
		if err != nil {
			return err
		}
		if err := b.Put(from.Block(next), px, from.BlockCols); err != nil {
			return err
		}
		next++
		p.opt.Progress.Report(progress.Event{Stage: "colouring the index", Done: int64(next), Total: int64(from.Blocks())})
	}
	return b.Finish(w)
}

// palette is the colour of each byte; black for no value.
func palette() [][3]uint8 {
	ramp := Colors()
	out := make([][3]uint8, 256)
	for i := 1; i < 256; i++ {
		out[i] = ramp[(i-1)*255/254]
	}
	return out
}

// heights are which stack the values of a mosaic are from, so that later ones
// hide earlier ones whatever their blocks' order is. Rows that no block will
// touch any more are given up.
type heights struct {
	rows  [][]uint16 // 0 where nothing is yet, else the stack's place from 1; nil for one stack
	left  []int32    // blocks to come
	width int
}

func newHeights(stacks []stack, f geotiff.Format) *heights {
	if len(stacks) < 2 {
		return nil
	}
	h := &heights{rows: make([][]uint16, f.Rows), left: make([]int32, f.Rows), width: f.Cols}
	for _, s := range stacks {
		for i := range s.files[0].Image.Blocks() {
			win := s.files[0].Image.Block(i)
			for r := range win.Rows {
				h.left[win.Row+s.row+r]++
			}
		}
	}
	return h
}

// hide takes the values out of m that lie under those of a later stack.
func (h *heights) hide(m made) {
	if h == nil {
		return
	}
	for r := range m.win.Rows {
		row := m.win.Row + r
		if h.left[row]--; m.px != nil {
			if h.rows[row] == nil {
				h.rows[row] = make([]uint16, h.width)
			}
			h.hideRow(h.rows[row][m.win.Col:], m.px[4*r*m.win.Cols:][:4*m.win.Cols], uint16(m.stack+1))
		}
		if h.left[row] == 0 {
			h.rows[row] = nil
		}
	}
}

func (h *heights) hideRow(over []uint16, px []byte, height uint16) {
	for c := range len(px) / 4 {
		v := math.Float32frombits(binary.LittleEndian.Uint32(px[4*c:]))
		switch {
		case v != v:
		case over[c] > height:
			binary.LittleEndian.PutUint32(px[4*c:], math.Float32bits(float32(math.NaN())))
		default:
			over[c] = height
		}
	}
}

// A reader makes the values of the blocks of one stack.
type reader struct {
	index Index
	stack stack
	bands []source
	files []*windows // of the bands, each file once; the first is the stack's first
	masks []*windows
}

// A source is where a band comes from.
type source struct {
	file          int // of files
	sample        int
	scale, offset float64
	void          float64 // of the samples; not a number without
	value         func(v *Values) *float64
}

func newReader(x Index, s stack) *reader {
	r := &reader{index: x, stack: s}
	var used []*imagery.File
	for _, band := range x.Bands {
		f, sample := s.find(band)
		at := slices.Index(used, f)
		if at < 0 {
			at = len(used)
			used = append(used, f)
			r.files = append(r.files, newWindows(f.Image, f.Name))
			if f.Mask != nil {
				r.masks = append(r.masks, newWindows(f.Mask, f.Name))
			}
		}
		src := source{
			file: at, sample: sample, void: math.NaN(),
			value: func(v *Values) *float64 { return v.of(band) },
		}
		src.scale, src.offset = ScaleOf(f, sample)
		if f.Image.NoData != nil {
			src.void = *f.Image.NoData
		}
		r.bands = append(r.bands, src)
	}
	return r
}

// ScaleOf is how a stored sample of f becomes a reflectance: times scale, plus
// offset. Where the file says nothing of its units, the largest number that it can
// hold is a reflectance of 1.
func ScaleOf(f *imagery.File, sample int) (scale, offset float64) {
	if full := whole(f.Image.Sample); full > 0 && Unscaled(f) {
		return 1 / full, 0
	}
	return f.Image.Scales[sample], f.Image.Offsets[sample]
}

// whole is the largest number of the samples that stand for a share of it; 0
// for floats.
func whole(s geotiff.Sample) float64 {
	switch s {
	case geotiff.Uint8:
		return math.MaxUint8
	case geotiff.Uint16:
		return math.MaxUint16
	case geotiff.Int16:
		return math.MaxInt16
	case geotiff.Uint32:
		return math.MaxUint32
	case geotiff.Int32:
		return math.MaxInt32
	default:
		return 0
	}
}

// values writes the index of a block's pixels to px, 32-bit floats row after row; has
// is false where the files hold nothing there.
func (r *reader) values(block int, px []byte) (has bool, err error) {
	win := r.stack.files[0].Image.Block(block)
	for _, f := range r.files {
		if err := f.load(win); err != nil {
			return false, err
		}
		has = has || !f.empty
	}
	if !has {
		return false, nil
	}
	for _, m := range r.masks {
		if err := m.load(win); err != nil {
			return false, err
		}
	}
	for i := range win.Cols * win.Rows {
		v := math.NaN()
		if r.shown(i) {
			v = r.pixel(i)
		}
		binary.LittleEndian.PutUint32(px[4*i:], math.Float32bits(float32(v)))
	}
	return true, nil
}

// shown reports whether neither mask nor transparency hides pixel i.
func (r *reader) shown(i int) bool {
	for _, m := range r.masks {
		if m.sample(i, 0) == 0 {
			return false
		}
	}
	for _, f := range r.files {
		if f.im.Alpha >= 0 && f.sample(i, f.im.Alpha) == 0 {
			return false
		}
	}
	return true
}

func (r *reader) pixel(i int) float64 {
	var v Values
	for k := range r.bands {
		b := &r.bands[k]
		raw := r.files[b.file].sample(i, b.sample)
		if raw == b.void {
			return math.NaN()
		}
		*b.value(&v) = float64(raw*b.scale) + b.offset
	}
	return r.index.Value(v)
}

// windows reads windows of a picture's pixels, and keeps the blocks it read
// last: those of the files of a stack need not lie alike.
type windows struct {
	im    *geotiff.Image
	name  string
	dec   *geotiff.Decoder
	kept  []keptBlock
	next  int    // of kept to be given up
	data  []byte // the window's pixels, row after row
	empty bool   // the file holds nothing there
}

type keptBlock struct {
	block int
	data  []byte
}

// keptBytes is how much of a picture one reader keeps decoded.
const keptBytes = 16 << 20

func newWindows(im *geotiff.Image, name string) *windows {
	return &windows{im: im, name: name, dec: im.NewDecoder()}
}

// load reads the pixels of w.
func (s *windows) load(w grid.Window) error {
	px := s.im.Bands * s.im.Sample.Bytes()
	s.data = slices.Grow(s.data[:0], w.Cols*w.Rows*px)[:w.Cols*w.Rows*px]
	s.empty = true
	across := (s.im.Cols + s.im.BlockCols - 1) / s.im.BlockCols
	for down := w.Row / s.im.BlockRows; down*s.im.BlockRows < w.Row+w.Rows; down++ {
		for right := w.Col / s.im.BlockCols; right*s.im.BlockCols < w.Col+w.Cols; right++ {
			i := down*across + right
			data, err := s.block(i)
			if err != nil {
				return s.named(err)
			}
			s.empty = s.empty && s.im.BlockEmpty(i)
			col, row := right*s.im.BlockCols, down*s.im.BlockRows
			part := w.Intersect(grid.Window{Col: col, Row: row, Cols: s.im.BlockCols, Rows: s.im.BlockRows})
			for r := part.Row; r < part.Row+part.Rows; r++ {
				copy(s.data[((r-w.Row)*w.Cols+part.Col-w.Col)*px:][:part.Cols*px], data[((r-row)*s.im.BlockCols+part.Col-col)*px:])
			}
		}
	}
	return nil
}

// block is a decoded block.
func (s *windows) block(i int) ([]byte, error) {
	if k := slices.IndexFunc(s.kept, func(b keptBlock) bool { return b.block == i }); k >= 0 {
		return s.kept[k].data, nil
	}
	if len(s.kept) < max(keptBytes/s.im.BlockBytes(), 1) {
		s.next = len(s.kept)
		s.kept = append(s.kept, keptBlock{data: make([]byte, s.im.BlockBytes())})
	} else {
		s.next = (s.next + 1) % len(s.kept)
	}
	b := &s.kept[s.next]
	b.block = -1
	if err := s.dec.Decode(i, b.data); err != nil {
		return nil, err
	}
	b.block = i
	return b.data, nil
}

// named puts the file's name into a problem with its pixels.
func (s *windows) named(err error) error {
	var p *doubt.Problem
	if !errors.As(err, &p) {
		return fmt.Errorf("reading %s: %w", s.name, err)
	}
	named := *p
	named.File = s.name
	return &named
}

// sample is sample b of pixel i of the window.
func (s *windows) sample(i, b int) float64 {
	n := s.im.Sample.Bytes()
	from := s.data[(i*s.im.Bands+b)*n:]
	switch s.im.Sample {
	case geotiff.Uint8:
		return float64(from[0])
	case geotiff.Uint16:
		return float64(binary.LittleEndian.Uint16(from))
	case geotiff.Int16:
		return float64(int16(binary.LittleEndian.Uint16(from)))
	case geotiff.Uint32:
		return float64(binary.LittleEndian.Uint32(from))
	case geotiff.Int32:
		return float64(int32(binary.LittleEndian.Uint32(from)))
	case geotiff.Float32:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(from)))
	default:
		return math.Float64frombits(binary.LittleEndian.Uint64(from))
	}
}
