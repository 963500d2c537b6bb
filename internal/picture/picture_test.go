package picture_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/index"
	"bittern/internal/oracle"
	"bittern/internal/picture"
)

// somewhere is a grid of 60 x 40 m in zone 15.
func somewhere() grid.Grid {
	return grid.Grid{EPSG: 32615, OriginX: 650000, OriginY: 3887500, CellM: 0.5, Cols: 120, Rows: 80}
}

// colours writes a display-colour picture over g in system epsg, 0.1 m a pixel,
// whose every pixel is another colour.
func colours(t *testing.T, g grid.Grid) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "colours.tif")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	side := 0.1
	format := geotiff.Format{
		Cols: int(float64(g.Cols) * g.CellM / side), Rows: int(float64(g.Rows) * g.CellM / side), Bands: 3, Sample: geotiff.Uint8,
		Tile: 128, Deflate: true, Affine: grid.Affine{A: g.OriginX, B: side, D: g.OriginY, F: -side}, EPSG: g.EPSG,
		Colors: []string{"red", "green", "blue"},
	}
	err = geotiff.Write(f, format, func(win grid.Window, dst []byte) error {
		for i := range win.Rows * win.Cols {
			c, r := win.Col+i%win.Cols, win.Row+i/win.Cols
			dst[3*i], dst[3*i+1], dst[3*i+2] = uint8(1+c%250), uint8(1+r%250), uint8(1+(c+3*r)%250)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func flight(t *testing.T, path string) *imagery.Flight {
	t.Helper()
	f, err := imagery.Open(t.Context(), []string{path}, imagery.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func open(t *testing.T, path string, g grid.Grid) *picture.Picture {
	t.Helper()
	p, err := picture.Open(flight(t, path), picture.RoughOf(image.NewNRGBA(image.Rect(0, 0, g.Cols, g.Rows)), g), 1, picture.NewStore(1<<20))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestDeepestTilesAreThePixels: at the deepest level a tile is the file's own
// pixels, which GDAL cuts out for comparison (gdal_translate -srcwin).
func TestDeepestTilesAreThePixels(t *testing.T) {
	translate := oracle.Need(t, "gdal_translate")
	g := somewhere()
	path := colours(t, g)
	p := open(t, path, g)
	deepest := len(p.View.Pixels) - 1
	for _, at := range []picture.Tile{{Level: deepest}, {Level: deepest, Col: 1, Row: 0}, {Level: deepest, Col: 2, Row: 1}} {
		img, err := p.Plain(t.Context(), at)
		if err != nil {
			t.Fatal(err)
		}
		cols, rows := min(picture.TileSize, 600-at.Col*picture.TileSize), min(picture.TileSize, 400-at.Row*picture.TileSize)
		raw := filepath.Join(t.TempDir(), "window.bin")
		cmd := exec.CommandContext(t.Context(), translate, "-q", "-of", "ENVI", "-co", "INTERLEAVE=BIP",
			"-srcwin", itoa(at.Col*picture.TileSize), itoa(at.Row*picture.TileSize), itoa(cols), itoa(rows), path, raw)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		want, err := os.ReadFile(raw)
		if err != nil {
			t.Fatal(err)
		}
		for i := range cols * rows {
			px := img.Pix[img.PixOffset(i%cols, i/cols):][:4]
			if !bytes.Equal(px[:3], want[3*i:3*i+3]) || px[3] != 255 {
				t.Fatalf("tile %v pixel %d is %v, not %v", at, i, px, want[3*i:3*i+3])
			}
		}
		if beyond := img.NRGBAAt(picture.TileSize-1, picture.TileSize-1); cols < picture.TileSize && beyond.A != 0 {
			t.Errorf("beyond the picture there is %v", beyond)
		}
	}
}

// TestOtherProjections: a picture in other systems is shown in its own where it
// stands upright in it, and each pixel shows the file's pixel that GDAL finds at
// its place (gdallocationinfo -wgs84).
func TestOtherProjections(t *testing.T) {
	warp, info := oracle.Need(t, "gdalwarp"), oracle.Need(t, "gdallocationinfo")
	g := somewhere()
	path := colours(t, g)
	for _, tc := range []struct {
		system string
		own    bool
	}{{"EPSG:3433", true}, {"EPSG:3857", true}, {"EPSG:4326", false}, {"EPSG:26915", true}} {
		t.Run(tc.system, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), "warped.tif")
			if out, err := exec.CommandContext(t.Context(), warp, "-q", "-t_srs", tc.system, path, to).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			p := open(t, to, g)
			if utm := p.View.CRS.EPSG() == g.EPSG; utm == tc.own && tc.system != "EPSG:26915" {
				t.Errorf("shown in %s", p.View.CRS.Name())
			}
			at := picture.Tile{Level: len(p.View.Pixels) - 1, Col: 1, Row: 0}
			img, err := p.Plain(t.Context(), at)
			if err != nil {
				t.Fatal(err)
			}
			wrong := 0
			for k := range 25 {
				col, row := 20+k%5*50, 20+k/5*50
				pixel := p.View.Pixels[at.Level]
				ll := p.View.LonLat(geo.Point{
					X: p.View.MinX + pixel*(float64(at.Col*picture.TileSize+col)+0.5),
					Y: p.View.MaxY - pixel*(float64(at.Row*picture.TileSize+row)+0.5),
				})
				out, err := exec.CommandContext(t.Context(), info, "-valonly", "-wgs84", to, ftoa(ll.X), ftoa(ll.Y)).Output()
				if err != nil {
					t.Fatal(err)
				}
				var want [3]int
				if n := scan(string(out), &want); n < 3 {
					t.Fatalf("GDAL says %q", out)
				}
				got := img.NRGBAAt(col, row)
				if int(got.R) != want[0] || int(got.G) != want[1] || int(got.B) != want[2] {
					wrong++
				}
			}
			// A place that lies on the border of two pixels may go to either.
			if wrong > 1 {
				t.Errorf("%d of 25 places show another pixel than GDAL finds there", wrong)
			}
		})
	}
}

// TestRoughAndOver: from afar the rough copy shows, its means halve with each
// level, and an overlay and slanted lines lie on their cells.
func TestRoughAndOver(t *testing.T) {
	g := somewhere()
	img := image.NewNRGBA(image.Rect(0, 0, g.Cols, g.Rows))
	for i := range g.Len() {
		img.SetNRGBA(i%g.Cols, i/g.Cols, color.NRGBA{100, uint8(50 + 100*(i%2)), 20, 255})
	}
	p, err := picture.Open(nil, picture.RoughOf(img, g), 1, picture.NewStore(0))
	if err != nil {
		t.Fatal(err)
	}
	if side := p.View.Pixels[0] * p.View.MetersPerUnit; math.Abs(side/g.CellM-1) > 1e-3 {
		t.Errorf("a pixel is %g m", side)
	}
	tile, err := p.Plain(t.Context(), picture.Tile{})
	if err != nil {
		t.Fatal(err)
	}
	if a, b := tile.NRGBAAt(3, 2), tile.NRGBAAt(4, 2); a.G != 150 || b.G != 50 {
		t.Errorf("cells show as %v, %v", a, b)
	}
	if _, err := p.Plain(t.Context(), picture.Tile{Level: 7}); err == nil {
		t.Error("a level that is not there")
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	pic := open(t, colours(t, g), g)
	if _, err := pic.Plain(gone, picture.Tile{Level: len(pic.View.Pixels) - 1}); err == nil {
		t.Error("a tile was drawn for a reader who had left")
	}
}

// TestLatticeIsExact: the straight lines between the nodes of a tile stray from
// the projection by less than a hundredth of a pixel.
func TestLatticeIsExact(t *testing.T) {
	zone, err := crs.FromEPSG(3433)
	if err != nil {
		t.Fatal(err)
	}
	utm := somewhere().CRS()
	const pixel = 1.6 // m, far coarser than files are shown at
	worst := 0.0
	for k := range 64 {
		x, y := 650000+pixel*16*float64(k%8), 3887500-pixel*16*float64(k/8)
		at := func(dx, dy float64) geo.Point {
			lon, lat := utm.Inverse(x+dx, y+dy)
			a, b, err := zone.Forward(lon, lat)
			if err != nil {
				t.Fatal(err)
			}
			return geo.Point{X: a, Y: b}
		}
		a, b, c, d, mid := at(0, 0), at(16*pixel, 0), at(0, -16*pixel), at(16*pixel, -16*pixel), at(8*pixel, -8*pixel)
		worst = max(worst, math.Hypot((a.X+b.X+c.X+d.X)/4-mid.X, (a.Y+b.Y+c.Y+d.Y)/4-mid.Y)*0.3048/pixel)
	}
	if worst > 0.01 {
		t.Errorf("up to %.3f pixels off", worst)
	}
}

// TestBesideIsLaidBack: a flight that lies 0.3 m to the east and 0.2 m to the south
// of where it should shows, laid back, what stands three pixels right and two down.
func TestBesideIsLaidBack(t *testing.T) {
	g := somewhere()
	path := colours(t, g)
	p := open(t, path, g)
	off := geo.Point{X: 0.3, Y: -0.2}
	other, err := p.Beside(flight(t, path), picture.RoughOf(image.NewNRGBA(image.Rect(0, 0, g.Cols, g.Rows)), g), 1, off)
	if err != nil {
		t.Fatal(err)
	}
	at := picture.Tile{Level: len(p.View.Pixels) - 1}
	plain, errA := p.Plain(t.Context(), at)
	beside, errB := other.Plain(t.Context(), at)
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	for row := range 200 {
		for col := range 200 {
			if a, b := plain.NRGBAAt(col+3, row+2), beside.NRGBAAt(col, row); a != b || a.A == 0 {
				t.Fatalf("pixel %d, %d is %v, not %v", col, row, b, a)
			}
		}
	}
}

// TestIndexIsItsFormula: near by the colours of a tile are those of the published
// formula over the pixels, and from afar over the bands of the cells.
func TestIndexIsItsFormula(t *testing.T) {
	g := somewhere()
	red := func(col, _ int) uint16 { return uint16(1000 + 13*(col%97)) }
	nir := func(_, row int) uint16 { return uint16(4000 + 29*(row%83)) }
	write := func(cols, rows int, side float64) string {
		path := filepath.Join(t.TempDir(), "bands.tif")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		void := 0.0
		err = geotiff.WriteCOG(f, geotiff.Format{
			Cols: cols, Rows: rows, Bands: 2, Sample: geotiff.Uint16, Tile: 128, Deflate: true, NoData: &void,
			Affine: grid.Affine{A: g.OriginX, B: side, D: g.OriginY, F: -side}, EPSG: g.EPSG,
			BandNames: []string{"red", "nir"}, Scales: []float64{1e-4, 1e-4}, Offsets: []float64{0, 0},
		}, func(win grid.Window, dst []byte) error {
			for i := range win.Rows * win.Cols {
				c, r := win.Col+i%win.Cols, win.Row+i/win.Cols
				binary.LittleEndian.PutUint16(dst[4*i:], red(c, r))
				binary.LittleEndian.PutUint16(dst[4*i+2:], nir(c, r))
			}
			return nil
		})
		if err := errors.Join(err, f.Close()); err != nil {
			t.Fatal(err)
		}
		return path
	}
	cells := write(g.Cols, g.Rows, g.CellM)
	f, err := os.Open(cells)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	bands, err := picture.NewBands(f, info.Size(), g)
	if err != nil {
		t.Fatal(err)
	}
	ndvi, ok := index.Named("ndvi")
	if !ok {
		t.Fatal("there is no NDVI")
	}
	shade := picture.Shade{Index: ndvi, Low: 0.4, High: 0.7}
	rough := picture.RoughOf(image.NewNRGBA(image.Rect(0, 0, g.Cols, g.Rows)), g)
	near, errA := picture.Open(flight(t, write(600, 400, 0.1)), rough, 1, picture.NewStore(1<<24))
	far, errB := picture.Open(nil, rough, 1, picture.NewStore(1<<24))
	if err := errors.Join(errA, errB); err != nil {
		t.Fatal(err)
	}
	for name, p := range map[string]*picture.Picture{"pixels": near, "cells": far} {
		img, err := p.Index(t.Context(), bands, shade, picture.Tile{Level: len(p.View.Pixels) - 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range [][2]int{{0, 0}, {5, 3}, {50, 70}, {119, 79}} {
			r, n := float64(red(at[0], at[1])), float64(nir(at[0], at[1]))
			want := index.Colors()[int(math.Round(255*min(1, max(0, ((n-r)/(n+r)-0.4)/0.3))))]
			got := img.NRGBAAt(at[0], at[1])
			// A value on the border of two colours may go to either.
			if d := int(got.R) - int(want[0]); got.A != 255 || d < -2 || d > 2 {
				t.Errorf("%s: pixel %v is %v, not %v", name, at, got, want)
			}
		}
	}
}
