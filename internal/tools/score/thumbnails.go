package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"

	"bittern/internal/atomicfile"
	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/invent"
)

// Thumbnails are drawn from pixels of thumbPixelM, coarser than the bench's, on
// cells of thumbCellM: every plan is the same, only the pixels are fewer.
const (
	thumbPixelM = 0.25
	thumbCellM  = 2.5
)

const scenesHead = `# The scenes of the bench

Written by ` + "`go run ./internal/tools/score -scenes docs/scenes`" + `. The table is frozen (scene version %d): parameters are chosen on odd seeds (the
same table from seed %d on), and reported on these even ones. A scene is ` + "`invent.Named(class, sensor, seed)`" + `; its classes are told in
[../methods/invent.md](../methods/invent.md), and what the stages make of it in [../methods/score.md](../methods/score.md).

Left of each picture the flight (of pairs the later one), drawn here from pixels of 25 cm; natural colour where there is blue, else near infrared, red and green.
Right the truth: escapes worth acting on plum, lighter ones pink, skips violet, an untreated check or one without nitrogen hatched, killed weeds brown,
eaten leaf orange, short of nitrogen yellow, trends blue, trees and shade dark, levees and ditches grey, water pale blue.

| class | sensor | seed | acres | pixel, cm | question | holds | picture |
| --- | --- | --- | --- | --- | --- | --- | --- |
`

// writeScenes writes the table of scenes and a small picture of each.
func writeScenes(ctx context.Context, folder string, first uint64) error {
	if err := os.MkdirAll(filepath.Join(folder, "bench"), 0o755); err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	var page bytes.Buffer
	fmt.Fprintf(&page, scenesHead, invent.Version, first-1)
	for _, e := range invent.Bench(first) {
		if err := ctx.Err(); err != nil {
			return err
		}
		recipe, err := e.Scene()
		if err != nil {
			return err
		}
		name := fmt.Sprintf("bench/%s-%d.png", e.Class, e.Seed)
		holds, err := thumbnail(ctx, filepath.Join(folder, name), recipe)
		if err != nil {
			return fmt.Errorf("%s: %w", recipe.Name, err)
		}
		question := e.Question
		if e.Pair {
			question += ", two flights"
		}
		fmt.Fprintf(&page, "| %s | %v | %d | %.1f | %.1f | %s | %s | ![%s](%s) |\n", e.Class, e.Sensor, e.Seed, recipe.Acres, 100*recipe.PixelM, question, holds, e.Class, name)
	}
	path := filepath.Join(folder, "README.md")
	return atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(page.Bytes()); return err })
}

// thumbnail draws one scene and says what it holds.
func thumbnail(ctx context.Context, path string, recipe invent.Scene) (string, error) {
	recipe.PixelM = thumbPixelM
	f, err := invent.New(recipe)
	if err != nil {
		return "", fmt.Errorf("planning: %w", err)
	}
	g, err := grid.New(geo.MultiPolygon{f.Boundary()})
	if err != nil {
		return "", fmt.Errorf("laying the grid: %w", err)
	}
	k := thumbCellM / g.CellM
	g.Cols, g.Rows = int(math.Ceil(float64(g.Cols)/k)), int(math.Ceil(float64(g.Rows)/k))
	g.CellM, g.AcresPerCell = thumbCellM, g.AcresPerCell*k*k
	all := make([]bool, g.Len())
	for i := range all {
		all[i] = true
	}
	s, err := cells.FromSource(ctx, []cells.Source{source(f)}, g, all, 2)
	if err != nil {
		return "", fmt.Errorf("summing pixels: %w", err)
	}
	truth := f.Truth(g)
	shade := eyeColour(s)
	img := image.NewRGBA(image.Rect(0, 0, 2*g.Cols+4, g.Rows))
	for i := range g.Len() {
		x, y := i%g.Cols, i/g.Cols
		img.SetRGBA(x, y, shade(i))
		img.SetRGBA(g.Cols+4+x, y, truthColour(truth, i, x+y))
	}
	for y := range g.Rows {
		for x := range 4 {
			img.SetRGBA(g.Cols+x, y, color.RGBA{255, 255, 255, 255})
		}
	}
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	err = atomicfile.Write(path, func(w io.Writer) error { return enc.Encode(w, paletted(img, 160)) })
	return holding(recipe, truth), err
}

// eyeColour is each cell as the eye, or an infrared film, would show it.
func eyeColour(s *cells.Summary) func(i int) color.RGBA {
	pick, gain := [3]string{"red", "green", "blue"}, [3]float64{2.3, 2.3, 2.3}
	if b, _ := s.Band("blue"); b == nil {
		pick, gain = [3]string{"nir", "red", "green"}, [3]float64{0.9, 3, 3}
	}
	scale := 1.0
	switch s.Bits {
	case 8:
		scale = 1 / 2.3
	case 16:
		scale = 1.0 / 20000
	}
	var bands [3][]float32
	for k, name := range pick {
		bands[k], _ = s.Band(name)
	}
	return func(i int) color.RGBA {
		out := [3]uint8{}
		for k, b := range bands {
			if v := float64(b[i]); !math.IsNaN(v) {
				out[k] = uint8(255 * math.Pow(min(max(v*scale*gain[k], 0), 1), 1/2.2))
			}
		}
		return color.RGBA{out[0], out[1], out[2], 255}
	}
}

