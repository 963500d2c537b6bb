package app

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"

	"bittern/internal/atomicfile"
)

// write puts the day into its folder, all of it or nothing.
func (r *run) write(ctx context.Context) error {
	if err := r.folder.open(); err != nil {
		return err
	}
	for _, sub := range []string{"data"} {
		if err := os.MkdirAll(filepath.Join(r.folder.stage, sub), 0o755); err != nil {
			return writeProblem(r.Out, err)
		}
	}
	err := r.timed("paper", func() error { return r.file("field-sheet.pdf", r.writeFieldSheet) })
	if err != nil {
		return err
	}
	if err := r.writeDay(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return r.folder.commit()
}

// file writes one file of the day.
func (r *run) file(name string, fill func(io.Writer) error) error {
	err := atomicfile.Write(filepath.Join(r.folder.stage, filepath.FromSlash(name)), fill)
	if err != nil {
		return writeProblem(r.Out, err)
	}
	return nil
}

// writeDay writes day.json, which lists the files beside it and itself.
func (r *run) writeDay() error {
	const name = "data/day.json"
	names, err := r.folder.files()
	if err != nil {
		return writeProblem(r.Out, err)
	}
	r.day.Outputs = append(names, name)
	slices.Sort(r.day.Outputs)
	return r.file(name, func(w io.Writer) error {
		text, err := JSON(r.day)
		if err != nil {
			return err
		}
		_, err = w.Write(text)
		return err
	})
}
