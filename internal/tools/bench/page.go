//go:build unix

package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"

	"bittern/internal/atomicfile"
)

// resultBytes is what the cells stage leaves of each cell with four bands.
const resultBytes = 68

// A report is all that was measured.
type report struct {
	settings
	machine machine
	rows    []row
	chain   *chain
	growth  *growth
}

// A machine is what the figures were measured on.
type machine struct {
	processor, system, gdal, load string
	processors                    int
}

func machineOf(ctx context.Context) machine {
	m := machine{processors: runtime.NumCPU(), system: runtime.GOOS + "/" + runtime.GOARCH, processor: "a processor that does not say its name"}
	if data, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		if _, rest, ok := strings.Cut(string(data), "model name"); ok {
			line, _, _ := strings.Cut(rest, "\n")
			m.processor = strings.TrimSpace(strings.TrimLeft(line, "\t :"))
		}
	}
	if data, err := os.ReadFile("/proc/loadavg"); err == nil {
		m.load, _, _ = strings.Cut(string(data), " ")
	}
	if out, err := output(exec.CommandContext(ctx, python, "-c", "from osgeo import gdal; print(gdal.__version__)")); err == nil {
		m.gdal = strings.TrimSpace(string(out))
	}
	return m
}

// write puts the page and its plot into the folder.
func (r *report) write() error {
	page := r.page()
	for name, data := range map[string][]byte{"speed.md": page, "speed.svg": []byte(r.growth.plot())} {
		err := atomicfile.Write(filepath.Join(r.out, name), func(w io.Writer) error { _, err := w.Write(data); return err })
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *report) page() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `# Speed and memory

Made by `+"`make bench`"+`; do not edit. Every figure was measured in one run on %s, %d processors, %s, with %s, beside
GDAL %s`, r.machine.processor, r.machine.processors, r.machine.system, runtime.Version(), r.machine.gdal)
	if r.machine.load != "" {
		fmt.Fprintf(&b, "; the load average was %s when it began, so that other work ran beside if that is much above 0", r.machine.load)
	}
	fmt.Fprintf(&b, `.

## Beside a bare read
What GDAL needs, at its fastest and with all its threads, merely to read every pixel of the same file
([gdal_read.py](../../internal/tools/bench/gdal_read.py): whole rows of tiles, all bands in one request, a reused buffer, a small block
cache; the start of the interpreter is not counted), beside our stages from opening the file on. Each of %d runs was a process of its own, in
turns, with the file in the system's cache. *CPU* and *wall* are ratios of the medians, *least* is that of the least processor times. *At
most* and *aim* are the budgets of the CPU ratio. Checksums are verified where the format has them. Pictures are invented (seed %d, pixels
of %g cm); the first is written by our own writer, the others by gdal_translate from it, JPEG from a colour picture of the same field.

| what | acres | Mpx read | file MiB | GDAL CPU s | ours CPU s | CPU | least | wall | at most | aim | peak MiB |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
`, r.runs, seed, 100*r.pixelM)
	for _, row := range r.rows {
		fmt.Fprintln(&b, row.markdown())
	}
	b.WriteString(`
"To suspects" is opening, cells, structure, norm and suspects, without smallest seen. With every tile decoded the grid is that of the whole
picture, else that of the field and 20 m round it, as in a run.

| held to a budget, too | measured | at most | aim |
| --- | --- | --- | --- |
`)
	for _, row := range r.rows {
		if row.memory.most > 0 {
			fmt.Fprintf(&b, "| peak memory, MiB, %g acres: %s | %.0f | %.0f | %.0f |\n", row.acres, strings.TrimPrefix(row.name, "- "), median(row.ours, peak), row.memory.most, row.memory.aim)
		}
		if row.memory.most > 0 && row.stages != nil {
			fmt.Fprintf(&b, "| stages 4 to 6 alone, CPU s, %g acres | %.2f | %.1f | %.1f |\n", row.acres, median(row.stages, cpu), stagesCPU.most, stagesCPU.aim)
		}
	}
	r.writeChain(&b)
	r.writeGrowth(&b)
	return b.Bytes()
}

func (r row) markdown() string {
	most, aim := "", ""
	if r.ratio.most > 0 {
		most, aim = fmt.Sprintf("%.2f", r.ratio.most), fmt.Sprintf("%.2f", r.ratio.aim)
	}
	return fmt.Sprintf("| %s | %g | %.0f | %.0f | %.2f | %.2f | **%.2f** | %.2f | %.2f | %s | %s | %.0f |", r.name, r.acres, r.mpx, r.fileMiB,
		median(r.gdal, cpu), median(r.ours, cpu), r.times(cpu), least(r.ours, cpu)/least(r.gdal, cpu), r.times(wall), most, aim, median(r.ours, peak))
}

func (r *report) writeChain(b *bytes.Buffer) {
	c := r.chain
	fmt.Fprintf(b, `
## Beside general-purpose tools
What a person would run for the same cells and a plain threshold: the index of near infrared and red, the averages and root mean squares of
all bands in cells of 0.5 m, the average index, its median and median deviation, a threshold, an opening, labels. %g acres, %d runs in turns.

| step | CPU s | wall s | peak MiB |
| --- | --- | --- | --- |
`, c.acres, len(c.ours))
	for _, s := range c.steps {
		fmt.Fprintf(b, "| %s | %.2f | %.2f | %.0f |\n", s.what, median(s.took, cpu), median(s.took, wall), median(s.took, peak))
	}
	fmt.Fprintf(b, "| all of them | %.2f | %.2f | %.0f |\n", median(c.gdal, cpu), median(c.gdal, wall), median(c.gdal, peak))
	fmt.Fprintf(b, "| our cells stage, every tile decoded | %.2f | %.2f | %.0f |\n", median(c.ours, cpu), median(c.ours, wall), median(c.ours, peak))
	fmt.Fprintf(b, "\nThat is 1/%.1f of their processor time (at most 1/5, aim 1/7), 1/%.1f of their wall time and 1/%.1f of their memory.\n",
		c.share(cpu), c.share(wall), c.share(peak))
}

func (r *report) writeGrowth(b *bytes.Buffer) {
	g := r.growth
	fmt.Fprintf(b, `
## From small to large
Square fields whose pictures name the inner tiles of the picture of %g acres again and again, so that the file stays small and every tile is
read and decoded; one run of each. Both axes are logarithmic.

![Processor time and peak memory over acres](speed.svg)

| acres | Mpx read | file MiB | million cells | cells: CPU s | us a kilopixel | peak MiB | to suspects: CPU s | peak MiB | bytes a cell |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
`, g.baseAcres)
	for _, p := range g.points {
		fmt.Fprintf(b, "| %g | %.0f | %.0f | %.2f | %.2f | %.1f | %.0f | %.2f | %.0f | %.0f |\n", p.acres, p.cells.ReadMpx, p.fileMiB, p.mcells,
			p.cells.CPUS, 1e3*p.cells.CPUS/max(p.cells.ReadMpx, 1), p.cells.PeakMiB, p.suspects.CPUS, p.suspects.PeakMiB,
			p.suspects.PeakMiB*(1<<20)/(p.mcells*1e6))
	}
}
