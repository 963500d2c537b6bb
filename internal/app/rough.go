package app

import (
	"image"
	"io"
	"slices"
	"strings"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/structure"
)

// The pictures on the cell grid that the day page shows.
const (
	departureName = "data/departure.tif"
	leftOutName   = "data/left-out.tif"

	// fieldPictureName is the field sheet as a picture, for a browser to print.
	fieldPictureName = "data/field-sheet.png"
)

// roughName is the flight in plain colour at one pixel a cell: what a map shows
// from afar, and all that is left of the flight where its files are not at hand.
const roughName = "data/plain.tif"

// beforeName is the earlier flight as roughName is the day's, laid back on it.
const beforeName = "data/before.tif"

// writeRough writes a rough copy as a cloud-optimised GeoTIFF of red, green,
// blue and alpha.
func (r *run) writeRough(w io.WriteSeeker, img *image.NRGBA) error {
	g := r.grid
	f := geotiff.Format{
		Cols: g.Cols, Rows: g.Rows, Bands: 4, Sample: geotiff.Uint8, Tile: 256, Deflate: true, Predictor: true, Workers: r.set.Workers,
		Affine: g.Affine(), EPSG: g.EPSG, Alpha: true, Colors: []string{"red", "green", "blue", "alpha"}, Software: r.Program,
	}
	return geotiff.WriteCOG(w, f, func(win grid.Window, dst []byte) error {
		for row := range win.Rows {
			copy(dst[4*row*win.Cols:][:4*win.Cols], img.Pix[img.PixOffset(win.Col, win.Row+row):])
		}
		return nil
	})
}

// writeLeftOut writes why each cell was left out: 0 where it was not, else the
// place of its reason in reasonsOnMap, from 1. It has no smaller copies: the mean
// of two reasons is a third one.
func (r *run) writeLeftOut(w io.WriteSeeker) error {
	g := r.grid
	f := geotiff.Format{
		Cols: g.Cols, Rows: g.Rows, Bands: 1, Sample: geotiff.Uint8, Tile: 256, Deflate: true, Workers: r.set.Workers,
		Affine: g.Affine(), EPSG: g.EPSG, BandNames: []string{"left out: " + strings.Join(reasonsOnMap(), ", ")}, Software: r.Program,
	}
	var code [structure.ByHand + 1]byte
	for reason := structure.Levee; reason <= structure.ByHand; reason++ {
		code[reason] = byte(slices.Index(reasonsOnMap(), reasonWord(reason)) + 1)
	}
	return geotiff.Write(w, f, func(win grid.Window, dst []byte) error {
		for row := range win.Rows {
			for col := range win.Cols {
				dst[row*win.Cols+col] = code[r.layout.Reason[g.Index(win.Col+col, win.Row+row)]]
			}
		}
		return nil
	})
}

// reasonsOnMap are the reasons for leaving ground out, in the order of their
// numbers in left-out.tif, from 1.
func reasonsOnMap() []string {
	var out []string
	for reason := structure.Levee; reason <= structure.ByHand; reason++ {
		out = append(out, reasonWord(reason))
	}
	return out
}
