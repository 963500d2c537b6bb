package app

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/question"
	"bittern/internal/unit"
)

// Letter is the day as plain text for a terminal: the answer first, then a
// short table, then where the files are. dir is the folder that was written.
func (d *Day) Letter(dir string) string {
	units, _ := unit.ParseSystem(d.Options.Units)
	l := letter{day: d, units: units}
	l.opening()
	l.doubts()
	l.table()
	l.tables()
	l.ground()
	l.apart()
	l.money()
	l.files(dir)
	return l.text.String()
}

// A letter is the text while it is written.
type letter struct {
	day   *Day
	units unit.System
	text  strings.Builder
}

func (l *letter) line(format string, args ...any) { fmt.Fprintf(&l.text, format+"\n", args...) }

func (l *letter) opening() {
	l.line("%s", l.day.whereAndWhen())
	l.line("")
	for _, s := range l.day.Answer {
		l.line("%s", s)
	}
	l.line("%s", l.day.missed(l.units))
}

// whereAndWhen is the first line: field, flight, days after treatment, question.
func (d *Day) whereAndWhen() string {
	s := d.Field.Name
	flown, _ := parseMoment(deref(d.Flown))
	treated, _ := parseMoment(deref(d.Treated))
	if flown == nil {
		s += ", day of the flight not given"
	} else {
		s += ", flown " + flown.String()
	}
	if flown != nil && treated != nil {
		switch n := days(treated, flown); {
		case n < 0:
			s += fmt.Sprintf(", %s before treatment", plural(-n, "day", "days"))
		case n == 0:
			s += ", on the day of treatment"
		default:
			s += fmt.Sprintf(", %s after treatment", plural(n, "day", "days"))
		}
	}
	return s + ". Looking for " + d.words().Called + "."
}

// missed says what the flight would have shown, as counts.
func (d *Day) missed(units unit.System) string {
	s := d.SmallestSeen
	switch {
	case s == nil || s.Planted == 0:
		return "How small a patch this flight would have shown was not tested: there was too little unsuspected crop to plant in."
	case s.Acres == nil:
		largest := s.Table[len(s.Table)-1].Acres
		return fmt.Sprintf("Even of patches of %s planted in the picture only %d of %d were found: silence here proves little.",
			units.Area(unit.Acres(largest)), s.Found, s.Planted)
	}
	like := "of faint strength"
	cover := d.coverWords(s.Cover)
	switch {
	case s.AsStrongAs != nil && cover != "":
		like = "as strong as " + *s.AsStrongAs + " (" + cover + ")"
	case s.AsStrongAs != nil:
		like = "as strong as " + *s.AsStrongAs
	case cover != "":
		like = "with " + cover
	}
	return joinSentences(fmt.Sprintf("Of patches of %s %s planted in the picture, %d of %d were found: that is the smallest that would have shown.",
		units.Area(unit.Acres(*s.Acres)), like, s.Found, s.Planted), d.words().Hidden)
}

// coverWords is a cover of planted weeds, or a part of an effect, in the question's words; empty when it is not known.
func (d *Day) coverWords(cover float64) string {
	if cover <= 0 {
		return ""
	}
	return fmt.Sprintf(d.words().Planted, unit.AboutPercent(cover))
}

// thinCover is the cover that weeds of two spreads have at least where thin ones hardly show. Weeds that are worth acting
// on begin at about a tenth of the ground.
const thinCover = 0.2

// hardlyShows says what is too thin to show in this flight; empty where as little as is worth acting on does.
func (d *Day) hardlyShows() string {
	s := d.SmallestSeen
	if s == nil || d.words().Thin == "" {
		return ""
	}
	for _, row := range s.Table {
		if row.Strength == thinSpreads && row.Cover >= thinCover {
			return fmt.Sprintf(d.words().Thin, unit.AboutPercent(row.Cover))
		}
	}
	return ""
}

// thinSpreads is the strength, in spreads, at which patches of ordinary size are found.
const thinSpreads = 2

func (l *letter) doubts() {
	if len(l.day.Warnings) == 0 {
		return
	}
	l.line("\nDoubts")
	for _, w := range l.day.Warnings {
		l.line("  %s: %s %s", w.About, w.Says, w.Settle)
	}
}

