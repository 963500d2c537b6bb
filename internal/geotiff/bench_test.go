package geotiff_test

import (
	"bytes"
	"io"
	"os"
	"testing"

	"bittern/internal/geotiff"
)

// BenchmarkDecode is one worker's reading of a mosaic's tiles: 512 x 512
// pixels of four 16-bit bands, Deflate with predictor 2.
func BenchmarkDecode(b *testing.B) {
	f := geotiff.Format{Cols: 1024, Rows: 1024, Bands: 4, Sample: geotiff.Uint16, Deflate: true, Predictor: true}
	path := create(b, "bench", func(w io.WriteSeeker) error { return geotiff.Write(w, f, fillFrom(f, randomPixels(f))) })
	file, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	im, err := geotiff.Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		b.Fatal(err)
	}
	block := make([]byte, im.BlockBytes())
	d := im.NewDecoder()
	for name, decode := range map[string]func(int, []byte) error{"whole": d.Decode, "raw": d.DecodeRaw} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(block) * im.Blocks()))
			for b.Loop() {
				for i := range im.Blocks() {
					if err := decode(i, block); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
