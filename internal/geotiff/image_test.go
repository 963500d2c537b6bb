package geotiff_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/oracle"
)

func TestNamesColoursAndWavelengthsAreReadAsGDALWritesThem(t *testing.T) {
	path := filepath.Join(t.TempDir(), "words.tif")
	python(t, "words.py", path)
	im, err := open(t, path)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"Green & more", "Red", "Red edge <1>", "", "mask"}; !slices.Equal(im.BandNames, want) {
		t.Errorf("names are %q, want %q", im.BandNames, want)
	}
	if want := []string{"green", "red", "", "", "alpha"}; !slices.Equal(im.Colors, want) {
		t.Errorf("colours are %q, want %q", im.Colors, want)
	}
	if want := []float64{560, 668, 717, 842, 0}; !slices.Equal(im.Wavelengths, want) {
		t.Errorf("wavelengths are %v, want %v", im.Wavelengths, want)
	}
	if im.Alpha != 4 || im.DateTime != "2026:07:14 09:05:00" || im.Software != "words.py" {
		t.Errorf("alpha %d, date %q, software %q", im.Alpha, im.DateTime, im.Software)
	}
	if im.Affine != nil || im.HasCRS || im.EPSG != 0 {
		t.Errorf("a picture without a place has affine %v, system %v, code %d", im.Affine, im.HasCRS, im.EPSG)
	}
}

// TestRawBlocksAreDecodedBlocksWithThePredictorLeft undoes the predictor here,
// sample by sample.
func TestRawBlocksAreDecodedBlocksWithThePredictorLeft(t *testing.T) {
	for name, f := range formats() {
		for _, bands := range []int{1, 2, 3, 4, 5} {
			f.Bands, f.BandNames, f.Colors, f.Wavelengths, f.Predictor, f.Deflate = bands, nil, nil, nil, true, true
			f.Cols, f.Rows, f.Tile = 40, 35, 32
			path := create(t, name, func(w io.WriteSeeker) error { return geotiff.Write(w, f, fillFrom(f, randomPixels(f))) })
			im, err := open(t, path)
			if err != nil {
				t.Fatal(err)
			}
			d := im.NewDecoder()
			plain, raw := make([]byte, im.BlockBytes()), make([]byte, im.BlockBytes())
			for i := range im.Blocks() {
				if err := d.Decode(i, plain); err != nil {
					t.Fatal(err)
				}
				if err := d.DecodeRaw(i, raw); err != nil {
					t.Fatal(err)
				}
				if im.RawPredictor() == 2 {
					addUp(raw, im)
				}
				if !bytes.Equal(plain, raw) {
					t.Fatalf("%s with %d bands: block %d differs", name, bands, i)
				}
			}
			if wants := f.Sample.Bytes() <= 2; wants != (im.RawPredictor() == 2) {
				t.Errorf("%s: raw predictor is %d for %v", name, im.RawPredictor(), f.Sample)
			}
		}
	}
}

// addUp undoes predictor 2 the plain way.
func addUp(b []byte, im *geotiff.Image) {
	n, step := im.Sample.Bytes(), im.Bands*im.Sample.Bytes()
	for row := range im.BlockRows {
		for at := row*im.BlockCols*step + step; at < (row+1)*im.BlockCols*step; at += n {
			if n == 1 {
				b[at] += b[at-step]
			} else {
				binary.LittleEndian.PutUint16(b[at:], binary.LittleEndian.Uint16(b[at:])+binary.LittleEndian.Uint16(b[at-step:]))
			}
		}
	}
}

func TestBlocksCoverThePictureOnce(t *testing.T) {
	for name, f := range formats() {
		path := create(t, name, func(w io.WriteSeeker) error { return geotiff.Write(w, f, fillFrom(f, randomPixels(f))) })
		im, err := open(t, path)
		if err != nil {
			t.Fatal(err)
		}
		seen := make([]int, im.Cols*im.Rows)
		for i := range im.Blocks() {
			w := im.Block(i)
			for r := w.Row; r < w.Row+w.Rows; r++ {
				for c := w.Col; c < w.Col+w.Cols; c++ {
					seen[r*im.Cols+c]++
				}
			}
			if im.BlockEmpty(i) {
				t.Errorf("%s: block %d is empty", name, i)
			}
		}
		if slices.ContainsFunc(seen, func(n int) bool { return n != 1 }) {
			t.Errorf("%s: blocks do not cover each pixel once", name)
		}
	}
}

func TestLeftOutTilesAreEmptyBlocksOfNoData(t *testing.T) {
	dir := t.TempDir()
	python(t, "layouts.py", dir, "hole", "stripholes")
	for _, name := range []string{"hole", "stripholes"} {
		im, err := open(t, filepath.Join(dir, name+".tif"))
		if err != nil {
			t.Fatal(err)
		}
		empty := 0
		block := make([]byte, im.BlockBytes())
		d := im.NewDecoder()
		for i := range im.Blocks() {
			if !im.BlockEmpty(i) {
				continue
			}
			empty++
			if err := d.Decode(i, block); err != nil {
				t.Fatal(err)
			}
			w := im.Block(i)
			for _, v := range block[:w.Rows*im.BlockCols*im.Bands*2] {
				if v != 0xff {
					t.Fatalf("%s: block %d is empty but holds %d", name, i, v)
				}
			}
		}
		if empty == 0 || empty == im.Blocks() {
			t.Errorf("%s: %d of %d blocks are empty", name, empty, im.Blocks())
		}
	}
}

