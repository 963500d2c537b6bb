package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/imagery"
	"bittern/internal/question"
	"bittern/internal/unit"
)

// A Description says what a picture is. What is not known is null.
type Description struct {
	File     string      `json:"file"`
	Pictures int         `json:"pictures"` // that it is made of: more than one for a mosaic
	Columns  int         `json:"columns"`  // of the first
	Rows     int         `json:"rows"`
	PixelM   *float64    `json:"pixel_m"`
	Acres    *float64    `json:"acres"` // of all pictures, empty margins included
	CRS      *string     `json:"crs"`
	Center   *[2]float64 `json:"center"` // longitude, latitude, of the first
	Sensor   string      `json:"sensor"`
	Storage  string      `json:"storage"`
	Dated    *string     `json:"dated"`
	Bands    []Band      `json:"bands"`
	CanAsk   []string    `json:"can_ask"`
	Missing  []Missing   `json:"missing"` // why nothing can be asked of it
	Warnings []Warning   `json:"warnings"`
	Index    *IndexMade  `json:"index"` // null when none was asked for
}

// Missing is what keeps a picture from being asked anything.
type Missing struct {
	What string `json:"what"`
	Do   string `json:"do"`
}

// Describe opens a picture and says what it is and what it lacks. bands, when
// given, names its bands in their order. A file that is no picture, or a
// damaged one, is a *doubt.Problem.
func Describe(ctx context.Context, path string, bands []string) (*Description, error) {
	flight, err := imagery.Look(ctx, []string{path}, imagery.Options{Bands: bands})
	if err != nil {
		return nil, err
	}
	defer func() { _ = flight.Close() }() // only read from
	return describe(flight), nil
}

// describe says what a flight is.
func describe(flight *imagery.Flight) *Description {
	first := flight.Files[0]
	d := &Description{
		File: first.Name, Pictures: len(flight.Files), Columns: first.Image.Cols, Rows: first.Image.Rows,
		Sensor: flight.Sensor, Storage: first.Image.Compression,
		Bands: []Band{}, CanAsk: []string{}, Missing: []Missing{}, Warnings: warnings(append(apartDoubts(flight), flight.Doubts...)),
	}
	if first.Kind != "" {
		d.Storage = first.Kind
	}
	for _, p := range flight.Problems {
		d.Missing = append(d.Missing, Missing{What: p.What, Do: p.Remedy})
	}
	if flight.Flown != "" {
		d.Dated = &flight.Flown
	}
	d.listBands(flight)
	if len(d.Missing) == 0 {
		d.CanAsk = d.fitting()
	}
	d.place(flight)
	return d
}

// listBands names each band once, since a mosaic has it in every picture, in
// the order of the file.
func (d *Description) listBands(f *imagery.Flight) {
	seen := map[string]bool{}
	for _, b := range f.Bands {
		if !seen[b.Name] {
			d.Bands = append(d.Bands, Band{Name: b.Name, File: b.File, Index: b.Index, How: b.How})
		}
		seen[b.Name] = true
	}
	slices.SortStableFunc(d.Bands, func(a, b Band) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Index, b.Index))
	})
}

// fitting lists the questions that the bands can answer.
func (d *Description) fitting() []string {
	var bands []string
	for _, b := range d.Bands {
		bands = append(bands, b.Name)
	}
	return slices.DeleteFunc(question.Names(), func(name string) bool {
		q, ok := question.Named(name)
		return !ok || !q.Fits(bands)
	})
}

// place fills in where the pictures lie, if they say so.
func (d *Description) place(f *imagery.Flight) {
	acres := 0.0
	for i, file := range f.Files {
		if !file.CRS.Valid() || file.Image.Affine == nil {
			return
		}
		if slices.ContainsFunc(f.Files[:i], func(g *imagery.File) bool { return sameGround(g, file) }) {
			continue // another band of ground that was counted
		}
		w, h := float64(file.Image.Cols), float64(file.Image.Rows)
		var ring geo.Ring
		for _, c := range [][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}} {
			lon, lat := file.LonLat(c[0], c[1])
			ring = append(ring, geo.Point{X: lon, Y: lat})
		}
		acres += float64(unit.SquareMeters(crs.AreaM2(geo.MultiPolygon{{Outer: ring}})).Acres())
	}
	first := f.Files[0]
	lon, lat := first.LonLat(float64(first.Image.Cols)/2, float64(first.Image.Rows)/2)
	name := first.CRS.Name()
	d.Acres, d.PixelM, d.CRS, d.Center = &acres, &first.PixelM, &name, &[2]float64{lon, lat}
}

// sameGround reports whether the pixels of two pictures coincide.
func sameGround(a, b *imagery.File) bool {
	return a.Image.Cols == b.Image.Cols && a.Image.Rows == b.Image.Rows && *a.Image.Affine == *b.Image.Affine && a.CRS == b.CRS
}

// Letter is the description as a grower can read it aloud.
func (d *Description) Letter() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	what := d.File + " is a picture"
	if d.Pictures > 1 {
		what = fmt.Sprintf("%s is one of %d pictures that lie together", d.File, d.Pictures)
	}
	line("%s: %s, %d by %d pixels.", what, d.Sensor, d.Columns, d.Rows)
	if d.Acres != nil {
		covers := unit.US.Area(unit.Acres(*d.Acres))
		if *d.Acres < 0.005 {
			covers = "less than 0.01 acre"
		}
		line("It covers %s; a pixel is %.1f cm (%.1f inches) on the ground.", covers, *d.PixelM*100, *d.PixelM/0.0254)
		line("It lies round %s, in %s.", degreesWords(d.Center[0], d.Center[1]), *d.CRS)
	}
	for _, band := range d.Bands {
		of := ""
		if band.File != d.Bands[0].File || d.Bands[len(d.Bands)-1].File != d.Bands[0].File {
			of = " of " + band.File
		}
		line("  band %d%s is %s, %s", band.Index, of, band.Name, band.How)
	}
	if d.Dated != nil {
		line("It is dated %s.", *d.Dated)
	}
	if len(d.CanAsk) > 0 {
		line("It can be asked: %s.", strings.Join(d.CanAsk, ", "))
	}
	for i, m := range d.Missing {
		begins := "It cannot be asked anything yet: "
		if i > 0 {
			begins = "Nor can it because "
		}
		line("%s%s. What to do: %s.", begins, sentencePart(m.What), m.Do)
	}
	if d.Index != nil {
		b.WriteString(d.Index.letter())
	}
	for _, w := range d.Warnings {
		line("%s: %s %s", w.About, w.Says, w.Settle)
	}
	return b.String()
}

// sentencePart gives a problem its subject where it has none.
func sentencePart(what string) string {
	if strings.HasPrefix(what, "the ") {
		return what
	}
	return "it " + what
}

// degreesWords is "35.11882 north, 91.34548 west".
func degreesWords(lon, lat float64) string {
	ns, ew := "north", "east"
	if lat < 0 {
		lat, ns = -lat, "south"
	}
	if lon < 0 {
		lon, ew = -lon, "west"
	}
	return fmt.Sprintf("%.5f %s, %.5f %s", lat, ns, lon, ew)
}
