package app

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"bittern/internal/cells"
	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/imagery"
	"bittern/internal/index"
	"bittern/internal/picture"
	"bittern/internal/typed"
	"bittern/internal/vector"
)

// Limits on what the pictures of a folder may hold in memory.
const (
	blockBytes = 256 << 20 // decoded blocks, of all days: a screen's worth at the level that reads most
	mostShown  = 2         // days whose pictures are open at once
)

// A shownDay is a day whose pictures are open.
type shownDay struct {
	day       *Day            // nil before a run
	flight    *imagery.Flight // nil when its files are not at hand
	why       string          // why they are not
	picture   *picture.Picture
	earlier   *imagery.Flight                 // nil without one, or when its file is not at hand
	before    *picture.Picture                // the flight before, laid back; nil without one
	departure *picture.Overlay                // nil before a run
	ground    func() (*picture.Ground, error) // read when it is first asked for; nil before a run
	shapes    func() (*Shapes, error)         // read when they are first asked for: a large day has many
	field     [4]float64                      // extent of the boundary in the picture's own units; zeros without one

	bands   *picture.Bands // nil where the run wrote none
	indices []IndexShown   // that bands can show

	files []*os.File // of the day, open for its pictures
}

func (s *shownDay) close() {
	for _, f := range []*imagery.Flight{s.flight, s.earlier} {
		if f != nil {
			_ = f.Close() // only read from
		}
	}
	for _, f := range s.files {
		_ = f.Close() // only read from
	}
}

// forget closes the pictures of a day. The caller holds d.mu.
func (d *Days) forget(id string) {
	if s := d.shown[id]; s != nil {
		s.close()
		delete(d.shown, id)
		d.order = slices.DeleteFunc(d.order, func(other string) bool { return other == id })
	}
}

// keep notes an open day as the latest used, and closes those beyond the limit.
// The caller holds d.mu.
func (d *Days) keep(id string, s *shownDay) {
	if s != d.shown[id] {
		d.forget(id)
		d.shown[id] = s
	}
	d.order = append(slices.DeleteFunc(d.order, func(other string) bool { return other == id }), id)
	for len(d.order) > mostShown {
		d.forget(d.order[0])
	}
}

// open returns a day with its pictures open.
func (d *Days) open(ctx context.Context, id string) (*shownDay, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s := d.shown[id]; s != nil {
		d.keep(id, s)
		return s, nil
	}
	// Files that are open could not be replaced everywhere.
	if w := d.work[id]; w != nil && w.what == "run" && w.going() {
		return nil, &doubt.Problem{What: "the day is being made again", Remedy: "wait until it is done"}
	}
	p := d.place(id)
	day, err := readDay(p.out)
	if err != nil {
		return nil, err
	}
	if day == nil {
		return nil, &doubt.Problem{What: "there is no picture to show yet", Remedy: "give one first"}
	}
	s, err := d.openPictures(ctx, p, day)
	if err != nil {
		return nil, err
	}
	d.keep(id, s)
	return s, nil
}

