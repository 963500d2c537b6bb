package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	_ "image/png" // labels and tiles
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bittern/internal/cells"
	"bittern/internal/geotiff"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

// Real pictures have no place on the ground: a cell is 16 x 16 pixels, and a
// check is a whole tile, a frame, or a square of the mosaic.
const pixelsACell = 16

// Cells from weedyFrom of labelled weeds are held against those up to otherTo.
const (
	weedyFrom = 0.25
	otherTo   = 0.02
)

// A labelled is a real picture with labels, its checks beside each other.
type labelled struct {
	name       string
	what       string // in the page
	bands      []string
	sample     cells.Sample
	cols, rows int // pixels, whole cells
	tileCols   int // pixels of a check
	tileRows   int
	pixel      func(col, row, band int) uint16
	weed       func(col, row int) bool
	void       func(col, row int) bool // no picture there
}

// An agreement is how often a cell with labelled weeds has the larger value
// than one without: 0.5 by chance, 1 when they part cleanly.
type agreement struct {
	weedy, other int // cells
	values       [measuresOfReal]float64
}

// What is held against the labels: three of the chain, four general ones.
const (
	realSpreads = iota
	realShare
	realEvidence
	realRedder
	realIndex
	realRX
	realZ
	measuresOfReal
)

var realNames = [measuresOfReal]string{"departure, spreads", "off-colour share", "evidence", "redder than green, better side", "index, better side", "RX", "local z"}

// realPictures says what the chain makes of real pictures, or that they were
// not there.
func realPictures(ctx context.Context) (string, error) {
	root := os.Getenv("BITTERN_TESTDATA")
	if root == "" {
		return "Not run: BITTERN_TESTDATA names no folder of real pictures.\n", nil
	}
	var out strings.Builder
	out.WriteString(realHead)
	for _, n := range realNames {
		fmt.Fprintf(&out, " %s |", n)
	}
	out.WriteString("\n| --- | --- | --- |" + strings.Repeat(" --- |", int(measuresOfReal)) + "\n")
	for _, load := range []func(string) (*labelled, error){weedTiles, potato, fourBands} {
		r, err := load(root)
		if errors.Is(err, os.ErrNotExist) {
			fmt.Fprintf(&out, "| not run: %s |\n", "a picture is not in the folder")
			continue
		}
		if err != nil {
			return "", err
		}
		halves, err := r.agree(ctx)
		if err != nil {
			return "", fmt.Errorf("%s: %w", r.name, err)
		}
		for h, a := range halves {
			fmt.Fprintf(&out, "| %s | %s | %d, %d |", r.what, [2]string{"test only", "other"}[h], a.weedy, a.other)
			for _, v := range a.values {
				fmt.Fprintf(&out, " %s |", part(v))
			}
			out.WriteString("\n")
		}
	}
	out.WriteString(realFoot)
	return out.String(), nil
}

const realHead = `Labelled pictures, none of rice: young sugar beet (40 tiles; near infrared, green, red of 8 bits), a potato trial (a mosaic in colour), three rectified frames near the
ground (four bands of 16 bits). They have no place on the ground: a cell is 16 x 16 pixels, a check a tile, a square of 640 x 640 pixels, or a quarter of a frame; nothing
is left out, and the cells go through the functions of cells and norm as they ship. Every second check is kept for the test only; no parameter is
chosen on it. A number is how often a cell with a quarter or more of labelled weeds has the larger value than one with next to none (Mann-Whitney; 0.5 is chance).

| picture | half | cells: weedy, other |`

const realFoot = `
The weeds there are green plants on bare ground, not burnt leaves over a canopy: they should depart (spreads), and should not look burnt (share). Evidence speaks for
living leaf that is rougher than the rest, too, which these weeds are, and so may the crop's own rows be.
`

