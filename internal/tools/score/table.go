package main

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"bittern/internal/invent"
)

// A line is one scene of the table.
type line struct {
	row
	acres float64 // of the field
	asked bool    // the program answers the row's question; else only the baselines are known
	result
	given, blind skipped // skips, with the passes given and without
	baselines    [baselines]measure
}

type table []line

// brief is one line for whoever waits.
func (out line) brief() string {
	return fmt.Sprintf("%-12s %-32v %5d: looked at %s recall %s precision %s iou %s bias %s false %.3f ac, %d suspects (%d false, %d faint), patches %d/%d, killed %.2f called %.2f (right %.2f, living %.2f) in suspects %s; levees %s/%s; rule %s",
		out.class, out.sensor, out.seed, part(out.looked), part(out.recall()), part(out.precision()), part(out.iou()), part(out.bias), out.wrong, out.suspects, out.falsely, out.faint,
		out.found, out.patches, out.killed, out.called, out.rightly, out.revived, part(out.killedIn), part(out.leveeRecall), part(out.leveePrecision), part(out.baselines[byRule].iou()))
}

const head = `# How well stages 4 to 6 see

Made by ` + "`make score`" + ` from the frozen scenes of [../scenes](../scenes) (version %d, seeds from %d): invented fields of 20 to 30 acres whose truth is known, through
cells, structure, norm and suspects as they ship. Parameters are chosen on odd seeds; these are even ones. Truth is ground whose cover of live weeds is worth acting on
(invent.ActDensity; eaten leaf and lack of nitrogen have thresholds of their own); lighter ground is neither right nor wrong, nor are skips and a check that no pass
reached, which have columns of their own. IoU is of cells, ground that structure leaves out included: weeds on a wheel track count as missed ("looked at" is
the part that structure leaves, above which no recall can be). A suspect is false when under a quarter of it is what was asked for. A patch of 0.025 acre or more is found
when half of it is covered. A clean field is asked every question: what it
was not drawn for must not be found on it, but for gaps in the stand, of which it has some (docs/methods/question-stand.md). Bias is the area of the suspects on found patches over the patches' own. Levees are inner ones, within 1.5 m. Baselines mark what they mark inside the boundary,
as someone would who has no structure; the one-line rule, share of pixels redder than green, and k-means are given the threshold and the class that the truth likes best.

`

// print writes the page.
func (t table) print(w io.Writer, first uint64, missing int, photos string) {
	fmt.Fprintf(w, head, invent.Version, first)
	if missing > 0 {
		fmt.Fprintf(w, "**%d of the scenes are not in this run.**\n\n", missing)
	}
	t.printGoals(w)
	t.printScenes(w)
	t.printBaselines(w)
	t.printSpecial(w)
	t.printSkips(w)
	t.printHints(w)
	fmt.Fprint(w, "\n## Real pictures\n\n", photos)
}

// A goal is a row of the goals: which scenes, and what they should reach.
type goal struct {
	name             string
	is               func(l line) bool
	iou, prec, acres string // at least / aim
}

func class(names ...string) func(l line) bool {
	return func(l line) bool { return slices.Contains(names, l.class) }
}

