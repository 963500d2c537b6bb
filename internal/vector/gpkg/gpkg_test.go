package gpkg_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"bittern/internal/geo"
	"bittern/internal/vector/gpkg"
)

func layers() []gpkg.Layer {
	square := geo.Ring{{X: -91.5, Y: 34.5}, {X: -91.4, Y: 34.5}, {X: -91.4, Y: 34.6}, {X: -91.5, Y: 34.6}}
	hole := geo.Ring{{X: -91.47, Y: 34.53}, {X: -91.43, Y: 34.53}, {X: -91.43, Y: 34.57}}
	return []gpkg.Layer{
		{
			Name: "patches", Kind: gpkg.Polygons, Columns: []gpkg.Column{{"name", "TEXT"}, {"n", "INTEGER"}, {"acres", "REAL"}, {"on", "BOOLEAN"}},
			Rows: []gpkg.Row{
				{Polygons: geo.MultiPolygon{{Outer: square, Holes: []geo.Ring{hole}}}, Values: []any{"a", 1, 0.5, true}},
				{Values: []any{nil, nil, nil, nil}},
			},
			SLD: "<a/>",
		},
		{Name: "lines", Kind: gpkg.Lines, Rows: []gpkg.Row{{Lines: []geo.Line{{{X: 1, Y: 2}, {X: 3, Y: 4}}}}}},
		{Name: "gates", Kind: gpkg.Points, Rows: []gpkg.Row{{Points: []geo.Point{{X: 5, Y: 6}}}}},
	}
}

func written(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := gpkg.Write(t.Context(), &b, layers()); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func read(t *testing.T, data []byte) ([]gpkg.Table, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "odd # name?.gpkg")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return gpkg.Read(t.Context(), path)
}

func TestLayersComeBack(t *testing.T) {
	tables, err := read(t, written(t))
	if err != nil || len(tables) != 3 {
		t.Fatalf("%v %v", tables, err)
	}
	gates, lines, patches := tables[0], tables[1], tables[2]
	if gates.Name != "gates" || gates.Organization != "EPSG" || gates.Code != 4326 || gates.Rows[0].Points[0] != (geo.Point{X: 5, Y: 6}) {
		t.Errorf("points: %+v", gates)
	}
	if len(lines.Rows[0].Lines) != 1 || lines.Rows[0].Lines[0][1] != (geo.Point{X: 3, Y: 4}) {
		t.Errorf("lines: %+v", lines)
	}
	p := patches.Rows[0]
	if len(patches.Rows) != 2 || len(p.Polygons) != 1 || len(p.Polygons[0].Holes) != 1 || len(patches.Rows[1].Polygons) != 0 {
		t.Errorf("polygons: %+v", patches)
	}
	if got, want := p.Polygons.Area(), layers()[0].Rows[0].Polygons.Area(); got != want {
		t.Errorf("area %v, want %v", got, want)
	}
	if p.Values[1] != "a" || p.Values[2] != 1.0 || p.Values[3] != 0.5 { // the first is the row's number
		t.Errorf("values %v of %v", p.Values, patches.Columns)
	}
}

func TestNamesThatAreNotPlainAreRefused(t *testing.T) {
	for _, name := range []string{"", "a b", "x\";--", "geom"} {
		l := []gpkg.Layer{{Name: "ok", Kind: gpkg.Points, Columns: []gpkg.Column{{name, "TEXT"}}}}
		if err := gpkg.Write(t.Context(), &bytes.Buffer{}, l); !errors.Is(err, gpkg.ErrName) {
			t.Errorf("column %q: %v", name, err)
		}
	}
}

func TestDamageOfAnyByteDoesNotStopTheProgram(t *testing.T) {
	full := written(t)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 400 {
		data := bytes.Clone(full)
		for range 1 + rng.IntN(4) {
			data[rng.IntN(len(data))] = byte(rng.IntN(256))
		}
		_, _ = read(t, data[:len(data)-rng.IntN(2)*rng.IntN(len(data))]) // an error or not, but no panic
	}
}
