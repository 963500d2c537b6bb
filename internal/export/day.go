// Package export says which layers go into which bundle: the data files of a
// day for programs and desktop GIS, and the guidance files of an applicator.
package export

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/block"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/vector"
)

// A Day is what the data files of one day are made of.
type Day struct {
	Grid      grid.Grid
	Program   string           // "bittern 0.3.0", written into departure.tif
	FieldName string           // of the boundary
	Boundary  geo.MultiPolygon // longitude and latitude
	Acres     float64          // of the field, as in day.json
	Layout    *structure.Layout
	Norms     []norm.CheckNorm // of the layout's checks, for their standing; nil leaves it unknown
	Finding   *suspect.Finding
	Skips     []Skip            // strips that were named
	Walked    map[string]Walked // by the suspect's id; a missing one was not walked
	Departure []float32         // per cell, spreads; NaN where not looked at
	Planned   bool              // an applicator was given: blocks and runs are written, empty when nothing pays
	Plan      *block.Plan       // nil when nothing pays
	Workers   int               // goroutines that compress; changes no byte
}

// A Skip is a strip that a pass missed.
type Skip struct {
	ID                                       string
	Lines                                    []geo.Line // m, grid zone: centre lines
	WidthFt, LengthFt, HeadingDeg, SpacingFt float64
	Acres                                    float64
}

// Walked is what a walk found of one suspect.
type Walked struct {
	Stops, Found int
	State        string   // "suspect", "confirmed" or "cleared"
	Probability  *float64 // nil until it is earned
}

// Write writes the data files of d into dir/data, which it makes when it is not
// there: suspects.geojson, checks.geojson, levees.geojson, skips.geojson, departure.tif and
// day.gpkg, and with an applicator blocks.geojson and runs.geojson. Positions are
// longitude and latitude on WGS84 but in departure.tif, which is on the day's
// grid. The same day gives the same bytes.
func Write(ctx context.Context, dir string, d Day) error {
	folder := filepath.Join(dir, "data")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("making the folder of the data files: %w", err)
	}
	layers := d.layers()
	for _, l := range layers {
		if !l.ownFile {
			continue
		}
		err := atomicfile.Write(filepath.Join(folder, l.Name+".geojson"), func(w io.Writer) error { return vector.WriteGeoJSON(w, l.Layer) })
		if err != nil {
			return err
		}
	}
	err := atomicfile.Write(filepath.Join(folder, "departure.tif"), d.writeDeparture)
	if err != nil {
		return err
	}
	return atomicfile.Write(filepath.Join(folder, "day.gpkg"), func(w io.Writer) error {
		return vector.WriteGeoPackage(ctx, w, sheets(layers))
	})
}

// writeDeparture writes the departure as a cloud-optimised GeoTIFF.
func (d *Day) writeDeparture(w io.Writer) error {
	g, nan := d.Grid, math.NaN()
	f := geotiff.Format{
		Cols: g.Cols, Rows: g.Rows, Bands: 1, Sample: geotiff.Float32, Tile: 256, Deflate: true, Predictor: true, Workers: d.Workers,
		Affine: g.Affine(), EPSG: g.EPSG, NoData: &nan, BandNames: []string{"departure"}, Software: d.Program,
	}
	return geotiff.WriteCOG(w, f, func(win grid.Window, dst []byte) error {
		at := 0
		for row := win.Row; row < win.Row+win.Rows; row++ {
			first := g.Index(win.Col, row)
			for _, v := range d.Departure[first : first+win.Cols] {
				binary.LittleEndian.PutUint32(dst[at:], math.Float32bits(v))
				at += 4
			}
		}
		return nil
	})
}
