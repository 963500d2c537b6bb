package inflate_test

import (
	"bytes"
	"compress/flate"
	"compress/zlib"
	"errors"
	"fmt"
	"hash/adler32"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	kzlib "github.com/klauspost/compress/zlib"

	"bittern/internal/tight/inflate"
)

// contents are bytes that make compressors use all of Deflate.
func contents() map[string][]byte {
	rng := rand.New(rand.NewPCG(3, 5))
	noise := make([]byte, 100_000)
	for i := range noise {
		noise[i] = byte(rng.UintN(256))
	}
	skewed := make([]byte, 90_000)
	for i := range skewed {
		skewed[i] = byte(rng.ExpFloat64() * 12)
	}
	fibonacci := []byte{} // makes the longest codes
	for s, a, b := 0, 1, 1; s < 17; s, a, b = s+1, b, a+b {
		fibonacci = append(fibonacci, bytes.Repeat([]byte{byte(s)}, a)...)
	}
	rng.Shuffle(len(fibonacci), func(i, j int) { fibonacci[i], fibonacci[j] = fibonacci[j], fibonacci[i] })
	out := map[string][]byte{
		"empty": {}, "one": {7}, "zeros": make([]byte, 70_000), "noise": noise, "skewed": skewed, "fibonacci": fibonacci, "tile": tile(80),
	}
	for period := 1; period <= 10; period++ {
		out[fmt.Sprint("period ", period)] = bytes.Repeat(noise[:period], 5000/period)
	}
	out["mixed"] = bytes.Join([][]byte{noise[:5000], skewed[:70_000], fibonacci, noise[:5000], make([]byte, 3000), skewed[:999]}, nil)
	return out
}

// tile is a square of side pixels of four 16-bit bands as predictor 2 leaves
// them: small differences, alike in all bands, and noise.
func tile(side int) []byte {
	rng := rand.New(rand.NewPCG(9, 1))
	out := make([]byte, 0, side*side*8)
	for range side * side {
		shared := rng.NormFloat64() * 60
		for band := range 4 {
			v := uint16(int(shared + rng.NormFloat64()*float64(8+4*band)))
			out = append(out, byte(v), byte(v>>8))
		}
	}
	return out
}

// deflated is p compressed in all ways that the compressors here know.
func deflated(tb testing.TB, p []byte) map[string][]byte {
	tb.Helper()
	out := map[string][]byte{}
	for _, level := range []int{flate.HuffmanOnly, 0, 1, 6, 9} {
		var std, klaus bytes.Buffer
		a, err := zlib.NewWriterLevel(&std, level)
		if err != nil {
			tb.Fatal(err)
		}
		b, err := kzlib.NewWriterLevel(&klaus, level)
		if err != nil {
			tb.Fatal(err)
		}
		for _, w := range []io.WriteCloser{a, b} {
			if _, err := w.Write(p); err != nil {
				tb.Fatal(err)
			}
			if err := w.Close(); err != nil {
				tb.Fatal(err)
			}
		}
		out[fmt.Sprint("std ", level)], out[fmt.Sprint("klauspost ", level)] = std.Bytes(), klaus.Bytes()
	}
	return out
}

func TestZlibUndoesWhatCompressorsDo(t *testing.T) {
	var d inflate.Decoder
	for name, p := range contents() {
		for how, z := range deflated(t, p) {
			got := make([]byte, len(p))
			if err := d.Zlib(got, z); err != nil || !bytes.Equal(got, p) {
				t.Errorf("%s, %s: %v", name, how, err)
			}
		}
	}
}

func TestZlibRefusesOtherLengths(t *testing.T) {
	var d inflate.Decoder
	for name, p := range contents() {
		for how, z := range deflated(t, p) {
			if err := d.Zlib(make([]byte, len(p)+1), z); !errors.Is(err, inflate.ErrTooFew) {
				t.Errorf("%s, %s, one byte too many: %v", name, how, err)
			}
			if len(p) == 0 {
				continue
			}
			if err := d.Zlib(make([]byte, len(p)-1), z); !errors.Is(err, inflate.ErrTooLong) {
				t.Errorf("%s, %s, one byte too few: %v", name, how, err)
			}
		}
	}
}