func goals() []goal {
	of := func(s invent.Sensor) func(l line) bool {
		return func(l line) bool { return l.class == "believable" && l.sensor == s }
	}
	return []goal{
		{"four bands", of(invent.FourBand16), ".86 / .93", ".95 / .97", ".12 / .05"},
		{"five bands float", of(invent.FiveBandFloat), "", "", ""},
		{"colour and near infrared, 8 bits", of(invent.ColorNIR8), "", "", ""},
		{"colour only, JPEG", of(invent.ColorJPEGLike8), ".79 / .92", ".95 / .97", ".10 / .05"},
		{"cloud and tree shade, 8 bits", class("shade", "dark"), ".65 / .90", ".78 / .96", ".45 / .05"},
		{"no levees, five-band float", func(l line) bool { return l.class == "no-levees" && l.sensor == invent.FiveBandFloat }, ".82 / .91", ".95", ".10 / .05"},
		{"faint", class("faint"), ".60 / .70", ".95", ".08 / .02"},
		{"clean", class("clean"), "", "", ".10 / 0"},
		{"defoliation, one date", class("defoliation"), ".42 / .50", ".68 / .72", ".50 / .25"},
		{"defoliation, two dates", class("two-dates"), ".65 / .80", "", ""},
		{"nitrogen", class("nitrogen"), ".60 / .70", ".80 / .90", ".40 / .20"},
		{"killed ground beside escapes", class("killed"), ".80 / .88", ".93 / .97", ".18 / .05"},
		{"with a flight before", class("before"), ".62 / .80", ".82 / .94", ".14 / .05"},
		{"skips at 65 ft", class("skips"), ".72 / .88", ".93 / .96", ".15 / .08"},
		{"mapping lines at the swath spacing", class("lines", "skips-lines"), ".73 / .90", ".83 / .97", ".65 / .05"},
		{"the same, clean", class("lines-clean"), "", "", ""},
		{"one check untreated", class("untreated"), ".76 / .90", ".91 / .97", ".25 / .05"},
		{"one check without nitrogen", class("no-nitrogen"), ".83 / .86", ".96 / .97", ".05 / .04"},
		{"drift from an edge, inlet fan", class("drift", "fan"), ".79 / .93", ".93 / .97", ".14 / .05"},
		{"plain", class("plain"), ".93 / .96", ".97", ".05 / .02"},
		{"plain, clean", class("plain-clean"), "", "", ".02"},
		{"broken banks", class("broken"), "", "", ""},
		{"straight levees", class("straight"), "", "", ""},
		{"lush escapes", class("lush"), "", "", ""},
		{"levee weeds", class("levee-weeds"), "", "", ""},
		{"all traps", class("traps"), "", "", ""},
		{"all traps, clean", class("traps-clean"), "", "", ""},
		{"clean, asked for defoliation", class("clean:insects"), "", "", ".10 / 0"},
		{"clean, asked for nitrogen", class("clean:nitrogen"), "", "", ".10 / 0"},
		{"clean, asked for gaps in the stand", class("clean:stand"), "", "", ""},
		{"clean, asked for water", class("clean:water"), "", "", ".10 / 0"},
		{"clean, asked for harvest", class("clean:harvest"), "", "", ".10 / 0"},
	}
}

// printGoals writes the mean of each class beside its goal.
func (t table) printGoals(w io.Writer) {
	fmt.Fprint(w, `## Where it stands

Means over the scenes of a class; a goal is "at least / aim". Goals for which scenes are more than one sensor are means over them.

| class | scenes | IoU | goal | precision | goal | false ac | goal | false suspects per 25 ac | patches found | area bias | levees: recall, precision | best baseline IoU |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
`)
	for _, g := range goals() {
		m := t.mean(g)
		if m.n == 0 {
			continue
		}
		top, who := math.NaN(), ""
		for b := range m.best {
			if v := m.best[b].value(); m.iou.n > 0 && (math.IsNaN(top) || v > top) {
				top, who = v, " "+baselineNames[b]
			}
		}
		fmt.Fprintf(w, "| %s | %d | %s | %s | %s | %s | %s | %s | %s | %s | %s | %s, %s | %s%s |\n", g.name, m.n,
			part(m.iou.value()), dash(g.iou), part(m.prec.value()), dash(g.prec), digits(m.wrong.value(), 3), dash(g.acres), digits(m.falsely.value(), 1),
			counted(m.found, m.patches), signed(m.bias.value()), part(m.recall.value()), part(m.lprec.value()), part(top), who)
	}
}

