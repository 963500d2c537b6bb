package geotiff_test

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"bittern/internal/geotiff"
	"bittern/internal/oracle"
)

var errCard = errors.New("input/output error")

// A pulled card fails every read that touches a byte from gone on, until it
// has been touched for the first time and for good.
type pulled struct {
	b    []byte
	gone int64
	out  bool
}

func (p *pulled) ReadAt(b []byte, off int64) (int, error) {
	if p.out = p.out || off+int64(len(b)) > p.gone && off <= p.gone; p.out {
		return 0, errCard
	}
	return bytes.NewReader(p.b).ReadAt(b, off)
}

// small are pictures of the collection that are read, of at most so many
// bytes.
func small(t *testing.T, most int) (list [][]byte) {
	t.Helper()
	err := filepath.WalkDir(oracle.Data(t, "tiff"), func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil || len(b) > most {
			return err
		}
		if _, err := read(b); err == nil {
			list = append(list, b)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestAReadErrorAnywhereIsOneSentence(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, b := range small(t, 20_000) {
		for range 6 {
			card := &pulled{b: b, gone: r.Int64N(int64(len(b)))}
			im, err := geotiff.Open(card, int64(len(b)))
			if err == nil {
				_, err = pixels(im)
			}
			switch {
			case err == nil && card.out:
				t.Errorf("a picture of %d bytes is read although byte %d is not", len(b), card.gone)
			case err != nil && !errors.Is(err, errHuge):
				oneSentence(t, "pulled card", err)
			}
		}
	}
}

// TestFlippedBitsNeverPanicNorRunAway flips bits of real pictures of every
// kind that is read.
func TestFlippedBitsNeverPanicNorRunAway(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	tried := 0
	for _, b := range small(t, 20_000) {
		broken := slices.Clone(b)
		for range 5 {
			copy(broken, b)
			for range 1 + r.IntN(4) {
				broken[spot(r, b)] ^= 1 << r.IntN(8)
			}
			if _, err := readInBounds(t, "flipped", broken); err != nil && !errors.Is(err, errHuge) {
				oneSentence(t, "flipped", err)
			}
			tried++
		}
	}
	t.Logf("%d pictures with flipped bits", tried)
}

// spot is a byte to spoil: half of them lie in the first directory.
func spot(r *rand.Rand, b []byte) int {
	at := int(binary.LittleEndian.Uint32(b[4:]))
	if string(b[:2]) == "MM" {
		at = int(binary.BigEndian.Uint32(b[4:]))
	}
	if at+200 < len(b) && r.IntN(2) == 0 {
		return at + r.IntN(200)
	}
	return r.IntN(len(b))
}

// TestSizesThatLieAreRefusedInLittleMemory claims what the file does not have.
func TestSizesThatLieAreRefusedInLittleMemory(t *testing.T) {
	const huge = 1<<32 - 1
	base := [][2]uint32{{256, 64}, {257, 64}, {258, 8}, {259, 8}, {273, 8}, {278, 64}, {279, 60}}
	for _, tag := range base {
		for _, v := range []uint32{0, 1, 8, 65535, 1 << 24, 1 << 31, huge} {
			fields := slices.Clone(base)
			fields[slices.Index(base, tag)][1] = v
			b := handmade(0, fields...)
			_, err := readInBounds(t, "lie", b)
			if tag[0] == 279 && v == 0 { // a piece that is left out
				continue
			}
			if err == nil {
				t.Errorf("field %d of %d passes", tag[0], v)
			} else {
				oneSentence(t, "lie", err)
			}
		}
	}
}

// TestAFieldOfAGigabyteIsRefused gives the name of a picture, its offsets, and
// its colour table a gigabyte each, in a file that claims to be as long.
func TestAFieldOfAGigabyteIsRefused(t *testing.T) {
	for _, tag := range []uint16{273, 305, 320, 33922, 34737, 42112, 42113} {
		b := handmade(0, [2]uint32{256, 4}, [2]uint32{257, 4}, [2]uint32{258, 8}, [2]uint32{262, 3}, [2]uint32{uint32(tag), 8}, [2]uint32{279, 16})
		entry := b[10+12*4:]
		binary.LittleEndian.PutUint16(entry[2:], 1)
		binary.LittleEndian.PutUint32(entry[4:], 1<<30)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := geotiff.Open(endless{b}, 2<<30)
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Errorf("field %d of a gigabyte passes", tag)
			continue
		}
		oneSentence(t, "gigabyte", err)
		if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
			t.Errorf("field %d: %d bytes allocated", tag, used)
		}
	}
}

// endless is a file that goes on with zeros.
type endless struct{ b []byte }

func (e endless) ReadAt(b []byte, off int64) (int, error) {
	clear(b)
	if off < int64(len(e.b)) {
		copy(b, e.b[off:])
	}
	return len(b), nil
}

func TestDirectoriesInACircleAndOverlappingPiecesEnd(t *testing.T) {
	fields := [][2]uint32{{256, 4}, {257, 4}, {258, 8}, {273, 8}, {278, 1}, {279, 4}}
	if _, err := read(handmade(8, fields...)); err == nil {
		t.Error("a directory that follows itself passes")
	}
	// Every strip is the same four bytes of the directory: odd, and harmless.
	b := handmade(0, fields...)
	list := len(b)
	for range 4 {
		b = binary.LittleEndian.AppendUint32(b, 8)
	}
	for range 4 {
		b = binary.LittleEndian.AppendUint32(b, 4)
	}
	for i, at := range []int{list, list + 16} {
		entry := b[10+12*(3+2*i):]
		binary.LittleEndian.PutUint32(entry[4:], 4)
		binary.LittleEndian.PutUint32(entry[8:], uint32(at))
	}
	start := time.Now()
	got, err := read(b)
	if err != nil || len(got) != 16 || !bytes.Equal(got[:4], got[12:]) || time.Since(start) > time.Second {
		t.Errorf("overlapping strips: %v, %v", got, err)
	}
}

// TestADeflateBombIsRefused has a piece that unpacks to a thousand times what
// the picture needs.
func TestADeflateBombIsRefused(t *testing.T) {
	bomb := deflated(t, make([]byte, 64<<20))
	fields := [][2]uint32{{256, 64}, {257, 64}, {258, 8}, {259, 8}, {273, 0}, {278, 64}, {279, uint32(len(bomb))}}
	fields[4][1] = uint32(len(handmade(0, fields...)))
	b := append(handmade(0, fields...), bomb...)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := read(b)
	runtime.ReadMemStats(&after)
	if err == nil {
		t.Fatal("64 MiB pass for 4 KiB")
	}
	oneSentence(t, "bomb", err)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("%d bytes allocated", used)
	}
}

// deflated is b in zlib's form.
func deflated(t *testing.T, b []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zlib.NewWriter(&out)
	if _, err := w.Write(b); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
