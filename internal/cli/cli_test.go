package cli_test

import (
	"context"
	"flag"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"bittern/internal/cli"
	"bittern/internal/geo"
	"bittern/internal/invent"
	"bittern/internal/vector"
)

var update = flag.Bool("update", false, "rewrite the scripts' expected output")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"bittern": func() {
			os.Exit(cli.Main(context.Background(), cli.Env{
				Args: os.Args[1:], Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv,
			}))
		},
	})
}

// TestScripts runs the stories under testdata/script. Each finds a small
// invented field in the folder given: a boundary, a picture, and a colour
// picture of the same ground.
func TestScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a dozen days")
	}
	given := t.TempDir()
	writeGiven(t, given)
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			return os.CopyFS(filepath.Join(env.WorkDir, "given"), os.DirFS(given))
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"cut":   cut,
			"spoil": spoil,
		},
	})
}

// cut FILE half|head TO copies the first bytes of a file.
func cut(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 3 {
		ts.Fatalf("usage: cut FILE half|head TO")
	}
	data := ts.ReadFile(args[0])
	n := len(data) / 2
	if args[1] == "head" {
		n = 400
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), []byte(data[:n]), 0o644))
}

// spoil FILE TO copies a file with its middle overwritten: a card that went bad.
func spoil(ts *testscript.TestScript, _ bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: spoil FILE TO")
	}
	data := []byte(ts.ReadFile(args[0]))
	for i := len(data) / 2; i < len(data)/2+2000; i++ {
		data[i] ^= 0x5a
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), data, 0o644))
}

// writeGiven invents the field that the scripts share.
func writeGiven(t *testing.T, dir string) {
	t.Helper()
	scene := invent.Plain(invent.FourBand16, 31)
	scene.Acres, scene.PixelM = 4, 0.10
	scene.Weeds = invent.Weeds{Acres: 0.35, Patches: 3, Light: 0.5, Heavy: 0.8}
	write(t, scene, dir, "flight.tif")
	scene.Sensor = invent.ColorJPEGLike8
	write(t, scene, dir, "colour.tif")
}

func write(t *testing.T, scene invent.Scene, dir, picture string) {
	t.Helper()
	field, err := invent.New(scene)
	if err != nil {
		t.Fatal(err)
	}
	save(t, filepath.Join(dir, picture), field.WritePicture)
	save(t, filepath.Join(dir, "boundary.geojson"), func(w io.WriteSeeker) error {
		return vector.WriteGeoJSON(w, vector.Layer{Name: "field", Features: []vector.Feature{{
			Polygons:   geo.MultiPolygon{field.Boundary()},
			Properties: vector.Properties{{Name: "name", Value: "Test Slough"}},
		}}})
	})
}

func save(t *testing.T, path string, fill func(io.WriteSeeker) error) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := fill(f); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
