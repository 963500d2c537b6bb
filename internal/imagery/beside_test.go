package imagery_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

func TestFilesBesideAPictureThatCannotBeUsedAreRefusedInOneSentence(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "numpy", "osgeo.gdal"), filepath.Join("testdata", "beside.py"), dir)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, errs.String())
	}
	n := 0
	for line := range strings.Lines(string(out)) {
		name, says, _ := strings.Cut(strings.TrimSpace(line), "\t")
		n++
		_, err := open(t, imagery.Options{}, filepath.Join(dir, name))
		var p *doubt.Problem
		if !errors.As(err, &p) {
			t.Errorf("%s: error %v is no problem", name, err)
			continue
		}
		if p.Kind != doubt.Input || !strings.Contains(p.Error(), says) || p.Remedy == "" || p.File == "" || strings.ContainsAny(p.Error(), "\n\x00") {
			t.Errorf("%s: %q, want a word of %q", name, p.Error(), says)
		}
	}
	if n < 25 {
		t.Errorf("only %d files", n)
	}
}

// TestEveryRealPictureIsAnswered looks at every file of the collections. Each
// is described, or answered with one sentence.
func TestEveryRealPictureIsAnswered(t *testing.T) {
	described, refused := 0, 0
	for _, root := range []string{"ortho", "multispectral", "weed-tiles", "vectors"} {
		err := filepath.WalkDir(oracle.Data(t, root), func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			flight, err := imagery.Look(t.Context(), []string{path}, imagery.Options{})
			if err != nil {
				refused++
				if p, ok := errors.AsType[*doubt.Problem](err); !ok || p.File == "" || p.Remedy == "" {
					t.Errorf("%s: %v is no problem with a file and a remedy", path, err)
				}
				if ext := strings.ToLower(filepath.Ext(path)); ext == ".tif" || ext == ".png" || ext == ".jpg" {
					t.Errorf("%s: %v", path, err)
				}
				return nil
			}
			described++
			for _, p := range flight.Problems {
				if p.File == "" || p.Remedy == "" {
					t.Errorf("%s: %v lacks a file or a remedy", path, p)
				}
			}
			return flight.Close()
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d pictures described, %d other files refused", described, refused)
	if described < 100 {
		t.Errorf("only %d pictures are described", described)
	}
}

func TestLookDescribesAPictureWithoutAPlace(t *testing.T) {
	f := picture()
	f.Colors, f.Affine, f.EPSG = []string{"red", "green", "blue"}, grid.Affine{}, 0
	path := write(t, "x.tif", f)
	flight, err := imagery.Look(t.Context(), []string{path}, imagery.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = flight.Close() }()
	if len(flight.Problems) != 1 || !strings.Contains(flight.Problems[0].Error(), "x.tif: has no place") {
		t.Errorf("problems %v", flight.Problems)
	}
	if len(flight.Bands) != 3 || flight.Files[0].CRS.Valid() || flight.PixelM != 0 {
		t.Errorf("bands %v, system %v, pixel %g m", flight.Bands, flight.Files[0].CRS.Valid(), flight.PixelM)
	}
}

// TestBrokenPNGAndJPEGAreOneSentence cuts and spoils pictures that are decoded
// at once.
func TestBrokenPNGAndJPEGAreOneSentence(t *testing.T) {
	pic := image.NewNRGBA(image.Rect(0, 0, 64, 48))
	r := rand.New(rand.NewPCG(5, 6))
	for i := range pic.Pix {
		pic.Pix[i] = byte(r.Uint32())
	}
	var asPNG, asJPEG bytes.Buffer
	if err := errors.Join(png.Encode(&asPNG, pic), jpeg.Encode(&asJPEG, pic, nil)); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, b := range map[string][]byte{"x.png": asPNG.Bytes(), "x.jpg": asJPEG.Bytes()} {
		path := filepath.Join(dir, name)
		try := func(b []byte) error {
			if err := os.WriteFile(path, b, 0o644); err != nil {
				t.Fatal(err)
			}
			flight, err := imagery.Look(t.Context(), []string{path}, imagery.Options{})
			if err == nil {
				return flight.Close()
			}
			if p, ok := errors.AsType[*doubt.Problem](err); !ok || p.File == "" || p.Remedy == "" || strings.ContainsAny(p.Error(), "\n\x00") {
				t.Errorf("%s: %v is no problem with a file and a remedy", name, err)
			}
			return err
		}
		if err := try(b); err != nil {
			t.Fatal(err)
		}
		for n := 0; n < len(b); n += 1 + n/8 {
			if try(b[:n]) == nil {
				t.Errorf("%s passes with %d of %d bytes", name, n, len(b))
			}
		}
		for range 200 {
			spoiled := bytes.Clone(b)
			spoiled[r.IntN(len(b))] ^= 1 << r.IntN(8)
			_ = try(spoiled) // sound or one sentence
		}
	}
}

func TestAPlaceFromBesideThePictureIsADoubt(t *testing.T) {
	f := picture()
	f.Colors, f.Affine, f.EPSG = []string{"red", "green", "blue"}, grid.Affine{}, 0
	path := write(t, "x.tif", f)
	wkt := crs.UTM(15, false).WKT1()
	for name, text := range map[string]string{
		"x.tfw": "0.1\n0\n0\n-0.1\n700000\n3900000\n", "x.prj": wkt, "x.tif.aux.xml": "<Other><SRS>nonsense</SRS></Other>",
	} {
		if err := os.WriteFile(filepath.Join(filepath.Dir(path), name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	flight, err := open(t, imagery.Options{}, path)
	if err != nil {
		t.Fatal(err)
	}
	want := "The place of x.tif was taken from x.tfw and x.prj beside it."
	if !slices.ContainsFunc(flight.Doubts, func(d doubt.Doubt) bool { return d.Says == want }) {
		t.Errorf("doubts %v", flight.Doubts)
	}
	if a := flight.Files[0].Image.Affine; a.A != 699999.95 || a.D != 3900000.05 {
		t.Errorf("the place is %v", a)
	}
}

// TestBrokenDescriptionsAreOneSentence cuts and spoils a mosaic, and the
// files beside a picture.
func TestBrokenDescriptionsAreOneSentence(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	path := write(t, "x.tif", f)
	dir := filepath.Dir(path)
	texts := descriptions(f)
	r := rand.New(rand.NewPCG(8, 9))
	for name, text := range texts {
		target := filepath.Join(dir, strings.TrimSuffix(name, ".aux.xml"))
		try := func(b []byte) {
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
				t.Fatal(err)
			}
			flight, err := imagery.Open(t.Context(), []string{target}, imagery.Options{})
			if err == nil {
				if err := flight.Close(); err != nil {
					t.Error(err)
				}
				return
			}
			if p, ok := errors.AsType[*doubt.Problem](err); !ok || p.File == "" || p.Remedy == "" || strings.ContainsAny(p.Error(), "\n\x00") {
				t.Errorf("%s: %v (%T) is no problem with a file and a remedy", name, err, err)
			}
		}
		for n := range len(text) {
			try([]byte(text[:n]))
		}
		for range 600 {
			b := []byte(text)
			for range 1 + r.IntN(3) {
				b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			}
			try(b)
		}
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
}

// descriptions are a mosaic of a picture of three bands, x.tif, and a description
// that lies beside it.
func descriptions(f geotiff.Format) map[string]string {
	wkt := strings.ReplaceAll(crs.UTM(15, false).WKT1(), `"`, "&quot;")
	band := func(n string) string {
		return `<VRTRasterBand dataType="Byte" band="` + n + `"><ColorInterp>Red</ColorInterp><NoDataValue>0</NoDataValue>
<SimpleSource><SourceFilename relativeToVRT="1">x.tif</SourceFilename><SourceBand>` + n + `</SourceBand></SimpleSource></VRTRasterBand>`
	}
	size := fmt.Sprintf(`rasterXSize="%d" rasterYSize="%d"`, f.Cols, f.Rows)
	return map[string]string{
		"x.vrt": "<VRTDataset " + size + "><SRS>" + wkt + "</SRS><GeoTransform>700000, 0.1, 0, 3900000, 0, -0.1</GeoTransform>" +
			band("1") + band("2") + band("3") + "</VRTDataset>",
		"x.tif.aux.xml": "<PAMDataset><SRS>" + wkt + `</SRS><GeoTransform>700000, 0.1, 0, 3900000, 0, -0.1</GeoTransform>
<PAMRasterBand band="2"><Description>green</Description><Scale>0.1</Scale><Offset>1</Offset><NoDataValue>nan</NoDataValue>
<Metadata><MDI key="wavelength">560</MDI></Metadata></PAMRasterBand></PAMDataset>`,
	}
}

// FuzzBeside puts anything beside a picture: a mosaic of it, a description, a
// world file or a coordinate system.
func FuzzBeside(f *testing.F) {
	format := picture()
	format.Colors = []string{"red", "green", "blue"}
	placed := write(f, "x.tif", format)
	names := []string{"x.vrt", "x.tif.aux.xml", "x.tfw", "x.prj"}
	for name, text := range descriptions(format) {
		f.Add(byte(slices.Index(names, name)), []byte(text))
	}
	f.Add(byte(2), []byte("0.1\n0\n0\n-0.1\n700000\n3900000\n"))
	f.Add(byte(3), []byte(crs.UTM(15, false).WKT1()))
	format.Affine, format.EPSG = grid.Affine{}, 0
	bare := write(f, "x.tif", format)
	f.Fuzz(func(t *testing.T, kind byte, text []byte) {
		dir, name := t.TempDir(), names[int(kind)%len(names)]
		source := placed
		if name == "x.tfw" || name == "x.prj" {
			source = bare
		}
		if err := os.Link(source, filepath.Join(dir, "x.tif")); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
		target := filepath.Join(dir, "x.tif")
		if name == "x.vrt" {
			target = filepath.Join(dir, name)
		}
		flight, err := imagery.Look(t.Context(), []string{target}, imagery.Options{})
		if err == nil {
			if err := flight.Close(); err != nil {
				t.Error(err)
			}
			return
		}
		if p, ok := errors.AsType[*doubt.Problem](err); !ok || p.File == "" || p.Remedy == "" {
			t.Fatalf("%v (%T) is no problem with a file and a remedy", err, err)
		}
	})
}

func TestFilesOfOneCameraCountItsBandsOnce(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	a := write(t, "a.tif", f)
	f.Affine.A += 2
	b := write(t, "b.tif", f)
	flight, err := open(t, imagery.Options{}, a, b)
	if err != nil {
		t.Fatal(err)
	}
	if flight.Sensor != "3 bands, 16 bits" {
		t.Errorf("the sensor is %q", flight.Sensor)
	}
}

// TestTheOrderOfAMosaicIsThatOfItsSources keeps what lies on what where a mosaic
// changes between pictures with a no-data value and without.
func TestTheOrderOfAMosaicIsThatOfItsSources(t *testing.T) {
	f := picture()
	f.Colors = []string{"red", "green", "blue"}
	dir := t.TempDir()
	kinds := []string{"Simple", "Complex", "Simple"}
	names := []string{"c.tif", "a.tif", "b.tif"}
	for _, name := range names {
		if err := os.Rename(write(t, name, f), filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	text := fmt.Sprintf(`<VRTDataset rasterXSize="%d" rasterYSize="%d"><SRS>EPSG:32615</SRS><GeoTransform>700000, 0.1, 0, 3900000, 0, -0.1</GeoTransform>`, f.Cols, f.Rows)
	for band := range 3 {
		text += fmt.Sprintf(`<VRTRasterBand dataType="UInt16" band="%d">`, band+1)
		for i, kind := range kinds {
			text += fmt.Sprintf(`<%sSource><SourceFilename relativeToVRT="1">%s</SourceFilename><SourceBand>%d</SourceBand></%sSource>`, kind, names[i], band+1, kind)
		}
		text += "</VRTRasterBand>"
	}
	path := filepath.Join(dir, "mosaic.vrt")
	if err := os.WriteFile(path, []byte(text+"</VRTDataset>"), 0o600); err != nil {
		t.Fatal(err)
	}
	flight, err := open(t, imagery.Options{}, path)
	if err != nil {
		t.Fatal(err)
	}
	for i, file := range flight.Files {
		if file.Name != names[i] {
			t.Errorf("picture %d is %s, not %s", i, file.Name, names[i])
		}
	}
}