// weedTiles are 40 tiles of sugar beet, labels red.
func weedTiles(root string) (*labelled, error) {
	names, err := filepath.Glob(filepath.Join(root, "weed-tiles", "frame_*.png"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("no tiles in %s: %w", root, cmp.Or(err, os.ErrNotExist))
	}
	slices.Sort(names)
	const across, cols, rows = 8, 480, 352
	var tiles, labels []image.Image
	for _, name := range names {
		img, err := readPicture(name)
		if err != nil {
			return nil, err
		}
		dir, file := filepath.Split(name)
		label, err := readPicture(filepath.Join(dir, "label"+file[len("frame"):]))
		if err != nil {
			return nil, err
		}
		tiles, labels = append(tiles, img), append(labels, label)
	}
	at := func(from []image.Image, col, row int) [3]byte {
		k := row/rows*across + col/cols
		if k >= len(from) {
			return [3]byte{}
		}
		return rgbAt(from[k], col%cols, row%rows)
	}
	return &labelled{
		name: "weed-tiles", what: "sugar beet, 40 tiles", bands: []string{"nir", "green", "red"}, sample: cells.Uint8,
		cols: across * cols, rows: (len(names) + across - 1) / across * rows, tileCols: cols, tileRows: rows,
		pixel: func(c, r, b int) uint16 { return uint16(at(tiles, c, r)[b]) },
		weed:  func(c, r int) bool { p := at(labels, c, r); return p[0] > 127 && p[1] < 128 },
		void:  func(c, r int) bool { return at(tiles, c, r) == [3]byte{} },
	}, nil
}

// potato is the mosaic of a potato trial, labels 2.
func potato(root string) (*labelled, error) {
	rgb, err := readTIFF(filepath.Join(root, "ortho", "potato-west-rgb.tif"))
	if err != nil {
		return nil, err
	}
	labels, err := readTIFF(filepath.Join(root, "ortho", "potato-west-labels.tif"))
	if err != nil {
		return nil, err
	}
	if labels.cols != rgb.cols || labels.rows != rgb.rows {
		return nil, fmt.Errorf("labels of %d x %d pixels on a mosaic of %d x %d", labels.cols, labels.rows, rgb.cols, rgb.rows)
	}
	return &labelled{
		name: "potato-west", what: "potatoes, mosaic", bands: []string{"red", "green", "blue"}, sample: cells.Uint8,
		cols: rgb.cols / pixelsACell * pixelsACell, rows: rgb.rows / pixelsACell * pixelsACell, tileCols: 640, tileRows: 640,
		pixel: rgb.at,
		weed:  func(c, r int) bool { return labels.at(c, r, 0) == 2 },
		void: func(c, r int) bool {
			return rgb.at(c, r, 0) == 0 && rgb.at(c, r, 1) == 0 && rgb.at(c, r, 2) == 0
		},
	}, nil
}

// fourBands are three frames side by side, labels red (crop is yellow); a
// frame's labels may be twice as fine as its bands.
func fourBands(root string) (*labelled, error) {
	dir := filepath.Join(root, "multispectral", "four-band-frames")
	names := []string{"GRE", "RED", "REG", "NIR"}
	const side = 256 // pixels of a quarter, whole cells
	type frame struct {
		bands [4]*plane
		label image.Image
	}
	var frames []frame
	for _, id := range []string{"001", "010", "020"} {
		var f frame
		for b, n := range names {
			p, err := readTIFF(filepath.Join(dir, "rect_"+id+"-"+n+".TIF"))
			if err != nil {
				return nil, err
			}
			f.bands[b] = p
		}
		label, err := readPicture(filepath.Join(dir, id+"-GT.png"))
		if err != nil {
			return nil, err
		}
		f.label = label
		frames = append(frames, f)
	}
	in := func(c, r int) (f frame, x, y int, ok bool) {
		k := c / (2 * side)
		f = frames[k]
		x, y = c%(2*side), r
		return f, x, y, x < f.bands[0].cols && y < f.bands[0].rows
	}
	return &labelled{
		name: "four-band-frames", what: "near-ground frames, 3", bands: []string{"green", "red", "rededge", "nir"}, sample: cells.Uint16,
		cols: 2 * side * len(frames), rows: 2 * side, tileCols: side, tileRows: side,
		pixel: func(c, r, b int) uint16 {
			f, x, y, ok := in(c, r)
			if !ok || x >= f.bands[b].cols || y >= f.bands[b].rows {
				return 0
			}
			return f.bands[b].at(x, y, 0)
		},
		weed: func(c, r int) bool {
			f, x, y, ok := in(c, r)
			if !ok {
				return false
			}
			k := f.label.Bounds().Dx() / f.bands[0].cols
			p := rgbAt(f.label, x*k, y*k)
			return p[0] > 127 && p[1] < 128
		},
		void: func(c, r int) bool { _, _, _, ok := in(c, r); return !ok },
	}, nil
}

func rgbAt(img image.Image, x, y int) [3]byte {
	r, g, b, _ := img.At(img.Bounds().Min.X+x, img.Bounds().Min.Y+y).RGBA()
	return [3]byte{byte(r >> 8), byte(g >> 8), byte(b >> 8)}
}

func readPicture(name string) (image.Image, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading a picture: %w", err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	return img, nil
}

// A plane is a whole TIFF of unsigned samples in memory.
type plane struct {
	cols, rows, bands int
	v                 []uint16
}

func (p *plane) at(col, row, band int) uint16 { return p.v[(row*p.cols+col)*p.bands+band] }

// readTIFF reads a whole TIFF of 8 or 16 bits through the program's codec.
func readTIFF(name string) (*plane, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading a picture: %w", err)
	}
	defer f.Close()
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	im, err := geotiff.Open(f, size)
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	if im.Sample != geotiff.Uint8 && im.Sample != geotiff.Uint16 {
		return nil, fmt.Errorf("reading %s: samples are %v", name, im.Sample)
	}
	p := &plane{cols: im.Cols, rows: im.Rows, bands: im.Bands, v: make([]uint16, im.Cols*im.Rows*im.Bands)}
	buf, bytes, dec := make([]byte, im.BlockBytes()), im.Sample.Bytes(), im.NewDecoder()
	for k := range im.Blocks() {
		if err := dec.Decode(k, buf); err != nil {
			return nil, fmt.Errorf("reading %s: %w", name, err)
		}
		w := im.Block(k)
		for r := range w.Rows {
			for i := range w.Cols * p.bands {
				at := (r*w.Cols*p.bands + i) * bytes
				v := uint16(buf[at])
				if bytes == 2 {
					v |= uint16(buf[at+1]) << 8
				}
				p.v[((w.Row+r)*p.cols+w.Col)*p.bands+i] = v
			}
		}
	}
	return p, nil
}

