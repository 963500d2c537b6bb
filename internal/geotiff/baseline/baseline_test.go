package baseline_test

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"bittern/internal/geotiff/baseline"
)

const anySize = 1 << 16

var (
	manyInputs = flag.Int("inputs", 30_000, "inputs of TestSpoiledPicturesNeverPanic")
	manySeed   = flag.Uint64("inputs-seed", 6, "seed of the inputs of TestSpoiledPicturesNeverPanic")
)

// TestPicturesAreThoseOfTheStandardLibrary draws tables of codes, ratios,
// intervals and coefficients. The two round the transform in their own ways.
func TestPicturesAreThoseOfTheStandardLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 2))
	var d baseline.Decoder
	off, all := 0, 0
	for n := range 1500 {
		k := randomKind(r)
		data := jpegOf(r, k)
		got := d.Decode(data, anySize, anySize)
		want, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil || got == nil {
			t.Fatalf("%d: %+v: %T, and %v", n, k, got, err)
		}
		worst, differ := compare(t, got, want)
		if worst > 1 {
			t.Fatalf("%d: %+v: %d levels apart", n, k, worst)
		}
		off, all = off+differ, all+k.cols*k.rows
	}
	if off > all/20 {
		t.Errorf("%d samples of %d pixels differ by a level", off, all)
	}
}

// TestPicturesOfTheUsualEncoderAreDecoded keeps to what pieces of pictures are.
func TestPicturesOfTheUsualEncoderAreDecoded(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var d baseline.Decoder
	for n := range 60 {
		cols, rows := 1+r.IntN(100), 1+r.IntN(100)
		var pic image.Image = image.NewGray(image.Rect(0, 0, cols, rows))
		if n%2 == 0 {
			pic = image.NewRGBA(image.Rect(0, 0, cols, rows))
		}
		noise := r.Float64() * 120
		for y := range rows {
			for x := range cols {
				v := uint8(max(0, min(128+noise*r.NormFloat64(), 255)))
				switch p := pic.(type) {
				case *image.Gray:
					p.SetGray(x, y, color.Gray{Y: v})
				case *image.RGBA:
					p.SetRGBA(x, y, color.RGBA{v, uint8(x), uint8(y), 255})
				}
			}
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, pic, &jpeg.Options{Quality: 5 + r.IntN(96)}); err != nil {
			t.Fatal(err)
		}
		want, err := jpeg.Decode(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		got := d.Decode(b.Bytes(), anySize, anySize)
		if got == nil {
			t.Fatalf("picture %d is not decoded", n)
		}
		if worst, _ := compare(t, got, want); worst > 1 {
			t.Fatalf("picture %d: %d levels apart", n, worst)
		}
	}
}

// compare returns the largest difference of two pictures, and how many
// samples differ.
func compare(t *testing.T, got, want image.Image) (worst, differ int) {
	t.Helper()
	if got.Bounds() != want.Bounds() {
		t.Fatalf("%v, want %v", got.Bounds(), want.Bounds())
	}
	size := got.Bounds().Size()
	count := func(a, b uint8) {
		if a != b {
			worst, differ = max(worst, int(a)-int(b), int(b)-int(a)), differ+1
		}
	}
	switch want := want.(type) {
	case *image.Gray:
		got := got.(*image.Gray)
		for y := range size.Y {
			for x := range size.X {
				count(got.GrayAt(x, y).Y, want.GrayAt(x, y).Y)
			}
		}
	case *image.YCbCr:
		got := got.(*image.YCbCr)
		if got.SubsampleRatio != want.SubsampleRatio {
			t.Fatalf("%v, want %v", got.SubsampleRatio, want.SubsampleRatio)
		}
		for y := range size.Y {
			for x := range size.X {
				a, b := got.YCbCrAt(x, y), want.YCbCrAt(x, y)
				count(a.Y, b.Y)
				count(a.Cb, b.Cb)
				count(a.Cr, b.Cr)
			}
		}
	case *image.CMYK:
		got := got.(*image.NRGBA)
		for y := range size.Y {
			for x := range size.X {
				for i, v := range want.Pix[want.PixOffset(x, y):][:4] {
					count(got.Pix[got.PixOffset(x, y)+i], 255-v) // the standard library has inverted them
				}
			}
		}
	default:
		t.Fatalf("%T", want)
	}
	return worst, differ
}

func TestWhatIsNotBaselineIsLeftToOthers(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	colour := jpegOf(r, kind{cols: 40, rows: 30, comps: 3, h: 2, v: 2})
	var d baseline.Decoder
	if d.Decode(colour, 40, 30) == nil {
		t.Fatal("a plain picture is not decoded")
	}
	change := func(marker byte, at int, to byte) []byte {
		data := bytes.Clone(colour)
		i := bytes.Index(data, []byte{0xff, marker})
		data[i+at] = to
		return data
	}
	for name, data := range map[string][]byte{
		"progressive":             change(0xc0, 1, 0xc2),
		"arithmetic coding":       change(0xc0, 1, 0xc9),
		"12 bits":                 change(0xc0, 4, 12),
		"no rows":                 change(0xc0, 6, 0),
		"no columns":              change(0xc0, 8, 0),
		"a ratio of 4":            change(0xc0, 11, 0x41),
		"fine colours":            change(0xc0, 14, 0x21),
		"a name that is twice":    change(0xc0, 13, 1),
		"a missing table":         change(0xda, 6, 0x11),
		"missing quantization":    change(0xc0, 12, 2),
		"one component a scan":    change(0xda, 4, 1),
		"another order":           change(0xda, 5, 2),
		"a second header":         slices.Insert(bytes.Clone(colour), 2, colour[bytes.Index(colour, []byte{0xff, 0xc0}):][:19]...),
		"what follows the scan":   append(bytes.Clone(colour[:len(colour)-2]), 0xff, 0xc4, 0, 2, 0xff, 0xd9),
		"no end":                  colour[:len(colour)-2],
		"nothing":                 nil,
		"a beginning":             colour[:2],
		"something else":          []byte("GIF89a"),
		"codes that are too many": change(0xc4, 5, 3),
	} {
		if d.Decode(data, anySize, anySize) != nil {
			t.Errorf("%s is decoded", name)
		}
	}
	four := jpegOf(r, kind{cols: 40, rows: 30, comps: 4, h: 1, v: 1})
	if d.Decode(four, 40, 30) == nil {
		t.Error("four components are not decoded")
	}
	four[bytes.Index(four, []byte{0xff, 0xee})+15] = 2
	if d.Decode(four, 40, 30) != nil {
		t.Error("four components that are to be transformed are decoded")
	}
	if d.Decode(colour, 39, 30) != nil || d.Decode(colour, 40, 29) != nil {
		t.Error("a picture that is too large is decoded")
	}
}

// TestSpoiledPicturesNeverPanic changes bytes and cuts ends of as many inputs
// as -inputs says. What is decoded all the same, the standard library decodes,
// too, to the same size.
func TestSpoiledPicturesNeverPanic(t *testing.T) {
	r := rand.New(rand.NewPCG(6, *manySeed))
	inputs := *manyInputs
	if testing.Short() {
		inputs = min(inputs, 1000)
	}
	var d baseline.Decoder
	decoded, alike := 0, 0
	for range inputs {
		data := jpegOf(r, randomKind(r))
		for range 1 + r.IntN(4) {
			data[r.IntN(len(data))] = byte(r.UintN(256))
		}
		if r.IntN(3) == 0 {
			data = data[:r.IntN(len(data))]
		}
		if got, want := agreed(t, &d, data); got != nil && !d.RGB() {
			decoded++
			if worst, _ := compare(t, got, want); worst <= 1 {
				alike++
			}
		}
	}
	t.Logf("%d of %d are decoded, %d of them alike", decoded, inputs, alike)
	if decoded < inputs/20 || alike < decoded*9/10 { // coefficients beyond all measure are not alike
		t.Errorf("%d of %d are decoded, %d of them alike", decoded, inputs, alike)
	}
}

// agreed decodes data, and if that works holds it to the standard library,
// whose picture it returns as well.
func agreed(t *testing.T, d *baseline.Decoder, data []byte) (got, want image.Image) {
	t.Helper()
	got = d.Decode(data, 1000, 1000)
	if got == nil {
		return nil, nil
	}
	want, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("decoded, though the standard library says %v: %x", err, data)
	}
	if got.Bounds() != want.Bounds() {
		t.Fatalf("%v, want %v: %x", got.Bounds(), want.Bounds(), data)
	}
	return got, want
}

