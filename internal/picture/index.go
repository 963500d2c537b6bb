package picture

import (
	"context"
	"fmt"
	"image"
	"io"
	"math"
	"slices"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/index"
)

// Bands are the reflectances of the cells, with their reductions by two: what an
// index is drawn from afar of. Their blocks are decoded as those of the flight are.
type Bands struct {
	cellM  float64
	levels []*source
}

// NewBands opens the reflectances that were written with the day: a picture on g
// with a named band for each. r must stay open.
func NewBands(r io.ReaderAt, size int64, g grid.Grid) (*Bands, error) {
	levels, err := onGrid(r, size, g, geotiff.Uint16, nil)
	return &Bands{cellM: g.CellM, levels: levels}, err
}

// A Shade is an index and the range of values that its colours run over.
type Shade struct {
	Index     index.Index
	Low, High float64
}

// Index draws an index over the ground of a tile: from the flight's pixels where a
// person looks closely, else from the bands of the cells. It is clear where there is
// no value.
func (p *Picture) Index(ctx context.Context, b *Bands, s Shade, t Tile) (*image.NRGBA, error) {
	if !p.View.Has(t) {
		return nil, noSuchTile()
	}
	pixelM := p.View.Pixels[t.Level] * p.View.MetersPerUnit
	from := p.files
	if len(from) == 0 || pixelM >= roughFromM {
		level, _ := reduction(len(b.levels), b.cellM, pixelM)
		from = b.levels[level : level+1]
	}
	var have reflectances
	have.clear(s.Index.Bands)
	for _, f := range from {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := have.read(f, p, t, s.Index.Bands); err != nil {
			return nil, fmt.Errorf("drawing %s: %w", s.Index.Title, err)
		}
	}
	img := image.NewNRGBA(image.Rect(0, 0, TileSize, TileSize))
	ramp := index.Colors()
	for i := range TileSize * TileSize {
		v := s.Index.Value(have.at(i))
		if v != v {
			continue
		}
		c := ramp[int(math.Round(255*min(1, max(0, (v-s.Low)/(s.High-s.Low)))))]
		px := img.Pix[4*i : 4*i+4]
		px[0], px[1], px[2], px[3] = c[0], c[1], c[2], 0xFF
	}
	return img, nil
}

// bandNames are the bands that indices are made of, in the order of reflectances.
var bandNames = [...]string{"blue", "green", "red", "rededge", "nir"}

// reflectances are what the pixels of a tile reflect, band by band; not a number
// where it is not known.
type reflectances [len(bandNames)][]float32

// clear makes room for the bands that are needed.
func (r *reflectances) clear(bands []string) {
	for k, name := range bandNames {
		if !slices.Contains(bands, name) {
			continue
		}
		r[k] = make([]float32, TileSize*TileSize)
		for i := range r[k] {
			r[k][i] = float32(math.NaN())
		}
	}
}

// read fills in what one file knows of a tile and no file before it did.
func (r *reflectances) read(s *source, p *Picture, t Tile, bands []string) error {
	type part struct {
		to            []float32
		at            int // bytes from the pixel's first
		scale, offset float64
	}
	im := s.file.Image
	var parts []part
	for sample, name := range s.file.Bands {
		k := slices.Index(bandNames[:], name)
		if k < 0 || !slices.Contains(bands, name) {
			continue
		}
		scale, offset := index.ScaleOf(s.file, sample)
		parts = append(parts, part{to: r[k], at: sample * im.Sample.Bytes(), scale: scale, offset: offset})
	}
	if len(parts) == 0 {
		return nil
	}
	void := math.NaN()
	if im.NoData != nil {
		void = *im.NoData
	}
	return s.each(p.lattice(t, s.file.CRS, p.off), p.cache, func(i int, px []byte) {
		for k := range parts {
			pt := &parts[k]
			if known := pt.to[i]; known == known {
				continue
			}
			if v := number(px[pt.at:], im.Sample); v != void {
				pt.to[i] = float32(float64(v*pt.scale) + pt.offset)
			}
		}
	})
}

// at is what one pixel reflects.
func (r *reflectances) at(i int) (v index.Values) {
	for k, to := range []*float64{&v.Blue, &v.Green, &v.Red, &v.RedEdge, &v.NIR} {
		if r[k] != nil {
			*to = float64(r[k][i])
		}
	}
	return v
}
