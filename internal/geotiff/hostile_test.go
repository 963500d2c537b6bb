package geotiff_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/golden"
	"bittern/internal/oracle"
)

// read opens and decodes a picture that is in memory.
func read(b []byte) ([]byte, error) {
	im, err := geotiff.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, err
	}
	return pixels(im)
}

// oneSentence fails the test unless err is a Problem of one clear sentence.
func oneSentence(t *testing.T, name string, err error) {
	t.Helper()
	p, ok := errors.AsType[*doubt.Problem](err)
	if !ok || p.Kind != doubt.Input || p.What == "" || strings.ContainsAny(err.Error(), "\n\x00%") {
		t.Errorf("%s: %v (%T)", name, err, err)
	}
}

// sound is a picture of the collection that we decode.
type sound struct {
	path   string
	pixels []byte
	lossy  bool
	copy   string // where GDAL is to put its pixels
	worst  int    // the largest difference from GDAL's pixels, -1 where GDAL does not read them
}

// TestRealAndBrokenPicturesAreDecodedAsByGDALOrRefused walks a collection of
// conforming, odd and deliberately broken files.
func TestRealAndBrokenPicturesAreDecodedAsByGDALOrRefused(t *testing.T) {
	refused := map[string]int{}
	list := walk(t, oracle.Data(t, "tiff"), refused)
	if len(list) < 700 {
		t.Errorf("only %d files are decoded; refused: %v", len(list), refused)
	}
	compareAll(t, list)
	t.Logf("%d files decoded as by GDAL, %d refused", len(list), sum(refused))
	if !testing.Short() && !t.Failed() {
		golden.Equal(t, "../../../../docs/formats.md", []byte(formatsPage(t, list, refused)))
	}
}

// sentence is what is said of a file that is not read, without what only that
// file has.
func sentence(err error) string {
	p, ok := errors.AsType[*doubt.Problem](err)
	if !ok {
		return err.Error()
	}
	what := p.What
	if before, _, cut := strings.Cut(what, ": "); cut && strings.Contains(before, "damaged") {
		what = before
	}
	return what + "; " + p.Remedy
}

// compareAll holds pictures that we decode to what GDAL decodes of them.
func compareAll(t *testing.T, list []sound) {
	t.Helper()
	var ask strings.Builder
	for _, p := range list {
		ask.WriteString(p.path + "\t" + p.copy + "\n")
	}
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "osgeo.gdal", "numpy"), filepath.Join("testdata", "digest.py"))
	cmd.Stdin = strings.NewReader(ask.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) != len(list) {
		t.Fatalf("GDAL answered for %d of %d files", len(lines), len(list))
	}
	for i, p := range list {
		if strings.HasPrefix(lines[i], "refused") { // beyond its limits of memory
			t.Logf("%s: GDAL %s", p.path, lines[i])
			list[i].worst = -1
			continue
		}
		list[i].worst = p.compare(t, lines[i])
	}
}

func TestSamplesOfOtherTypesAreConvertedAsByGDAL(t *testing.T) {
	dir := t.TempDir()
	python(t, "kinds.py", dir)
	refused := map[string]int{}
	list := walk(t, dir, refused)
	if len(list) < 150 || len(refused) > 0 {
		t.Errorf("%d files are decoded; refused: %v", len(list), refused)
	}
	compareAll(t, list)
}

