package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"

	"bittern/internal/cells"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

// The real picture is 40 tiles over sugar beet with labels, in near infrared,
// green and red of 8 bits. They have no place on the ground, so a cell is 16 x
// 16 pixels and every tile a check.
const (
	tileCols, tileRows = 480, 352 // pixels used of each, whole cells
	tilesAcross        = 8
	pixelsACell        = 16
)

// An agreement is how often a cell with labelled weeds has the larger value
// than one without: 0.5 by chance, 1 when they part cleanly.
type agreement struct {
	weedy, other                     int // cells
	share, evidence, spreads, redder float64
}

// realPictures says what the chain makes of real pictures, or that they were
// not there.
func realPictures(ctx context.Context) (string, error) {
	root := os.Getenv("BITTERN_TESTDATA")
	if root == "" {
		return "Not run: BITTERN_TESTDATA names no folder of real pictures.\n", nil
	}
	a, err := pictureAgreement(ctx, filepath.Join(root, "weed-tiles"))
	if errors.Is(err, os.ErrNotExist) {
		return "Not run: no labelled tiles in the folder of real pictures.\n", nil
	}
	if err != nil {
		return "", err
	}
	return fmt.Sprintf(pictureText, a.weedy, a.other, a.spreads, a.share, a.evidence, a.redder), nil
}

const pictureText = `40 labelled tiles over young sugar beet (near infrared, green and red of 8 bits, no place on the ground), cells of 16 x 16 pixels, every
tile a check, through cells and norm as they ship: %d cells with a quarter or more of weeds against %d with next to none. How often a
weedy cell has the larger value (0.5 is chance): departure in spreads %.2f, off-colour share %.2f, evidence %.2f; share of pixels redder
than green %.2f. The weeds there are green plants on bare ground, not burnt leaves over a canopy: they depart, and as they should they do
not look like escapes. No labelled picture of rice was to be had.
`

