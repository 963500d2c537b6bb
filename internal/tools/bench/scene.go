//go:build unix

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/invent"
)

const (
	pictureFile = "picture.tif"
	fieldFile   = "field.json"
)

// A field is what the pass needs to know of an invented one.
type field struct {
	EPSG int      `json:"epsg"`
	Ring geo.Ring `json:"ring"` // m of the zone
}

// prepare invents a field that lies askew in its picture and keeps both,
// unless they are there already. It returns their folder.
func (s settings) prepare(askewDeg float64) (string, error) {
	dir := filepath.Join(s.cache, fmt.Sprintf("%gac-%gcm-%gdeg", s.acres, 100*s.pixelM, askewDeg))
	if _, err := os.Stat(filepath.Join(dir, fieldFile)); err == nil {
		return dir, nil
	} else if !errors.Is(err, os.ErrNotExist) {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	fmt.Fprintf(os.Stderr, "inventing %g acres at %g cm, %g degrees askew, into %s\n", s.acres, 100*s.pixelM, askewDeg, dir)
	scene := invent.Believable(invent.FourBand16, 955)
	scene.Acres, scene.PixelM, scene.AskewDeg, scene.RotateDeg = s.acres, s.pixelM, askewDeg, 0
	f, err := invent.New(scene)
	if err != nil {
		return "", err
	}
	if err := atomicfile.WriteSeeker(filepath.Join(dir, pictureFile), func(w io.WriteSeeker) error { return picture(w, f) }); err != nil {
		return "", err
	}
	return dir, atomicfile.Write(filepath.Join(dir, fieldFile), func(w io.Writer) error { return boundary(w, f) })
}

// picture writes the field's picture as the budgets name it: tiles of 512,
// Deflate of the usual strength, differences along the row.
func picture(w io.WriteSeeker, f *invent.Field) error {
	is := f.Format()
	return geotiff.Write(w, geotiff.Format{
		Cols: is.Cols, Rows: is.Rows, Bands: len(is.Bands), Sample: geotiff.Uint16,
		Tile: 512, Deflate: true, Level: 6, Predictor: true,
		Affine: is.Affine, EPSG: is.EPSG, BandNames: is.Bands,
	}, f.Fill)
}

// boundary writes the field's ring in metres.
func boundary(w io.Writer, f *invent.Field) error {
	zone, err := crs.FromEPSG(f.Format().EPSG)
	if err != nil {
		return err
	}
	out := field{EPSG: zone.EPSG()}
	for _, p := range f.BoundaryExact().Outer {
		x, y, err := zone.Forward(p.X, p.Y)
		if err != nil {
			return err
		}
		out.Ring = append(out.Ring, geo.Point{X: x, Y: y})
	}
	return json.NewEncoder(w).Encode(out)
}
