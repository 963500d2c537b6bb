package app

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"

	"bittern/internal/atomicfile"
	"bittern/internal/export"
)

// write puts the day into its folder, all of it or nothing.
func (r *run) write(ctx context.Context) error {
	if err := r.folder.open(); err != nil {
		return err
	}
	if err := r.timed("paper", r.writePaper); err != nil {
		return err
	}
	if err := r.timed("files", func() error { return r.writeFiles(ctx) }); err != nil {
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

// writePaper writes the sheets; the job's only when there is one.
func (r *run) writePaper() error {
	if err := r.file("field-sheet.pdf", r.writeFieldSheet); err != nil {
		return err
	}
	if r.Page {
		if err := r.file(fieldPictureName, r.writeFieldPicture); err != nil {
			return err
		}
	}
	if r.job == nil {
		return nil
	}
	if err := r.file("job-sheet.pdf", r.writeJobSheet); err != nil {
		return err
	}
	return r.file("job-sheet.png", r.writeJobPicture)
}

// writeFiles writes the data files, and the guidance of the applicator that the
// blocks are cut for.
func (r *run) writeFiles(ctx context.Context) error {
	err := export.Write(ctx, r.folder.stage, export.Day{
		Grid: r.grid, Program: r.Program, FieldName: r.name, Boundary: r.lonLat, Acres: r.day.Field.Acres,
		Layout: r.layout, Norms: r.norm.Norms, Finding: r.finding, Skips: r.exportSkips(), Departure: r.norm.Spreads,
		Planned: len(r.given.applicators) > 0, Plan: r.plan, Workers: r.set.Workers,
	})
	if err == nil {
		err = r.writePictures()
	}
	if err == nil && r.job != nil {
		err = export.WriteGuidance(r.folder.stage, export.Guidance{
			Grid: r.grid, Field: r.name, Applicator: r.plan.Applicator, Kind: r.plan.Kind, Plan: r.plan,
			Revision: r.job.Revision, Code: r.job.Code, Flown: deref(r.day.Flown),
			GallonsPerAcre: r.given.mix.CarrierGallonsPerAcre, DoNotSpray: r.doNotSpray(),
			Cautions: append(slices.Clone(r.job.WhyDraft), r.jobCautions()...), Units: r.units,
		})
	}
	if err != nil {
		return writeProblem(r.Out, err)
	}
	return nil
}

// writePictures writes the pictures that the day page shows.
func (r *run) writePictures() error {
	for _, p := range []struct {
		name string
		here bool
		fill func(io.WriteSeeker) error
	}{
		{roughName, true, func(w io.WriteSeeker) error { return r.writeRough(w, r.plain()) }},
		{leftOutName, true, r.writeLeftOut},
		{beforeName, r.before != nil, func(w io.WriteSeeker) error { return r.writeRough(w, r.before.shown) }},
		{bandsName, r.Page, r.writeBands},
	} {
		if !p.here {
			continue
		}
		if err := atomicfile.WriteSeeker(filepath.Join(r.folder.stage, filepath.FromSlash(p.name)), p.fill); err != nil {
			return err
		}
	}
	return nil
}

// doNotSpray is the ground that was marked as another's.
func (r *run) doNotSpray() []export.DoNotSpray {
	var out []export.DoNotSpray
	for _, m := range r.given.pinned {
		if m.sensitiveMark() && len(m.polygons) > 0 {
			out = append(out, export.DoNotSpray{Name: m.called(), Mark: m.what, Outline: m.polygons})
		}
	}
	return out
}

// file writes one file of the day.
func (r *run) file(name string, fill func(io.Writer) error) error {
	path := filepath.Join(r.folder.stage, filepath.FromSlash(name))
	err := os.MkdirAll(filepath.Dir(path), 0o755)
	if err == nil {
		err = atomicfile.Write(path, fill)
	}
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
