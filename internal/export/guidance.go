package export

import (
	"cmp"
	"fmt"
	"image/color"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/atomicfile"
	"bittern/internal/block"
	"bittern/internal/crs"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/unit"
	"bittern/internal/vector"
)

// maxCorners is the most corners of a ring that guidance for aircraft holds.
const maxCorners = 100

// A Guidance is what the files for one applicator are made of.
type Guidance struct {
	Grid           grid.Grid
	Field          string // its name
	Applicator     string // its name, which names the folder
	Kind           block.Kind
	Plan           *block.Plan
	Revision       int
	Code           string       // six characters to read back
	Pinned         bool         // the picture was pinned to marks on the ground
	Flown          string       // when the picture was taken; empty when not known
	GallonsPerAcre *float64     // what was typed; nil when nothing was
	DoNotSpray     []DoNotSpray // what the user marked; none is said to be none entered
	Cautions       []string     // sentences for the read-me, such as why the job is a draft
	Units          unit.System  // of the figures in the read-me
}

// DoNotSpray is ground that the user marked to be left dry.
type DoNotSpray struct {
	Name    string           // "Cotton, J. Hale"
	Mark    string           // "neighbour", "home", ...
	Outline geo.MultiPolygon // m, grid zone
}

// WriteGuidance writes the bundle of one applicator into dir/guidance/NAME, NAME
// in plain letters, and makes that folder: for aircraft, spray drones and people
// on foot blocks as a zipped shapefile and as KML; for a ground rig a zipped
// shapefile with RATE in gallons an acre. Ground marked as not to be sprayed has
// files of its own when there is any, and a read-me says what the files are. The
// names carry revision, code and, for a picture that was not pinned, UNPINNED.
// Positions are longitude and latitude on WGS84.
func WriteGuidance(dir string, g Guidance) error {
	folder := filepath.Join(dir, "guidance", Plain(g.Applicator))
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("making the folder of the guidance files: %w", err)
	}
	blocks, moved := g.blocks()
	files := g.files("blocks", "BLOCKS", blocks, color.NRGBA{0x0b, 0x5a, 0x5c, 255})
	if len(g.DoNotSpray) > 0 {
		files = append(files, g.files("do-not-spray", "DRY", g.dry(), color.NRGBA{0x6e, 0x47, 0x00, 255})...)
	}
	files = append(files, guidanceFile{"read-me", ".txt", func(w io.Writer) error {
		_, err := io.WriteString(w, g.readMe(moved))
		return err
	}})
	for _, f := range files {
		if err := atomicfile.Write(filepath.Join(folder, f.what+g.mark()+f.ending), f.write); err != nil {
			return err
		}
	}
	return nil
}

type guidanceFile struct {
	what, ending string
	write        func(io.Writer) error
}

// mark is what every name carries: "-r1-K7Q2MD-UNPINNED".
func (g *Guidance) mark() string {
	s := fmt.Sprintf("-r%d-%s", g.Revision, g.Code)
	if !g.Pinned {
		s += "-UNPINNED"
	}
	return s
}

// Plain is a name as a folder may be called: lower-case letters and digits with
// single hyphens, "applicator" when nothing is left.
func Plain(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return cmp.Or(strings.TrimSuffix(b.String(), "-"), "applicator")
}

// files are the formats in which an applicator's machine takes a layer; inside
// names the parts of the shapefile in at most eight letters.
func (g *Guidance) files(what, inside string, l vector.Layer, c color.NRGBA) []guidanceFile {
	out := []guidanceFile{{what, ".zip", func(w io.Writer) error { return vector.WriteShapefile(w, inside, l) }}}
	if g.Kind == block.GroundRig {
		return out
	}
	title := fmt.Sprintf("%s, %s, revision %d, code %s", g.Field, what, g.Revision, g.Code)
	if !g.Pinned {
		title += ", UNPINNED"
	}
	sheet := vector.Sheet{Layer: l, Style: vector.Style{Stroke: c, StrokePx: 2, Fill: fade(c, 64)}}
	return append(out, guidanceFile{what, ".kml", func(w io.Writer) error { return vector.WriteKML(w, title, []vector.Sheet{sheet}) }})
}

func (g *Guidance) placer() placer {
	return newPlacer(g.Grid.CRS(), g.Grid.CellM, g.Grid.AcresPerCell, g.Grid.ConvergenceDeg)
}

// byHand reports whether the plan is patches to walk to, not blocks.
func (g *Guidance) byHand() bool { return len(g.plan().Blocks) == 0 && len(g.plan().Treated) > 0 }

// patches is the layer of ground that is treated on foot, as the cells lie, the
// largest first.
func (g *Guidance) patches() vector.Layer {
	l := vector.Layer{Name: "blocks"}
	p := g.placer()
	m := g.Grid.TraceCells(g.plan().Treated)
	slices.SortStableFunc(m, func(a, b geo.Polygon) int { return cmp.Compare(b.Area(), a.Area()) })
	perM2 := float64(unit.SquareMeters(p.perM * p.perM).Acres())
	for i, part := range m {
		l.Features = append(l.Features, vector.Feature{
			Polygons: geo.MultiPolygon{part.Map(p.point)},
			Properties: vector.Properties{
				{Name: "name", Value: fmt.Sprintf("P%d", i+1)},
				{Name: "acres", Value: acres(part.Area() * perM2)},
			},
		})
	}
	return l
}

// blocks is the layer of blocks, and how far in ground metres an outline moved
// to have few corners.
func (g *Guidance) blocks() (vector.Layer, float64) {
	if g.byHand() {
		return g.patches(), 0
	}
	l := vector.Layer{Name: "blocks"}
	p := g.placer()
	moved := 0.0
	for _, b := range g.plan().Blocks {
		outline := b.Outline.Outer
		if g.Kind != block.GroundRig {
			r, by := outline.Reduce(maxCorners)
			outline, moved = r, math.Max(moved, by*p.perM)
		}
		f := vector.Feature{
			Polygons:   geo.MultiPolygon{{Outer: outline.Map(p.point)}},
			Properties: vector.Properties{{Name: "name", Value: "B" + b.ID}, {Name: "acres", Value: acres(b.Acres)}},
		}
		if g.Kind == block.GroundRig {
			var rate any
			if g.GallonsPerAcre != nil {
				rate = vector.Fixed{Value: *g.GallonsPerAcre, Decimals: 3}
			}
			f.Properties = append(f.Properties, vector.Property{Name: "rate", Value: rate})
		}
		l.Features = append(l.Features, f)
	}
	return l, moved
}

func (g *Guidance) plan() *block.Plan {
	if g.Plan == nil {
		return &block.Plan{}
	}
	return g.Plan
}

// dry is the layer of ground not to be sprayed, each part a polygon of its own,
// without holes: what lies inside is left dry too.
func (g *Guidance) dry() vector.Layer {
	l := vector.Layer{Name: "do-not-spray"}
	p := g.placer()
	for _, d := range g.DoNotSpray {
		for _, part := range d.Outline {
			m := geo.MultiPolygon{{Outer: part.Outer.Map(p.point)}}
			l.Features = append(l.Features, vector.Feature{
				Polygons: m,
				Properties: vector.Properties{
					{Name: "name", Value: fmt.Sprintf("X%d", len(l.Features)+1)},
					{Name: "acres", Value: acres(float64(unit.SquareMeters(crs.AreaM2(m)).Acres()))},
					{Name: "mark", Value: orNull(d.Mark)},
					{Name: "who", Value: orNull(d.Name)},
				},
			})
		}
	}
	return l
}