func (l *letter) table() {
	if len(l.day.Suspects) == 0 {
		return
	}
	l.line("\n%-3s %7s  %-9s %-6s %-6s %-44s %s", "", l.units.AreaUnit(), "look", "how", "check", "where", "what it comes to")
	small, acres := 0, 0.0
	for _, s := range l.day.Suspects {
		if s.Letter == nil {
			small++
			acres += s.Acres
			continue
		}
		l.line("%-3s %7s  %-9s %-6s %-6s %-44s %s", *s.Letter, l.units.AreaNumber(unit.Acres(s.Acres)),
			s.Look, s.Severity, s.Check, s.Place, verdictWords(s))
	}
	if small > 0 {
		l.line("    %7s  %s, told together", l.units.AreaNumber(unit.Acres(acres)), plural(small, "small one", "small ones"))
	}
}

// verdictWords is what a suspect's row ends with.
func verdictWords(s Suspect) string {
	switch {
	case s.Verdict == nil:
		return "walk"
	case s.BreakEvenChance == nil:
		return *s.Verdict
	default:
		return fmt.Sprintf("%s (%s)", *s.Verdict, chanceWords(*s.BreakEvenChance))
	}
}

// chanceWords says a break-even chance as a farmer weighs it: at least 1 in n.
func chanceWords(p float64) string {
	switch {
	case p >= 1:
		return "costs more than it can save"
	case p > 0.9:
		return "pays only if it is real for sure"
	case p > 0.5:
		return fmt.Sprintf("pays if at least %.0f in 10 are real", math.Ceil(p*10))
	case p <= 0.01:
		return "pays if 1 in 100 is real"
	default:
		return fmt.Sprintf("pays if at least 1 in %.0f is real", floorTo(1/p))
	}
}

// floorTo rounds 1/p down, but for a tenth, so that the chance said is not lower
// than p by more than anybody can judge.
func floorTo(n float64) float64 { return max(2, math.Floor(n+0.1)) }

// groundWords is what was looked at and what was left out.
func (d *Day) groundWords(units unit.System) string {
	var parts []string
	for _, o := range d.LeftOut {
		parts = append(parts, fmt.Sprintf("%s %s", o.Reason, units.AreaNumber(unit.Acres(o.Acres))))
	}
	s := fmt.Sprintf("Looked at %s of %s.", units.AreaNumber(unit.Acres(d.LookedAt.Acres)), units.Area(unit.Acres(d.Field.Acres)))
	if len(parts) > 0 {
		s += " Left out: " + strings.Join(parts, ", ") + "."
	}
	return s
}

func (l *letter) ground() {
	l.line("\n%s", l.day.groundWords(l.units))
	if l.day.Killed.Acres > 0 {
		l.line("Killed weeds: %s. None of it is a suspect.", l.units.Area(unit.Acres(l.day.Killed.Acres)))
	}
	if s := l.day.contextWords(l.units); s != "" {
		l.line("%s", s)
	}
	if s := l.day.beforeWords(l.units); s != "" {
		l.line("%s", s)
	} else if s := l.day.since(); s != "" && len(l.day.Suspects) > 0 {
		l.line("%s", s)
	}
	if s := l.day.skipWords(l.units); s != "" {
		l.line("%s", s)
	}
	if s := l.day.Levees.weedWords(l.units); s != "" {
		l.line("%s", s)
	}
}

// tellsContext is how much ground of one look is told, acres: less is any field's.
const tellsContext = 0.05

