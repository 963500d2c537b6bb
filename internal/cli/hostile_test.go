package cli_test

import (
	"archive/zip"
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"bittern/internal/cli"
	"bittern/internal/oracle"
	"bittern/internal/vector"
)

// A trap is a folder with a boundary and a picture that is to be spoilt.
type trap struct {
	dir      string
	boundary string // names in dir
	picture  string
	sound    []byte // the picture
}

func newTrap(t *testing.T) *trap {
	t.Helper()
	dir := t.TempDir()
	writeGiven(t, dir)
	b, err := os.ReadFile(filepath.Join(dir, "flight.tif"))
	if err != nil {
		t.Fatal(err)
	}
	return &trap{dir: dir, boundary: "boundary.geojson", picture: "bad.tif", sound: b}
}

func (f *trap) put(t *testing.T, name string, b []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(f.dir, name), b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// run makes a day of what is in the folder. Whatever comes of it, anything but a
// day is one sentence, with nothing else printed and nothing written.
func (f *trap) run(t *testing.T, what string) int {
	t.Helper()
	var stdout, stderr bytes.Buffer
	out := filepath.Join(f.dir, "day")
	start := time.Now()
	code := cli.Main(context.Background(), cli.Env{
		Args: []string{
			"run", "--boundary", filepath.Join(f.dir, f.boundary), "--imagery", filepath.Join(f.dir, f.picture),
			"--question", "escapes", "--out", out,
		},
		Stdout: &stdout, Stderr: &stderr, Getenv: func(string) string { return "" },
	})
	if took := time.Since(start); took > time.Minute {
		t.Errorf("%s: takes %v", what, took)
	}
	if code == 0 {
		if err := os.RemoveAll(out); err != nil {
			t.Fatal(err)
		}
		return code
	}
	says := stderr.String()
	if code != 2 && code != 3 || stdout.Len() > 0 || !strings.HasPrefix(says, "bittern: ") || strings.Count(says, "\n") != 1 || !strings.HasSuffix(says, "\n") || len(says) > 1000 {
		t.Errorf("%s: exit %d, %q and %q", what, code, stdout.String(), says)
	}
	left, err := filepath.Glob(filepath.Join(f.dir, "*day*"))
	if err != nil || len(left) > 0 {
		t.Errorf("%s: %v is left, %v", what, left, err)
	}
	return code
}

// refused is run of what must be refused.
func (f *trap) refused(t *testing.T, what string) {
	t.Helper()
	if code := f.run(t, what); code != 2 {
		t.Errorf("%s: exit %d", what, code)
	}
}

// TestACutPictureIsRefusedWhereverItIsCut cuts it at every byte of its first
// 4 KiB and at a thousand random places.
func TestACutPictureIsRefusedWhereverItIsCut(t *testing.T) {
	f := newTrap(t)
	r := rand.New(rand.NewPCG(7, 1))
	var cuts []int
	for range 1000 {
		cuts = append(cuts, r.IntN(len(f.sound)))
	}
	for n := range 4096 {
		cuts = append(cuts, n)
	}
	if testing.Short() {
		cuts = cuts[970:1030]
	}
	slices.SortFunc(cuts, func(a, b int) int { return b - a })
	f.put(t, f.picture, f.sound)
	for _, n := range cuts {
		if err := os.Truncate(filepath.Join(f.dir, f.picture), int64(n)); err != nil {
			t.Fatal(err)
		}
		f.refused(t, "a cut picture")
	}
}

func TestFlippedBitsAreADayOrASentence(t *testing.T) {
	if testing.Short() {
		t.Skip("runs some dozen days")
	}
	f := newTrap(t)
	r := rand.New(rand.NewPCG(7, 2))
	sentences := 0
	for i := range 60 {
		b, most := bytes.Clone(f.sound), len(f.sound)
		if i%2 == 0 {
			most = 1500 // the directory
		}
		for range 1 + r.IntN(3) {
			b[r.IntN(most)] ^= 1 << r.IntN(8)
		}
		f.put(t, f.picture, b)
		if f.run(t, "flipped bits") != 0 {
			sentences++
		}
	}
	if sentences < 20 {
		t.Errorf("only %d of 60 pictures with flipped bits are refused", sentences)
	}
}

// TestPicturesThatLieAreRefused changes fields of the directory: sizes, places of
// pieces, lengths of fields, the next directory.
func TestPicturesThatLieAreRefused(t *testing.T) {
	f := newTrap(t)
	le := binary.LittleEndian
	at := int(le.Uint32(f.sound[4:]))
	n := int(le.Uint16(f.sound[at:]))
	field := func(b []byte, tag int) []byte {
		for i := range n {
			if e := b[at+2+12*i:][:12]; int(le.Uint16(e)) == tag {
				return e
			}
		}
		t.Fatalf("the picture has no field %d", tag)
		return nil
	}
	value := func(tag int, v uint32) func([]byte) []byte {
		return func(b []byte) []byte {
			e := field(b, tag)
			le.PutUint16(e[2:], 4)
			le.PutUint32(e[8:], v)
			return b
		}
	}
	count := func(tag int, v uint32) func([]byte) []byte {
		return func(b []byte) []byte { le.PutUint32(field(b, tag)[4:], v); return b }
	}
	const tileOffsets, tileCounts = 324, 325
	var bomb bytes.Buffer
	z := zlib.NewWriter(&bomb)
	for range 256 {
		if _, err := z.Write(make([]byte, 1<<20)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	for what, change := range map[string]func([]byte) []byte{
		"2^31 columns":            value(256, 1<<31),
		"a million rows":          value(257, 1e6),
		"tiles of 2^31":           value(322, 1<<31),
		"4,000 bands":             value(277, 4000),
		"a gigabyte of offsets":   count(tileOffsets, 1<<28),
		"a gigabyte of sizes":     count(258, 1<<30),
		"offsets at the end":      value(tileOffsets, uint32(len(f.sound)-4)),
		"offsets beyond the end":  value(tileOffsets, 1<<31),
		"counts that are offsets": func(b []byte) []byte { copy(field(b, tileCounts)[8:], field(b, tileOffsets)[8:12]); return b },
		"pieces that overlap": func(b []byte) []byte { // all of them begin in the middle of the first
			list := b[le.Uint32(field(b, tileOffsets)[8:]):]
			for i := range int(le.Uint32(field(b, tileOffsets)[4:])) {
				le.PutUint32(list[4*i:], le.Uint32(list)+5)
			}
			return b
		},
		"directories in a circle": func(b []byte) []byte { le.PutUint32(b[at+2+12*n:], uint32(at)); return b },
		"a Deflate bomb": func(b []byte) []byte {
			place := len(b)
			b = append(b, bomb.Bytes()...)
			offsets, counts := b[le.Uint32(field(b, tileOffsets)[8:]):], b[le.Uint32(field(b, tileCounts)[8:]):]
			middle := int(le.Uint32(field(b, tileOffsets)[4:])) / 2
			le.PutUint32(offsets[4*middle:], uint32(place))
			le.PutUint32(counts[4*middle:], uint32(bomb.Len()))
			return b
		},
	} {
		f.put(t, f.picture, change(bytes.Clone(f.sound)))
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		f.refused(t, what)
		runtime.ReadMemStats(&after)
		if used := after.TotalAlloc - before.TotalAlloc; used > 256<<20 {
			t.Errorf("%s: %d MiB allocated", what, used>>20)
		}
	}
}

// TestAPictureThatGoesAwayWhileItIsReadIsRefused cuts the picture short while the
// run is at it, as when a card is pulled out.
func TestAPictureThatGoesAwayWhileItIsReadIsRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a dozen days")
	}
	f := newTrap(t)
	r := rand.New(rand.NewPCG(7, 3))
	refused := 0
	for range 12 {
		f.put(t, f.picture, f.sound)
		pulled := make(chan error)
		wait, left := time.Duration(r.IntN(40))*time.Millisecond, int64(r.IntN(len(f.sound)))
		go func() {
			time.Sleep(wait)
			pulled <- os.Truncate(filepath.Join(f.dir, f.picture), left)
		}()
		if f.run(t, "a pulled card") != 0 {
			refused++
		}
		if err := <-pulled; err != nil {
			t.Fatal(err)
		}
	}
	if refused == 0 {
		t.Error("no picture went away in time")
	}
}

// TestBadBoundariesAreRefused cuts boundaries of every form at every byte, and
// gives archives that unpack to more than any field.
func TestBadBoundariesAreRefused(t *testing.T) {
	f := newTrap(t)
	f.picture = "flight.tif"
	text, err := os.ReadFile(filepath.Join(f.dir, "boundary.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	layer, err := vector.ReadFile(filepath.Join(f.dir, "boundary.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	var shape, kml bytes.Buffer
	if err := errors.Join(vector.WriteShapefile(&shape, "field", *layer), vector.WriteKML(&kml, "field", []vector.Sheet{{Layer: *layer}})); err != nil {
		t.Fatal(err)
	}
	kmz := zipOf(t, "doc.kml", kml.Bytes())
	step := 1
	if testing.Short() {
		step = 37
	}
	for name, b := range map[string][]byte{"cut.geojson": bytes.TrimSpace(text), "cut.kml": bytes.TrimSpace(kml.Bytes()), "cut.kmz": kmz, "cut.zip": shape.Bytes()} {
		f.boundary = name
		for n := 0; n < len(b); n += step {
			f.put(t, name, b[:n])
			f.refused(t, name)
		}
	}
	blanks := bytes.Repeat([]byte(" "), 140<<20)
	for name, b := range map[string][]byte{"bomb.kmz": zipOf(t, "doc.kml", blanks), "bomb.zip": zipOf(t, "field.shp", blanks)} {
		f.boundary = name
		f.put(t, name, b)
		f.refused(t, name)
	}
	f.boundary = "boundary.geojson"
	f.picture = "bomb.kmz"
	f.refused(t, "a bomb for a picture")
	if err := os.Remove(filepath.Join(f.dir, "boundary.geojson")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	f.refused(t, "no boundary")
}

// TestPicturesOfTheCollectionAreRefusedInOneSentence gives pictures that are
// odd, broken on purpose or found by fuzzing, none of which lies over the field.
func TestPicturesOfTheCollectionAreRefusedInOneSentence(t *testing.T) {
	f := newTrap(t)
	root, n := oracle.Data(t, "tiff"), 0
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		f.put(t, f.picture, b)
		n++
		if f.run(t, path) == 0 {
			t.Errorf("%s passes for the field", path)
		}
		return nil
	})
	if err != nil || n < 1000 {
		t.Errorf("%d pictures, %v", n, err)
	}
}

func zipOf(t *testing.T, name string, b []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