// walk reads all files below root and counts the refused ones by reason.
func walk(t *testing.T, root string, refused map[string]int) (list []sound) {
	t.Helper()
	dir := t.TempDir()
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		got, err := readInBounds(t, path, b)
		switch {
		case errors.Is(err, errHuge):
		case err != nil:
			refused[sentence(err)]++
			oneSentence(t, path, err)
		default:
			p := sound{path: path, pixels: got}
			if im, err := geotiff.Open(bytes.NewReader(b), int64(len(b))); err == nil && im.Lossy {
				p.lossy, p.copy = true, filepath.Join(dir, strconv.Itoa(len(list)))
			}
			list = append(list, p)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// compare holds our pixels to the digest of GDAL's, or, where a decoder may
// round as it likes, to its pixels. It returns the largest difference.
func (p sound) compare(t *testing.T, digest string) (worst int) {
	t.Helper()
	if !p.lossy {
		if sum := sha256.Sum256(p.pixels); digest != hex.EncodeToString(sum[:]) {
			t.Errorf("%s: GDAL decodes other pixels", p.path)
		}
		return 0
	}
	want, err := os.ReadFile(p.copy)
	if err != nil || len(want) != len(p.pixels) {
		t.Errorf("%s: GDAL decodes %d samples, we %d (%v)", p.path, len(want), len(p.pixels), err)
		return -1
	}
	total := 0
	for i, v := range p.pixels {
		d := max(int(v)-int(want[i]), int(want[i])-int(v))
		worst, total = max(worst, d), total+d
	}
	// Decoders differ in how they round the transform and the conversion, and
	// further where they fill in colours that are stored at half the size.
	most := 2
	if subsampled(t, p.path) {
		most = 4
	}
	if mean := float64(total) / float64(len(want)); worst > most || mean > 0.25 {
		t.Errorf("%s: differs from GDAL by up to %d, by %.3f in the mean", p.path, worst, mean)
	}
	return worst
}

// subsampled reports whether a file holds WebP, or a JPEG frame whose first
// component has more samples than another.
func subsampled(t *testing.T, path string) bool {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(b, []byte("WEBPVP8")) {
		return true
	}
	for at := 0; at+12 < len(b); at++ {
		if b[at] == 0xff && b[at+1] >= 0xc0 && b[at+1] <= 0xc2 && b[at+2] == 0 && b[at+4] == 8 && b[at+9] <= 4 && b[at+9] > 1 && b[at+11] > 0x11 {
			return true
		}
	}
	return false
}

func sum(m map[string]int) (n int) {
	for _, v := range m {
		n += v
	}
	return n
}

// readInBounds reads a picture and fails the test when that takes ten seconds or
// much memory.
func readInBounds(t *testing.T, path string, b []byte) ([]byte, error) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	start := time.Now()
	got, err := read(b)
	if took := time.Since(start); took > slower*10*time.Second {
		t.Errorf("%s takes %v", path, took)
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 64<<20+4*uint64(len(got))+1100*uint64(len(b)) {
		t.Errorf("%s: %d bytes allocated for a file of %d", path, used, len(b))
	}
	return got, err
}

// sample is a small picture, written by us.
func sample(t *testing.T, f geotiff.Format) []byte {
	t.Helper()
	path := create(t, "sample", func(w io.WriteSeeker) error { return geotiff.WriteCOG(w, f, fillFrom(f, randomPixels(f))) })
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestATruncatedPictureIsRefusedWhereverItIsCut(t *testing.T) {
	for _, name := range []string{"rgba", "big", "plain"} {
		b := sample(t, formats()[name])
		for n := range b {
			if n > 4096 && n%97 != 0 {
				continue
			}
			if _, err := read(b[:n]); err == nil {
				t.Fatalf("%s: %d of %d bytes pass", name, n, len(b))
			} else {
				oneSentence(t, name, err)
			}
		}
	}
}

// TestPicturesCutAtRandomPlacesAreRefused cuts pictures of many pieces at a
// thousand places, and real ones of every kind that is read at a few.
func TestPicturesCutAtRandomPlacesAreRefused(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for name, f := range formats() {
		b := sample(t, f)
		places := 1000
		if testing.Short() {
			places = 40
		}
		for range places {
			n := r.IntN(len(b))
			_, err := read(b[:n])
			if err == nil {
				t.Fatalf("%s: %d of %d bytes pass", name, n, len(b))
			}
			oneSentence(t, name, err)
		}
	}
	if testing.Short() {
		return
	}
	for _, b := range small(t, 20_000) { // what a real file ends with need not be needed
		for range 6 {
			if _, err := readInBounds(t, "cut", b[:r.IntN(len(b))]); err != nil && !errors.Is(err, errHuge) {
				oneSentence(t, "cut", err)
			}
		}
	}
}

// TestWhatIsNotReadOfRealPicturesIsConvertedByItsCommand runs the command that
// the refusal of old-style JPEG gives;
// those that GDAL cannot convert must give none.
func TestWhatIsNotReadOfRealPicturesIsConvertedByItsCommand(t *testing.T) {
	translate := oracle.Need(t, "gdal_translate")
	for name, says := range map[string]string{
		"zackthecat.tif": "old-style JPEG", "mandrilmini_12bitjpeg.tif": "12 bits", "int12_ycbcr_contig.tif": "12 bits",
	} {
		path := oracle.Data(t, "tiff/gdal/autotest/gcore/data/"+name)
		_, err := open(t, path)
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", name, err)
			continue
		}
		oneSentence(t, name, err)
		_, command, given := strings.Cut(err.Error(), "convert it with: gdal_translate ")
		if given == (says == "12 bits") {
			t.Errorf("%s: %v", name, err)
		}
		if !given {
			continue
		}
		args := strings.Fields(command)
		out := filepath.Join(t.TempDir(), "out.tif")
		args[len(args)-2], args[len(args)-1] = path, out
		if said, err := exec.CommandContext(t.Context(), translate, append([]string{"-q"}, args...)...).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", name, err, said)
			continue
		}
		im, err := open(t, out)
		if err != nil || im.Bands != 3 {
			t.Errorf("%s, converted: %v", name, err)
		}
	}
}

func TestASpoiledPictureNeverPanics(t *testing.T) {
	for _, name := range []string{"rgba", "big"} {
		f := formats()[name]
		f.Cols, f.Rows, f.Tile = 20, 18, 16
		b := sample(t, f)
		for n := range min(len(b), 1000) {
			for _, v := range []byte{0, 1, 0xff} {
				old := b[n]
				b[n] = v
				if _, err := read(b); err != nil && !errors.Is(err, errHuge) {
					oneSentence(t, name, err)
				}
				b[n] = old
			}
		}
	}
}

func TestASpoiledTileIsNoticedByItsChecksum(t *testing.T) {
	f := formats()["rgba"]
	b := sample(t, f)
	if _, err := read(b); err != nil {
		t.Fatal(err)
	}
	b[len(b)-40] ^= 4 // in the last tile
	_, err := read(b)
	if err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("got %v", err)
	}
	oneSentence(t, "spoiled", err)
}