// truthColour is the colour of what stands on cell i.
func truthColour(t *invent.Truth, i, diagonal int) color.RGBA {
	switch t.Class[i] {
	case invent.Outside:
		return color.RGBA{240, 240, 240, 255}
	case invent.Tree:
		return color.RGBA{40, 60, 50, 255}
	case invent.Water:
		return color.RGBA{170, 205, 225, 255}
	case invent.Road:
		return color.RGBA{215, 205, 190, 255}
	case invent.Levee, invent.Ditch:
		return color.RGBA{150, 150, 145, 255}
	case invent.Crop, invent.Track, invent.Shade: // what grows there is told below
	}
	switch {
	case t.Acting(i) && t.Patch[i] == invent.SkipPatch:
		return color.RGBA{90, 70, 190, 255}
	case t.Acting(i) && t.Patch[i] >= 0:
		return color.RGBA{125, 20, 95, 255}
	case t.Light(i) && t.Patch[i] >= 0:
		return color.RGBA{225, 170, 205, 255}
	case t.Killed[i] >= killedCover:
		return color.RGBA{135, 90, 55, 255}
	case t.Chewed(i):
		return color.RGBA{225, 130, 50, 255}
	case t.Lacking(i):
		return color.RGBA{240, 215, 90, 255}
	case t.Odd >= 0 && t.Check[i] == t.Odd && diagonal%4 < 2:
		return color.RGBA{150, 100, 130, 255}
	case t.Trend[i] >= 0.25:
		v := uint8(200 - 110*t.Trend[i])
		return color.RGBA{v - 50, v, 215, 255}
	case t.Class[i] == invent.Shade:
		return color.RGBA{105, 130, 110, 255}
	}
	return color.RGBA{190, 210, 180, 255}
}

// holding says in a few words what a scene holds.
func holding(s invent.Scene, t *invent.Truth) string {
	out := ""
	say := func(format string, v ...any) {
		if out != "" {
			out += "; "
		}
		out += fmt.Sprintf(format, v...)
	}
	if s.Weeds.Acres > 0 {
		say("escapes %.2f ac in %d", s.Weeds.Acres, s.Weeds.Patches)
	}
	if s.KilledAcres > 0 {
		say("killed %.1f ac", s.KilledAcres)
	}
	if s.NewAcres > 0 {
		say("newly green %.1f ac", s.NewAcres)
	}
	if len(t.Strips) > 0 {
		say("%d skips at %.0f ft, heading %.1f", len(t.Strips), t.SkipSpacingFt, t.SkipHeadingDeg)
	}
	if s.LineSpacingFt > 0 {
		say("mapping lines at %.0f ft, heading %.1f", s.LineSpacingFt, s.LineHeadingDeg)
	}
	if t.Odd >= 0 {
		say("one of %d checks %s", t.Checks, map[bool]string{true: "untreated", false: "without nitrogen"}[s.Untreated > 0])
	}
	for _, tr := range t.Trends {
		say("%s, half-distance %.0f ft, %.2f ac", map[bool]string{true: "inlet fan", false: "drift from an edge"}[tr.Inlet], tr.HalfM/0.3048, tr.Acres)
	}
	if s.Defoliation.Acres > 0 {
		say("leaf eaten on %.2f ac", s.Defoliation.Acres)
	}
	if s.NitrogenShort.Acres > 0 {
		say("short of nitrogen %.2f ac", s.NitrogenShort.Acres)
	}
	if t.LeveeWeedsM > 0 {
		say("weeds on %.0f ft of levee", t.LeveeWeedsM/0.3048)
	}
	if t.ShadeAcres > 0.05 {
		say("tree shade %.1f ac", t.ShadeAcres)
	}
	if t.CloudAcres > 0.05 {
		say("cloud %.1f ac", t.CloudAcres)
	}
	return out
}

// paletted keeps the n most frequent colours of img, at five bits a channel.
func paletted(img *image.RGBA, n int) *image.Paletted {
	count := map[color.RGBA]int{}
	coarse := func(c color.RGBA) color.RGBA { return color.RGBA{c.R&^7 | 4, c.G&^7 | 4, c.B&^7 | 4, 255} }
	b := img.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			count[coarse(img.RGBAAt(x, y))]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(count), func(p, q color.RGBA) int {
		return cmp.Or(cmp.Compare(count[q], count[p]), cmp.Compare(p.R, q.R), cmp.Compare(p.G, q.G), cmp.Compare(p.B, q.B))
	})
	var palette color.Palette
	for _, c := range colours[:min(n, len(colours))] {
		palette = append(palette, c)
	}
	out := image.NewPaletted(b, palette)
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.SetColorIndex(x, y, uint8(palette.Index(coarse(img.RGBAAt(x, y)))))
		}
	}
	return out
}
