package app

import (
	"context"
	"fmt"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/imagery"
	"bittern/internal/question"
	"bittern/internal/unit"
)

// A Description says what a picture is.
type Description struct {
	File     string     `json:"file"`
	Columns  int        `json:"columns"`
	Rows     int        `json:"rows"`
	PixelM   float64    `json:"pixel_m"`
	Acres    float64    `json:"acres"` // of the whole picture, empty margins included
	CRS      string     `json:"crs"`
	Center   [2]float64 `json:"center"` // longitude, latitude
	Sensor   string     `json:"sensor"`
	Storage  string     `json:"storage"`
	Dated    *string    `json:"dated"`
	Bands    []Band     `json:"bands"`
	CanAsk   []string   `json:"can_ask"`
	Warnings []Warning  `json:"warnings"`
}

// Describe opens a picture and says what it is. bands, when given, names its
// bands in their order.
func Describe(ctx context.Context, path string, bands []string) (*Description, error) {
	flight, err := imagery.Open(ctx, []string{path}, imagery.Options{Bands: bands})
	if err != nil {
		return nil, err
	}
	defer func() { _ = flight.Close() }() // only read from
	f := flight.Files[0]
	im := f.Image
	d := &Description{
		File: f.Name, Columns: im.Cols, Rows: im.Rows, PixelM: f.PixelM, CRS: f.CRS.Name(),
		Sensor: flight.Sensor, Storage: im.Compression, Bands: []Band{}, CanAsk: question.Names(),
		Warnings: warnings(flight.Doubts),
	}
	w, h := float64(im.Cols), float64(im.Rows)
	var ring geo.Ring
	for _, c := range [][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}} {
		lon, lat := f.LonLat(c[0], c[1])
		ring = append(ring, geo.Point{X: lon, Y: lat})
	}
	d.Acres = float64(unit.SquareMeters(crs.AreaM2(geo.MultiPolygon{{Outer: ring}})).Acres())
	lon, lat := f.LonLat(w/2, h/2)
	d.Center = [2]float64{lon, lat}
	if flight.Flown != "" {
		d.Dated = &flight.Flown
	}
	for _, b := range flight.Bands {
		d.Bands = append(d.Bands, Band{Name: b.Name, File: b.File, Index: b.Index, How: b.How})
	}
	return d, nil
}

// Letter is the description as a grower can read it aloud.
func (d *Description) Letter() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%s is a picture of %s: %s, %d by %d pixels of %.1f cm (%.1f inches) on the ground.", d.File,
		unit.US.Area(unit.Acres(d.Acres)), d.Sensor, d.Columns, d.Rows, d.PixelM*100, d.PixelM/0.0254)
	line("It lies round %s, in %s.", degreesWords(d.Center[0], d.Center[1]), d.CRS)
	for _, band := range d.Bands {
		line("  band %d is %s, %s", band.Index, band.Name, band.How)
	}
	if d.Dated != nil {
		line("It is dated %s.", *d.Dated)
	}
	line("It can be asked: %s.", strings.Join(d.CanAsk, ", "))
	for _, w := range d.Warnings {
		line("%s: %s %s", w.About, w.Says, w.Settle)
	}
	return b.String()
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
