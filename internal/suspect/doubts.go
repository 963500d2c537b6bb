package suspect

import (
	"fmt"

	"bittern/internal/doubt"
)

// doubts says what about the finding could mislead.
func (w *work) doubts(f *Finding) []doubt.Doubt {
	var ds []doubt.Doubt
	looked, found, faint := 0, 0, 0
	for _, v := range w.d.Share {
		if v == v {
			looked++
		}
	}
	for _, s := range f.Suspects {
		found += len(s.Cells)
		if s.Severity == Faint {
			faint++
		}
	}
	if looked > 0 && float64(found) > 0.4*float64(looked) {
		ds = append(ds, doubt.Doubt{
			About: "suspects", Weight: 0.9,
			Says:   "Suspects cover more than two fifths of the ground that was looked at; something wider than patches may be wrong.",
			Settle: "Walk ground inside and outside the suspects.",
		})
	}
	if faint > 0 {
		ds = append(ds, doubt.Doubt{
			About: "faint suspects", Weight: 0.3,
			Says:   fmt.Sprintf("%s faint, near the limit of what this picture shows.", isAre(faint, "suspect")),
			Settle: "Walk them before counting on them.",
		})
	}
	return ds
}

func isAre(n int, noun string) string {
	if n == 1 {
		return "One " + noun + " is"
	}
	return fmt.Sprintf("%d %ss are", n, noun)
}
