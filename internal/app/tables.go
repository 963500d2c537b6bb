package app

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"bittern/internal/norm"
	"bittern/internal/unit"
)

// Nitrogen says how the crop compares with strips that had extra nitrogen.
type Nitrogen struct {
	Index       *string         `json:"index"` // NDRE, or GNDVI without a red-edge band; null when no strip served
	Sufficiency *float64        `json:"sufficiency"`
	Low         *float64        `json:"low"`
	High        *float64        `json:"high"`
	Strips      []Strip         `json:"strips"`
	Checks      []CheckNitrogen `json:"checks"` // in the checks' order
}

// A Strip is ground with extra nitrogen, as given.
type Strip struct {
	ID            string   `json:"id"` // its place in the file, from 1
	PoundsPerAcre *float64 `json:"pounds_per_acre"`
	Date          *string  `json:"date"`
	Acres         float64  `json:"acres"`
	WidthFt       float64  `json:"width_ft"`
	LengthFt      float64  `json:"length_ft"`
	Used          bool     `json:"used"`
	Why           *string  `json:"why"` // it was not used
}

// CheckNitrogen is one check's sufficiency.
type CheckNitrogen struct {
	Check       string   `json:"check"`
	Sufficiency *float64 `json:"sufficiency"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
}

// Harvest is the order in which the checks have turned, the ripest first.
type Harvest struct {
	Order       []CheckRipeness `json:"order"`
	LodgedAcres *float64        `json:"lodged_acres"` // null: not told by colour
	GreenAcres  float64         `json:"green_acres"`  // of suspects that are green above the canopy or late
}

// CheckRipeness is how far a check has turned.
type CheckRipeness struct {
	Check      string   `json:"check"`
	StrawShare float64  `json:"straw_share"` // part of the crop's pixels that are redder than green
	Low        *float64 `json:"low"`         // 19 times in 20 it lies between these; null with too little ground
	High       *float64 `json:"high"`
	Acres      float64  `json:"acres"`
	Tied       bool     `json:"tied"` // not told apart from the check before it
}

// GroundTable is what the ground of every check is, and of the field.
type GroundTable struct {
	Looks  map[string]float64 `json:"acres"` // by kind, over the field
	Checks []CheckGround      `json:"checks"`
}

// CheckGround is one check's row.
type CheckGround struct {
	Check  string             `json:"check"`
	Looked float64            `json:"looked_at_acres"`
	Looks  map[string]float64 `json:"acres"` // by kind
	Share  map[string]float64 `json:"share"` // of the ground looked at
}

// fillTables fills in what the question tells of every check.
func (r *run) fillTables() {
	t := r.ask.Tables
	blank := r.shown.Even || r.shown.NoCrop
	if t.Sufficiency {
		r.fillNitrogen()
	}
	if t.Ripeness {
		r.fillHarvest()
	}
	if len(t.Looks) > 0 && !blank {
		r.fillGroundTable()
	}
}

// fillGroundTable counts the question's looks in every check.
func (r *run) fillGroundTable() {
	t := r.ask.Tables
	out := &GroundTable{Looks: map[string]float64{}, Checks: []CheckGround{}}
	for _, look := range t.Looks {
		out.Looks[t.LookWords[look]] = 0
	}
	for _, c := range norm.Count(r.layout, r.norm) {
		row := CheckGround{Check: c.Check, Looked: c.Looked, Looks: map[string]float64{}, Share: map[string]float64{}}
		for _, look := range t.Looks {
			word := t.LookWords[look]
			acres := c.Acres[look]
			for reason, as := range t.Kept {
				if as == look {
					acres += c.Kept[reason]
				}
			}
			row.Looks[word], row.Share[word] = acres, acres/math.Max(c.Looked, r.grid.AcresPerCell)
			out.Looks[word] += acres
		}
		out.Checks = append(out.Checks, row)
	}
	r.day.Ground = out
}

// fillHarvest orders the checks by how far they have turned.
func (r *run) fillHarvest() {
	out := &Harvest{Order: []CheckRipeness{}}
	for _, s := range r.finding.Suspects {
		if s.Look == norm.Lush {
			out.GreenAcres += s.Acres
		}
	}
	if r.shown.Even {
		r.day.Harvest = out
		return
	}
	for _, c := range norm.Ripen(r.cells, r.layout, r.norm) {
		if math.IsNaN(c.Straw) {
			continue
		}
		out.Order = append(out.Order, CheckRipeness{Check: c.Check, StrawShare: c.Straw, Low: known(c.Low), High: known(c.High), Acres: c.Acres})
	}
	slices.SortStableFunc(out.Order, func(a, b CheckRipeness) int { return cmp.Compare(b.StrawShare, a.StrawShare) })
	for i := 1; i < len(out.Order); i++ {
		out.Order[i].Tied = out.Order[i].meets(out.Order[i-1])
	}
	r.day.Harvest = out
	if len(out.Order) == 0 {
		r.doubt(noOrder())
	}
}

// meets says whether the bounds of two checks overlap, or are not known.
func (c CheckRipeness) meets(o CheckRipeness) bool {
	return c.High == nil || o.Low == nil || *c.High >= *o.Low
}

// mostRows are the checks that a letter and a sheet list; the rest is in day.json.
const mostRows = 12

// tableSentences are what the question tells of the checks, a sentence each.
func (d *Day) tableSentences(units unit.System) []string {
	var out []string
	if n := d.Nitrogen; n != nil && n.Sufficiency != nil {
		out = append(out, n.sentence())
	}
	if h := d.Harvest; h != nil && len(h.Order) > 0 {
		out = append(out, h.sentence())
	}
	if g := d.Ground; g != nil {
		out = append(out, g.sentences(units)...)
	}
	return append(out, d.unchanged()...)
}

func (d *Day) unchanged() []string {
	if u := d.words().Unchanged; u != "" {
		return []string{u}
	}
	return nil
}

// sentence is the sufficiency with the published threshold beside it. No rate and
// no advice: the grower weighs cost against the gain.
func (n *Nitrogen) sentence() string {
	s := fmt.Sprintf("Held against the strips the crop stands at %.3f of them", *n.Sufficiency)
	if n.Low != nil && n.High != nil {
		s += fmt.Sprintf(" (%.3f to %.3f)", *n.Low, *n.High)
	}
	s += ", by " + *n.Index + "."
	if *n.Index == "NDRE" {
		s += " In California, at panicle initiation, 0.97 or less went with a gain of 3.8 bushels an acre (Rehman and others 2023); whether that pays is for you to reckon."
	}
	var short []string
	for _, c := range n.Checks {
		if c.High != nil && *c.High < 1 && c.Sufficiency != nil && *c.Sufficiency <= *n.Sufficiency {
			short = append(short, c.Check)
		}
	}
	if len(short) > 0 && len(short) < len(n.Checks) {
		s += " Lowest in " + checkList(short) + "."
	}
	return s
}

// sentence is the order of the checks.
func (h *Harvest) sentence() string {
	var parts []string
	for i, c := range h.Order[:min(mostRows, len(h.Order))] {
		word := ""
		if i > 0 {
			word = ", then "
			if c.Tied {
				word = " with "
			}
		}
		parts = append(parts, fmt.Sprintf("%scheck %s (%.0f%% straw)", word, c.Check, 100*c.StrawShare))
	}
	s := "In the order in which they have turned: " + strings.Join(parts, "") + "."
	if more := len(h.Order) - mostRows; more > 0 {
		s += fmt.Sprintf(" The other %d are in data/day.json.", more)
	}
	return s + " Checks joined by \"with\" are not told apart."
}

// sentences are the acres of each kind over the field, and the checks with most.
func (g *GroundTable) sentences(units unit.System) []string {
	var out []string
	for _, word := range slices.Sorted(maps.Keys(g.Looks)) {
		s := fmt.Sprintf("%s: %s", unit.Sentence(word), units.Area(unit.Acres(g.Looks[word])))
		rows := slices.DeleteFunc(slices.Clone(g.Checks), func(c CheckGround) bool { return c.Share[word] < 0.005 })
		slices.SortStableFunc(rows, func(a, b CheckGround) int { return cmp.Compare(b.Share[word], a.Share[word]) })
		var parts []string
		for _, c := range rows[:min(mostRows, len(rows))] {
			parts = append(parts, fmt.Sprintf("check %s %.0f%%", c.Check, math.Ceil(100*c.Share[word])))
		}
		if len(parts) > 0 {
			s += "; of the ground looked at in " + list(parts)
		}
		out = append(out, s+".")
	}
	return out
}

func checkList(ids []string) string {
	if len(ids) == 1 {
		return "check " + ids[0]
	}
	return "checks " + list(ids)
}

// withOrder puts the order of the checks first where that is the answer.
func (d *Day) withOrder(first, second string) []string {
	h := d.Harvest
	if h == nil || len(h.Order) == 0 {
		return []string{first, second}
	}
	ripest := h.Order[0]
	lead := fmt.Sprintf("Check %s has turned furthest: %.0f%% straw-coloured.", ripest.Check, 100*ripest.StrawShare)
	if len(h.Order) > 1 && h.Order[1].Tied {
		lead = fmt.Sprintf("Check %s has turned furthest, %.0f%% straw-coloured, and the next cannot be told from it.", ripest.Check, 100*ripest.StrawShare)
	}
	return []string{lead, first + " " + second}
}

// joinSentences puts a space between sentences, leaving empty ones out.
func joinSentences(s ...string) string {
	return strings.Join(slices.DeleteFunc(s, func(x string) bool { return x == "" }), " ")
}

// tables is the part of the letter that tells of the checks.
func (l *letter) tables() {
	for i, s := range l.day.tableSentences(l.units) {
		if i == 0 {
			l.line("")
		}
		l.line("%s", s)
	}
}

// known is nil for what is not known.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