func TestZlibRefusesTruncatedAndSpoiledData(t *testing.T) {
	var d inflate.Decoder
	p := contents()["mixed"][70_000:78_000]
	for how, z := range deflated(t, p) {
		got := make([]byte, len(p))
		for n := range z {
			if n > 150 && n < len(z)-150 && n%41 != 0 {
				continue
			}
			if err := d.Zlib(got, z[:n]); err == nil {
				t.Fatalf("%s: %d of %d bytes pass", how, n, len(z))
			}
		}
		for n := range min(len(z), 60) {
			for bit := range 8 {
				z[n] ^= 1 << bit
				err := d.Zlib(got, z)
				want, wantErr := standard(z)
				z[n] ^= 1 << bit
				// Padding is free to differ, and some spoiled pictures have the
				// checksum of the sound one: the standard library must agree.
				if wantErr == nil && len(want) != len(p) {
					wantErr = inflate.ErrTooFew
				}
				if (err == nil) != (wantErr == nil) || err == nil && !bytes.Equal(got, want) {
					t.Fatalf("%s, bit %d of byte %d flipped: %v, the standard library %v", how, bit, n, err, wantErr)
				}
			}
		}
	}
}

// standard decompresses with the standard library.
func standard(z []byte) ([]byte, error) {
	r, err := zlib.NewReader(bytes.NewReader(z))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(r)
}

func TestZlibMindsNothingBehindTheChecksum(t *testing.T) {
	var d inflate.Decoder
	p := []byte("levee, check, levee, check, levee")
	for how, z := range deflated(t, p) {
		got := make([]byte, len(p))
		if err := d.Zlib(got, append(z, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)); err != nil || !bytes.Equal(got, p) {
			t.Errorf("%s: %v", how, err)
		}
	}
}

func TestAdler32IsTheStandardOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	high := bytes.Repeat([]byte{255}, 100_000)
	for n := range 2500 {
		p := high[:n*13]
		if n%2 == 0 {
			p = make([]byte, n)
			for i := range p {
				p[i] = byte(rng.UintN(256))
			}
		}
		if len(p) > len(high) {
			break
		}
		want := adler32.Checksum(p)
		if got := inflate.Adler32(p); got != want {
			t.Fatalf("%d bytes: %08x, want %08x", len(p), got, want)
		}
		if got := inflate.PlainAdler(1, p); got != want {
			t.Fatalf("%d bytes, the portable way: %08x, want %08x", len(p), got, want)
		}
	}
}

// bits writes the bits of each string, first to last, lowest first into bytes.
func bits(codes ...string) []byte {
	var out []byte
	for i, bit := range strings.Join(codes, "") {
		if i%8 == 0 {
			out = append(out, 0)
		}
		out[i/8] |= byte(bit-'0') << (i % 8)
	}
	return out
}

// TestCodesThatDoNotExistAreRefused tries them with and without room for the
// fast loop. The codes are those of RFC 1951, section 3.2.6.
func TestCodesThatDoNotExistAreRefused(t *testing.T) {
	const final, fixed, a = "1", "10", "10010001"
	for name, z := range map[string][]byte{
		"distance 30":             bits(final, fixed, a, "0000001", "11110"),
		"distance 31":             bits(final, fixed, a, "0000001", "11111"),
		"length 286":              bits(final, fixed, a, "11000110", "00000"),
		"length 287":              bits(final, fixed, a, "11000111", "00000"),
		"too far":                 bits(final, fixed, a, "0000001", "00001"),
		"kind 3":                  bits(final, "11"),
		"incomplete code lengths": bits(final, "01", "10000", "00000", "0111", strings.Repeat("000", 17), "100"),
	} {
		var d inflate.Decoder
		for _, room := range []int{0, 1000} {
			in := append(bytes.Clone(z), make([]byte, room)...)
			if _, err := d.Deflate(make([]byte, 4+room), in); !errors.Is(err, inflate.ErrCorrupt) && room > 0 || err == nil {
				t.Errorf("%s, room %d: %v", name, room, err)
			}
			if _, err := io.ReadAll(flate.NewReader(bytes.NewReader(in))); err == nil {
				t.Errorf("%s: the standard library accepts it", name)
			}
		}
	}
}

