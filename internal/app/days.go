package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/invent"
	"bittern/internal/picture"
	"bittern/internal/progress"
	"bittern/internal/typed"
)

// The folders and files of one day in a folder of days: what was given, and what
// was made of it. A day that `bittern run` wrote straight into the folder has
// neither folder, only the files of the day.
const (
	givenName = "given"
	dayName   = "day"
	askedName = "asked.toml"
)

// Days is a folder of days. Its methods may be called from several goroutines.
type Days struct {
	root    string
	program string
	set     Setting
	now     func() time.Time
	blocks  *picture.Store // of the pictures that are open

	mu      sync.Mutex
	work    map[string]*working  // by the day's id: what is being made, or was last
	shown   map[string]*shownDay // days whose pictures are open
	order   []string             // ids in shown, the latest used last
	stopped bool
	running sync.WaitGroup
}

// OpenDays opens a folder of days, and makes it when it is not there.
func OpenDays(root, program string, set Setting, now func() time.Time) (*Days, error) {
	if err := os.MkdirAll(root, 0o755); err != nil {
		return nil, writeProblem(root, err)
	}
	return &Days{
		root: root, program: program, set: set, now: now, blocks: picture.NewStore(blockBytes),
		work: map[string]*working{}, shown: map[string]*shownDay{},
	}, nil
}

// Root is the folder.
func (d *Days) Root() string { return d.root }

// Close stops what is being made and closes the pictures.
func (d *Days) Close() {
	d.mu.Lock()
	d.stopped = true
	for _, w := range d.work {
		w.cancel()
	}
	d.mu.Unlock()
	d.running.Wait()
	d.mu.Lock()
	defer d.mu.Unlock()
	for id := range d.shown {
		d.forget(id)
	}
}

// A DayRow is one line of the list of days. What is not known is null.
type DayRow struct {
	ID       string   `json:"id"`
	State    string   `json:"state"`
	Field    string   `json:"field"`
	Question string   `json:"question"`
	Flown    string   `json:"flown"`
	Acres    *float64 `json:"acres"`
	Answer   []string `json:"answer"`
}

// The states of a day on the page.
const (
	stateAsking  = "asking"  // something is still wanted, or nobody said go
	stateWorking = "working" // being made
	stateDone    = "done"
)

// List lists the days, the latest flight first.
func (d *Days) List() ([]DayRow, error) {
	entries, err := os.ReadDir(d.root)
	if err != nil {
		return nil, &doubt.Problem{Kind: doubt.System, File: d.root, What: "cannot be looked at: " + reason(err), Remedy: "check that the folder is there", Err: err}
	}
	rows := []DayRow{}
	for _, e := range entries {
		if !e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		if row, ok := d.row(e.Name()); ok {
			rows = append(rows, row)
		}
	}
	slices.SortStableFunc(rows, func(a, b DayRow) int {
		return cmp.Or(cmp.Compare(b.Flown, a.Flown), cmp.Compare(a.Field, b.Field), cmp.Compare(a.ID, b.ID))
	})
	return rows, nil
}

// row is the list's line for a folder; false when it holds no day.
func (d *Days) row(id string) (DayRow, bool) {
	at := d.place(id)
	day, _ := readDay(at.out) // one that cannot be read is as none: the day itself says why
	asked, err := typed.ReadAsked(at.asked)
	if day == nil && err != nil {
		return DayRow{}, false
	}
	row := DayRow{ID: id, State: d.state(id, day), Field: asked.Field, Question: asked.Question, Flown: asked.Flown, Answer: []string{}}
	if day != nil {
		row.Field, row.Question, row.Flown = day.Field.Name, day.Question, deref(day.Flown)
		row.Acres, row.Answer = &day.Field.Acres, day.Answer
	}
	if row.Field == "" {
		row.Field = id
	}
	return row, true
}

// state is what a day is on the page.
func (d *Days) state(id string, day *Day) string {
	d.mu.Lock()
	w := d.work[id]
	d.mu.Unlock()
	switch {
	case w != nil && w.going():
		return stateWorking
	case day != nil:
		return stateDone
	}
	return stateAsking
}

// A dayPlace says where the parts of one day are.
type dayPlace struct {
	dir   string // the day's own folder
	given string // the folder of what was given
	asked string // the file of what was asked
	out   string // the folder that a run writes
}

func (d *Days) place(id string) dayPlace {
	dir := filepath.Join(d.root, id)
	p := dayPlace{dir: dir, given: filepath.Join(dir, givenName), out: filepath.Join(dir, dayName)}
	p.asked = filepath.Join(p.given, askedName)
	if _, err := os.Stat(filepath.Join(dir, "data", "day.json")); err == nil {
		p.out = dir // written by a run without the page
	}
	return p
}

