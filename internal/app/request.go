// Package app has one method for each thing that a person asks. It wires the
// stages together, turns their results into plain data, and writes a day to
// its folder. Both shells are thin over it.
package app

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/progress"
	"bittern/internal/question"
	"bittern/internal/unit"
)

// A Request is what `bittern run` is asked: the names of files and plain
// values, as typed. Empty means "not given".
type Request struct {
	Boundary    string
	Imagery     []string
	Question    string
	Out         string
	Bands       []string
	Field       string
	Flown       string // 2026-07-14 or 2026-07-14T09:05, the field's local time
	Treated     string
	Before      string
	BeforeFlown string

	SwathFt         *float64
	SprayHeadingDeg *float64

	Levees, Marks, Strip string
	Applicators          []string
	Prices, Products     string
	Sightings            string

	Page    bool       // write the field sheet as a picture too, which the day page prints
	Units   string     // "us" or "metric"
	Printed *time.Time // the date that may stand on paper; nil leaves a blank
	Program string     // "bittern 0.1.0"
}

// A Setting is how a run is carried out. Nothing in it changes an output byte
// but the timings.
type Setting struct {
	Workers  int // at least 1
	Progress progress.Func
	Meter    func() Reading // nil: no timings
	Part     func(Part)     // what can be said already, stage by stage; nil: nobody waits for it
}

// A Reading is the clock, the processor time and the peak memory at one moment.
type Reading struct {
	Wall    time.Time
	CPU     time.Duration
	PeakMiB float64
}

// checked is a Request whose plain values were read.
type checked struct {
	Request
	ask                         question.Question
	units                       unit.System
	flown, treated, beforeFlown *moment
}

// check reads the plain values of r.
func (r Request) check() (*checked, error) {
	c := &checked{Request: r}
	var ok bool
	if c.ask, ok = question.Named(r.Question); !ok {
		return nil, &doubt.Problem{
			What:   fmt.Sprintf("--question %s is not a question that can be asked yet", r.Question),
			Remedy: "ask one of: " + strings.Join(question.Names(), ", "),
		}
	}
	if c.units, ok = unit.ParseSystem(r.Units); !ok {
		return nil, &doubt.Problem{What: fmt.Sprintf("--units %s is not known", r.Units), Remedy: "give us or metric"}
	}
	if err := c.dates(); err != nil {
		return nil, err
	}
	if len(r.Imagery) == 0 {
		return nil, &doubt.Problem{What: "no picture was named", Remedy: "give one with --imagery FILE"}
	}
	if dup := duplicate(r.Imagery); dup != "" {
		return nil, &doubt.Problem{File: dup, What: "the same picture is named twice", Remedy: "name each file once"}
	}
	if err := c.checkBefore(); err != nil {
		return nil, err
	}
	return c, c.figures()
}

func (c *checked) dates() error {
	for _, d := range []struct {
		option, text string
		into         **moment
	}{
		{"--flown", c.Flown, &c.flown},
		{"--treated", c.Treated, &c.treated},
		{"--before-flown", c.BeforeFlown, &c.beforeFlown},
	} {
		m, err := parseMoment(d.text)
		if err != nil {
			return &doubt.Problem{What: d.option + " " + err.Error(), Remedy: "write the date as year-month-day", Err: err}
		}
		*d.into = m
	}
	return nil
}

func (c *checked) figures() error {
	if v := c.SwathFt; v != nil && !(*v > 0 && *v < 1000) {
		return &doubt.Problem{What: fmt.Sprintf("--swath %g is not a swath in feet", *v), Remedy: "give the width of one pass, like 65"}
	}
	if v := c.SprayHeadingDeg; v != nil && !(*v >= 0 && *v <= 360) {
		return &doubt.Problem{What: fmt.Sprintf("--spray-heading %g is not a heading", *v), Remedy: "give degrees clockwise from true north, 0 to 360"}
	}
	return nil
}

func duplicate(names []string) string {
	for i, n := range names {
		if slices.Contains(names[:i], n) {
			return n
		}
	}
	return ""
}
