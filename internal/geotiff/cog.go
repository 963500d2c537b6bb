package geotiff

import (
	"bytes"
	"fmt"
	"io"
	"math"

	"bittern/internal/grid"
)

// WriteCOG writes one picture in the cloud-optimised order: the directories
// first, then the overviews from the smallest to the largest, then the picture,
// so that a reader finds its way, and a rough view, at the file's beginning.
// fill is called as by [Write]. Each overview halves the one before, until one
// tile holds it all; its samples are the means of the valid ones among four,
// where no data, NaN and pixels without alpha are not valid.
//
// The compressed picture and its first overview are held in memory until the
// file is written: WriteCOG is for results on the cell grid, not for mosaics.
func WriteCOG(w io.Writer, f Format, fill Fill) error {
	if err := f.check(); err != nil {
		return err
	}
	f = f.withDefaults()
	levels, err := f.levels(fill)
	if err != nil {
		return err
	}
	big := f.big()
	var tiles [][]byte
	for i := len(levels) - 1; i >= 0; i-- {
		tiles = append(tiles, levels[i].tiles...)
	}
	if _, err := w.Write(cogHead(levels, big)); err != nil {
		return fmt.Errorf("writing the directories: %w", err)
	}
	for i, t := range tiles {
		if _, err := w.Write(t); err != nil {
			return fmt.Errorf("writing tile %d of %d: %w", i+1, len(tiles), err)
		}
	}
	return nil
}

// A level is the picture or one of its overviews, compressed.
type level struct {
	f     Format
	tiles [][]byte
}

// levels compresses the picture and its overviews, largest first.
func (f Format) levels(fill Fill) ([]level, error) {
	var out []level
	for {
		next := f
		next.Cols, next.Rows = (f.Cols+1)/2, (f.Rows+1)/2
		last := f.Cols <= f.Tile && f.Rows <= f.Tile
		var half []byte
		if !last {
			half = make([]byte, next.Cols*next.Rows*f.pixelBytes())
		}
		l := level{f: f}
		from := fill
		for data, err := range f.tiles(func(win grid.Window, dst []byte) error {
			if err := from(win, dst); err != nil || last {
				return err
			}
			f.halve(win, dst, half, next.Cols)
			return nil
		}) {
			if err != nil {
				return nil, err
			}
			l.tiles = append(l.tiles, data)
		}
		out = append(out, l)
		if last {
			return out, nil
		}
		f, fill = next, next.window(half)
	}
}

// window gives the windows of a picture that is in memory.
func (f Format) window(all []byte) Fill {
	px := f.pixelBytes()
	return func(win grid.Window, dst []byte) error {
		for r := range win.Rows {
			copy(dst[r*win.Cols*px:][:win.Cols*px], all[((win.Row+r)*f.Cols+win.Col)*px:])
		}
		return nil
	}
}

// halve puts the overview of one tile into the overview of the picture, which
// is cols pixels wide. Tiles begin at even pixels, so no group of four
// straddles two of them.
func (f Format) halve(win grid.Window, tile, half []byte, cols int) {
	px := f.pixelBytes()
	var group [4][]byte
	for r := 0; r < win.Rows; r += 2 {
		for c := 0; c < win.Cols; c += 2 {
			n := 0
			for y := r; y < min(r+2, win.Rows); y++ {
				for x := c; x < min(c+2, win.Cols); x++ {
					group[n] = tile[(y*win.Cols+x)*px:][:px]
					n++
				}
			}
			at := ((win.Row+r)/2*cols + (win.Col+c)/2) * px
			f.mean(half[at:at+px], group[:n])
		}
	}
}

// mean writes the mean of up to four pixels, band by band.
func (f Format) mean(dst []byte, group [][]byte) {
	n := f.Sample.Bytes()
	for b := range f.Bands {
		if f.Alpha && b == f.Bands-1 {
			f.strongest(dst[b*n:], group)
			return
		}
		sum, count, first := 0.0, 0, []byte(nil)
		for _, px := range group {
			if s := px[b*n:]; f.valid(px, s) {
				sum += getSample(s, f.Sample)
				if count++; count == 1 {
					first = s[:n]
				}
			}
		}
		out := dst[b*n:][:n]
		if count == 0 {
			copy(out, group[0][b*n:])
			continue
		}
		if putSample(out, f.Sample, f.round(sum/float64(count))); !f.valid(nil, out) {
			copy(out, first) // a mean that happens to be the no-data number
		}
	}
}

// round makes means of whole numbers whole, half upwards.
func (f Format) round(v float64) float64 {
	if f.Sample.Float() {
		return v
	}
	return math.Floor(v + 0.5)
}

// valid reports whether sample s of pixel px counts. Without a pixel, only
// the sample is looked at.
func (f Format) valid(px, s []byte) bool {
	v := getSample(s, f.Sample)
	if math.IsNaN(v) || f.NoData != nil && v == f.noData() {
		return false
	}
	if px == nil || !f.Alpha {
		return true
	}
	return getSample(px[(f.Bands-1)*f.Sample.Bytes():], f.Sample) != 0
}

// noData is the no-data number as the samples hold it.
func (f Format) noData() float64 {
	if f.Sample == Float32 {
		return float64(float32(*f.NoData))
	}
	return *f.NoData
}

// strongest writes the largest alpha of the group, so that a mask of two
// values stays one.
func (f Format) strongest(dst []byte, group [][]byte) {
	at := (f.Bands - 1) * f.Sample.Bytes()
	best := group[0][at:]
	for _, px := range group[1:] {
		if getSample(px[at:], f.Sample) > getSample(best, f.Sample) {
			best = px[at:]
		}
	}
	copy(dst[:f.Sample.Bytes()], best)
}

// cogHead is the header and the directories, which are first in the file and
// know where the tiles will lie.
func cogHead(levels []level, big bool) []byte {
	dirs := make([]*dirOut, len(levels))
	starts := make([]uint64, len(levels)+1)
	at := uint64(headerBytes(big))
	for i, l := range levels {
		dirs[i] = l.f.directory(min(i, 1))
		starts[i] = at
		probe := *dirs[i]
		none := make([]uint64, len(l.tiles))
		probe.tiles(none, none, big)
		at += uint64(probe.size(big))
		at += at % 2
	}
	for i := len(levels) - 1; i >= 0; i-- {
		var offsets, counts []uint64
		for _, t := range levels[i].tiles {
			offsets, counts = append(offsets, at), append(counts, uint64(len(t)))
			at += uint64(len(t))
		}
		dirs[i].tiles(offsets, counts, big)
	}
	var out bytes.Buffer
	out.Write(header(starts[0], big))
	for i, d := range dirs {
		next := starts[i+1] // 0 after the last
		out.Write(d.bytes(starts[i], next, big))
		out.Write(make([]byte, out.Len()%2))
	}
	return out.Bytes()
}
