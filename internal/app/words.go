package app

import (
	"fmt"
	"strings"
	"time"

	"bittern/internal/norm"
	"bittern/internal/unit"
)

// plural is "one patch", "two patches".
func plural(n int, one, many string) string {
	if n == 1 {
		return unit.Count(n) + " " + one
	}
	return unit.Count(n) + " " + many
}

// list joins words: "A", "A and B", "A, B and C".
func list(items []string) string {
	switch len(items) {
	case 0:
		return ""
	case 1:
		return items[0]
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

// A moment is a date, or a date with a time of day, in the field's local time.
type moment struct {
	time  time.Time
	clock bool // the time of day was given
	text  string
}

// parseMoment reads 2026-07-14 or 2026-07-14T09:05.
func parseMoment(text string) (*moment, error) {
	if text == "" {
		return nil, nil
	}
	if t, err := time.Parse("2006-01-02", text); err == nil {
		return &moment{t, false, text}, nil
	}
	t, err := time.Parse("2006-01-02T15:04", text)
	if err != nil {
		return nil, fmt.Errorf("%q is not a date like 2026-07-14 or 2026-07-14T09:05", text)
	}
	return &moment{t, true, text}, nil
}

// String is "Tuesday 14 July 2026 at 9:05".
func (m *moment) String() string {
	s := m.time.Format("Monday 2 January 2006")
	if m.clock {
		s += fmt.Sprintf(" at %d:%02d", m.time.Hour(), m.time.Minute())
	}
	return s
}

// days is the number of calendar days from one moment to another.
func days(from, to *moment) int {
	a := time.Date(from.time.Year(), from.time.Month(), from.time.Day(), 0, 0, 0, 0, time.UTC)
	b := time.Date(to.time.Year(), to.time.Month(), to.time.Day(), 0, 0, 0, 0, time.UTC)
	return int(b.Sub(a).Hours() / 24)
}

// apartWords tells a check that is unlike its peers as a whole; "" of any other.
func (c Check) apartWords(units unit.System) string {
	s := c.Standing
	if s == nil || !s.Apart {
		return ""
	}
	look := deref(s.Look)
	why := "Look at what was done differently there"
	switch norm.Look(look) {
	case norm.Browned:
		why = "No suspect is drawn in it and no block covers it. Walk it, and ask whether it was treated like the others"
	case norm.Yellowed:
		why = "Ask whether it was fed, flooded and planted like the others"
	case norm.Thinned, norm.Drowned:
		why = "Look at its stand and its water"
	case norm.Coarse:
		why = "Look at its water and its variety, and ask whether it was treated like the others"
	default: // no look of its own tells more
	}
	return fmt.Sprintf("Check %s, %s, is %s as a whole against its peers, which no patch can show. %s.",
		c.ID, units.Area(unit.Acres(c.Acres)), look, why)
}

// words tells a trend.
func (t Trend) words(units unit.System) string {
	return fmt.Sprintf("The crop is %s from the %s on, less by half every %s: %s of it. That is no suspect; look there for what comes in.",
		t.Look, t.From, units.Length(unit.Feet(t.HalfDistanceFt).Meters()), units.Area(unit.Acres(t.Acres)))
}