// handmade is a classic little-endian picture of LONG fields, with next for
// the link after its only directory, at byte 8.
func handmade(next uint32, fields ...[2]uint32) []byte {
	le := binary.LittleEndian
	b := append([]byte("II*\x00"), 8, 0, 0, 0)
	b = le.AppendUint16(b, uint16(len(fields)))
	for _, f := range fields {
		b = le.AppendUint16(b, uint16(f[0]))
		b = le.AppendUint16(b, 4)
		b = le.AppendUint32(b, 1)
		b = le.AppendUint32(b, f[1])
	}
	return append(le.AppendUint32(b, next), make([]byte, 64)...)
}

func TestHandmadeTrapsAreRefused(t *testing.T) {
	const huge = 1 << 31
	for name, tc := range map[string]struct {
		b    []byte
		says string
	}{
		"nothing":                  {nil, "damaged"},
		"text":                     {[]byte("lon,lat,time,found"), "not a TIFF"},
		"2^31 pixels a side":       {handmade(0, [2]uint32{256, huge - 1}, [2]uint32{257, huge - 1}, [2]uint32{258, 8}, [2]uint32{273, 8}, [2]uint32{279, 8}), "damaged"},
		"2^31 in tiles":            {handmade(0, [2]uint32{256, huge - 1}, [2]uint32{257, huge - 1}, [2]uint32{258, 8}, [2]uint32{322, 512}, [2]uint32{323, 512}, [2]uint32{324, 8}, [2]uint32{325, 8}), "damaged"},
		"one tile of 2^31":         {handmade(0, [2]uint32{256, huge - 1}, [2]uint32{257, huge - 1}, [2]uint32{258, 8}, [2]uint32{322, huge - 1}, [2]uint32{323, huge - 1}, [2]uint32{324, 8}, [2]uint32{325, 8}), "damaged"},
		"one Deflate tile of 2^31": {handmade(0, [2]uint32{256, huge - 1}, [2]uint32{257, huge - 1}, [2]uint32{258, 8}, [2]uint32{259, 8}, [2]uint32{322, huge - 1}, [2]uint32{323, huge - 1}, [2]uint32{324, 8}, [2]uint32{325, 8}), "damaged"},
		"no columns":               {handmade(0, [2]uint32{256, 0}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{273, 8}, [2]uint32{279, 16}), "damaged"},
		"circle of directories":    {handmade(8, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{273, 8}, [2]uint32{279, 16}), "circle"},
		"colour table":             {handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{262, 3}, [2]uint32{273, 8}, [2]uint32{279, 16}), "colour table"},
		"odd bits":                 {handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 33}, [2]uint32{273, 8}, [2]uint32{279, 64}), "33 bits"},
		"WebP":                     {handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{259, 50001}, [2]uint32{273, 8}, [2]uint32{279, 16}), "WebP pieces of 1 bands"},
		"unknown compression":      {handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{259, 65000}, [2]uint32{273, 8}, [2]uint32{279, 16}), "65000"},
		"strip beyond the end":     {handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{273, 99999}, [2]uint32{279, 16}), "damaged"},
	} {
		_, err := readInBounds(t, name, tc.b)
		if err == nil || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v, want a word of %q", name, err, tc.says)
			continue
		}
		oneSentence(t, name, err)
	}
}

