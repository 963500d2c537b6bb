package geotiff

import (
	"bytes"
	"io"
	"math/rand/v2"
	"testing"

	"golang.org/x/image/tiff/lzw"
)

// packLZW is a plain compressor for tests; LZW pictures are never written.
func packLZW(p []byte) []byte {
	var out []byte
	var acc uint64
	var n, width uint = 0, 9
	put := func(code int) {
		acc, n = acc<<width|uint64(code), n+width
		for ; n >= 8; n -= 8 {
			out = append(out, byte(acc>>(n-8)))
		}
	}
	table := map[string]int{}
	next, have := lzwFirst, ""
	code := func(s string) int {
		if len(s) == 1 {
			return int(s[0])
		}
		return table[s]
	}
	put(lzwClear)
	for _, c := range p {
		longer := have + string([]byte{c})
		if _, ok := table[longer]; ok || len(longer) == 1 {
			have = longer
			continue
		}
		put(code(have))
		table[longer] = next
		next++
		have = string([]byte{c})
		switch {
		case next == lzwMax-2:
			put(lzwClear)
			table, next, width = map[string]int{}, lzwFirst, 9
		case next >= 1<<width:
			width++
		}
	}
	if have != "" {
		put(code(have))
		if next++; next >= 1<<width && width < 12 { // the decoder has made its entry
			width++
		}
	}
	put(lzwEnd)
	if n > 0 {
		out = append(out, byte(acc<<(8-n)))
	}
	return out
}

func TestLZWAgreesWithAnotherDecoder(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	z := newLZW()
	for size := range 160 {
		p := make([]byte, size*size)
		for i := range p {
			switch size % 4 {
			case 0:
				p[i] = byte(rng.UintN(256))
			case 1:
				p[i] = byte(i / 50)
			case 2:
				p[i] = byte(rng.ExpFloat64() * 3)
			}
		}
		in := packLZW(p)
		want, err := io.ReadAll(lzw.NewReader(bytes.NewReader(in), lzw.MSB, 8))
		if err != nil || !bytes.Equal(want, p) {
			t.Fatalf("the test's own compressor is wrong for %d bytes: %v", len(p), err)
		}
		got := make([]byte, len(p))
		if err := z.decode(got, in); err != nil || !bytes.Equal(got, p) {
			t.Fatalf("%d bytes: %v", len(p), err)
		}
	}
}

// FuzzLZW holds the decoder to another one: what that accepts, ours decodes
// to the same bytes.
func FuzzLZW(f *testing.F) {
	f.Add(packLZW([]byte("levee levee levee check check")))
	f.Add(packLZW(make([]byte, 5000)))
	f.Add(packLZW(bytes.Repeat([]byte{1, 2, 3}, 3000)))
	z := newLZW()
	f.Fuzz(func(t *testing.T, in []byte) {
		const most = 1 << 20
		want, err := io.ReadAll(io.LimitReader(lzw.NewReader(bytes.NewReader(in), lzw.MSB, 8), most))
		if len(want) == 0 || len(want) == most {
			return
		}
		got := make([]byte, len(want))
		ourErr := z.decode(got, in)
		if err == nil && ourErr == nil && !bytes.Equal(got, want) {
			t.Fatal("other bytes")
		}
	})
}
