package invent

import (
	"fmt"
	"io"

	"bittern/internal/geotiff"
)

// WritePicture writes the field's picture as a GeoTIFF with its place on the
// ground and its bands' names.
func (f *Field) WritePicture(w io.WriteSeeker) error {
	is := f.Format()
	out := geotiff.Format{
		Cols: is.Cols, Rows: is.Rows, Bands: len(is.Bands), Sample: geotiff.Uint8,
		Tile: 512, Deflate: true, Level: 1, Predictor: f.scene.Sensor != FiveBandFloat,
		Affine: is.Affine, EPSG: is.EPSG, BandNames: is.Bands, NoData: is.NoData, Colors: is.Bands,
	}
	switch is.SampleBytes {
	case 2:
		out.Sample = geotiff.Uint16
	case 4:
		out.Sample = geotiff.Float32
	}
	if err := geotiff.Write(w, out, f.Fill); err != nil {
		return fmt.Errorf("invented picture %q: %w", f.scene.Name, err)
	}
	return nil
}
