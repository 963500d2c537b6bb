package app

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/index"
	"bittern/internal/picture"
	"bittern/internal/structure"
)

// bandsName is what each cell reflects in each band: what the page draws indices
// from afar of. Written for the page only.
const bandsName = "data/bands.tif"

// An IndexShown is a published index that the flight's bands allow, and the values
// that its colours run over in this field.
type IndexShown struct {
	Name    string  `json:"name"`
	Title   string  `json:"title"`
	Formula string  `json:"formula"`
	Source  string  `json:"source"`
	Low     float64 `json:"low"`  // of the darkest colour: 2 % of the cells that are looked at lie below
	High    float64 `json:"high"` // of the brightest: 2 % lie above
}

// reflects is what the cells reflect in one band, as the published formulas take
// it: from the numbers that the file stores, display colours as they are shown.
type reflects struct {
	name  string
	cells []float32
	scale float64 // of what the summary holds
	srgb  bool
}

func (b reflects) at(i int) float64 {
	v := float64(b.cells[i])
	if b.srgb && v == v {
		return picture.Encoded(v)
	}
	return v * b.scale
}

// reflected lists the bands of the summary; known is false where a file does not
// say what its numbers stand for.
func (r *run) reflected() (out []reflects, known bool) {
	known = true
	for k, name := range r.cells.Bands {
		i := slices.IndexFunc(r.flight.Files, func(f *imagery.File) bool { return slices.Contains(f.Bands, name) })
		if i < 0 {
			continue
		}
		f := r.flight.Files[i]
		b := reflects{name: name, cells: r.cells.Mean[k], scale: 1, srgb: f.SRGB}
		if index.Unscaled(f) && f.Image.Sample != geotiff.Float32 && f.Image.Sample != geotiff.Float64 {
			known = known && f.SRGB
			b.scale, _ = index.ScaleOf(f, slices.Index(f.Bands, name))
		}
		out = append(out, b)
	}
	return out, known
}

// fillIndices lists the indices that can be shown, with the range of each. Where it
// is not known what the numbers stand for, formulas with a constant have no meaning.
func (r *run) fillIndices() {
	bands, known := r.reflected()
	var names []string
	for _, b := range bands {
		names = append(names, b.name)
	}
	r.day.Imagery.Indices = []IndexShown{}
	for _, x := range index.All() {
		missing := slices.ContainsFunc(x.Bands, func(name string) bool { return !slices.Contains(names, name) })
		if missing || x.Absolute && !known {
			continue
		}
		if low, high, ok := r.spanOf(x, bands); ok {
			r.day.Imagery.Indices = append(r.day.Imagery.Indices, IndexShown{
				Name: x.Name, Title: x.Title, Formula: x.Formula, Source: x.Source, Low: low, High: high,
			})
		}
	}
}

// spanOf is the range of an index over a sample of the cells that are looked at: 2 %
// lie below and above it, to a hundredth, outwards.
func (r *run) spanOf(x index.Index, bands []reflects) (low, high float64, ok bool) {
	const most = 20000
	step := max(1, len(r.inside)/most)
	var sample []float64
	for i := 0; i < len(r.inside); i += step {
		if !r.inside[i] || r.cells.Pixels[i] == 0 || r.layout.Reason[i] != structure.LookedAt {
			continue
		}
		var v index.Values
		for _, b := range bands {
			v.Set(b.name, b.at(i))
		}
		if y := x.Value(v); y == y {
			sample = append(sample, y)
		}
	}
	if len(sample) == 0 {
		return 0, 0, false
	}
	slices.Sort(sample)
	at := func(share float64) float64 { return sample[int(share*float64(len(sample)-1))] * 100 }
	low, high = math.Floor(at(0.02))/100, math.Ceil(at(0.98))/100
	if high <= low {
		high = low + 0.01
	}
	return low, high, true
}

// bandSteps is how finely reflectances are kept: far finer than the 256 colours
// that they are shown in, and coarse enough to be stored in little room.
const bandSteps = 4095

// writeBands writes the reflectances of the cells: 0 where there is no picture, else
// from 1 on.
func (r *run) writeBands(w io.WriteSeeker) error {
	bands, _ := r.reflected()
	g, void := r.grid, 0.0
	f := geotiff.Format{
		Cols: g.Cols, Rows: g.Rows, Bands: len(bands), Sample: geotiff.Uint16, Tile: 256, Deflate: true, Level: 1, Predictor: true,
		Workers: r.set.Workers, Affine: g.Affine(), EPSG: g.EPSG, NoData: &void, Software: r.Program,
	}
	for _, b := range bands {
		top := 0.0
		for i := range b.cells {
			if v := b.at(i); v > top {
				top = v
			}
		}
		scale := max(top, 1e-9) / bandSteps
		f.BandNames = append(f.BandNames, b.name)
		f.Scales, f.Offsets = append(f.Scales, scale), append(f.Offsets, -scale)
	}
	if err := geotiff.WriteCOG(w, f, func(win grid.Window, dst []byte) error {
		for row := range win.Rows {
			for col := range win.Cols {
				i := g.Index(win.Col+col, win.Row+row)
				px := dst[2*len(bands)*(row*win.Cols+col):]
				for k, b := range bands {
					if v := b.at(i); v == v {
						binary.LittleEndian.PutUint16(px[2*k:], uint16(1+math.Round(max(0, v)/f.Scales[k])))
					}
				}
			}
		}
		return nil
	}); err != nil {
		return fmt.Errorf("writing what the cells reflect: %w", err)
	}
	return nil
}
