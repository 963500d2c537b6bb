package app_test

import (
	"io"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/app"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/invent"
)

func TestDescribeSaysWhatAPictureIsAndLacks(t *testing.T) {
	if testing.Short() {
		t.Skip("writes a field's picture")
	}
	req := bring(t, invent.FourBand16)
	d, err := app.Describe(t.Context(), req.Imagery[0], nil)
	if err != nil {
		t.Fatal(err)
	}
	if d.Acres == nil || *d.Acres < 7 || *d.Acres > 14 || len(d.Bands) != 4 || len(d.CanAsk) == 0 {
		t.Errorf("a picture of a 7-acre field with four bands is described as %+v", d)
	}
	if words := d.Letter(); !strings.Contains(words, "10.0 cm") || !strings.Contains(words, "north") {
		t.Errorf("the letter lacks the pixel or the place:\n%s", words)
	}

	one := filepath.Join(t.TempDir(), "one.tif")
	save(t, one, func(w io.WriteSeeker) error {
		f := geotiff.Format{Cols: 20, Rows: 20, Bands: 1, Affine: grid.Affine{A: 650000, B: 0.1, D: 3887000, F: -0.1}, EPSG: 32615}
		return geotiff.Write(w, f, func(grid.Window, []byte) error { return nil })
	})
	d, err = app.Describe(t.Context(), one, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Missing) == 0 || len(d.CanAsk) != 0 {
		t.Errorf("a picture of one band is described as %+v", d)
	}
}