// known returns where a day is; a *doubt.Problem when there is none of that id.
func (d *Days) known(id string) (dayPlace, error) {
	if !plainName(id) {
		return dayPlace{}, noSuchDay(id)
	}
	p := d.place(id)
	if _, ok := d.row(id); !ok {
		return p, noSuchDay(id)
	}
	return p, nil
}

func noSuchDay(id string) error {
	return &doubt.Problem{What: fmt.Sprintf("there is no day %q in this folder", id), Remedy: "go back to the list of days"}
}

// plainName reports whether a name is one file's in a folder, and no way out of
// it on any system.
func plainName(name string) bool {
	return name != "" && len(name) <= 120 && filepath.IsLocal(name) && !strings.HasPrefix(name, ".") &&
		!strings.ContainsAny(name, `/\:*?"<>|`+"\x00") && !strings.HasSuffix(name, ".") && !strings.HasSuffix(name, " ")
}

// New makes an empty day and returns its id.
func (d *Days) New() (string, error) {
	for n := 1; n < 1000; n++ {
		id := fmt.Sprintf("day-%d", n)
		p := d.place(id)
		err := os.Mkdir(p.dir, 0o755)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err == nil {
			err = os.Mkdir(p.given, 0o755)
		}
		if err == nil {
			err = typed.Asked{Question: "escapes"}.Write(p.asked)
		}
		if err != nil {
			_ = os.RemoveAll(p.dir) // nothing of anybody's is in it yet
			return "", writeProblem(d.root, err)
		}
		return id, nil
	}
	return "", &doubt.Problem{File: d.root, What: "holds a thousand days", Remedy: "open another folder"}
}

// asked is what a day was asked, with paths that can be opened.
func (p dayPlace) readAsked() (typed.Asked, error) {
	a, err := typed.ReadAsked(p.asked)
	return a.From(p.given), err
}

// change reads what was asked, lets do change it, and writes it again. Paths are
// those of the file.
func (d *Days) change(p dayPlace, do func(*typed.Asked) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	a, err := typed.ReadAsked(p.asked)
	if errors.Is(err, fs.ErrNotExist) || isMissing(p.asked) {
		a, err = typed.Asked{Question: "escapes"}, os.MkdirAll(p.given, 0o755)
	}
	if err != nil {
		return err
	}
	if err := do(&a); err != nil {
		return err
	}
	if err := a.Write(p.asked); err != nil {
		return writeProblem(p.given, err)
	}
	return nil
}

func isMissing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}

// request is the run that a day asks for.
func (d *Days) request(p dayPlace) (Request, error) {
	a, err := p.readAsked()
	return requestOf(a, p.out, d.program, true), err
}

// requestOf is the run that writes what was asked to out, for the page or not.
func requestOf(a typed.Asked, out, program string, page bool) Request {
	return Request{
		Boundary: a.Boundary, Imagery: a.Imagery, Question: a.Question, Out: out, Bands: a.Bands, Field: a.Field,
		Flown: a.Flown, Treated: a.Treated, Before: a.Before, BeforeFlown: a.BeforeFlown,
		SwathFt: a.SwathFt, SprayHeadingDeg: a.SprayHeadingDeg,
		Levees: a.Levees, Marks: a.Marks, Strip: a.Strip, Applicators: a.Applicators,
		Prices: a.Prices, Products: a.Products, Sightings: a.Sightings,
		Units: cmp.Or(a.Units, "us"), Page: page, Program: program,
	}
}

// Start begins the run of a day. It returns when the run has begun.
func (d *Days) Start(id string) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	req, err := d.request(p)
	if err != nil {
		return err
	}
	if want := wants(req); len(want) > 0 {
		return &doubt.Problem{What: "the day cannot be run yet", Remedy: "give " + list(want)}
	}
	return d.begin(id, "run", func(ctx context.Context, set Setting) error {
		_, err := Run(ctx, req, set)
		return err
	})
}

// wants lists what a run needs and has not got.
func wants(r Request) []string {
	var out []string
	if len(r.Imagery) == 0 {
		out = append(out, "a picture")
	}
	if r.Boundary == "" {
		out = append(out, "the field's boundary")
	}
	if r.Question == "" {
		out = append(out, "a question")
	}
	return out
}

// Invent begins the run of the invented field, and returns its day's id.
func (d *Days) Invent(acres float64) (string, error) {
	const id = "invented-field"
	p := d.place(id)
	if _, ok := d.row(id); !ok && !isMissing(p.dir) {
		return "", &doubt.Problem{File: p.dir, What: "is not the invented field", Remedy: "move it out of the folder of days"}
	}
	// What is asked is known before anything is made: so the list has the day.
	const seed = 1
	if err := errors.Join(os.MkdirAll(p.given, 0o755), demoAsked(invent.Demo(seed)).Write(p.asked)); err != nil {
		return "", writeProblem(d.root, err)
	}
	return id, d.begin(id, "run", func(ctx context.Context, set Setting) error {
		_, err := RunDemo(ctx, DemoRequest{Out: p.dir, Seed: seed, Acres: acres, Page: true, Program: d.program}, set)
		return err
	})
}

