package structure

import "bittern/internal/doubt"

// growersLevees draws the lines and areas that the grower gave.
func (f *finder) growersLevees() error {
	f.out.Found = FromGrower
	var meets bool
	for _, l := range f.opt.Levees {
		p := leveePath{path: f.raster(l), width: typedWidthM}
		drawLine(p.path, 0.75, f.fine.size, func(i int) { meets = meets || f.fine.inside[i] })
		f.lines = append(f.lines, p)
	}
	for i, in := range f.rasterize(f.opt.LeveeAreas) {
		if in && f.fine.inside[i] {
			meets = true
			f.levee[i], f.barrier[i] = Levee, true
		}
	}
	if !meets {
		return &doubt.Problem{What: "the levee lines do not meet the field", Remedy: "check that they were drawn for this field and in the coordinate system that the file names"}
	}
	for i := range f.lines {
		f.drawLevee(&f.lines[i])
	}
	return nil
}