// openPictures opens what a finished day shows.
func (d *Days) openPictures(ctx context.Context, p dayPlace, day *Day) (*shownDay, error) {
	g, err := day.Grid.grid()
	if err != nil {
		return nil, err
	}
	s := &shownDay{day: day}
	rough, err := s.openRough(p, roughName, g)
	if err == nil {
		err = s.openFile(p, departureName, func(f *os.File, size int64) (err error) {
			s.departure, err = picture.NewOverlay(f, size, g, plum, rampFrom, rampTo)
			return err
		})
	}
	if err != nil {
		s.close()
		return nil, err
	}
	s.ground = sync.OnceValues(func() (ground *picture.Ground, err error) {
		err = withFile(filepath.Join(p.out, filepath.FromSlash(leftOutName)), func(f *os.File, size int64) (err error) {
			ground, err = picture.NewGround(f, size, g)
			return err
		})
		return ground, err
	})
	if paths, err := d.flightFiles(p, day, "imagery"); err != nil {
		s.why = PageSentence(err)
	} else if s.flight, err = imagery.Open(ctx, paths, imagery.Options{Bands: day.Options.Bands}); err != nil {
		s.why = PageSentence(err)
	}
	if s.picture, err = picture.Open(s.flight, rough, day.Imagery.DisplayGain, d.blocks); err != nil {
		s.close()
		return nil, err
	}
	s.shapes = sync.OnceValues(func() (*Shapes, error) { return readShapes(p.out, s.picture.View) })
	field, err := readShape(p.out, "field", s.picture.View)
	if err == nil {
		if len(field) > 0 {
			s.field = field[0].Extent
		}
		err = d.openBefore(ctx, p, day, s)
	}
	if err == nil {
		err = s.openBands(p, day)
	}
	if err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

// openBefore opens the picture of the flight before, where the day has one.
func (d *Days) openBefore(ctx context.Context, p dayPlace, day *Day, s *shownDay) error {
	b := day.Imagery.Before
	if b == nil {
		return nil
	}
	g, err := day.Grid.grid()
	if err != nil {
		return err
	}
	rough, err := s.openRough(p, beforeName, g)
	if err != nil {
		return err
	}
	// Its file may be away: then it is shown in cells only.
	if paths, err := d.flightFiles(p, day, "before"); err == nil && len(paths) > 0 {
		if s.earlier, err = openEarlier(ctx, paths[0], day.Options.Bands); err != nil {
			s.earlier = nil
		}
	}
	s.before, err = s.picture.Beside(s.earlier, rough, b.DisplayGain, geo.Point{X: b.EastM, Y: b.NorthM})
	return err
}

// openBands opens what indices are drawn from, where the run wrote it.
func (s *shownDay) openBands(p dayPlace, day *Day) error {
	if isMissing(filepath.Join(p.out, filepath.FromSlash(bandsName))) {
		return nil
	}
	g, err := day.Grid.grid()
	if err != nil {
		return err
	}
	s.indices = day.Imagery.Indices
	return s.openFile(p, bandsName, func(f *os.File, size int64) (err error) {
		s.bands, err = picture.NewBands(f, size, g)
		return err
	})
}

// openRough opens a rough copy of the day.
func (s *shownDay) openRough(p dayPlace, name string, g grid.Grid) (rough *picture.Rough, err error) {
	err = s.openFile(p, name, func(f *os.File, size int64) (err error) {
		rough, err = picture.NewRough(f, size, g)
		return err
	})
	return rough, err
}

// openFile opens a file of the day that stays open with its pictures.
func (s *shownDay) openFile(p dayPlace, name string, read func(*os.File, int64) error) error {
	path := filepath.Join(p.out, filepath.FromSlash(name))
	f, err := os.Open(path)
	if err != nil {
		return unread(path, err)
	}
	s.files = append(s.files, f)
	info, err := f.Stat()
	if err == nil {
		err = read(f, info.Size())
	}
	return named(err, path)
}

// shade is an index that the day can show, by its name.
func (s *shownDay) shade(name string) (picture.Shade, bool) {
	i := slices.IndexFunc(s.indices, func(x IndexShown) bool { return x.Name == name })
	x, ok := index.Named(name)
	if i < 0 || !ok || s.bands == nil {
		return picture.Shade{}, false
	}
	return picture.Shade{Index: x, Low: s.indices[i].Low, High: s.indices[i].High}, true
}

// withFile opens a file of the day and names it in what goes wrong.
func withFile(path string, read func(*os.File, int64) error) error {
	f, err := os.Open(path)
	if err != nil {
		return unread(path, err)
	}
	defer func() { _ = f.Close() }() // only read from
	info, err := f.Stat()
	if err == nil {
		err = read(f, info.Size())
	}
	return named(err, path)
}

// grid is the grid that a day lies on.
func (g GridPlace) grid() (grid.Grid, error) {
	var code int
	if n, err := fmt.Sscanf(g.CRS, "EPSG:%d", &code); n != 1 || g.Columns <= 0 || g.Rows <= 0 || !(g.CellM > 0) {
		return grid.Grid{}, &doubt.Problem{What: "the day does not say where it lies", Remedy: "run it again", Err: err}
	}
	if _, err := crs.FromEPSG(code); err != nil {
		return grid.Grid{}, &doubt.Problem{What: "the day lies in a zone that is not known", Remedy: "run it again", Err: err}
	}
	return grid.Grid{EPSG: code, OriginX: g.Origin[0], OriginY: g.Origin[1], CellM: g.CellM, Cols: g.Columns, Rows: g.Rows}, nil
}

// flightFiles are the files of a flight of a day, where they are at hand: those that
// were asked for, or files of the same names beside the day. role is "imagery" or
// "before".
func (d *Days) flightFiles(p dayPlace, day *Day, role string) ([]string, error) {
	asked, err := p.readAsked()
	if err != nil {
		asked = typed.Asked{}
	}
	var out []string
	for _, in := range day.Inputs {
		if in.Role != role {
			continue
		}
		candidates := append(slices.Clone(asked.Imagery), asked.Before, filepath.Join(p.given, in.Name), filepath.Join(filepath.Dir(p.out), givenName, in.Name))
		i := slices.IndexFunc(candidates, func(path string) bool {
			info, err := os.Stat(path)
			return err == nil && filepath.Base(path) == in.Name && info.Size() == in.Bytes
		})
		if i < 0 {
			return nil, &doubt.Problem{File: in.Name, What: "is not where it was, so the picture is shown in cells only", Remedy: "put the file back, or give its path"}
		}
		out = append(out, candidates[i])
	}
	return out, nil
}

// lookAt makes the picture of what was given to a day that was not run yet.
func (d *Days) lookAt(ctx context.Context, id string, a typed.Asked, set Setting) error {
	flight, err := imagery.Open(ctx, a.Imagery, imagery.Options{Bands: a.Bands})
	if err != nil {
		return err
	}
	g, err := coarseGrid(flight)
	if err != nil {
		return errors.Join(err, flight.Close())
	}
	all := make([]bool, g.Len())
	for i := range all {
		all[i] = true
	}
	sum, err := cells.Pass(ctx, flight.Coarse(g.CellM/2), g, all, cells.Options{Workers: set.Workers, Progress: set.Progress, Plain: true})
	if err != nil {
		return errors.Join(err, flight.Close())
	}
	gain := displayGain(sum)
	pic, err := picture.Open(flight, picture.RoughOf(plainColor(sum, gain), g), gain, d.blocks)
	if err != nil {
		return errors.Join(err, flight.Close())
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	shapes := givenShapes(a, pic.View)
	d.keep(id, &shownDay{flight: flight, picture: pic, shapes: func() (*Shapes, error) { return shapes, nil }})
	return nil
}

// givenShapes are the boundary and the levees that were given to a day, to draw
// along; one that cannot be read is said elsewhere.
func givenShapes(a typed.Asked, v picture.View) *Shapes {
	s := &Shapes{}
	if a.Boundary != "" {
		if field, err := vector.Boundary(a.Boundary, a.Field); err == nil {
			if shape, err := shapeOf(vector.Feature{Polygons: field.Polygon}, v); err == nil {
				s.Field = append(s.Field, shape)
			}
		}
	}
	if a.Levees == "" {
		return s
	}
	if layer, err := vector.ReadFile(a.Levees); err == nil {
		for _, f := range layer.Features {
			if shape, err := shapeOf(f, v); err == nil {
				s.Levees = append(s.Levees, shape)
			}
		}
	}
	return s
}

// coarseGrid covers a flight with as few cells as a screen needs.
func coarseGrid(f *imagery.Flight) (grid.Grid, error) {
	const most = 2000 // cells along a side
	var ring geo.Ring
	for _, file := range f.Files {
		w, h := float64(file.Image.Cols), float64(file.Image.Rows)
		for _, c := range [][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}} {
			lon, lat := file.LonLat(c[0], c[1])
			ring = append(ring, geo.Point{X: lon, Y: lat})
		}
	}
	box := ring.Bounds()
	zone := crs.UTMFor((box.Min.X+box.Max.X)/2, (box.Min.Y+box.Max.Y)/2)
	var on geo.Ring
	for _, p := range ring {
		x, y, err := zone.Forward(p.X, p.Y)
		if err != nil {
			return grid.Grid{}, &doubt.Problem{File: f.Files[0].Name, What: "lies too far apart to be one flight", Remedy: "give the pictures of one field", Err: err}
		}
		on = append(on, geo.Point{X: x, Y: y})
	}
	b := on.Bounds()
	cell := grid.DefaultCellM
	for max(b.Max.X-b.Min.X, b.Max.Y-b.Min.Y)/cell > most || f.PixelM > cell {
		cell *= 2
	}
	g := grid.Grid{EPSG: zone.EPSG(), CellM: cell, OriginX: math.Floor(b.Min.X/cell) * cell, OriginY: math.Ceil(b.Max.Y/cell) * cell}
	g.Cols, g.Rows = int(math.Ceil((b.Max.X-g.OriginX)/cell)), int(math.Ceil((g.OriginY-b.Min.Y)/cell))
	return g, nil
}

// quietInk is the ink of what was left out, half clear.
var quietInk = color.NRGBA{R: 0x4A, G: 0x48, B: 0x43, A: 0xB0}

// Tile is one tile of a day's picture as a PNG: what is "plain",
// "before", "departure", "left out", one reason for leaving out, or an index.
func (d *Days) Tile(ctx context.Context, id, what string, t picture.Tile) ([]byte, error) {
	s, err := d.open(ctx, id)
	if err != nil {
		return nil, err
	}
	var img *image.NRGBA
	reason := slices.Index(reasonsOnMap(), what)
	shade, shaded := s.shade(what)
	switch {
	case what == "plain":
		img, err = s.picture.Plain(ctx, t)
	case what == "before" && s.before != nil:
		img, err = s.before.Plain(ctx, t)
	case shaded:
		img, err = s.picture.Index(ctx, s.bands, shade, t)
	case what == "departure" && s.departure != nil:
		img, err = s.picture.Over(s.departure, t)
	case (what == "left out" || reason >= 0) && s.ground != nil:
		img, err = s.slanted(t, uint8(reason+1))
	default:
		err = &doubt.Problem{What: fmt.Sprintf("this day has no picture of %q", what), Remedy: "go back to the day"}
	}
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	// Tiles are shown once and cached: speed counts, not size.
	err = (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&out, img)
	return out.Bytes(), err
}

// slanted draws what was left out: for one reason, or for any when kind is 0.
func (s *shownDay) slanted(t picture.Tile, kind uint8) (*image.NRGBA, error) {
	ground, err := s.ground()
	if err != nil {
		return nil, err
	}
	return s.picture.Slanted(ground, t, kind, quietInk)
}

// A ViewShown is how the picture lies, for the page.
type ViewShown struct {
	Extent        [4]float64 `json:"extent"` // west, south, east, north, in the picture's own units
	Pixels        []float64  `json:"pixels"` // side of a pixel at each level, the coarsest first
	Tile          int        `json:"tile"`   // pixels along a tile's side
	MetersPerUnit float64    `json:"meters_per_unit"`
	CRS           string     `json:"crs"`
	Why           *string    `json:"why"` // why it cannot be seen at full size
	Reasons       []string   `json:"reasons"`
	Field         [4]float64 `json:"field"` // extent of the boundary, as Extent; zeros without one
	HasDeparture  bool       `json:"has_departure"`
	HasBefore     bool       `json:"has_before"` // the flight before can be seen beside it

	Indices []IndexShown `json:"indices"` // that can be shown
	Ramp    []string     `json:"ramp"`    // their colours, from the lowest value to the highest
}

// View is how a day's picture lies; nil when there is none to show yet.
func (d *Days) View(ctx context.Context, id string) (*ViewShown, error) {
	s, err := d.open(ctx, id)
	if err != nil {
		return nil, err
	}
	v := s.picture.View
	out := &ViewShown{
		Extent: [4]float64{v.MinX, v.MinY, v.MaxX, v.MaxY}, Pixels: v.Pixels, Tile: picture.TileSize,
		MetersPerUnit: v.MetersPerUnit, CRS: v.CRS.Name(), Reasons: []string{},
		HasDeparture: s.departure != nil, HasBefore: s.before != nil, Field: s.field,
		Indices: []IndexShown{}, Ramp: []string{},
	}
	if s.bands != nil {
		out.Indices = append(out.Indices, s.indices...)
		ramp := index.Colors()
		for i := 0; i < len(ramp); i += 51 {
			out.Ramp = append(out.Ramp, fmt.Sprintf("#%02x%02x%02x", ramp[i][0], ramp[i][1], ramp[i][2]))
		}
	}
	if s.why != "" {
		out.Why = &s.why
	}
	if s.ground != nil {
		out.Reasons = reasonsOnMap()
	}
	return out, nil
}

// A Shape is one thing drawn on the picture, in the picture's own units.
type Shape struct {
	ID       string      `json:"id"`
	Letter   string      `json:"letter"`
	Severity string      `json:"severity"`
	State    string      `json:"state"`
	Heading  *float64    `json:"heading"` // degrees, of blocks and runs
	Label    [2]float64  `json:"label"`   // where its name stands
	Rings    [][]PointXY `json:"rings"`   // outlines and holes alike
	Lines    [][]PointXY `json:"lines"`
	Extent   [4]float64  `json:"extent"`
}

// A PointXY is a place in the picture's own units.
type PointXY [2]float64

// Shapes are what is drawn on the picture.
type Shapes struct {
	Field    []Shape `json:"field"`
	Suspects []Shape `json:"suspects"`
	Killed   []Shape `json:"killed"`
	Checks   []Shape `json:"checks"`
	Levees   []Shape `json:"levees"`
	Skips    []Shape `json:"skips"`
	Blocks   []Shape `json:"blocks"`
	Runs     []Shape `json:"runs"`
}

// Shapes are a day's shapes.
func (d *Days) Shapes(ctx context.Context, id string) (*Shapes, error) {
	s, err := d.open(ctx, id)
	if err != nil {
		return nil, err
	}
	return s.shapes()
}

// readShapes reads the map files of a day into the units of v.
func readShapes(dir string, v picture.View) (*Shapes, error) {
	s := &Shapes{}
	for _, f := range []struct {
		name string
		into *[]Shape
	}{
		{"field", &s.Field},
		{"suspects", &s.Suspects},
		{"checks", &s.Checks},
		{"levees", &s.Levees},
		{"skips", &s.Skips},
		{"blocks", &s.Blocks},
		{"runs", &s.Runs},
	} {
		var err error
		if *f.into, err = readShape(dir, f.name, v); err != nil {
			return nil, err
		}
	}
	s.Killed = []Shape{}
	for _, shape := range s.Suspects {
		if shape.State == "killed" {
			s.Killed = append(s.Killed, shape)
		}
	}
	s.Suspects = slices.DeleteFunc(s.Suspects, func(shape Shape) bool { return shape.State == "killed" })
	return s, nil
}

// readShape reads one map file of a day; none where it was not written.
func readShape(dir, name string, v picture.View) ([]Shape, error) {
	out := []Shape{}
	path := filepath.Join(dir, "data", name+".geojson")
	if isMissing(path) {
		return out, nil
	}
	layer, err := vector.ReadFile(path)
	if err != nil {
		return nil, err
	}
	for _, feature := range layer.Features {
		shape, err := shapeOf(feature, v)
		if err != nil {
			return nil, err
		}
		out = append(out, shape)
	}
	return out, nil
}

// thinM is how far a drawn outline may stray from the one in the map file: less than
// the half metre of the cells, whose steps it takes out.
const thinM = 0.4

// thinned is a ring with fewer corners, in degrees; it keeps its two farthest.
func thinned(r geo.Ring, lat float64) geo.Ring {
	const most = 12 // corners that are not worth it
	if len(r) <= most {
		return r
	}
	const degreeM = 111320.0 // of latitude
	east := degreeM * math.Cos(lat*math.Pi/180)
	flat, far := make(geo.Line, len(r)), 0
	for i, p := range r {
		flat[i] = geo.Point{X: (p.X - r[0].X) * east, Y: (p.Y - r[0].Y) * degreeM}
		if math.Hypot(flat[i].X, flat[i].Y) > math.Hypot(flat[far].X, flat[far].Y) {
			far = i
		}
	}
	if far == 0 || far == len(r)-1 {
		return r
	}
	var out geo.Ring
	for _, part := range []geo.Line{flat[:far+1].Simplify(thinM), flat[far:].Simplify(thinM)[1:]} {
		for _, p := range part {
			out = append(out, geo.Point{X: r[0].X + p.X/east, Y: r[0].Y + p.Y/degreeM})
		}
	}
	if len(out) < 4 {
		return r
	}
	return out
}

func shapeOf(f vector.Feature, v picture.View) (Shape, error) {
	out := Shape{
		ID: f.Properties.Text("id"), Letter: f.Properties.Text("letter"), Severity: f.Properties.Text("severity"),
		State: f.Properties.Text("state"), Rings: [][]PointXY{}, Lines: [][]PointXY{},
		Extent: [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)},
	}
	if h, ok := f.Properties.Number("heading_deg"); ok {
		out.Heading = &h
	}
	place := func(points []geo.Point) ([]PointXY, error) {
		list := make([]PointXY, len(points))
		for i, p := range points {
			x, y, err := v.CRS.Forward(p.X, p.Y)
			if err != nil {
				return nil, fmt.Errorf("placing what was found on the picture: %w", err)
			}
			list[i] = PointXY{math.Round(x*100) / 100, math.Round(y*100) / 100}
			out.Extent = [4]float64{min(out.Extent[0], x), min(out.Extent[1], y), max(out.Extent[2], x), max(out.Extent[3], y)}
		}
		return list, nil
	}
	for _, poly := range f.Polygons {
		for _, ring := range append([]geo.Ring{poly.Outer}, poly.Holes...) {
			list, err := place(thinned(ring, ring[0].Y))
			if err != nil {
				return out, err
			}
			out.Rings = append(out.Rings, list)
		}
	}
	for _, line := range f.Lines {
		list, err := place(line)
		if err != nil {
			return out, err
		}
		out.Lines = append(out.Lines, list)
	}
	if math.IsInf(out.Extent[0], 0) {
		out.Extent = [4]float64{}
	}
	out.Label = [2]float64{(out.Extent[0] + out.Extent[2]) / 2, out.Extent[3]}
	return out, nil
}

