package typed

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"bittern/internal/doubt"
)

// A Sighting is what somebody saw on foot.
type Sighting struct {
	Line     int      // of the file, for problems that are found later
	Stop     string   // on the walk sheet; empty where there was none
	Suspect  string   // a letter or an id; empty for a control stop
	Lon, Lat *float64 // degrees, WGS84; nil when not given
	Time     string   // as typed
	Found    string   // "yes", "no" or "unsure"
	State    string   // "alive", "dying", "dead", "regrowth" or empty
	Note     string
}

// sightingColumns is the header of a sightings file.
func sightingColumns() []string {
	return []string{"stop", "suspect", "lon", "lat", "time", "found", "state", "note"}
}

// ReadSightings reads a sightings file.
func ReadSightings(path string) ([]Sighting, error) {
	data, err := read(path)
	if err != nil {
		return nil, err
	}
	return Sightings(path, data)
}

// Sightings reads a sightings file's contents: CSV with the columns stop,
// suspect, lon, lat, time, found, state and note in any order. Lines that
// begin with # are not read.
func Sightings(name string, data []byte) ([]Sighting, error) {
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	r.Comment = '#'
	r.TrimLeadingSpace = true
	header, err := r.Read()
	if err != nil {
		return nil, csvProblem(name, err)
	}
	at, err := columns(name, header)
	if err != nil {
		return nil, err
	}
	var out []Sighting
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, csvProblem(name, err)
		}
		line, _ := r.FieldPos(0)
		s, err := sighting(name, line, func(column string) string { return strings.TrimSpace(row[at[column]]) })
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
}

// columns finds the place of each column in the header.
func columns(name string, header []string) (map[string]int, error) {
	at := map[string]int{}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(h))
		if _, twice := at[h]; twice || !slices.Contains(sightingColumns(), h) {
			return nil, &doubt.Problem{
				File: name, What: fmt.Sprintf("line 1: there is no column %q, or it stands there twice", h),
				Remedy: "begin the file with " + strings.Join(sightingColumns(), ","),
			}
		}
		at[h] = i
	}
	for _, c := range sightingColumns() {
		if _, ok := at[c]; !ok {
			return nil, &doubt.Problem{
				File: name, What: fmt.Sprintf("line 1: the column %s is missing", c),
				Remedy: "begin the file with " + strings.Join(sightingColumns(), ","),
			}
		}
	}
	return at, nil
}

// sighting reads one line.
func sighting(name string, line int, field func(string) string) (Sighting, error) {
	s := Sighting{
		Line: line, Stop: field("stop"), Suspect: field("suspect"), Time: field("time"),
		Found: strings.ToLower(field("found")), State: strings.ToLower(field("state")), Note: field("note"),
	}
	refuse := func(what, remedy string) (Sighting, error) {
		return Sighting{}, &doubt.Problem{File: name, What: fmt.Sprintf("line %d: %s", line, what), Remedy: remedy}
	}
	if !slices.Contains([]string{"yes", "no", "unsure"}, s.Found) {
		return refuse(fmt.Sprintf("found is %q", s.Found), "write yes, no or unsure")
	}
	if !slices.Contains([]string{"", "alive", "dying", "dead", "regrowth"}, s.State) {
		return refuse(fmt.Sprintf("state is %q", s.State), "write alive, dying, dead, regrowth or nothing")
	}
	for _, c := range []struct {
		column string
		most   float64
		into   **float64
	}{{"lon", 180, &s.Lon}, {"lat", 90, &s.Lat}} {
		text := field(c.column)
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= -c.most && v <= c.most) {
			return refuse(fmt.Sprintf("%s is %q", c.column, text), "write decimal degrees, as -90.512")
		}
		*c.into = &v
	}
	switch {
	case (s.Lon == nil) != (s.Lat == nil):
		return refuse("one of lon and lat is missing", "write both or neither")
	case s.Lon == nil && s.Stop == "" && s.Suspect == "":
		return refuse("there is no stop, no suspect and no position", "write one of them")
	}
	return s, nil
}

// csvProblem says which line of a CSV file cannot be read.
func csvProblem(name string, err error) error {
	p := &doubt.Problem{File: name, What: "is empty", Remedy: "begin the file with " + strings.Join(sightingColumns(), ","), Err: err}
	var broken *csv.ParseError
	if errors.As(err, &broken) {
		p.What = fmt.Sprintf("line %d cannot be read", broken.Line)
		p.Remedy = fmt.Sprintf("give it %d fields with commas between, and quotation marks around one that holds a comma", len(sightingColumns()))
	}
	return p
}
