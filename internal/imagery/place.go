package imagery

import (
	"fmt"
	"math"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
)

// place finds where on the ground the picture lies.
func (f *File) place() error {
	im := f.Image
	switch {
	case im.Affine != nil:
	case im.Rational:
		return &doubt.Problem{
			What:   "is placed by a model of its sensor only, which is not applied",
			Remedy: "place it with: gdalwarp -rpc -t_srs EPSG:4326 -co COMPRESS=DEFLATE -co TILED=YES in.tif out.tif",
		}
	case im.Controls > 0:
		return &doubt.Problem{
			What:   "is placed by control points only, which are not applied",
			Remedy: "place it with: gdalwarp -tps -t_srs EPSG:4326 -co COMPRESS=DEFLATE -co TILED=YES in.tif out.tif",
		}
	default:
		return &doubt.Problem{What: "has no place on the ground", Remedy: "export it as a GeoTIFF with its coordinates, or join the frames first"}
	}
	if f.system == "" && !im.HasCRS && im.EPSG == 0 {
		return &doubt.Problem{What: "does not name its coordinate system", Remedy: "export it as a GeoTIFF in WGS 84 or its UTM zone"}
	}
	var c crs.CRS
	var err error
	if f.system != "" {
		c, err = crs.Parse(f.system)
	} else {
		c, err = crs.FromGeoKeys(geoKeys(im))
	}
	if err != nil {
		return &doubt.Problem{
			What:   "its coordinate system, " + f.systemName() + ", is not read",
			Remedy: "export it in WGS 84 or its UTM zone", Err: err,
		}
	}
	f.CRS = c
	f.PixelM, err = f.pixelSize()
	if err != nil || !(f.PixelM > 1e-5 && f.PixelM < 1e5) {
		return &doubt.Problem{
			What:   "its coordinates do not fit its coordinate system, " + c.Name(),
			Remedy: "export it again with the right one", Err: err,
		}
	}
	return nil
}

// geoKeys is what the file says about its coordinate system.
func geoKeys(im *geotiff.Image) crs.GeoKeys {
	k := crs.GeoKeys{Citation: citations(im), Numbers: map[int]float64{}}
	for id, to := range map[int]*int{
		1024: &k.Model, 2048: &k.Geographic, 2050: &k.Datum, 2054: &k.AngularUnit,
		3072: &k.Projected, 3074: &k.Projection, 3075: &k.Method, 3076: &k.LinearUnit,
	} {
		key, _ := im.GeoKey(id)
		*to = key.Short
	}
	for _, key := range im.GeoKeys {
		if len(key.Doubles) > 0 {
			k.Numbers[key.ID] = key.Doubles[0]
		}
	}
	return k
}

// citations are all names that the file gives its system, a line each, the one
// that names it best first.
func citations(im *geotiff.Image) string {
	lines := []string{im.Citation}
	for _, id := range []int{1026, 2049, 3073} {
		if key, ok := im.GeoKey(id); ok && key.Text != im.Citation {
			lines = append(lines, key.Text)
		}
	}
	return strings.Join(lines, "\n")
}

// systemName names the coordinate system as the file does.
func (f *File) systemName() string {
	const longest = 60
	citation := f.Image.Citation
	if _, name, ok := strings.Cut(f.system, `"`); ok {
		citation, _, _ = strings.Cut(name, `"`)
		if citation != "" && len(citation) <= longest && !strings.ContainsAny(citation, "\r\n") {
			return citation
		}
		return "one of its own"
	}
	if i := strings.IndexAny(citation, "\n|"); i >= 0 {
		citation = citation[:i]
	}
	if citation = strings.TrimSpace(citation); len(citation) > longest {
		citation = "" // a definition, not a name
	}
	switch {
	case citation != "" && f.Image.EPSG != 0:
		return fmt.Sprintf("%s (EPSG:%d)", citation, f.Image.EPSG)
	case f.Image.EPSG != 0:
		return fmt.Sprintf("EPSG:%d", f.Image.EPSG)
	case citation != "":
		return citation
	}
	return "one of its own"
}

// At is the place of picture coordinates (0, 0 is the outer corner of the
// first pixel) in the picture's own coordinate system.
func (f *File) At(col, row float64) geo.Point {
	a := f.Image.Affine
	return geo.Point{
		X: a.A + float64(a.B*col) + float64(a.C*row),
		Y: a.D + float64(a.E*col) + float64(a.F*row),
	}
}

// LonLat is the longitude and latitude of picture coordinates.
func (f *File) LonLat(col, row float64) (lon, lat float64) {
	p := f.At(col, row)
	return f.CRS.Inverse(p.X, p.Y)
}

// To is the way from picture coordinates to zone, in its units. A place that
// zone cannot hold is not a number. same says that the picture's system is
// zone, or the same zone on NAD83, which is taken for it: then the way is the
// picture's affine.
func (f *File) To(zone crs.CRS) (at func(col, row float64) (x, y float64), same bool) {
	if f.CRS.SameGrid(zone) {
		return func(col, row float64) (float64, float64) {
			p := f.At(col, row)
			return p.X, p.Y
		}, true
	}
	return func(col, row float64) (float64, float64) {
		x, y, err := zone.Forward(f.LonLat(col, row))
		if err != nil {
			return math.NaN(), math.NaN()
		}
		return x, y
	}, false
}

// pixelSize is the side of a square as large as the pixel at the picture's
// centre, in metres on the ellipsoid.
func (f *File) pixelSize() (float64, error) {
	col, row := float64(f.Image.Cols)/2, float64(f.Image.Rows)/2
	lon, lat := f.LonLat(col, row)
	if !f.CRS.Geographic() {
		p := f.At(col, row)
		x, y, err := f.CRS.Forward(lon, lat)
		if err != nil || math.Hypot(x-p.X, y-p.Y) > 1 {
			return 0, fmt.Errorf("its centre is at %g, %g: %w", p.X, p.Y, crs.ErrOutside)
		}
	}
	zone := crs.UTMFor(lon, lat)
	var at [3]geo.Point
	for i, d := range [3][2]float64{{0, 0}, {1, 0}, {0, 1}} {
		x, y, err := zone.Forward(f.LonLat(col+d[0], row+d[1]))
		if err != nil {
			return 0, err
		}
		at[i] = geo.Point{X: x, Y: y}
	}
	u, v := sub(at[1], at[0]), sub(at[2], at[0])
	return math.Sqrt(math.Abs(float64(u.X*v.Y)-float64(u.Y*v.X))) / zone.ScaleFactor(lon, lat), nil
}

func sub(a, b geo.Point) geo.Point { return geo.Point{X: a.X - b.X, Y: a.Y - b.Y} }