// TestWhatIsNotReadComesWithACommandThatConvertsIt runs the command that each
// refusal gives.
func TestWhatIsNotReadComesWithACommandThatConvertsIt(t *testing.T) {
	translate := oracle.Need(t, "gdal_translate")
	dir := t.TempDir()
	python(t, "unread.py", dir)
	files, err := filepath.Glob(filepath.Join(dir, "*.tif"))
	if err != nil || len(files) < 5 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, path := range files {
		_, err := open(t, path)
		if err == nil {
			t.Errorf("%s is read", path)
			continue
		}
		oneSentence(t, path, err)
		_, command, ok := strings.Cut(err.Error(), "convert it with: gdal_translate ")
		if !ok {
			t.Errorf("%s: no command in %v", path, err)
			continue
		}
		args := strings.Fields(command)
		args[len(args)-2], args[len(args)-1] = path, path+".out.tif"
		if out, err := exec.CommandContext(t.Context(), translate, append([]string{"-q"}, args...)...).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", path, err, out)
			continue
		}
		if _, err := open(t, path+".out.tif"); err != nil {
			t.Errorf("%s, converted: %v", path, err)
		}
	}
}

// jpegPicture is a picture of one strip of JPEG, gray or in colour.
func jpegPicture(tb testing.TB, pic image.Image, fields ...[2]uint32) []byte {
	tb.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, pic, nil); err != nil {
		tb.Fatal(err)
	}
	size := pic.Bounds().Size()
	fields = append([][2]uint32{{256, uint32(size.X)}, {257, uint32(size.Y)}, {258, 8}, {259, 7}, {273, 0}, {279, uint32(b.Len())}}, fields...)
	head := handmade(0, fields...)
	fields[4][1] = uint32(len(head))
	return append(handmade(0, fields...), b.Bytes()...)
}

func TestJPEGPiecesOfTheWrongSizeAreRefused(t *testing.T) {
	gray := image.NewGray(image.Rect(0, 0, 40, 30))
	b := jpegPicture(t, gray)
	if got, err := read(b); err != nil || len(got) != 40*30 {
		t.Fatalf("%d samples, %v", len(got), err)
	}
	for _, size := range [][2]uint32{{20, 30}, {40, 31}, {41, 30}, {4000, 3000}} {
		broken := bytes.Clone(b)
		binary.LittleEndian.PutUint32(broken[10+8:], size[0])
		binary.LittleEndian.PutUint32(broken[10+12+8:], size[1])
		_, err := readInBounds(t, "JPEG", broken)
		if err == nil {
			t.Errorf("a JPEG of 40 x 30 passes for %v", size)
			continue
		}
		oneSentence(t, "JPEG", err)
	}
	if _, err := read(jpegPicture(t, image.NewYCbCr(image.Rect(0, 0, 16, 16), image.YCbCrSubsampleRatio420))); err == nil {
		t.Error("a JPEG of three bands passes for one")
	}
}

