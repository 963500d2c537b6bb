package invent_test

import (
	"bytes"
	"cmp"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"

	"bittern/internal/golden"
	"bittern/internal/grid"
	"bittern/internal/invent"
)

// shown renders a window for the eye, shrunk by averaging: natural colour
// where there is blue, else near infrared, red and green as red, green, blue.
func shown(tb testing.TB, f *invent.Field, w grid.Window, shrink int) *image.RGBA {
	tb.Helper()
	is := f.Format()
	nb, size := len(is.Bands), is.SampleBytes
	at := map[string]int{}
	for b, name := range is.Bands {
		at[name] = b
	}
	pick := [3]string{"red", "green", "blue"}
	gain := [3]float64{2.3, 2.3, 2.3}
	if _, ok := at["blue"]; !ok {
		pick, gain = [3]string{"nir", "red", "green"}, [3]float64{0.9, 3, 3}
	}
	if size == 1 {
		gain = [3]float64{1, 1, 1}
	}
	img := image.NewRGBA(image.Rect(0, 0, w.Cols/shrink, w.Rows/shrink))
	buf := make([]byte, w.Cols*w.Rows*nb*size)
	if err := f.Fill(w, buf); err != nil {
		tb.Fatal(err)
	}
	for y := range w.Rows / shrink {
		for x := range w.Cols / shrink {
			var c [3]float64
			for i := range shrink * shrink {
				p := (y*shrink+i/shrink)*w.Cols + x*shrink + i%shrink
				for k, name := range pick {
					c[k] += max(0, sample(buf[(p*nb+at[name])*size:], size))
				}
			}
			var out [3]uint8
			for k := range c {
				out[k] = display(c[k] / float64(shrink*shrink) * gain[k])
			}
			img.SetRGBA(x, y, color.RGBA{out[0], out[1], out[2], 255})
		}
	}
	return img
}

// display is the sRGB code of linear light.
func display(x float64) uint8 {
	x = min(max(x, 0), 1)
	if x <= 0.0031308 {
		return uint8(255*12.92*x + 0.5)
	}
	return uint8(255*(1.055*math.Pow(x, 1/2.4)-0.055) + 0.5)
}

// TestPeek writes pictures to look at while working: set PEEK to a folder.
func TestPeek(t *testing.T) {
	dir := os.Getenv("PEEK")
	if dir == "" {
		t.Skip("PEEK names no folder")
	}
	sensor, _ := strconv.Atoi(os.Getenv("PEEK_SENSOR"))
	seed, _ := strconv.ParseUint(os.Getenv("PEEK_SEED"), 10, 64)
	name := os.Getenv("PEEK_SCENE")
	s, err := invent.Named(name, invent.Sensor(sensor), seed)
	if err != nil {
		t.Fatal(err)
	}
	f := field(t, s)
	t.Logf("%+v", f.Scene())
	cols, rows := f.Size()
	shrink := max(cols, rows)/1000 + 1
	save(t, filepath.Join(dir, name+"-whole.png"), shown(t, f, grid.Window{Cols: cols / shrink * shrink, Rows: rows / shrink * shrink}, shrink))
	for i, p := range f.Truth(cellsOf(f)).Patches {
		t.Logf("patch %d: %.3f ac peak %.2f burn %.2f", i, p.Acres, p.Peak, p.Burn)
		if i > 3 {
			continue
		}
		a := f.Format().Affine
		// North-up pictures only.
		c, r := int((p.At.X-a.A)/a.B), int((p.At.Y-a.D)/a.F)
		w := grid.Window{Col: min(max(c-200, 0), cols-400), Row: min(max(r-200, 0), rows-400), Cols: 400, Rows: 400}
		save(t, filepath.Join(dir, name+"-crop"+strconv.Itoa(i)+".png"), shown(t, f, w, 1))
	}
}

// save writes a PNG.
func save(tb testing.TB, path string, img image.Image) {
	tb.Helper()
	if err := os.WriteFile(path, encoded(tb, img), 0o644); err != nil {
		tb.Fatal(err)
	}
}