// pictureAgreement reads the tiles in folder and runs norm and departure on them.
func pictureAgreement(ctx context.Context, folder string) (*agreement, error) {
	names, err := filepath.Glob(filepath.Join(folder, "frame_*.png"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("no tiles in %s: %w", folder, cmp.Or(err, os.ErrNotExist))
	}
	slices.Sort(names)
	m := &mosaic{down: (len(names) + tilesAcross - 1) / tilesAcross}
	for k, name := range names {
		if err := m.add(k, name); err != nil {
			return nil, err
		}
	}
	s, err := m.summary(ctx)
	if err != nil {
		return nil, err
	}
	d, err := norm.Find(ctx, s, m.layout(s.Grid), norm.Defaults())
	if err != nil {
		return nil, fmt.Errorf("norm: %w", err)
	}
	weeds := m.weedShare(s.Grid)
	part := func(v []float32) float64 { return parts(v, weeds, s.Pixels) }
	a := &agreement{share: part(d.Share), evidence: part(d.Evidence), spreads: part(d.Spreads), redder: part(redderShare(s))}
	for i, w := range weeds {
		switch {
		case s.Pixels[i] == 0:
		case w >= weedyFrom:
			a.weedy++
		case w <= otherTo:
			a.other++
		}
	}
	return a, nil
}

// Cells from weedyFrom of labelled weeds are held against those up to otherTo.
const (
	weedyFrom = 0.25
	otherTo   = 0.02
)

// A mosaic is the tiles side by side.
type mosaic struct {
	down  int
	tiles []image.Image
	label []image.Image
}

func (m *mosaic) add(_ int, name string) error {
	img, err := readPNG(name)
	if err != nil {
		return err
	}
	dir, file := filepath.Split(name)
	label, err := readPNG(filepath.Join(dir, "label"+file[len("frame"):]))
	if err != nil {
		return err
	}
	m.tiles, m.label = append(m.tiles, img), append(m.label, label)
	return nil
}

func readPNG(name string) (image.Image, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading a tile: %w", err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	return img, nil
}

// at returns one pixel of the mosaic, black where there is no tile.
func (m *mosaic) at(from []image.Image, col, row int) (r, g, b byte) {
	k := row/tileRows*tilesAcross + col/tileCols
	if k >= len(from) {
		return 0, 0, 0
	}
	x, y, z, _ := from[k].At(from[k].Bounds().Min.X+col%tileCols, from[k].Bounds().Min.Y+row%tileRows).RGBA()
	return byte(x >> 8), byte(y >> 8), byte(z >> 8)
}

func (m *mosaic) summary(ctx context.Context) (*cells.Summary, error) {
	cols, rows := tilesAcross*tileCols, m.down*tileRows
	g := grid.Grid{EPSG: 32632, CellM: 0.5, Cols: cols / pixelsACell, Rows: rows / pixelsACell, AcresPerCell: 0.25 / 4046.8564224}
	inside := make([]bool, g.Len())
	for i := range inside {
		inside[i] = true
	}
	none, px := 0.0, g.CellM/pixelsACell
	src := cells.Source{
		Name: "tiles", Cols: cols, Rows: rows, Affine: grid.Affine{B: px, F: -px},
		Bands: []string{"nir", "green", "red"}, Sample: cells.Uint8, NoData: &none,
		Fill: func(w grid.Window, dst []byte) error {
			for r := range w.Rows {
				for c := range w.Cols {
					k := 3 * (r*w.Cols + c)
					dst[k], dst[k+1], dst[k+2] = m.at(m.tiles, w.Col+c, w.Row+r)
				}
			}
			return nil
		},
	}
	s, err := cells.FromSource(ctx, []cells.Source{src}, g, inside, 2)
	if err != nil {
		return nil, fmt.Errorf("summing pixels: %w", err)
	}
	return s, nil
}

// layout looks at everything, a check for each tile.
func (m *mosaic) layout(g grid.Grid) *structure.Layout {
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, g.Len()), Check: make([]int32, g.Len())}
	for k := range tilesAcross * m.down {
		l.Checks = append(l.Checks, structure.Check{ID: fmt.Sprint(k + 1)})
	}
	for i := range l.Check {
		l.Check[i] = int32(i/g.Cols*pixelsACell/tileRows*tilesAcross + i%g.Cols*pixelsACell/tileCols)
	}
	return l
}

// weedShare is the part of each cell's pixels that are labelled weed: red in the
// labels.
func (m *mosaic) weedShare(g grid.Grid) []float64 {
	out := make([]float64, g.Len())
	for i := range out {
		for k := range pixelsACell * pixelsACell {
			r, green, _ := m.at(m.label, i%g.Cols*pixelsACell+k%pixelsACell, i/g.Cols*pixelsACell+k/pixelsACell)
			if r > 127 && green < 128 {
				out[i] += 1.0 / (pixelsACell * pixelsACell)
			}
		}
	}
	return out
}

// parts is the chance that a weedy cell has the larger value, ties half
// (Mann and Whitney, Annals of Mathematical Statistics 18 (1947), 50-60).
func parts(v []float32, weeds []float64, pixels []uint32) float64 {
	type one struct {
		v    float32
		weed bool
	}
	var all []one
	for i, w := range weeds {
		if pixels[i] > 0 && v[i] == v[i] && (w >= weedyFrom || w <= otherTo) {
			all = append(all, one{v[i], w >= weedyFrom})
		}
	}
	slices.SortFunc(all, func(a, b one) int { return cmp.Compare(a.v, b.v) })
	below, wins, weedy := 0.0, 0.0, 0.0
	for from := 0; from < len(all); {
		to, w := from, 0.0
		for to < len(all) && all[to].v == all[from].v {
			if all[to].weed {
				w++
			}
			to++
		}
		o := float64(to-from) - w
		wins += w * (below + o/2)
		below += o
		weedy += w
		from = to
	}
	if weedy == 0 || below == 0 {
		return math.NaN()
	}
	return wins / (weedy * below)
}
