package app

import (
	"context"
	"os"
	"path/filepath"

	toml "github.com/pelletier/go-toml/v2"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/picture"
	"bittern/internal/structure"
	"bittern/internal/suspect"
	"bittern/internal/typed"
	"bittern/internal/vector"
)

// Reckoned is what a day's choices come to with other prices.
type Reckoned struct {
	Answer []string   `json:"answer"`
	Words  *PageWords `json:"words"`
}

// Reckon says what a day's choices would come to with other prices, in the keys of
// prices.toml. The picture is not read again: the suspects and the ground are those
// that the last run wrote, and blocks are cut anew. Nothing is written.
func (d *Days) Reckon(ctx context.Context, id string, prices map[string]any) (*Reckoned, error) {
	p, err := d.known(id)
	if err != nil {
		return nil, err
	}
	day, err := readDay(p.out)
	if err != nil {
		return nil, err
	}
	if day == nil {
		return nil, &doubt.Problem{What: "there is no day to reckon with yet", Remedy: "run it first"}
	}
	text, err := toml.Marshal(prices)
	if err != nil {
		return nil, &doubt.Problem{What: "these prices could not be read", Remedy: "write figures only", Err: err}
	}
	r, err := d.resume(ctx, p, day)
	if err != nil {
		return nil, err
	}
	if r.given.prices, err = typed.Prices("prices.toml", text); err != nil {
		return nil, err
	}
	day.Reckoning, day.Job = nil, nil
	for i := range day.Suspects {
		day.Suspects[i].Verdict, day.Suspects[i].BreakEvenChance = nil, nil
	}
	if err := r.treat(ctx); err != nil {
		return nil, err
	}
	r.fillMoney()
	return &Reckoned{Answer: day.answer(r.units), Words: day.pageWords()}, nil
}

// resume is the run of a day as it stood before anything was reckoned, from the
// files that it wrote; its prices are not read.
func (d *Days) resume(ctx context.Context, p dayPlace, day *Day) (*run, error) {
	req, err := d.request(p)
	if err != nil {
		return nil, err
	}
	req.Prices, req.Before, req.Strip, req.Sightings = "", "", "", "" // no part of the money
	c, err := req.check()
	if err != nil {
		return nil, err
	}
	r := &run{checked: *c, set: Setting{Workers: d.set.Workers}, day: day, folder: &folder{dir: p.out, exists: true}}
	if err := r.readGiven(); err != nil {
		return nil, err
	}
	if err := r.locate(ctx); err != nil {
		return nil, err
	}
	g, err := day.Grid.grid()
	if err != nil {
		return nil, err
	}
	if r.grid.OriginX != g.OriginX || r.grid.OriginY != g.OriginY || r.grid.Cols != g.Cols || r.grid.Rows != g.Rows || r.grid.EPSG != g.EPSG {
		return nil, &doubt.Problem{What: "the boundary is another than the one that the day was made with", Remedy: "run the day again"}
	}
	if r.layout, err = readLayout(p.out, r.grid); err != nil {
		return nil, err
	}
	r.finding, err = readSuspects(p.out, r.grid, day)
	return r, err
}

// readLayout is why each cell was left out, as the run wrote it.
func readLayout(dir string, g grid.Grid) (*structure.Layout, error) {
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, g.Len())}
	err := withFile(filepath.Join(dir, filepath.FromSlash(leftOutName)), func(f *os.File, size int64) error {
		ground, err := picture.NewGround(f, size, g)
		if err != nil {
			return err
		}
		for i := range l.Reason {
			if k := ground.Kind(i); k > 0 {
				l.Reason[i] = structure.Levee + structure.Reason(k) - 1
			}
		}
		return nil
	})
	return l, err
}

// readSuspects are the suspects of a day with their cells, in its order.
func readSuspects(dir string, g grid.Grid, day *Day) (*suspect.Finding, error) {
	layer, err := vector.ReadFile(filepath.Join(dir, "data", "suspects.geojson"))
	if err != nil {
		return nil, err
	}
	outlines := map[string]geo.MultiPolygon{}
	for _, f := range layer.Features {
		outlines[f.Properties.Text("id")] = f.Polygons
	}
	out := &suspect.Finding{}
	for _, s := range day.Suspects {
		m, err := g.FromLonLat(outlines[s.ID])
		if err != nil {
			return nil, &doubt.Problem{File: "suspects.geojson", What: "lies nowhere near the field", Remedy: "run the day again", Err: err}
		}
		one := suspect.Suspect{ID: s.ID, Check: s.Check, Acres: s.Acres, Look: norm.Look(s.Look), Outline: m, Cells: cellsIn(g, m)}
		if s.Letter != nil {
			one.Letter = *s.Letter
		}
		out.Suspects = append(out.Suspects, one)
	}
	return out, nil
}

// cellsIn are the cells whose centres lie in m, ascending: looked for in its own
// bounds, since a field may have thousands of suspects.
func cellsIn(g grid.Grid, m geo.MultiPolygon) []int32 {
	if len(m) == 0 {
		return nil
	}
	b := m.Bounds()
	col, row := max(0, int((b.Min.X-g.OriginX)/g.CellM)-1), max(0, int((g.OriginY-b.Max.Y)/g.CellM)-1)
	part := grid.Grid{EPSG: g.EPSG, CellM: g.CellM, OriginX: g.OriginX + float64(col)*g.CellM, OriginY: g.OriginY - float64(row)*g.CellM}
	part.Cols = min(g.Cols-col, int((b.Max.X-b.Min.X)/g.CellM)+4)
	part.Rows = min(g.Rows-row, int((b.Max.Y-b.Min.Y)/g.CellM)+4)
	var out []int32
	for i, in := range part.Inside(m) {
		if in {
			out = append(out, int32(g.Index(col+i%part.Cols, row+i/part.Cols)))
		}
	}
	return out
}
