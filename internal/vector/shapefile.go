package vector

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"bittern/internal/crs"
	"bittern/internal/doubt"
	"bittern/internal/geo"
)

// errTruncated is returned for a part of a shapefile that ends too early or
// points outside itself.
var errTruncated = errors.New("is cut off or damaged")

// shapeParts are the files of one shapefile. Only shp must be there.
type shapeParts struct{ shp, dbf, prj, cpg []byte }

// readLooseShapefile reads the parts that lie beside the .shp file.
func readLooseShapefile(path string, shp []byte) (*Layer, error) {
	parts := shapeParts{shp: shp}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return nil, openProblem(path, err)
	}
	base := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	for _, e := range entries {
		name := e.Name()
		ext := filepath.Ext(name)
		into := parts.named(ext)
		if into == nil || !strings.EqualFold(strings.TrimSuffix(name, ext), base) {
			continue
		}
		if *into, err = load(filepath.Join(filepath.Dir(path), name)); err != nil {
			return nil, err
		}
	}
	return parts.read()
}

// named returns where the part with the file ending goes, or nil.
func (s *shapeParts) named(ext string) *[]byte {
	switch strings.ToLower(ext) {
	case ".dbf":
		return &s.dbf
	case ".prj":
		return &s.prj
	case ".cpg":
		return &s.cpg
	}
	return nil
}

func (s *shapeParts) read() (*Layer, error) {
	shapes, err := readShapes(s.shp)
	if err != nil {
		return nil, problem("its .shp part "+err.Error(), "copy the shapefile again, with all its parts", err)
	}
	table, err := readDBF(s.dbf, s.cpg)
	if err != nil {
		return nil, problem("its .dbf part "+err.Error(), "copy the shapefile again, with all its parts", err)
	}
	layer := &Layer{}
	for i, shape := range shapes {
		if i < len(table) {
			if table[i].deleted {
				continue
			}
			shape.Properties = table[i].values
		}
		layer.Features = append(layer.Features, shape)
	}
	return layer, layer.place(s.prj)
}

// place brings a shapefile into longitude and latitude by its .prj. Without one
// positions that look like degrees are taken as WGS84, which is a doubt;
// [Layer.check] refuses the others.
func (l *Layer) place(prj []byte) error {
	if len(strings.TrimSpace(string(prj))) == 0 {
		l.Doubts = append(l.Doubts, doubt.Doubt{
			About: "position", Says: "The shapefile has no .prj, so its positions were read as longitude and latitude (WGS84).",
			Settle: "Put its .prj beside it.", Weight: 0.2,
		})
		return nil
	}
	c, err := crs.ParseWKT(string(prj))
	if err != nil {
		return unknownCRS(err)
	}
	toLonLat(c, l.Features)
	l.Doubts = append(l.Doubts, datumDoubt(c)...)
	return nil
}

const shapeHeader = 100 // bytes

// readShapes reads the records of a .shp file. A null shape is a feature
// without geometry.
func readShapes(data []byte) ([]Feature, error) {
	if len(data) < shapeHeader || binary.BigEndian.Uint32(data) != 9994 {
		return nil, errTruncated
	}
	var out []Feature
	for rest := data[shapeHeader:]; len(rest) > 0; {
		if len(rest) < 8 {
			return nil, fmt.Errorf("%w after record %d", errTruncated, len(out))
		}
		size := int64(binary.BigEndian.Uint32(rest[4:])) * 2
		if size > int64(len(rest)-8) {
			return nil, fmt.Errorf("%w after record %d", errTruncated, len(out))
		}
		f, err := readShape(rest[8 : 8+size])
		if err != nil {
			return nil, fmt.Errorf("%w in record %d", err, len(out)+1)
		}
		out = append(out, f)
		rest = rest[8+size:]
	}
	return out, nil
}

// readShape reads the content of one record. Heights and measures are skipped.
func readShape(b []byte) (Feature, error) {
	var f Feature
	if len(b) < 4 {
		return f, errTruncated
	}
	kind := binary.LittleEndian.Uint32(b)
	switch kind {
	case 0:
		return f, nil
	case 1, 11, 21:
		points, err := shapePoints(b[4:], 1)
		f.Points = points
		return f, err
	case 8, 18, 28:
		if len(b) < 40 {
			return f, errTruncated
		}
		points, err := shapePoints(b[40:], binary.LittleEndian.Uint32(b[36:]))
		f.Points = points
		return f, err
	case 3, 13, 23, 5, 15, 25:
		parts, err := shapeLines(b)
		if err != nil {
			return f, err
		}
		if kind%10 == 3 {
			f.Lines = parts
			return f, nil
		}
		rings := make([]geo.Ring, 0, len(parts))
		for _, l := range parts {
			if r := geo.Ring(l).Clean(); len(r) > 0 {
				rings = append(rings, r)
			}
		}
		f.Polygons = geo.Nest(rings)
		return f, nil
	}
	return f, fmt.Errorf("holds shapes of type %d, which are not read,", kind)
}

func shapePoints(b []byte, n uint32) ([]geo.Point, error) {
	if int64(n)*16 > int64(len(b)) {
		return nil, errTruncated
	}
	out := make([]geo.Point, n)
	for i := range out {
		out[i] = geo.Point{X: float64At(b, 16*i), Y: float64At(b, 16*i+8)}
	}
	return out, nil
}

func float64At(b []byte, at int) float64 {
	return math.Float64frombits(binary.LittleEndian.Uint64(b[at:]))
}

// shapeLines reads the parts of a polyline or polygon.
func shapeLines(b []byte) ([]geo.Line, error) {
	if len(b) < 44 {
		return nil, errTruncated
	}
	nParts, nPoints := binary.LittleEndian.Uint32(b[36:]), binary.LittleEndian.Uint32(b[40:])
	if int64(nParts)*4+int64(nPoints)*16 > int64(len(b)-44) {
		return nil, errTruncated
	}
	points, err := shapePoints(b[44+4*nParts:], nPoints)
	if err != nil {
		return nil, err
	}
	var out []geo.Line
	for i := range nParts {
		from, to := binary.LittleEndian.Uint32(b[44+4*i:]), nPoints
		if i+1 < nParts {
			to = binary.LittleEndian.Uint32(b[48+4*i:])
		}
		if from > to || to > nPoints {
			return nil, errTruncated
		}
		out = append(out, geo.Line(points[from:to]).Clean())
	}
	return out, nil
}

// readAllFrom reads at most maxFile bytes.
func readAllFrom(r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err == nil && len(data) > maxFile {
		err = fmt.Errorf("unpacks to more than %d MB", maxFile>>20)
	}
	return data, err
}