// Look begins to make a rough picture of what was given, so that a boundary can
// be drawn on it.
func (d *Days) Look(id string) error {
	p, err := d.known(id)
	if err != nil {
		return err
	}
	a, err := p.readAsked()
	if err != nil {
		return err
	}
	if len(a.Imagery) == 0 {
		return &doubt.Problem{What: "there is no picture to look at", Remedy: "give one first"}
	}
	return d.begin(id, "look", func(ctx context.Context, set Setting) error {
		return d.lookAt(ctx, id, a, set)
	})
}

// A working is what is being made of one day, or was last.
type working struct {
	what   string // "run" or "look"
	cancel context.CancelFunc
	watch  progress.Watch
	mu     sync.Mutex
	parts  []Part
	done   bool
	err    error
}

// going tells whether it is not done yet.
func (w *working) going() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return !w.done
}

// begin runs do in the background; one at a time in a folder, because a run
// takes the whole machine.
func (d *Days) begin(id, what string, do func(context.Context, Setting) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.stopped {
		return &doubt.Problem{Kind: doubt.System, What: "the program is stopping", Remedy: "start it again"}
	}
	for other, w := range d.work {
		if w.going() {
			return &doubt.Problem{What: fmt.Sprintf("%q is being worked on", other), Remedy: "wait for it, or stop it first"}
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	w := &working{what: what, cancel: cancel}
	w.watch.Now = d.now
	d.work[id] = w
	set := d.set
	set.Progress = w.watch.Report
	set.Part = func(p Part) {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.parts = append(w.parts, p)
	}
	if what == "run" {
		d.forget(id) // its pictures are about to be replaced
	}
	d.running.Go(func() {
		err := safely(ctx, set, do)
		cancel()
		d.mu.Lock()
		if what == "run" {
			d.forget(id)
		}
		d.mu.Unlock()
		w.mu.Lock()
		defer w.mu.Unlock()
		w.done, w.err = true, err
	})
	return nil
}

// safely turns a defect of ours into a problem: the page and its other days go
// on.
func safely(ctx context.Context, set Setting, do func(context.Context, Setting) error) (err error) {
	defer func() {
		if defect := recover(); defect != nil {
			err = &doubt.Problem{
				Kind: doubt.System, What: fmt.Sprintf("a defect of the program stopped it (%v); nothing was written", defect),
				Remedy: "report it with what you did",
			}
		}
	}()
	return do(ctx, set)
}

// Cancel stops what is being made of a day. What was there before is as it was.
func (d *Days) Cancel(id string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if w := d.work[id]; w != nil {
		w.cancel()
	}
}

// A Going is how far the work on a day has come.
type Going struct {
	What    string   `json:"what"`  // "run", "look", or "" when nothing was begun
	Going   bool     `json:"going"` // it is not done yet
	Stage   string   `json:"stage"`
	Share   *float64 `json:"share"`
	Rate    *float64 `json:"rate"`
	Unit    string   `json:"unit"`
	LeftS   *float64 `json:"left_s"`
	Parts   []Part   `json:"parts"`
	Problem *string  `json:"problem"` // why it stopped
}

// Going tells how far the work on a day has come.
func (d *Days) Going(id string) Going {
	d.mu.Lock()
	w := d.work[id]
	d.mu.Unlock()
	if w == nil {
		return Going{Parts: []Part{}}
	}
	s := w.watch.State()
	w.mu.Lock()
	defer w.mu.Unlock()
	g := Going{What: w.what, Going: !w.done, Stage: s.Stage, Unit: s.Unit, Parts: append([]Part{}, w.parts...)}
	if s.Counted {
		g.Share = &s.Share
	}
	if s.Rate > 0 {
		g.Rate = &s.Rate
	}
	if s.LeftS > 0 {
		g.LeftS = &s.LeftS
	}
	if w.done && w.err != nil {
		text := PageSentence(w.err)
		g.Problem = &text
	}
	return g
}

// option is one of the terminal's in a sentence, with the word before it.
var option = regexp.MustCompile(` (with|by|in) --[a-z-]+`)

// PageSentence is Sentence where there is no command line.
func PageSentence(err error) string { return option.ReplaceAllString(Sentence(err), "") }

// Sentence is what is said of an error, on one line.
func Sentence(err error) string {
	if errors.Is(err, context.Canceled) {
		return "stopped before it was done; nothing was written"
	}
	var p *doubt.Problem
	text := err.Error()
	if errors.As(err, &p) {
		text = p.Error()
	}
	return strings.Join(strings.Fields(text), " ")
}
