package suspect

import (
	"fmt"

	"bittern/internal/doubt"
	"bittern/internal/unit"
)

// Suspects that are as many and as close together are more than any invented field has
// (0.52 to the acre, odd seeds). On fields of another painter, whose crop is
// rough all over, most of as many were false.
const (
	strewnLeast   = 8
	strewnPerAcre = 0.65
)

// doubts says what about the finding could mislead.
func (w *work) doubts(f *Finding) []doubt.Doubt {
	var ds []doubt.Doubt
	looked, found, faint, dead := 0, 0, 0, 0
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
		if w.looksDead(s) {
			dead++
		}
	}
	if looked > 0 && float64(found) > 0.4*float64(looked) {
		ds = append(ds, doubt.Doubt{
			About: "suspects", Weight: 0.9,
			Says:   "Suspects cover more than two fifths of the ground that was looked at; something wider than patches may be wrong.",
			Settle: "Walk ground inside and outside the suspects.",
		})
	}
	if acres := float64(looked) * w.s.Grid.AcresPerCell; len(f.Suspects) >= strewnLeast && float64(len(f.Suspects)) > strewnPerAcre*acres {
		ds = append(ds, doubt.Doubt{
			About: "suspects", Weight: 0.8,
			Says: fmt.Sprintf("%s suspects are strewn over %.0f acres. Trouble comes in fewer and larger patches as a rule, while a crop that is uneven all over looks like this.",
				unit.Sentence(unit.Count(len(f.Suspects))), acres),
			Settle: "Walk three of the smallest before treating any.",
		})
	}
	if faint > 0 {
		ds = append(ds, faintDoubt(faint))
	}
	if dead > 0 {
		ds = append(ds, deadDoubt(dead))
	}
	if near, _ := w.s.Band("nir"); near == nil && f.KilledAcres > 0 {
		ds = append(ds, doubt.Doubt{
			About: "killed weeds", Weight: 0.5,
			Says:   "Without near infrared, burnt weeds that live are at times taken for killed ones.",
			Settle: "Walk the killed ground before counting on it.",
		})
	}
	return ds
}

func faintDoubt(n int) doubt.Doubt {
	return forMany(n, doubt.Doubt{
		About: "faint suspects", Weight: 0.3,
		Says:   "One suspect is faint, near the limit of what this picture shows.",
		Settle: "Walk it before counting on it.",
	}, "suspects are faint, near the limit of what this picture shows.", "Walk them before counting on them.")
}

func deadDoubt(n int) doubt.Doubt {
	const settle = "Split a few stems there before spraying it."
	return forMany(n, doubt.Doubt{
		About: "dead or alive", Weight: 0.4,
		Says:   "One suspect looks as dead weeds do; too little killed ground was found beside it to say that it is.",
		Settle: settle,
	}, "suspects look as dead weeds do; too little killed ground was found beside them to say that they are.", settle)
}

// forMany is a doubt of one suspect, said of n.
func forMany(n int, one doubt.Doubt, says, settle string) doubt.Doubt {
	if n > 1 {
		one.Says, one.Settle = unit.Sentence(unit.Count(n))+" "+says, settle
	}
	return one
}
