package imagery

import (
	"regexp"
	"time"

	"bittern/internal/doubt"
)

// setDate takes the date of the flight from the files' names, else from the
// time that is written into them, which may be when the picture was made.
func (f *Flight) setDate() {
	const settle = "Give the day of the flight with --flown."
	seen := ""
	for _, file := range f.Files {
		date := dateInName(file.Name)
		if date == "" {
			continue
		}
		if seen != "" && date != seen {
			f.Doubts = append(f.Doubts, doubt.Doubt{
				About: "flown", Says: "The pictures' names hold different dates, " + seen + " and " + date + ".", Settle: settle, Weight: 0.4,
			})
			return
		}
		seen = date
	}
	if seen != "" {
		f.Flown, f.FlownHow = seen, "from the file's name"
		return
	}
	for _, file := range f.Files {
		if t, err := time.Parse("2006:01:02 15:04:05", file.Image.DateTime); err == nil && t.Year() >= 2000 {
			f.Flown, f.FlownHow = t.Format("2006-01-02T15:04"), "from the time written into the file"
			f.Doubts = append(f.Doubts, doubt.Doubt{
				About:  "flown",
				Says:   "The date " + t.Format("2006-01-02") + " was taken from the picture, where it may be the day the picture was made.",
				Settle: settle, Weight: 0.2,
			})
			return
		}
	}
}

// dateInName is the only date in a file's name, as 2026-07-14, or "": eight
// digits, or three groups of 4, 2 and 2, of a day from 2000 to 2099.
func dateInName(name string) string {
	found := ""
	for _, m := range regexp.MustCompile(`(?:^|[^0-9])(20[0-9]{2})([-_.]?)([0-9]{2})([-_.]?)([0-9]{2})(?:$|[^0-9])`).FindAllStringSubmatch(name, -1) {
		date := m[1] + "-" + m[3] + "-" + m[5]
		if _, err := time.Parse(time.DateOnly, date); err != nil || m[2] != m[4] {
			continue
		}
		if found != "" && found != date {
			return ""
		}
		found = date
	}
	return found
}