// encoded is img as the bytes of a PNG.
func encoded(tb testing.TB, img image.Image) []byte {
	tb.Helper()
	var out bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(&out, img); err != nil {
		tb.Fatal(err)
	}
	return out.Bytes()
}

// fewColours keeps the 256 most frequent of the colours of img, at five bits a
// channel: the pictures of the documents stay small.
func fewColours(img *image.RGBA) *image.Paletted {
	count := map[color.RGBA]int{}
	coarse := func(c color.RGBA) color.RGBA { return color.RGBA{c.R&^7 | 4, c.G&^7 | 4, c.B&^7 | 4, 255} }
	b := img.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			count[coarse(img.RGBAAt(x, y))]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(count), func(p, q color.RGBA) int {
		return cmp.Or(cmp.Compare(count[q], count[p]), cmp.Compare(p.R, q.R), cmp.Compare(p.G, q.G), cmp.Compare(p.B, q.B))
	})
	var palette color.Palette
	for _, c := range colours[:min(256, len(colours))] {
		palette = append(palette, c)
	}
	out := image.NewPaletted(b, palette)
	place := map[color.RGBA]uint8{}
	for y := range b.Dy() {
		for x := range b.Dx() {
			c := coarse(img.RGBAAt(x, y))
			i, ok := place[c]
			if !ok {
				i = uint8(palette.Index(c))
				place[c] = i
			}
			out.SetColorIndex(x, y, i)
		}
	}
	return out
}

// TestScenePicturesAreCurrent renders the pictures of docs/scenes: the whole
// field, and beside it the pixels round its largest patch. Run with -update
// after a change, and look at them.
func TestScenePicturesAreCurrent(t *testing.T) {
	if testing.Short() || runtime.GOARCH != "amd64" {
		t.Skip("renders four scenes; other processors round the last bit differently")
	}
	for _, tc := range []struct {
		name   string
		sensor invent.Sensor
		seed   uint64
	}{
		{"believable", invent.ColorJPEGLike8, 5},
		{"shade", invent.ColorJPEGLike8, 9},
		{"straight", invent.FiveBandFloat, 2},
		{"killed", invent.FourBand16, 14},
	} {
		s, err := invent.Named(tc.name, tc.sensor, tc.seed)
		if err != nil {
			t.Fatal(err)
		}
		s.Acres, s.PixelM, s.RotateDeg, s.KilledAcres = 14, 0.08, 0, min(s.KilledAcres, 0.4)
		s.Weeds.Acres *= 0.7
		picture := encoded(t, fewColours(pair(t, field(t, s))))
		if len(picture) > 300_000 {
			t.Errorf("%s: %d bytes, must stay under 300,000", tc.name, len(picture))
		}
		golden.Equal(t, "../../../../docs/scenes/"+tc.name+".png", picture)
	}
}

// pair is the whole field and, beside it, the pixels of its largest patch.
func pair(t *testing.T, f *invent.Field) *image.RGBA {
	t.Helper()
	const high = 460
	cols, rows := f.Size()
	shrink := max(cols, rows)/high + 1
	whole := shown(t, f, grid.Window{Cols: cols / shrink * shrink, Rows: rows / shrink * shrink}, shrink)
	a, at := f.Format().Affine, f.Truth(cellsOf(f)).Patches[0].At
	c, r := int((at.X-a.A)/a.B), int((at.Y-a.D)/a.F)
	const side = 340
	w := grid.Window{Col: min(max(c-side/2, 0), cols-side), Row: min(max(r-side/2, 0), rows-side), Cols: side, Rows: side}
	near := shown(t, f, w, 1)
	out := image.NewRGBA(image.Rect(0, 0, whole.Bounds().Dx()+8+side, max(whole.Bounds().Dy(), side)))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(out, whole.Bounds(), whole, image.Point{}, draw.Src)
	draw.Draw(out, near.Bounds().Add(image.Pt(whole.Bounds().Dx()+8, 0)), near, image.Point{}, draw.Src)
	return out
}