// agree sends the picture through cells and norm and holds every measure
// against the labels, on the checks kept for the test and on the others.
func (m *labelled) agree(ctx context.Context) (halves [2]agreement, err error) {
	s, err := m.summary(ctx)
	if err != nil {
		return halves, err
	}
	l := m.layout(s)
	dep, err := norm.Find(ctx, s, l, norm.Defaults())
	if err != nil {
		return halves, fmt.Errorf("norm: %w", err)
	}
	d := &day{kept: kept{Summary: s}}
	cloud := view(d)
	index := greenness(s)
	far := distances(cloud)
	z := zScores(d, cloud)
	values := [measuresOfReal]func(i int) float64{
		realSpreads:  func(i int) float64 { return float64(dep.Spreads[i]) },
		realShare:    func(i int) float64 { return float64(dep.Share[i]) },
		realEvidence: func(i int) float64 { return float64(dep.Evidence[i]) },
		realIndex:    func(i int) float64 { return -index[i] },
		realRX:       func(i int) float64 { return far[i] },
		realZ:        z,
	}
	redder := redderShare(s)
	values[realRedder] = func(i int) float64 { return float64(redder[i]) }
	weeds := m.weedShare(s.Grid)
	for h := range halves {
		a := &halves[h]
		in := func(i int) bool { return s.Pixels[i] > 0 && int(l.Check[i])%2 == h }
		for i, w := range weeds {
			switch {
			case !in(i):
			case w >= weedyFrom:
				a.weedy++
			case w <= otherTo:
				a.other++
			}
		}
		for k, v := range values {
			a.values[k] = parts(v, weeds, in)
			if k == realRedder || k == realIndex { // someone would look which side it is
				a.values[k] = max(a.values[k], 1-a.values[k])
			}
		}
	}
	return halves, nil
}