func TestDecodersWorkSideBySide(t *testing.T) {
	f := geotiff.Format{Cols: 600, Rows: 500, Bands: 4, Sample: geotiff.Uint16, Tile: 64, Deflate: true, Predictor: true}
	all := randomPixels(f)
	path := create(t, "side", func(w io.WriteSeeker) error { return geotiff.Write(w, f, fillFrom(f, all)) })
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	im, err := geotiff.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			if got, err := pixels(im); err != nil || !bytes.Equal(got, all) {
				t.Errorf("pixels differ (%v)", err)
			}
		})
	}
	wg.Wait()
}

func TestAnImageWithoutAPlaceIsWrittenWithoutOne(t *testing.T) {
	f := geotiff.Format{Cols: 20, Rows: 20, Bands: 1, Sample: geotiff.Uint8, Tile: 16}
	path := create(t, "nowhere", func(w io.WriteSeeker) error {
		return geotiff.Write(w, f, func(grid.Window, []byte) error { return nil })
	})
	im, err := open(t, path)
	if err != nil || im.Affine != nil || im.HasCRS {
		t.Errorf("affine %v, system %v, %v", im.Affine, im.HasCRS, err)
	}
}

func TestMasksAreReadAsByGDAL(t *testing.T) {
	dir := t.TempDir()
	python(t, "mask.py", dir)
	for _, name := range []string{"tiled", "strips", "plain", "jpeg"} {
		im, err := open(t, filepath.Join(dir, name+".tif"))
		if err != nil {
			t.Fatal(err)
		}
		if im.Masks != 1 || im.Mask == nil {
			t.Errorf("%s: %d masks, read: %v", name, im.Masks, im.Mask != nil)
			continue
		}
		want, err := os.ReadFile(filepath.Join(dir, name+".tif.mask"))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := pixels(im.Mask); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s: the mask differs (%v)", name, err)
		}
	}
}

// TestAMaskOfBytesIsReadAsByGDAL has a mask of eight bits, which GDAL reads and
// does not write.
func TestAMaskOfBytesIsReadAsByGDAL(t *testing.T) {
	const cols, rows = 7, 5
	picture := [][2]uint32{{256, cols}, {257, rows}, {258, 8}, {273, 8}, {279, cols * rows}}
	first := len(handmade(0, picture...))
	mask := [][2]uint32{{254, 4}, {256, cols}, {257, rows}, {258, 8}, {262, 4}, {273, 0}, {279, cols * rows}}
	mask[5][1] = uint32(first + len(handmade(0, mask...)) - 8)
	b := append(handmade(uint32(first), picture...), handmade(0, mask...)[8:]...)
	for i := range cols * rows {
		b = append(b, byte(i%3*100))
	}
	dir := t.TempDir()
	path, out := filepath.Join(dir, "in.tif"), filepath.Join(dir, "mask.bin")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	script := "import sys; from osgeo import gdal; ds = gdal.Open(sys.argv[1]); ds.GetRasterBand(1).GetMaskBand().ReadAsArray().tofile(sys.argv[2])"
	if said, err := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo.gdal"), "-c", script, path, out).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	want, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	im, err := open(t, path)
	if err != nil || im.Mask == nil {
		t.Fatalf("the mask is not read (%v)", err)
	}
	got, err := pixels(im.Mask)
	if err != nil || len(got) != len(want) {
		t.Fatalf("%d bytes, want %d, %v", len(got), len(want), err)
	}
	for i, v := range got {
		if (v != 0) != (want[i] != 0) {
			t.Errorf("pixel %d is %d, GDAL's %d", i, v, want[i])
		}
	}
}

func TestOneThickStripIsCutIntoBlocks(t *testing.T) {
	const cols, rows = 6001, 6000
	fields := [][2]uint32{{256, cols}, {257, rows}, {258, 8}, {273, 0}, {279, cols * rows}}
	fields[3][1] = uint32(len(handmade(0, fields...)))
	head := handmade(0, fields...)
	all := make([]byte, cols*rows)
	for i := range all {
		all[i] = byte(i ^ i>>11)
	}
	file := append(head, all...)
	im, err := geotiff.Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	if im.BlockBytes() > 17<<20 || im.Blocks() < 3 {
		t.Errorf("%d blocks of %d bytes", im.Blocks(), im.BlockBytes())
	}
	if got, err := pixels(im); err != nil || !bytes.Equal(got, all) {
		t.Errorf("pixels differ (%v)", err)
	}
}

func TestBandsDescribedForTheWholePictureAreKnown(t *testing.T) {
	dir := t.TempDir()
	python(t, "envi.py", dir)
	for _, tc := range []struct {
		name  string
		names []string
		waves []float64
	}{
		{"lists", []string{"Green", "Red", "NIR 842"}, []float64{560, 668, 842}},
		{"microns", []string{"", "", ""}, []float64{560, 668, 842}},
		{"numbered", []string{"Green (560)", "Red (668)", "NIR (842)"}, []float64{0, 0, 0}},
		{"short", []string{"", "", ""}, []float64{0, 0, 0}},
	} {
		im, err := open(t, filepath.Join(dir, tc.name+".tif"))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(im.BandNames, tc.names) || !slices.Equal(im.Wavelengths, tc.waves) {
			t.Errorf("%s: names %q, wavelengths %v", tc.name, im.BandNames, im.Wavelengths)
		}
	}
	im, err := open(t, filepath.Join(dir, "scaled.tif"))
	if err != nil {
		t.Fatal(err)
	}
	if want := []float64{0.0001, 0.0002, 0.00030000000000000003}; !slices.Equal(im.Scales, want) ||
		!slices.Equal(im.Offsets, []float64{0, -0.1, -0.2}) || !slices.Equal(im.Units, []string{"1", "1", "1"}) {
		t.Errorf("scales %v, offsets %v, units %q", im.Scales, im.Offsets, im.Units)
	}
}
