package invent_test

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

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
					c[k] += sample(buf[(p*nb+at[name])*size:], size)
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
	out, err := os.Create(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer out.Close()
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(out, img); err != nil {
		tb.Fatal(err)
	}
}