// printMore writes the mean of each class over several sets of scenes, and how far it may be off.
func (t table) printMore(w io.Writer, more string) {
	fmt.Fprintf(w, `
## More fields

A class has two to eight scenes above, and one field more or less moves its mean. So these are the means over the scenes above and those that the same recipes give from the seeds %s on, which nothing was chosen on and nobody has looked
at; after the sign what the mean may be off by, the standard error.

| class | scenes | IoU | goal | precision | goal | false ac | goal | false suspects per 25 ac | patches found | area bias | levees: recall, precision |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
`, strings.ReplaceAll(more, ",", " and "))
	for _, g := range goals() {
		m := t.mean(g)
		if m.n == 0 {
			continue
		}
		fmt.Fprintf(w, "| %s | %d | %s | %s | %s | %s | %s | %s | %s | %s | %s | %s, %s |\n", g.name, m.n,
			m.iou.within(2), dash(g.iou), m.prec.within(2), dash(g.prec), m.wrong.within(3), dash(g.acres), digits(m.falsely.value(), 1),
			counted(m.found, m.patches), signed(m.bias.value()), part(m.recall.value()), part(m.lprec.value()))
	}
}

// means are those of a class.
type means struct {
	n                                              int // scenes
	iou, prec, wrong, falsely, bias, recall, lprec mean
	best                                           [baselines]mean
	found, patches                                 int
}

// mean is over the scenes of a goal.
func (t table) mean(g goal) (m means) {
	for _, l := range t {
		if !g.is(l) {
			continue
		}
		m.n++
		for b, is := range l.baselines {
			m.best[b].add(is.iou())
		}
		if !l.asked {
			continue
		}
		if l.truth > 0 {
			m.iou.add(l.iou())
			m.prec.add(l.precision())
		}
		m.wrong.add(l.wrong)
		m.falsely.add(25 * float64(l.falsely) / l.acres)
		m.bias.add(l.bias)
		m.recall.add(l.leveeRecall)
		m.lprec.add(l.leveePrecision)
		m.found, m.patches = m.found+l.found, m.patches+l.patches
	}
	return m
}

// A mean skips what is not known.
type mean struct{ sum, squares, n float64 }

func (m *mean) add(v float64) {
	if !math.IsNaN(v) {
		m.sum, m.squares, m.n = m.sum+v, m.squares+v*v, m.n+1
	}
}

func (m mean) value() float64 { return m.sum / m.n }

// within is the mean and its standard error.
func (m mean) within(places int) string {
	if m.n < 2 {
		return digits(m.value(), places)
	}
	variance := max(m.squares/m.n-m.value()*m.value(), 0) * m.n / (m.n - 1)
	return digits(m.value(), places) + " ± " + digits(math.Sqrt(variance/m.n), places)
}

// printScenes writes every scene.
func (t table) printScenes(w io.Writer) {
	fmt.Fprint(w, `
## Scene by scene

| scene | sensor | seed | acres | asked for, ac | looked at | recall | precision | IoU | bias | false ac | suspects | false | faint | patches found | levees: recall, precision | called levee | suspects on levees | one-line rule IoU, false ac |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
`)
	for _, l := range t {
		rule := fmt.Sprintf("%s, %.2f", part(l.baselines[byRule].iou()), l.baselines[byRule].wrong)
		if !l.asked {
			fmt.Fprintf(w, "| %s | %v | %d | %.1f | %.2f | - | - | - | - | - | - | - | - | - | - | - | - | - | %s |\n", l.class, l.sensor, l.seed, l.acres, l.baselines[byRule].truth, rule)
			continue
		}
		fmt.Fprintf(w, "| %s | %v | %d | %.1f | %.2f | %s | %s | %s | %s | %s | %.3f | %d | %d | %d | %s | %s, %s | %s | %s | %s |\n",
			l.class, l.sensor, l.seed, l.acres, l.truth, part(l.looked), part(l.recall()), part(l.precision()), part(l.iou()), signed(l.bias), l.wrong,
			l.suspects, l.falsely, l.faint, counted(l.found, l.patches), part(l.leveeRecall), part(l.leveePrecision), digits(l.leveeGround, 3), part(l.onLevees), rule)
	}
}

