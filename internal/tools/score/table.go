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
	return fmt.Sprintf("%-10s %-32v %5d: recall %s precision %s iou %s false %.3f ac, %d suspects (%d false, %d faint), patches %d/%d, killed %.2f called %.2f in suspects %s; rule %s at %.2f (%.1f ac false), otsu %s",
		l.class, l.sensor, l.seed, part(l.recall()), part(l.precision()), part(l.iou()), l.measure.wrong, l.suspects, l.result.wrong, l.faint,
		l.found, l.patches, l.killed, l.called, part(l.killedIn), part(l.rule.iou()), l.at, l.rule.wrong, part(l.otsu.iou()))
}

// print writes the table as Markdown.
func (t table) print(w io.Writer) {
	fmt.Fprintln(w, "| scene | sensor | seed | acres | weeds, ac | recall | precision | IoU | false ac | suspects | false | patches found | killed, ac: true, told | killed in suspects | one-line rule IoU, false ac | Otsu IoU, false ac |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, l := range t {
		fmt.Fprintf(w, "| %s | %v | %d | %.1f | %.2f | %s | %s | %s | %.3f | %d | %d | %d of %d | %.2f, %.2f | %s | %s, %.2f | %s, %.2f |\n",
			l.class, l.sensor, l.seed, l.acres, l.truth, part(l.recall()), part(l.precision()), part(l.iou()), l.measure.wrong,
			l.suspects, l.result.wrong, l.found, l.patches, l.killed, l.called, part(l.killedIn),
			part(l.rule.iou()), l.rule.wrong, part(l.otsu.iou()), l.otsu.wrong)
	}
}

// part prints a part of one, and a dash where there is none.
func part(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.2f", v)
}
