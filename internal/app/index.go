package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"bittern/internal/atomicfile"
	"bittern/internal/doubt"
	"bittern/internal/geotiff"
	"bittern/internal/imagery"
	"bittern/internal/index"
)

// An IndexRequest asks for the picture of an index.
type IndexRequest struct {
	Name    string // "ndvi"
	Out     string // the picture to write, a .tif
	Program string
}

// An IndexMade says what was written. Low and High are null where no pixel has
// a value.
type IndexMade struct {
	Name    string   `json:"name"`
	Formula string   `json:"formula"`
	Source  string   `json:"source"`
	File    string   `json:"file"`   // in colours
	Values  string   `json:"values"` // the same as numbers
	Low     *float64 `json:"low"`    // of the darkest colour
	High    *float64 `json:"high"`   // of the brightest
	Pixels  int64    `json:"pixels"` // with a value
}

// check reads the plain values of the request, before a picture is opened.
func (r IndexRequest) check() (index.Index, error) {
	x, ok := index.Named(strings.ToLower(r.Name))
	switch ext := strings.ToLower(filepath.Ext(r.Out)); {
	case !ok:
		return x, &doubt.Problem{
			What:   fmt.Sprintf("--index %s is not an index that is known", r.Name),
			Remedy: "give one of: " + strings.Join(index.Names(), ", "),
		}
	case r.Out == "":
		return x, &doubt.Problem{What: "--index writes a picture, and --out does not say where", Remedy: "add --out and a name that ends in .tif"}
	case ext != ".tif" && ext != ".tiff":
		return x, &doubt.Problem{What: fmt.Sprintf("--out %s does not end in .tif", r.Out), Remedy: "give a name that ends in .tif"}
	}
	if info, err := os.Stat(filepath.Dir(r.Out)); err != nil || !info.IsDir() {
		return x, &doubt.Problem{File: filepath.Dir(r.Out), What: "there is no such folder", Remedy: "make it, or give --out another name", Err: err}
	}
	return x, nil
}

// values is the name of the picture of numbers that goes with the one in
// colours: ndvi.tif and ndvi.values.tif.
func (r IndexRequest) values() string {
	ext := filepath.Ext(r.Out)
	return strings.TrimSuffix(r.Out, ext) + ".values" + ext
}

// DescribeIndex describes a picture as Describe does, and writes an index of
// it: in colours, and beside it as numbers. Both are there afterwards, or none.
func DescribeIndex(ctx context.Context, path string, bands []string, req IndexRequest, set Setting) (*Description, error) {
	x, err := req.check()
	if err != nil {
		return nil, err
	}
	flight, err := imagery.Look(ctx, []string{path}, imagery.Options{Bands: bands})
	if err != nil {
		return nil, err
	}
	defer func() { _ = flight.Close() }() // only read from
	for _, out := range []string{req.Out, req.values()} {
		if err := mayReplace(out, path, flight); err != nil {
			return nil, err
		}
	}
	pic, err := index.Of(x, flight, index.Options{Workers: set.Workers, Software: req.Program, Progress: set.Progress})
	if err != nil {
		return nil, err
	}
	d := describe(flight)
	d.Index = &IndexMade{
		Name: x.Title, Formula: x.Formula, Source: x.Source,
		File: filepath.Base(req.Out), Values: filepath.Base(req.values()),
	}
	r, err := writeIndex(ctx, pic, req)
	if err != nil {
		return nil, unwritten(err)
	}
	if d.Index.Pixels = r.Pixels; r.Pixels > 0 {
		d.Index.Low, d.Index.High = &r.Low, &r.High
	}
	d.Warnings = append(warnings(pic.Doubts()), d.Warnings...)
	return d, nil
}

// mayReplace refuses to write over a picture that is read, and over a file
// that this program did not write.
func mayReplace(out, path string, flight *imagery.Flight) error {
	info, err := os.Stat(out)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	problem := func(what string) error {
		return &doubt.Problem{File: filepath.Base(out), What: what, Remedy: "give --out another name"}
	}
	if err != nil || !info.Mode().IsRegular() {
		return problem("cannot be written there, where something else is")
	}
	inputs := []string{path}
	for _, f := range flight.Files {
		inputs = append(inputs, f.Path)
	}
	for _, in := range inputs {
		if other, err := os.Stat(in); err == nil && os.SameFile(info, other) {
			return problem("is the picture that is read, and would be lost")
		}
	}
	f, err := os.Open(out)
	if err != nil {
		return problem("is there already and cannot be read")
	}
	defer func() { _ = f.Close() }() // only read from
	if im, err := geotiff.Open(f, info.Size()); err != nil || !strings.HasPrefix(im.Software, "bittern") {
		return problem("is there already, and is no picture that bittern wrote")
	}
	return nil
}

// writeIndex writes both pictures.
func writeIndex(ctx context.Context, pic *index.Picture, req IndexRequest) (r index.Range, err error) {
	folder := filepath.Dir(req.Out)
	err = atomicfile.WriteFile(req.values(), func(values *os.File) error {
		err := atomicfile.Scratch(folder, func(spool *os.File) (err error) {
			r, err = pic.WriteValues(ctx, values, spool)
			return err
		})
		if err != nil {
			return err
		}
		info, err := values.Stat()
		if err != nil {
			return err
		}
		return atomicfile.WriteFile(req.Out, func(colors *os.File) error {
			return atomicfile.Scratch(folder, func(spool *os.File) error {
				return pic.WriteColors(ctx, colors, spool, values, info.Size(), r)
			})
		})
	})
	return r, err
}

// unwritten makes a sentence of an error of writing; problems of the picture
// and being stopped stay what they are.
func unwritten(err error) error {
	var p *doubt.Problem
	if errors.As(err, &p) || errors.Is(err, context.Canceled) {
		return err
	}
	return &doubt.Problem{
		Kind: doubt.System, What: fmt.Sprintf("the picture of the index cannot be written (%v)", err),
		Remedy: "check that the disk has room and that the folder may be written", Err: err,
	}
}

// letter is what the description says of what was written.
func (m *IndexMade) letter() string {
	says := fmt.Sprintf("%s is %s (%s).\n", m.Name, m.Formula, m.Source)
	if m.Low == nil {
		return says + fmt.Sprintf("No pixel has a value: %s and %s were written without any.\n", m.File, m.Values)
	}
	return says + fmt.Sprintf("%s shows it from %.2f (dark blue) to %.2f (yellow); 2 %% of the pixels lie below and 2 %% above.\n", m.File, *m.Low, *m.High) +
		fmt.Sprintf("%s holds its numbers. Gaps in the picture have none.\n", m.Values)
}
