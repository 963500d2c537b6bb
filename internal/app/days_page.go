package app

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	toml "github.com/pelletier/go-toml/v2"

	"bittern/internal/doubt"
	"bittern/internal/imagery"
	"bittern/internal/question"
	"bittern/internal/typed"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// A DayPage is everything that the page says of one day. What is not known is
// null.
type DayPage struct {
	ID        string         `json:"id"`
	State     string         `json:"state"`
	Folder    string         `json:"folder"`
	Asked     typed.Asked    `json:"asked"`
	Typed     map[string]any `json:"typed"` // the typed files, by kind
	Picture   *Description   `json:"picture"`
	Boundary  *BoundaryShown `json:"boundary"`
	Wants     []string       `json:"wants"`
	Questions []string       `json:"questions"`
	Stale     bool           `json:"stale"` // something was given after the day was made
	Problem   *string        `json:"problem"`
	Day       *Day           `json:"day"`
	Words     *PageWords     `json:"words"`
	Sheets    []FileShown    `json:"sheets"`
	Files     []FileShown    `json:"files"`
}

// A BoundaryShown is the field that a boundary file holds.
type BoundaryShown struct {
	Name    string   `json:"name"`
	Acres   *float64 `json:"acres"`
	Problem *string  `json:"problem"`
}

// A FileShown is one file to take away.
type FileShown struct {
	Name string `json:"name"` // slash-separated, in the day's folder
	What string `json:"what"`
}

// PageWords are the sentences that page, paper and terminal share.
type PageWords struct {
	Where   string            `json:"where"`
	HowSure string            `json:"how_sure"`
	Missed  string            `json:"missed"`
	Cost    string            `json:"cost"`
	Killed  string            `json:"killed"`
	Ground  string            `json:"ground"`
	Notes   []string          `json:"notes"`
	Flips   []string          `json:"flips"`
	Area    map[string]string `json:"area"`   // by the suspect's or block's id: its acres in words
	Comes   map[string]string `json:"comes"`  // by the suspect's id: what it comes to
	Chance  map[string]string `json:"chance"` // by the suspect's id: when it pays
	Small   string            `json:"small"`  // the unlettered, together
	Money   []MoneyRow        `json:"money"`
	Caution []string          `json:"caution"`
}

// A MoneyRow is one alternative in words.
type MoneyRow struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	Area   string `json:"area"`
	Cost   string `json:"cost"`
	Loss   string `json:"loss"`
	Note   string `json:"note"`
	Chosen bool   `json:"chosen"`
}

// Page is everything that the page says of a day.
func (d *Days) Page(ctx context.Context, id string) (*DayPage, error) {
	p, err := d.known(id)
	if err != nil {
		return nil, err
	}
	day, err := readDay(p.out)
	page := &DayPage{
		ID: id, Folder: p.out, Questions: question.Names(), Typed: map[string]any{},
		Wants: []string{}, Sheets: []FileShown{}, Files: []FileShown{}, Day: day,
	}
	if err != nil {
		text := PageSentence(err)
		page.Problem = &text
	}
	page.State = d.state(id, day)
	asked, err := typed.ReadAsked(p.asked)
	if err == nil {
		page.Asked = asked
	} else if !isMissing(p.asked) {
		text := PageSentence(err)
		page.Problem = &text
	}
	from := asked.From(p.given)
	page.describeGiven(ctx, from)
	page.readTyped(from)
	if day != nil {
		page.Words = day.pageWords()
		page.listFiles(day)
		page.Stale = newer(p.asked, filepath.Join(p.out, "data", "day.json"))
	}
	return page, nil
}

// describeGiven says what the given picture and boundary are.
func (page *DayPage) describeGiven(ctx context.Context, a typed.Asked) {
	req := Request{Boundary: a.Boundary, Imagery: a.Imagery, Question: a.Question}
	page.Wants = append(page.Wants, wants(req)...)
	if len(a.Imagery) > 0 {
		d, err := describeAll(ctx, a.Imagery, a.Bands)
		if err != nil {
			d = &Description{
				File: filepath.Base(a.Imagery[0]), Bands: []Band{}, CanAsk: []string{}, Warnings: []Warning{},
				Missing: []Missing{{What: PageSentence(err), Do: ""}},
			}
		}
		page.Picture = d
	}
	if a.Boundary == "" {
		return
	}
	shown := &BoundaryShown{Name: a.Field}
	if field, err := vector.Boundary(a.Boundary, a.Field); err != nil {
		text := PageSentence(err)
		shown.Problem = &text
	} else {
		acres := acresOf(field.Polygon)
		shown.Acres = &acres
		if shown.Name == "" {
			shown.Name = field.Name
		}
	}
	page.Boundary = shown
}

// describeAll is Describe for the pictures of one flight together.
func describeAll(ctx context.Context, paths, bands []string) (*Description, error) {
	if len(paths) == 1 {
		return Describe(ctx, paths[0], bands)
	}
	flight, err := imagery.Look(ctx, paths, imagery.Options{Bands: bands})
	if err != nil {
		return nil, err
	}
	return describe(flight), flight.Close()
}