// contextWords say what dark ground on the map is that no line is drawn around.
func (d *Day) contextWords(units unit.System) string {
	var parts []string
	for _, c := range d.Context {
		if c.Acres >= tellsContext {
			parts = append(parts, fmt.Sprintf("%s %s", units.Area(unit.Acres(c.Acres)), c.Look))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Stands out and is no suspect, dark on the map without a line: " + strings.Join(parts, ", ") +
		". This question does not look for that; walk it if you do not know why."
}

// weedWords tells the levees under weeds by their length, the longest stretches
// first; nothing when there are none or it could not be told.
func (v Levees) weedWords(units unit.System) string {
	if v.WeedsFeet == nil || *v.WeedsFeet == 0 {
		return ""
	}
	most := slices.Clone(v.Weeds)
	slices.SortStableFunc(most, func(a, b LeveeWeeds) int { return cmp.Compare(b.Feet, a.Feet) })
	var parts []string
	for _, w := range most[:min(len(most), mostLevees)] {
		parts = append(parts, fmt.Sprintf("%s on levee %s", units.Length(unit.Feet(w.Feet).Meters()), w.Levee))
	}
	if rest := len(most) - mostLevees; rest > 0 {
		parts = append(parts, fmt.Sprintf("less on %s", plural(rest, "other", "others")))
	}
	return fmt.Sprintf("Weeds stand along %s of the levees: %s. They are in no acres here.",
		units.Length(unit.Feet(*v.WeedsFeet).Meters()), strings.Join(parts, ", "))
}

// mostLevees is how many levees a sentence names.
const mostLevees = 4

// apart tells each check that is unlike its peers, and each trend, in a paragraph
// of its own.
func (l *letter) apart() {
	for _, c := range l.day.Checks {
		if s := c.apartWords(l.units); s != "" {
			l.line("\n%s", s)
		}
	}
	for _, t := range l.day.Trends {
		l.line("\n%s", t.words(l.units))
	}
}

func (l *letter) money() {
	r := l.day.Reckoning
	if r == nil {
		return
	}
	l.line("\n%-34s %9s %9s  %-22s %s", "", l.units.AreaUnit(), "cost", "loss that remains", "minutes")
	for _, a := range r.Alternatives {
		minutes := ""
		if a.Minutes != nil {
			minutes = fmt.Sprintf("%.0f", *a.Minutes)
		}
		mark := " "
		if r.Choice != nil && *r.Choice == a.ID {
			mark = "*"
		}
		l.line("%s %-32s %9s %9s  %-22s %s", mark, a.Name, l.units.AreaNumber(unit.Acres(a.TreatedAcres)),
			money(a.CostDollars), lossWords(a.LossDollars), minutes)
	}
	if r.Choice != nil {
		l.line("  * costs least, loss included, if every suspect is real. Nobody has walked yet.")
	}
	for _, f := range r.Flips {
		l.line("  %s", r.flipWords(f))
	}
}

// lossWords is "$0 to $1,234".
func lossWords(l LossDollars) string {
	if l.Low == nil || l.High == nil {
		return "not known"
	}
	return money(l.Low) + " to " + money(l.High)
}

// money is dollars for people.
func money(v *float64) string {
	if v == nil {
		return "not known"
	}
	return unit.FromDollars(*v).String()
}

// oddsWords is "at least 1 in 6" for 0.17.
func oddsWords(p float64) string {
	switch {
	case p > 0.9:
		return "all"
	case p > 0.5:
		return fmt.Sprintf("at least %.0f in 10", math.Ceil(p*10))
	case p < 0.01:
		return "as few as 1 in 100"
	}
	return fmt.Sprintf("at least 1 in %.0f", floorTo(1/p))
}

func (l *letter) files(dir string) {
	l.line("\nFiles are in %s:", dir)
	for _, name := range l.day.Outputs {
		if !strings.HasPrefix(name, "data/") {
			l.line("  %s", filepath.FromSlash(name))
		}
	}
	if slices.ContainsFunc(l.day.Outputs, func(n string) bool { return strings.HasPrefix(n, "data/") }) {
		l.line("  %s", filepath.FromSlash("data/ (maps and figures for programs)"))
	}
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// answer is the two sentences that come first: what stands out, and what to do.
func (d *Day) answer(units unit.System) []string {
	field := units.AreaNumber(unit.Acres(d.Field.Acres))
	unseen := ""
	if lacks := d.noData(); lacks > unseenShare*d.Field.Acres {
		field = units.AreaNumber(unit.Acres(d.Field.Acres-lacks)) + " seen"
		unseen = fmt.Sprintf("; %s of the field's %s were not seen", units.AreaNumber(unit.Acres(lacks)), units.AreaNumber(unit.Acres(d.Field.Acres)))
	}
	if len(d.Suspects) == 0 && d.LookedAt.Shows != showsCrop {
		first, second := d.showsNothing(units)
		return d.withOrder(first+unseen+".", second)
	}
	if len(d.Suspects) == 0 {
		first := fmt.Sprintf("Nothing stands out in %s%s.", units.Area(unit.Acres(d.LookedAt.Acres)), unseen)
		if s := d.SmallestSeen; s != nil && s.Acres != nil {
			first = fmt.Sprintf("Nothing over %s stands out in %s%s.", units.Area(unit.Acres(*s.Acres)), units.Area(unit.Acres(d.LookedAt.Acres)), unseen)
		}
		second := d.words().Clear
		switch s := d.SmallestSeen; {
		case s == nil || s.Planted == 0:
		case s.Acres == nil:
			second = "That is no all-clear: of patches planted in the picture too few were found."
		case d.hardlyShows() != "":
			second = "That is no all-clear: " + d.hardlyShows() + ". Walk where you expect them."
		}
		return d.withOrder(first, second)
	}
	acres := 0.0
	for _, s := range d.Suspects {
		acres += s.Acres
	}
	patch := d.words().Patch
	return d.withOrder(
		fmt.Sprintf("%s out, %s of %s%s.", unit.Sentence(plural(len(d.Suspects), patch[0], patch[1])), units.Area(unit.Acres(acres)), field, unseen),
		d.nextStep())
}

// words are what is said for the day's question.
func (d *Day) words() question.Words {
	q, _ := question.Named(d.Question)
	return q.Words
}

// nextStep is the second sentence.
func (d *Day) nextStep() string {
	if next := d.words().Next; next != "" && d.Reckoning == nil {
		return fmt.Sprintf(next, list(d.largest(d.lettersWhere(func(Suspect) bool { return true }))))
	}
	walk := d.lettersWhere(func(s Suspect) bool { return s.Verdict == nil || *s.Verdict == verdictWalk })
	var worth, not []string
	if d.Reckoning != nil {
		worth = d.lettersWhere(func(s Suspect) bool { return s.Verdict != nil && *s.Verdict == verdictWorth })
		not = d.lettersWhere(func(s Suspect) bool { return s.Verdict != nil && *s.Verdict == verdictNot })
	}
	switch {
	case d.Reckoning == nil && len(walk) > 0:
		return fmt.Sprintf("Walk %s first; without prices nobody can say whether treating pays.", list(d.largest(walk)))
	case len(walk) > 0 && len(worth)+len(not) > 0:
		first := d.largest(walk)
		if others := len(walk) - len(first); others > 0 {
			return fmt.Sprintf("Walk %s first, then %s; the rest is the same choice either way.", list(first), plural(others, "other", "others"))
		}
		return fmt.Sprintf("Walk %s; the rest is the same choice either way.", list(walk))
	case len(walk) > 0:
		return fmt.Sprintf("Walk %s first: what they are decides whether treating pays.", list(d.largest(walk)))
	case len(worth) > 0:
		return "No walk would change the choice: treating these pays even if few are real."
	}
	return "No walk would change the choice: treating these costs more than it can save."
}

// largest keeps the letters of the three largest suspects among those given, in
// the order of the alphabet: as many as a person takes in.
func (d *Day) largest(letters []string) []string {
	const few = 3
	var of []Suspect
	for _, s := range d.Suspects {
		if s.Letter != nil && slices.Contains(letters, *s.Letter) {
			of = append(of, s)
		}
	}
	slices.SortStableFunc(of, func(a, b Suspect) int { return cmp.Compare(b.Acres, a.Acres) })
	var out []string
	for _, s := range of[:min(few, len(of))] {
		out = append(out, *s.Letter)
	}
	slices.Sort(out)
	return out
}

// lettersWhere lists the letters of suspects that keep, in their order.
func (d *Day) lettersWhere(keep func(Suspect) bool) []string {
	var out []string
	for _, s := range d.Suspects {
		if s.Letter != nil && keep(s) {
			out = append(out, *s.Letter)
		}
	}
	return out
}
