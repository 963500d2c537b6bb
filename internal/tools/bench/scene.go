//go:build unix

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"bittern/internal/atomicfile"
	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/invent"
)

const (
	pictureFile = "picture.tif"
	fieldFile   = "field.json"
	seed        = 955
)

// A field is what the pass needs to know of an invented one.
type field struct {
	EPSG int      `json:"epsg"`
	Ring geo.Ring `json:"ring"` // m of the zone
}

// prepare has a field invented, in a process of its own. It returns the folder
// that keeps its picture and its ring.
func (s settings) prepare(ctx context.Context, acres, askewDeg float64, colour bool) (string, error) {
	return s.apart(ctx, "--invent", fmt.Sprint(acres), "--askew", fmt.Sprint(askewDeg), fmt.Sprint("--colour=", colour))
}

// apart runs this program again with the same pictures, and returns the folder
// that it prints. A system counts the peak memory of the process that starts
// another into the other's own: so that which measures must stay small.
func (s settings) apart(ctx context.Context, args ...string) (string, error) {
	self, err := os.Executable()
	if err != nil {
		return "", err
	}
	args = append(args, "--cache", s.cache, "--pixel", fmt.Sprint(s.pixelM), "--base-acres", fmt.Sprint(s.baseAcres))
	out, err := output(exec.CommandContext(ctx, self, args...))
	return strings.TrimSpace(string(out)), err
}

// invent invents a field that lies askew in its picture and keeps both,
// unless they are there already. It returns their folder.
func (s settings) invent(acres, askewDeg float64, colour bool) (string, error) {
	name := fmt.Sprintf("%gac-%gcm-%gdeg", acres, 100*s.pixelM, askewDeg)
	sensor := invent.FourBand16
	if colour {
		name, sensor = name+"-colour", invent.ColorJPEGLike8
	}
	dir := filepath.Join(s.cache, name)
	if there, err := exists(filepath.Join(dir, fieldFile)); there || err != nil {
		return dir, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	scene := invent.Believable(sensor, seed)
	scene.Acres, scene.PixelM, scene.AskewDeg, scene.RotateDeg = acres, s.pixelM, askewDeg, 0
	scene.Weeds.Acres = min(scene.Weeds.Acres, acres/4)
	f, err := invent.New(scene)
	if err != nil {
		return "", err
	}
	if err := atomicfile.WriteSeeker(filepath.Join(dir, pictureFile), func(w io.WriteSeeker) error { return picture(w, f) }); err != nil {
		return "", err
	}
	ring, err := ringOf(f)
	if err != nil {
		return "", err
	}
	return dir, keep(dir, ring)
}

func exists(path string) (bool, error) {
	_, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

func keep(dir string, f field) error {
	return atomicfile.Write(filepath.Join(dir, fieldFile), func(w io.Writer) error { return json.NewEncoder(w).Encode(f) })
}

// picture writes the field's picture as the budgets name it: tiles of 512,
// Deflate of the usual strength, differences along the row.
func picture(w io.WriteSeeker, f *invent.Field) error {
	is := f.Format()
	sample := geotiff.Uint16
	if is.SampleBytes == 1 {
		sample = geotiff.Uint8
	}
	return geotiff.Write(w, geotiff.Format{
		Cols: is.Cols, Rows: is.Rows, Bands: len(is.Bands), Sample: sample,
		Tile: tileSide, Deflate: true, Level: 6, Predictor: true, Big: true,
		Affine: is.Affine, EPSG: is.EPSG, BandNames: is.Bands,
	}, f.Fill)
}

// tileSide is the side of a tile in pixels.
const tileSide = 512

// ringOf is the field's ring in metres.
func ringOf(f *invent.Field) (field, error) {
	zone, err := crs.FromEPSG(f.Format().EPSG)
	if err != nil {
		return field{}, err
	}
	out := field{EPSG: zone.EPSG()}
	for _, p := range f.BoundaryExact().Outer {
		x, y, err := zone.Forward(p.X, p.Y)
		if err != nil {
			return field{}, err
		}
		out.Ring = append(out.Ring, geo.Point{X: x, Y: y})
	}
	return out, nil
}

// stores says how each other way of storing a picture is asked of
// gdal_translate.
var stores = map[string][]string{
	"strips":  {"COMPRESS=DEFLATE", "PREDICTOR=2", "TILED=NO", "BLOCKYSIZE=1"},
	"plain":   {"COMPRESS=DEFLATE", "PREDICTOR=1", "TILED=YES"},
	"deflate": {"COMPRESS=DEFLATE", "PREDICTOR=2", "TILED=YES"},
	"lzw":     {"COMPRESS=LZW", "PREDICTOR=2", "TILED=YES"},
	"zstd":    {"COMPRESS=ZSTD", "PREDICTOR=2", "TILED=YES"},
	"none":    {"COMPRESS=NONE", "TILED=YES"},
	"jpeg":    {"COMPRESS=JPEG", "PHOTOMETRIC=YCBCR", "JPEG_QUALITY=85", "TILED=YES"},
}

// store keeps a picture's copy that is stored in another way, and returns its
// name in the folder.
func store(ctx context.Context, dir, how string) (string, error) {
	name := how + ".tif"
	path := filepath.Join(dir, name)
	if there, err := exists(path); there || err != nil {
		return name, err
	}
	args := []string{"-q", "--config", "GDAL_NUM_THREADS", "ALL_CPUS", "-co", "INTERLEAVE=PIXEL", "-co", "BIGTIFF=IF_SAFER"}
	for _, o := range stores[how] {
		args = append(args, "-co", o)
		if o == "TILED=YES" {
			args = append(args, "-co", fmt.Sprint("BLOCKXSIZE=", tileSide), "-co", fmt.Sprint("BLOCKYSIZE=", tileSide))
		}
	}
	part := filepath.Join(dir, "part-"+name)
	if _, err := output(exec.CommandContext(ctx, "gdal_translate", append(args, filepath.Join(dir, pictureFile), part)...)); err != nil {
		return "", err
	}
	return name, os.Rename(part, path)
}