// FuzzDeflate holds the decoder to the standard library's: both accept the
// same data, and then agree on the bytes and on how many they took.
func FuzzDeflate(f *testing.F) {
	for name, p := range contents() {
		if len(p) > 6000 {
			p = p[:6000]
		}
		for how, z := range deflated(f, p) {
			if name != "noise" || how == "std 6" {
				f.Add(z[2:], uint16(0))
				f.Add(z[2:], uint16(1))
			}
		}
	}
	f.Add([]byte{0x05, 0xc0, 0x81, 0x08}, uint16(0)) // a dynamic block cut short
	f.Add([]byte{0x03, 0x00}, uint16(0))             // an empty fixed block
	// The only distance code has one bit, and the other bit is used.
	f.Add([]byte("\xec\xc6!\x01\x00 \f\x04\xc0\x02T\xa1\x0f!pD\xc0,\xc3\xa7]\x8a\xb9sW\xe7\xe7\xae\xbc\r\x00\x00\x00\x00\x00\x00\x00\x00\x00\x13\xe8\r\x00\x00\xff\xff\x8a\xb9sW\xe7\xe7\xae\xac\x02\xfc\xcf"), uint16(14))
	var d inflate.Decoder
	f.Fuzz(func(t *testing.T, z []byte, more uint16) {
		const most = 1 << 20
		in := bytes.NewReader(z)
		want, err := io.ReadAll(io.LimitReader(flate.NewReader(in), most))
		if len(want) == most {
			return
		}
		got := make([]byte, len(want)+int(more))
		used, ourErr := d.Deflate(got, z)
		switch {
		case err == nil && more == 0 && ourErr != nil:
			t.Fatalf("refused: %v", ourErr)
		case (err != nil || more > 0) && ourErr == nil:
			t.Fatalf("accepted, though %v with %d bytes more", err, more)
		case ourErr == nil && !bytes.Equal(got, want):
			t.Fatal("other bytes")
		case ourErr == nil && used != len(z)-in.Len():
			t.Fatalf("took %d bytes instead of %d", used, len(z)-in.Len())
		}
	})
}

func BenchmarkZlib(b *testing.B) {
	for name, p := range map[string][]byte{"tile": tile(512), "skewed": contents()["skewed"], "zeros": make([]byte, 2<<20)} {
		var z bytes.Buffer
		w, err := zlib.NewWriterLevel(&z, 6)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := w.Write(p); err != nil {
			b.Fatal(err)
		}
		if err := w.Close(); err != nil {
			b.Fatal(err)
		}
		out := make([]byte, len(p))
		b.Run(name+"/ours", func(b *testing.B) {
			var d inflate.Decoder
			b.SetBytes(int64(len(p)))
			for b.Loop() {
				if err := d.Zlib(out, z.Bytes()); err != nil {
					b.Fatal(err)
				}
			}
		})
		stream := func(b *testing.B, r io.ReadCloser, reset func(io.Reader) error) {
			b.Helper()
			b.SetBytes(int64(len(p)))
			for b.Loop() {
				if err := reset(bytes.NewReader(z.Bytes())); err != nil {
					b.Fatal(err)
				}
				if _, err := io.ReadFull(r, out); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.Run(name+"/klauspost", func(b *testing.B) {
			r, err := kzlib.NewReader(bytes.NewReader(z.Bytes()))
			if err != nil {
				b.Fatal(err)
			}
			stream(b, r, func(in io.Reader) error { return r.(kzlib.Resetter).Reset(in, nil) })
		})
		b.Run(name+"/standard", func(b *testing.B) {
			r, err := zlib.NewReader(bytes.NewReader(z.Bytes()))
			if err != nil {
				b.Fatal(err)
			}
			stream(b, r, func(in io.Reader) error { return r.(zlib.Resetter).Reset(in, nil) })
		})
	}
}

func BenchmarkAdler32(b *testing.B) {
	p := tile(512)
	b.Run("ours", func(b *testing.B) {
		b.SetBytes(int64(len(p)))
		for b.Loop() {
			inflate.Adler32(p)
		}
	})
	b.Run("portable", func(b *testing.B) {
		b.SetBytes(int64(len(p)))
		for b.Loop() {
			inflate.PlainAdler(1, p)
		}
	})
	b.Run("standard", func(b *testing.B) {
		b.SetBytes(int64(len(p)))
		for b.Loop() {
			adler32.Checksum(p)
		}
	})
}