// Crop is a square picture round a suspect or a block, for its paragraph: what is
// "plain" or "departure".
func (d *Days) Crop(ctx context.Context, id, shape, what string) ([]byte, error) {
	s, err := d.open(ctx, id)
	if err != nil {
		return nil, err
	}
	shapes, err := s.shapes()
	if err != nil {
		return nil, err
	}
	all := slices.Concat(shapes.Suspects, shapes.Blocks, shapes.Checks)
	i := slices.IndexFunc(all, func(x Shape) bool { return x.ID == shape })
	if i < 0 {
		return nil, &doubt.Problem{What: fmt.Sprintf("there is nothing called %q on this day", shape), Remedy: "go back to the day"}
	}
	img, err := s.crop(ctx, all[i].Extent, what)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&out, img)
	return out.Bytes(), err
}

// cropSize is the side of a crop in pixels.
const cropSize = 320

// crop puts the tiles under an extent together.
func (s *shownDay) crop(ctx context.Context, e [4]float64, what string) (*image.NRGBA, error) {
	v := s.picture.View
	side := max(e[2]-e[0], e[3]-e[1]) * 1.4
	side = max(side, 20/v.MetersPerUnit)
	level := 0
	for level+1 < len(v.Pixels) && v.Pixels[level+1]*cropSize >= side {
		level++
	}
	pixel := v.Pixels[level]
	x0 := int(math.Round(((e[0]+e[2])/2-v.MinX)/pixel)) - cropSize/2
	y0 := int(math.Round((v.MaxY-(e[1]+e[3])/2)/pixel)) - cropSize/2
	out := image.NewNRGBA(image.Rect(0, 0, cropSize, cropSize))
	for row := floorDiv(y0, picture.TileSize); row*picture.TileSize < y0+cropSize; row++ {
		for col := floorDiv(x0, picture.TileSize); col*picture.TileSize < x0+cropSize; col++ {
			t := picture.Tile{Level: level, Col: col, Row: row}
			if !v.Has(t) {
				continue
			}
			tile, err := s.picture.Plain(ctx, t)
			if err != nil {
				return nil, err
			}
			if what == "departure" && s.departure != nil {
				over, err := s.picture.Over(s.departure, t)
				if err != nil {
					return nil, err
				}
				layOver(tile, over)
			}
			put(out, tile, col*picture.TileSize-x0, row*picture.TileSize-y0)
		}
	}
	return out, nil
}

func floorDiv(a, b int) int { return int(math.Floor(float64(a) / float64(b))) }

// put copies a tile into a picture at (x, y).
func put(dst, tile *image.NRGBA, x, y int) {
	for row := range picture.TileSize {
		if y+row < 0 || y+row >= cropSize {
			continue
		}
		from, to := max(0, -x), min(picture.TileSize, cropSize-x)
		if from >= to {
			return
		}
		copy(dst.Pix[dst.PixOffset(x+from, y+row):][:4*(to-from)], tile.Pix[tile.PixOffset(from, row):])
	}
}

// layOver mixes a colour that is more or less clear into a picture.
func layOver(dst, over *image.NRGBA) {
	for i := 0; i < len(dst.Pix); i += 4 {
		a := int(over.Pix[i+3])
		for k := range 3 {
			dst.Pix[i+k] = uint8((int(over.Pix[i+k])*a + int(dst.Pix[i+k])*(255-a) + 127) / 255)
		}
	}
}