// printBaselines writes the general-purpose rules beside the chain, a class a
// row.
func (t table) printBaselines(w io.Writer) {
	fmt.Fprint(w, "\n## Beside what someone would run instead\n\nMean IoU of a class, and mean false acres; in the same run.\n\n| class | chain |")
	for _, n := range baselineNames {
		fmt.Fprintf(w, " %s |", n)
	}
	fmt.Fprint(w, "\n| --- | --- |", strings.Repeat(" --- |", baselines), "\n")
	for _, name := range t.classes() {
		var own, false0 mean
		var iou, wrong [baselines]mean
		for _, l := range t {
			if l.class != name {
				continue
			}
			if l.asked {
				if l.truth > 0 {
					own.add(l.iou())
				}
				false0.add(l.wrong)
			}
			for b, m := range l.baselines {
				if m.truth > 0 {
					iou[b].add(m.iou())
				}
				wrong[b].add(m.wrong)
			}
		}
		fmt.Fprintf(w, "| %s | %s, %s |", name, part(own.value()), digits(false0.value(), 2))
		for b := range baselines {
			fmt.Fprintf(w, " %s, %s |", part(iou[b].value()), digits(wrong[b].value(), 2))
		}
		fmt.Fprintln(w)
	}
}

// classes lists the classes of the table in its order.
func (t table) classes() (out []string) {
	for _, l := range t {
		if l.class == l.drawn() && !slices.Contains(out, l.class) {
			out = append(out, l.class)
		}
	}
	return out
}

// printSpecial writes what only some scenes have.
func (t table) printSpecial(w io.Writer) {
	fmt.Fprint(w, "\n## Told by their own names\n\n| scene | seed | killed, ac: true, told | living told as killed, ac | killed in suspects | skips in suspects | odd check in suspects | named apart | apart for its water | misnamed apart | checks: true, found | trend in suspects | half-distance, ft: true, told |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n")
	for _, l := range t {
		if !l.asked || l.killed == 0 && math.IsNaN(l.skipIn) && math.IsNaN(l.oddIn) && math.IsNaN(l.trendIn) && l.misnamed+l.watered == 0 && l.called < 0.05 && l.trends == "" {
			continue
		}
		named := "-"
		if !math.IsNaN(l.oddIn) {
			named = fmt.Sprint(l.named)
		}
		fmt.Fprintf(w, "| %s | %d | %.2f, %.2f | %.2f | %s | %s | %s | %s | %d | %d | %d, %d | %s | %s |\n", l.class, l.seed, l.killed, l.called, l.revived, part(l.killedIn), part(l.skipIn), part(l.oddIn),
			named, l.watered, l.misnamed, l.trueChecks, l.checks, part(l.trendIn), l.trends)
	}
}

// printHints writes how often each true cause got which first hint.
func (t table) printHints(w io.Writer) {
	all := map[string]int{}
	for _, l := range t {
		for k, n := range l.hints {
			all[k] += n
		}
	}
	fmt.Fprint(w, "\n## Hints\n\nWhat most of a suspect's ground is, its first hint, and how many.\n\n| really | first hint | suspects |\n| --- | --- | --- |\n")
	for _, k := range slices.Sorted(maps.Keys(all)) {
		from, to, _ := strings.Cut(k, " -> ")
		fmt.Fprintf(w, "| %s | %s | %d |\n", from, to, all[k])
	}
}

// part prints a part of one, and a dash where there is none.
func part(v float64) string { return digits(v, 2) }

// digits prints a number, and a dash where there is none.
func digits(v float64, n int) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.*f", n, v)
}

// signed prints a bias.
func signed(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%+.2f", v)
}

func counted(k, n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprintf("%d of %d", k, n)
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