func (m *labelled) summary(ctx context.Context) (*cells.Summary, error) {
	g := grid.Grid{EPSG: 32632, CellM: 0.5, Cols: m.cols / pixelsACell, Rows: m.rows / pixelsACell, AcresPerCell: 0.25 / 4046.8564224}
	inside := make([]bool, g.Len())
	for i := range inside {
		inside[i] = true
	}
	size := 1
	if m.sample == cells.Uint16 {
		size = 2
	}
	none, px := 0.0, g.CellM/pixelsACell
	src := cells.Source{
		Name: m.name, Cols: m.cols, Rows: m.rows, Affine: grid.Affine{B: px, F: -px},
		Bands: m.bands, Sample: m.sample, SRGB: size == 1 && slices.Contains(m.bands, "blue"), NoData: &none,
		Fill: func(w grid.Window, dst []byte) error {
			for r := range w.Rows {
				for c := range w.Cols {
					for b := range m.bands {
						v := uint16(0)
						if !m.void(w.Col+c, w.Row+r) {
							v = m.pixel(w.Col+c, w.Row+r, b)
						}
						k := ((r*w.Cols+c)*len(m.bands) + b) * size
						dst[k] = byte(v)
						if size == 2 {
							dst[k+1] = byte(v >> 8)
						}
					}
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

// layout looks at everything that has a picture, a check for each tile.
func (m *labelled) layout(s *cells.Summary) *structure.Layout {
	g := s.Grid
	l := &structure.Layout{Grid: g, Reason: make([]structure.Reason, g.Len()), Check: make([]int32, g.Len())}
	across, down := (m.cols+m.tileCols-1)/m.tileCols, (m.rows+m.tileRows-1)/m.tileRows
	// Checks are numbered so that neighbours fall into different halves.
	number := func(c, r int) int32 { return int32(r*(across+1-across%2) + c) }
	for k := range int(number(across-1, down-1)) + 1 {
		l.Checks = append(l.Checks, structure.Check{ID: fmt.Sprint(k + 1)})
	}
	for i := range l.Check {
		l.Check[i] = number(i%g.Cols*pixelsACell/m.tileCols, i/g.Cols*pixelsACell/m.tileRows)
		if s.Pixels[i] == 0 {
			l.Reason[i] = structure.NoData
		}
	}
	return l
}

// weedShare is the part of each cell's pixels that are labelled weed.
func (m *labelled) weedShare(g grid.Grid) []float64 {
	out := make([]float64, g.Len())
	for i := range out {
		for k := range pixelsACell * pixelsACell {
			if m.weed(i%g.Cols*pixelsACell+k%pixelsACell, i/g.Cols*pixelsACell+k/pixelsACell) {
				out[i] += 1.0 / (pixelsACell * pixelsACell)
			}
		}
	}
	return out
}

// parts is the chance that a weedy cell has the larger value, ties half
// (Mann and Whitney, Annals of Mathematical Statistics 18 (1947), 50-60).
func parts(v func(i int) float64, weeds []float64, in func(i int) bool) float64 {
	type one struct {
		v    float64
		weed bool
	}
	var all []one
	for i, w := range weeds {
		if x := v(i); in(i) && !math.IsNaN(x) && (w >= weedyFrom || w <= otherTo) {
			all = append(all, one{x, w >= weedyFrom})
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