func TestRedGreenAndBlueAreTold(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	var d baseline.Decoder
	for _, adobe := range []byte{0, 1} {
		data := jpegOf(r, kind{cols: 20, rows: 10, comps: 3, h: 1, v: 1})
		data[bytes.Index(data, []byte{0xff, 0xee})+15] = adobe
		want, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil || d.Decode(data, anySize, anySize) == nil {
			t.Fatal(err)
		}
		if _, rgb := want.(*image.RGBA); d.RGB() != rgb || rgb != (adobe == 0) {
			t.Errorf("Adobe's transform %d: %v, %T", adobe, d.RGB(), want)
		}
	}
}

func TestALieAboutTheSizeCostsNoMemory(t *testing.T) {
	data := jpegOf(rand.New(rand.NewPCG(1, 1)), kind{cols: 8, rows: 8, comps: 1, h: 1, v: 1})
	i := bytes.Index(data, []byte{0xff, 0xc0})
	copy(data[i+5:], []byte{0xff, 0xff, 0xff, 0xff})
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var d baseline.Decoder
	if d.Decode(data, 512, 512) != nil {
		t.Error("decoded")
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("%d bytes allocated", used)
	}
}

func FuzzDecode(f *testing.F) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 12 {
		f.Add(jpegOf(r, randomKind(r)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var d baseline.Decoder
		agreed(t, &d, data)
	})
}
