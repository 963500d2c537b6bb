package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/doubt"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/vector"
)

// A fileRead is one input that the day rests on.
type fileRead struct {
	role, name string
	bytes      int64
	digest     func(context.Context) (string, error)
}

// input notes a file that was read, for the record.
func (r *run) input(role, path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return unread(path, err)
	}
	r.inputs = append(r.inputs, &fileRead{
		role: role, name: filepath.Base(path), bytes: info.Size(),
		digest: func(context.Context) (string, error) { return digestOf(path) },
	})
	return nil
}

// digests are made beside the stages that follow the one pass over the pixels,
// while the pictures are still in the computer's memory: a second read of their
// files takes less there, and a processor that would wait for one stage is used.
type digests struct {
	cancel context.CancelFunc
	done   chan struct{}
	made   map[*fileRead]digest // to be read when done
}

type digest struct {
	sum string
	err error
}

// digestsOf begins to make the digests of inputs, in their order.
func digestsOf(ctx context.Context, inputs []*fileRead) *digests {
	ctx, cancel := context.WithCancel(ctx)
	d := &digests{cancel: cancel, done: make(chan struct{}), made: map[*fileRead]digest{}}
	inputs = slices.Clone(inputs)
	go func() {
		defer close(d.done)
		for _, in := range inputs {
			sum, err := in.digest(ctx)
			d.made[in] = digest{sum, err}
		}
	}()
	return d
}

// of is the digest of one input, which is made now where it was not begun with.
func (d *digests) of(ctx context.Context, in *fileRead) (string, error) {
	<-d.done
	if m, ok := d.made[in]; ok {
		return m.sum, m.err
	}
	return in.digest(ctx)
}

// stop ends what is being made.
func (d *digests) stop() {
	d.cancel()
	<-d.done
}