// FuzzOpen reads anything as a picture. Nothing may panic, and what is refused
// is refused with one sentence.
func FuzzOpen(f *testing.F) {
	for _, format := range formats() {
		format.Cols, format.Rows, format.Tile = min(format.Cols, 40), min(format.Rows, 20), 16
		var b bytes.Buffer
		if err := geotiff.WriteCOG(&b, format, fillFrom(format, randomPixels(format))); err != nil {
			f.Fatal(err)
		}
		f.Add(b.Bytes())
	}
	f.Add(handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{273, 8}, [2]uint32{279, 16}))
	f.Add(handmade(8, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{273, 8}, [2]uint32{279, 16}, [2]uint32{278, 2}))
	f.Add(jpegPicture(f, image.NewGray(image.Rect(0, 0, 20, 20))))
	f.Add(jpegPicture(f, image.NewYCbCr(image.Rect(0, 0, 20, 20), image.YCbCrSubsampleRatio420), [2]uint32{262, 6}, [2]uint32{277, 3}))
	one := [][2]uint32{{256, 4}, {257, 4}, {258, 8}, {273, 8}, {279, 16}}
	for _, kind := range [][2]uint32{{1, 1}, {1, 4}, {1, 12}, {1, 24}, {1, 64}, {2, 8}, {2, 64}, {3, 16}, {3, 24}} {
		fields := append(slices.Clone(one), [2]uint32{266, 1 + kind[1]%2}, [2]uint32{339, kind[0]})
		fields[2][1], fields[4][1] = kind[1], 128
		f.Add(handmade(0, fields...))
	}
	f.Add(handmade(0, append(slices.Clone(one), [2]uint32{259, 5}, [2]uint32{262, 0}, [2]uint32{317, 2})...))
	f.Add(handmade(0, append(slices.Clone(one), [2]uint32{259, 50001}, [2]uint32{277, 3})...))
	f.Add(handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{262, 6}, [2]uint32{273, 8}, [2]uint32{277, 3}, [2]uint32{279, 24}))
	first := len(handmade(0, one...))
	mask := handmade(0, [2]uint32{254, 4}, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{262, 4}, [2]uint32{273, 8}, [2]uint32{279, 4})
	f.Add(append(handmade(uint32(first), one...), mask[8:]...))
	f.Fuzz(func(t *testing.T, b []byte) {
		im, err := geotiff.Open(bytes.NewReader(b), int64(len(b)))
		if err == nil {
			if im.BlockBytes() > 8<<20 || im.Blocks() > 5000 || im.BlockBytes()*im.Blocks() > 256<<20 {
				return
			}
			defer func(start time.Time) {
				if took := time.Since(start); took > 20*time.Second {
					t.Errorf("takes %v", took)
				}
			}(time.Now())
			block := make([]byte, im.BlockBytes())
			d := im.NewDecoder()
			for i := range im.Blocks() {
				if err = d.Decode(i, block); err != nil {
					break
				}
				if err = d.DecodeRaw(i, block); err != nil {
					break
				}
			}
		}
		if err == nil && im.Mask != nil && im.Mask.BlockBytes() < 8<<20 && im.Mask.Blocks() < 5000 && im.Mask.BlockBytes()*im.Mask.Blocks() < 256<<20 {
			_, err = pixels(im.Mask)
		}
		if err == nil {
			if o := im.Smaller(1e9); o != nil && o.BlockBytes() < 8<<20 && o.Blocks() < 5000 && o.BlockBytes()*o.Blocks() < 256<<20 {
				_, err = pixels(o)
			}
		}
		if p, ok := errors.AsType[*doubt.Problem](err); err != nil && !errors.Is(err, errHuge) && (!ok || p.What == "") {
			t.Fatalf("%v (%T)", err, err)
		}
	})
}
