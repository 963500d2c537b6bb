package geotiff

import "bittern/internal/grid"

// mostOverviews is how many smaller copies of a picture are kept track of.
const mostOverviews = 32

// Smaller returns the overview of the picture, a smaller copy inside its file,
// that has the fewest pixels but at least one for each step x step pixels of the
// picture, or nil when there is none. Its bands, no-data number and place are
// the picture's. How its pixels were made is not known: they need not be means.
//
// Overviews that are damaged, stored as other samples than the picture, or of
// another kind are passed over; so are all of a picture with a mask.
func (im *Image) Smaller(step float64) *Image {
	if im.Mask != nil || im.Masks > 0 {
		return nil
	}
	var best *Image
	for _, d := range im.overviews {
		o := im.overview(d)
		if o == nil || float64(o.Cols)*step < float64(im.Cols) || float64(o.Rows)*step < float64(im.Rows) {
			continue
		}
		if best == nil || o.Cols < best.Cols {
			best = o
		}
	}
	return best
}

// overview opens an overview, or returns nil when it cannot stand for the
// picture.
func (im *Image) overview(d *directory) *Image {
	o := &Image{src: im.src, Alpha: -1, BigEndian: im.BigEndian, Big: im.Big}
	for _, step := range []func(*directory) error{o.shape, o.kind, o.compression, o.segments, o.jpegTables, o.webpKind} {
		if err := step(d); err != nil {
			return nil
		}
	}
	if o.Cols > im.Cols || o.Rows > im.Rows || o.Bands != im.Bands || o.Sample != im.Sample || o.StoredBits != im.StoredBits || o.white != im.white {
		return nil
	}
	o.Alpha, o.NoData = im.Alpha, im.NoData
	o.BandNames, o.Wavelengths, o.Colors, o.Units = im.BandNames, im.Wavelengths, im.Colors, im.Units
	o.Scales, o.Offsets = im.Scales, im.Offsets
	o.HasCRS, o.EPSG, o.ModelType, o.GeoKeys, o.Citation = im.HasCRS, im.EPSG, im.ModelType, im.GeoKeys, im.Citation
	o.Affine = shrunk(im.Affine, float64(im.Cols)/float64(o.Cols), float64(im.Rows)/float64(o.Rows))
	return o
}

// shrunk is the place of a copy whose pixels are so many of the picture's wide
// and high.
func shrunk(a *grid.Affine, wide, high float64) *grid.Affine {
	if a == nil {
		return nil
	}
	return &grid.Affine{A: a.A, B: a.B * wide, C: a.C * high, D: a.D, E: a.E * wide, F: a.F * high}
}
