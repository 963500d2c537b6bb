package geotiff

import (
	"bytes"
	"io"
	"math"

	"bittern/internal/raster"
)

// WriteCOG writes one picture in the cloud-optimised order: the directories
// first, then the overviews from the smallest to the largest, then the picture,
// so that a reader finds its way, and a rough view, at the file's beginning.
// fill is called as by [Write]. Each overview halves the one before, until one
// tile holds it all; its samples are the means of the valid ones among four,
// where no data, NaN and pixels without alpha are not valid.
//
// The compressed picture is held in memory until the file is written: WriteCOG
// is for results on the cell grid. A [Builder] writes pictures of any size.
func WriteCOG(w io.Writer, f Format, fill Fill) error {
	b, err := NewBuilder(f, &memory{})
	if err != nil {
		return err
	}
	f = b.levels[0].f
	for win := range raster.Tiles(f.Cols, f.Rows, f.Tile) {
		b.Expect(win)
	}
	for win := range raster.Tiles(f.Cols, f.Rows, f.Tile) {
		data := make([]byte, win.Cols*win.Rows*f.pixelBytes())
		if err := fill(win, data); err != nil {
			return err
		}
		if err := b.Put(win, data, win.Cols*f.pixelBytes()); err != nil {
			return err
		}
	}
	return b.Finish(w)
}

// memory is a Spool in memory.
type memory struct{ bytes.Buffer }

// ReadAt reads what was written so far.
func (m *memory) ReadAt(p []byte, at int64) (int, error) {
	return bytes.NewReader(m.Bytes()).ReadAt(p, at)
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
func cogHead(levels []*level, big bool) []byte {
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
			offsets, counts = append(offsets, at), append(counts, uint64(t.bytes))
			at += uint64(t.bytes)
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
