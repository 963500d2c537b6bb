package main

import (
	"fmt"
	"io"
	"math"
)

// A line is one scene of the table.
type line struct {
	row
	acres float64 // of the field
	result
	rule measure
	at   float32 // the one-line rule's best threshold
	otsu measure
}

type table []line

// brief is one line for whoever waits.
func (l line) brief() string {
	return fmt.Sprintf("%-10s %-32v %5d: looked at %s recall %s precision %s iou %s false %.3f ac, %d suspects (%d false, %d faint), patches %d/%d, killed %.2f called %.2f in suspects %s; rule %s at %.2f (%.1f ac false), otsu %s",
		l.class, l.sensor, l.seed, part(l.looked), part(l.recall()), part(l.precision()), part(l.iou()), l.measure.wrong, l.suspects, l.result.wrong, l.faint,
		l.found, l.patches, l.killed, l.called, part(l.killedIn), part(l.rule.iou()), l.at, l.rule.wrong, part(l.otsu.iou()))
}

const head = `# How well stages 4 to 6 see

Made by ` + "`make score`" + `: invented fields of 20 to 30 acres whose truth is known, through cells, structure, norm and suspects as they
ship. Parameters were chosen on odd seeds; these are even ones. Truth is ground whose cover of live weeds is worth acting on
(invent.ActDensity); lighter weeds are neither right nor wrong. IoU is of cells, ground that structure leaves out included: weeds on a
wheel track count as missed ("looked at" is the part of the weeds that structure leaves, above which no recall can be). A suspect is false when under a quarter of it is weeds. A patch of 0.025 acre or more is found when half of
it is covered. The one-line rule is "share of pixels redder than green", at the threshold that the truth likes best, and Otsu's
threshold is on a normalised difference; both mark what they mark inside the boundary, as someone would who has no structure.

`

// print writes the page.
func (t table) print(w io.Writer, a *agreement) {
	fmt.Fprint(w, head)
	fmt.Fprintln(w, "| scene | sensor | seed | acres | weeds, ac | looked at | recall | precision | IoU | false ac | suspects | false | patches found | killed, ac: true, told | killed in suspects | one-line rule IoU, false ac | Otsu IoU, false ac |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, l := range t {
		fmt.Fprintf(w, "| %s | %v | %d | %.1f | %.2f | %s | %s | %s | %s | %.3f | %d | %d | %d of %d | %.2f, %.2f | %s | %s, %.2f | %s, %.2f |\n",
			l.class, l.sensor, l.seed, l.acres, l.truth, part(l.looked), part(l.recall()), part(l.precision()), part(l.iou()), l.measure.wrong,
			l.suspects, l.result.wrong, l.found, l.patches, l.killed, l.called, part(l.killedIn),
			part(l.rule.iou()), l.rule.wrong, part(l.otsu.iou()), l.otsu.wrong)
	}
	t.printMeans(w)
	fmt.Fprint(w, "\n## A real picture\n\n")
	if a == nil {
		fmt.Fprintln(w, "Not measured: the labelled tiles were not there.")
		return
	}
	fmt.Fprintf(w, pictureText, a.weedy, a.other, a.spreads, a.share, a.evidence, a.redder)
}

const pictureText = `40 labelled tiles over young sugar beet (near infrared, green and red of 8 bits, no place on the ground), cells of 16 x 16 pixels, every
tile a check, through cells and norm as they ship: %d cells with a quarter or more of weeds against %d with next to none. How often a
weedy cell has the larger value (0.5 is chance): departure in spreads %.2f, off-colour share %.2f, evidence %.2f; share of pixels redder
than green %.2f. The weeds there are green plants on bare ground, not burnt leaves over a canopy: they depart, and as they should they do
not look like escapes. No labelled picture of rice was to be had.
`

// printMeans writes the mean of each class.
func (t table) printMeans(w io.Writer) {
	fmt.Fprint(w, "\n| class | scenes | IoU, mean | recall, mean | false ac, mean | false suspects, mean |\n| --- | --- | --- | --- | --- | --- |\n")
	for from := 0; from < len(t); {
		to := from
		var iou, recall, acres, wrong float64
		for to < len(t) && t[to].class == t[from].class {
			iou += t[to].iou()
			recall += t[to].recall()
			acres += t[to].measure.wrong
			wrong += float64(t[to].result.wrong)
			to++
		}
		n := float64(to - from)
		if t[from].truth == 0 {
			iou, recall = math.NaN(), math.NaN()
		}
		fmt.Fprintf(w, "| %s | %d | %s | %s | %.3f | %.1f |\n", t[from].class, to-from, part(iou/n), part(recall/n), acres/n, wrong/n)
		from = to
	}
}

// part prints a part of one, and a dash where there is none.
func part(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.2f", v)
}