// readTyped gives the typed files back to the form that they came from.
func (page *DayPage) readTyped(a typed.Asked) {
	read := func(kind, path string) {
		if path == "" {
			return
		}
		var values map[string]any
		if data, err := os.ReadFile(path); err == nil && toml.Unmarshal(data, &values) == nil {
			page.Typed[kind] = values
		}
	}
	read("prices", a.Prices)
	read("products", a.Products)
	if len(a.Applicators) > 0 {
		read("applicator", a.Applicators[0])
	}
}

// newer reports whether file a was changed after file b was.
func newer(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	return errA == nil && errB == nil && infoA.ModTime().After(infoB.ModTime())
}

// fileWords say what a file is for.
var fileWords = map[string]string{
	"field-sheet.pdf":       "the field sheet, to print and keep",
	"job-sheet.pdf":         "the job sheet, for the one who applies",
	"job-sheet.png":         "the job sheet as a picture, to text",
	"skip-sheet.pdf":        "the strips that were missed",
	"data/day.gpkg":         "all maps in one file, for a mapping program",
	"data/day.json":         "every figure, for programs",
	"data/departure.tif":    "how far each half metre departs",
	"data/plain.tif":        "the flight in plain colour, small",
	"data/before.tif":       "the flight before, laid back on it, small",
	"data/bands.tif":        "what each half metre reflects, band by band",
	"data/left-out.tif":     "what was left out, and why",
	"data/field-sheet.png":  "the field sheet as a picture",
	"data/field.geojson":    "the boundary",
	"data/suspects.geojson": "the suspects",
	"data/checks.geojson":   "the checks",
	"data/levees.geojson":   "the levees",
	"data/skips.geojson":    "the strips that were missed",
	"data/blocks.geojson":   "the blocks",
	"data/runs.geojson":     "the runs",
}

func (page *DayPage) listFiles(day *Day) {
	for _, name := range day.Outputs {
		f := FileShown{Name: name, What: fileWords[name]}
		switch {
		case strings.HasPrefix(name, "guidance/"):
			f.What = "guidance for " + strings.Split(name, "/")[1]
			page.Files = append(page.Files, f)
		case strings.HasPrefix(name, "data/"):
			page.Files = append(page.Files, f)
		default:
			page.Sheets = append(page.Sheets, f)
		}
	}
}

// pageWords are the day's sentences for the page.
func (d *Day) pageWords() *PageWords {
	units, _ := unit.ParseSystem(d.Options.Units)
	w := &PageWords{
		Where: d.whereAndWhen(), HowSure: d.howSure(), Missed: d.missed(units), Cost: d.cost(), Killed: d.killedWords(units),
		Ground: d.groundWords(units), Notes: orEmpty(d.notes(units)), Flips: []string{}, Money: []MoneyRow{},
		Area: map[string]string{}, Comes: map[string]string{}, Chance: map[string]string{}, Caution: cautions[:],
	}
	small, acres := 0, 0.0
	for _, s := range d.Suspects {
		w.Area[s.ID] = units.Area(unit.Acres(s.Acres))
		w.Comes[s.ID] = verdictWalk
		if s.Verdict != nil {
			w.Comes[s.ID] = *s.Verdict
		}
		if s.BreakEvenChance != nil {
			w.Chance[s.ID] = chanceWords(*s.BreakEvenChance)
		}
		if s.Letter == nil {
			small, acres = small+1, acres+s.Acres
		}
	}
	if small > 0 {
		w.Small = unit.Sentence(plural(small, "small one", "small ones")) + ", " + units.Area(unit.Acres(acres)) + " together."
	}
	for _, b := range d.Blocks {
		w.Area[b.ID] = units.Area(unit.Acres(b.Acres))
	}
	if r := d.Reckoning; r != nil {
		for _, a := range r.Alternatives {
			area := "nothing"
			if a.TreatedAcres > 0 {
				area = units.Area(unit.Acres(a.TreatedAcres))
			}
			w.Money = append(w.Money, MoneyRow{
				ID: a.ID, Name: a.Name, Area: area, Cost: money(a.CostDollars),
				Loss: lossWords(a.LossDollars), Note: a.note(), Chosen: r.Choice != nil && *r.Choice == a.ID,
			})
		}
		for _, f := range r.Flips {
			w.Flips = append(w.Flips, r.flipWords(f))
		}
	}
	return w
}

// OpenFile opens one file of a day to be taken away: only what the day lists.
func (d *Days) OpenFile(id, name string) (*os.File, error) {
	p, err := d.known(id)
	if err != nil {
		return nil, err
	}
	day, err := readDay(p.out)
	if err != nil {
		return nil, err
	}
	if day == nil || !slices.Contains(day.Outputs, name) || !filepath.IsLocal(filepath.FromSlash(name)) {
		return nil, &doubt.Problem{What: "this day has no such file", Remedy: "go back to the day"}
	}
	f, err := os.OpenInRoot(p.out, filepath.FromSlash(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &doubt.Problem{File: name, What: "is no longer in the day's folder", Remedy: "run the day again", Err: err}
	}
	return f, err
}
