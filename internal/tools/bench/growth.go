//go:build unix

package main

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"bittern/internal/atomicfile"
	"bittern/internal/geo"
	"bittern/internal/geotiff"
	"bittern/internal/unit"
)

const growthName = "time and memory from small to large"

// A growth is what fields of several sizes take.
type growth struct {
	baseAcres float64
	points    []point
}

// A point is one size.
type point struct {
	acres, fileMiB, mcells float64
	cells, suspects        took
}

func (p point) line() string {
	return fmt.Sprintf("%6g acres, %5.0f Mpx, file of %5.0f MiB: cells %7.2f cpu s %6.0f MiB; to suspects %7.2f cpu s %6.0f MiB",
		p.acres, p.cells.ReadMpx, p.fileMiB, p.cells.CPUS, p.cells.PeakMiB, p.suspects.CPUS, p.suspects.PeakMiB)
}

// growth measures square fields whose pictures repeat the inner tiles of an
// invented one: the file stays small, and every tile is read and decoded.
func (s settings) growth(ctx context.Context) (*growth, error) {
	base, err := s.prepare(ctx, s.baseAcres, 0, false)
	if err != nil {
		return nil, err
	}
	out := &growth{baseAcres: s.baseAcres}
	for _, acres := range s.sizes {
		dir, err := s.apart(ctx, "--repeat", base, "--acres", fmt.Sprint(acres))
		if err != nil {
			return nil, err
		}
		o, err := s.runSelf(ctx, task{dir: dir, picture: pictureFile, suspects: true})
		if err != nil {
			return nil, err
		}
		info, err := os.Stat(filepath.Join(dir, pictureFile))
		if err != nil {
			return nil, err
		}
		side := math.Sqrt(float64(unit.Acres(acres).SquareMeters())) + 2*aroundM
		out.points = append(out.points, point{
			acres: acres, fileMiB: float64(info.Size()) / (1 << 20), mcells: side / cellM * side / cellM / 1e6,
			cells: o.Cells, suspects: *o.Suspects,
		})
	}
	return out, nil
}

// repeat makes a picture of the size of a square field of so many acres, whose
// directory names the inner tiles of base again and again.
func (s settings) repeat(base string, acres float64) (string, error) {
	dir := filepath.Join(s.cache, fmt.Sprintf("%gac-of-%gac", acres, s.baseAcres))
	if there, err := exists(filepath.Join(dir, fieldFile)); there || err != nil {
		return dir, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	data, err := os.ReadFile(filepath.Join(base, pictureFile))
	if err != nil {
		return "", err
	}
	side := math.Sqrt(float64(unit.Acres(acres).SquareMeters()))
	pixels := int(math.Ceil((side + 2*aroundM) / s.pixelM))
	if data, err = repeated(data, pixels, pixels); err != nil {
		return "", err
	}
	path := filepath.Join(dir, pictureFile)
	if err := atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(data); return err }); err != nil {
		return "", err
	}
	ring, err := inset(path, side)
	if err != nil {
		return "", err
	}
	return dir, keep(dir, ring)
}

// inset is a square of a side in metres, so far inside a picture as its grid
// reaches beyond a field.
func inset(path string, side float64) (f field, err error) {
	r, err := os.Open(path)
	if err != nil {
		return f, err
	}
	defer func() { _ = r.Close() }() // read only
	info, err := r.Stat()
	if err != nil {
		return f, err
	}
	im, err := geotiff.Open(r, info.Size())
	if err != nil {
		return f, err
	}
	west, north := im.Affine.A+aroundM, im.Affine.D-aroundM
	f.EPSG = im.EPSG
	f.Ring = geo.Ring{{X: west, Y: north}, {X: west + side, Y: north}, {X: west + side, Y: north - side}, {X: west, Y: north - side}}
	return f, nil
}

// repeated is a BigTIFF of tiles with another directory behind it, of a
// picture of cols x rows pixels made of the inner tiles of the first one.
func repeated(file []byte, cols, rows int) ([]byte, error) {
	const (
		tagCols, tagRows       = 256, 257
		tagOffsets, tagCounts  = 324, 325
		entryBytes, valueAt    = 20, 12
		long8                  = 16
		headBytes, firstOffset = 8, 8
	)
	le := binary.LittleEndian
	at := le.Uint64(file[firstOffset:])
	n := le.Uint64(file[at:])
	dir := append([]byte(nil), file[at:at+headBytes+n*entryBytes]...)
	entry := func(tag uint16) []byte {
		for e := dir[headBytes:]; len(e) > 0; e = e[entryBytes:] {
			if le.Uint16(e) == tag {
				return e[:entryBytes]
			}
		}
		return nil
	}
	across, down := tilesOf(int(le.Uint32(entry(tagCols)[valueAt:]))), tilesOf(int(le.Uint32(entry(tagRows)[valueAt:])))
	if across < 3 || down < 3 {
		return nil, fmt.Errorf("a picture of %d x %d tiles has too few inner ones", across, down)
	}
	for _, tag := range [...]uint16{tagOffsets, tagCounts} {
		e := entry(tag)
		values := file[le.Uint64(e[valueAt:]):]
		start := uint64(len(file))
		wide, high := tilesOf(cols), tilesOf(rows)
		for r := range high {
			for c := range wide {
				from := (1+r%(down-2))*across + 1 + c%(across-2)
				file = append(file, values[from*8:][:8]...)
			}
		}
		le.PutUint16(e[2:], long8)
		le.PutUint64(e[4:], uint64(wide)*uint64(high))
		le.PutUint64(e[valueAt:], start)
	}
	le.PutUint32(entry(tagCols)[valueAt:], uint32(cols))
	le.PutUint32(entry(tagRows)[valueAt:], uint32(rows))
	if len(file)%2 == 1 {
		file = append(file, 0)
	}
	le.PutUint64(file[firstOffset:], uint64(len(file)))
	file = append(file, dir...)
	return le.AppendUint64(file, 0), nil
}

func tilesOf(pixels int) int { return (pixels + tileSide - 1) / tileSide }