func digestOf(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", unread(path, err)
	}
	h := sha256.New()
	_, err = io.Copy(h, f)
	if err = errors.Join(err, f.Close()); err != nil {
		return "", unread(path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// unread says why a file could not be read.
func unread(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return &doubt.Problem{File: path, What: "there is no such file", Remedy: "check its name and folder", Err: err}
	}
	return &doubt.Problem{File: path, What: "cannot be read: " + reason(err), Remedy: "check that it is a file that you may read", Err: err}
}

// locate reads the boundary and lays the grid over it.
func (r *run) locate(context.Context) error {
	field, err := vector.Boundary(r.Boundary, r.Field)
	if err != nil {
		return err
	}
	if err := r.input("boundary", r.Boundary); err != nil {
		return err
	}
	r.doubt(field.Doubts...)
	r.name, r.lonLat = field.Name, field.Polygon
	if r.name == "" {
		r.name = nameOfFile(r.Boundary)
	}
	if r.grid, err = grid.New(r.lonLat); err != nil {
		return named(err, r.Boundary)
	}
	if r.boundary, err = r.grid.FromLonLat(r.lonLat); err != nil {
		return fmt.Errorf("placing the boundary: %w", err)
	}
	r.inside = r.grid.Inside(r.boundary)
	if !slices.Contains(r.inside, true) {
		return &doubt.Problem{
			File: r.Boundary, What: fmt.Sprintf("the boundary is too small: it holds no cell of %g m", r.grid.CellM),
			Remedy: "draw the outline of the whole field, and check its units",
		}
	}
	if err := r.sameField(); err != nil {
		return err
	}
	return r.placeGiven()
}

// sameField refuses a folder that holds the day of another field.
func (r *run) sameField() error {
	old := r.folder.earlier
	if old == nil || r.sharesBoundary(old) {
		return nil
	}
	return &doubt.Problem{
		File: r.Out, What: fmt.Sprintf("the folder holds the day of another field or boundary, %q", old.Field.Name),
		Remedy: "give a new or empty folder with --out",
	}
}

// sharesBoundary tells whether an earlier day has this run's boundary: the same
// file, or another file with the same ground.
func (r *run) sharesBoundary(old *Day) bool {
	acres := acresOf(r.lonLat)
	if old.Grid == r.gridPlace() && math.Abs(old.Field.Acres-acres) <= 1e-6*acres {
		return true
	}
	sum, err := digestOf(r.Boundary)
	if err != nil {
		return false
	}
	for _, in := range old.Inputs {
		if in.Role == "boundary" && in.SHA256 == sum && old.Field.Name == r.name {
			return true
		}
	}
	return false
}

// A mark is a fixed thing pinned on the field, on the grid.
type mark struct {
	what, name, phone, entered, by string
	heightFt                       float64 // 0 when not given
	polygons                       geo.MultiPolygon
	lines                          []geo.Line
	points                         []geo.Point
}

// readPlaces reads the files of places that were given: levees and marks.
func (r *run) readPlaces() error {
	for _, f := range []struct {
		role, path string
		into       **vector.Layer
	}{
		{"levees", r.Levees, &r.given.levees},
		{"marks", r.Marks, &r.given.marks},
	} {
		if f.path == "" {
			continue
		}
		layer, err := vector.ReadFile(f.path)
		if err != nil {
			return err
		}
		if err := r.input(f.role, f.path); err != nil {
			return err
		}
		r.doubt(layer.Doubts...)
		*f.into = layer
	}
	return nil
}

// placeGiven puts the places that were given on the grid.
func (r *run) placeGiven() error {
	if l := r.given.levees; l != nil {
		for _, f := range l.Features {
			lines, areas, _, err := r.onGrid(f)
			if err != nil {
				return &doubt.Problem{File: r.Levees, What: "the levees lie nowhere near the field", Remedy: "check that they are of this field", Err: err}
			}
			r.given.leveeLines = append(r.given.leveeLines, lines...)
			r.given.leveeAreas = append(r.given.leveeAreas, areas...)
		}
		if len(r.given.leveeLines)+len(r.given.leveeAreas) == 0 {
			return &doubt.Problem{File: r.Levees, What: "it holds no lines and no polygons", Remedy: "draw the levees as lines, or leave --levees out"}
		}
	}
	if l := r.given.marks; l != nil {
		for _, f := range l.Features {
			m, err := r.mark(f)
			if err != nil {
				return err
			}
			r.given.pinned = append(r.given.pinned, m)
		}
	}
	return r.placeStrips()
}

// markWords are what a mark may be.
var markWords = [...]string{
	"inlet", "outlet", "gate", "wire", "pole", "pad", "tree",
	"home", "neighbour", "road", "landmark",
}

func (r *run) mark(f vector.Feature) (mark, error) {
	m := mark{
		what: strings.ToLower(f.Properties.Text("mark")), name: f.Properties.Text("name"), phone: f.Properties.Text("phone"),
		entered: f.Properties.Text("entered"), by: f.Properties.Text("by"),
	}
	known := false
	for _, w := range markWords {
		known = known || w == m.what
	}
	if !known {
		return m, &doubt.Problem{
			File: r.Marks, What: fmt.Sprintf("a feature's mark is %q", m.what),
			Remedy: "write one of " + strings.Join(markWords[:], ", "),
		}
	}
	if h, ok := f.Properties.Number("height_ft"); ok && h > 0 && !math.IsInf(h, 0) {
		m.heightFt = h
	}
	var err error
	m.lines, m.polygons, m.points, err = r.onGrid(f)
	if err != nil {
		return m, &doubt.Problem{File: r.Marks, What: "a mark lies nowhere near the field", Remedy: "check that the marks are of this field", Err: err}
	}
	return m, nil
}

// notCrop tells whether the mark is a thing on whose ground no crop stands.
func (m mark) notCrop() bool {
	return m.what == "pad" || m.what == "home" || m.what == "road" || m.what == "tree"
}

// markedGround is the ground that the grower's marks take out of the crop: that of
// polygons. A point or a line has no ground of its own.
func (r *run) markedGround() geo.MultiPolygon {
	var out geo.MultiPolygon
	for _, m := range r.given.pinned {
		if m.notCrop() {
			out = append(out, m.polygons...)
		}
	}
	return out
}

// onGrid puts a feature's geometry into metres of the grid's zone.
func (r *run) onGrid(f vector.Feature) ([]geo.Line, geo.MultiPolygon, []geo.Point, error) {
	areas, err := r.grid.FromLonLat(f.Polygons)
	if err != nil {
		return nil, nil, nil, err
	}
	var lines []geo.Line
	for _, l := range f.Lines {
		line, err := r.pointsOnGrid(l)
		if err != nil {
			return nil, nil, nil, err
		}
		lines = append(lines, geo.Line(line))
	}
	points, err := r.pointsOnGrid(f.Points)
	return lines, areas, points, err
}

func (r *run) pointsOnGrid(in []geo.Point) ([]geo.Point, error) {
	zone := r.grid.CRS()
	out := make([]geo.Point, len(in))
	for i, p := range in {
		x, y, err := zone.Forward(p.X, p.Y)
		if err != nil {
			return nil, err
		}
		out[i] = geo.Point{X: x, Y: y}
	}
	return out, nil
}

// nameOfFile is what a field is called whose file does not say: the file's name,
// unless that only says what a boundary is.
func nameOfFile(path string) string {
	name := vector.NameOf(path)
	switch strings.ToLower(name) {
	case "boundary", "boundaries", "border", "field", "outline":
		return "The field"
	}
	return name
}
