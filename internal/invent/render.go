package invent

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"sync"

	"bittern/internal/grid"
)

// Fill renders the pixels of a window into dst: pixel-interleaved samples,
// little-endian, row by row. Any order of windows and any number of callers
// gives the same pixels. It returns an error when the window leaves the
// picture or dst has another length.
//
// Windows whose edges are multiples of 128 pixels are the fastest.
func (f *Field) Fill(win grid.Window, dst []byte) error {
	px := len(f.scene.Sensor.bands()) * f.scene.Sensor.sampleBytes()
	if win.Col < 0 || win.Row < 0 || win.Cols < 1 || win.Rows < 1 ||
		win.Col+win.Cols > f.place.cols || win.Row+win.Rows > f.place.rows {
		return fmt.Errorf("window %v leaves the picture of %d x %d pixels", win, f.place.cols, f.place.rows)
	}
	if len(dst) != win.Cols*win.Rows*px {
		return fmt.Errorf("window %v needs %d bytes, got %d", win, win.Cols*win.Rows*px, len(dst))
	}
	const workers = 2
	blocks := f.blocksOf(win)
	errs := make([]error, workers)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			c := f.canvas()
			defer f.pool.Put(c)
			for i := w; i < len(blocks); i += workers {
				if err := f.block(c, blocks[i], win, dst, px); err != nil {
					errs[w] = err
					return
				}
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// canvas takes a canvas from the pool.
func (f *Field) canvas() *canvas {
	if c, ok := f.pool.Get().(*canvas); ok {
		return c
	}
	return new(canvas)
}

// blocksOf returns the fixed blocks that win touches.
func (f *Field) blocksOf(win grid.Window) []grid.Window {
	var out []grid.Window
	for r := win.Row / blockSide * blockSide; r < win.Row+win.Rows; r += blockSide {
		for c := win.Col / blockSide * blockSide; c < win.Col+win.Cols; c += blockSide {
			out = append(out, grid.Window{
				Col: c, Row: r,
				Cols: min(blockSide, f.place.cols-c), Rows: min(blockSide, f.place.rows-r),
			})
		}
	}
	return out
}

// block renders the part of one block that win wants, or the whole block when
// it goes through JPEG, and copies it to dst.
func (f *Field) block(c *canvas, blk, win grid.Window, dst []byte, px int) error {
	want := intersect(blk, win)
	need := want
	if f.asCamera() {
		need = blk
	}
	f.paintSeamed(c, blk, need)
	f.develop(c, need)
	if need == blk && f.asCamera() {
		if err := throughJPEG(c.out, blk.Cols, blk.Rows, cmp.Or(f.scene.JPEGQuality, 85)); err != nil {
			return fmt.Errorf("block %v: %w", blk, err)
		}
	}
	if f.scene.Collar {
		f.cutCollar(c, need, px)
	}
	for r := range want.Rows {
		from := ((want.Row+r-need.Row)*need.Cols + want.Col - need.Col) * px
		to := ((want.Row+r-win.Row)*win.Cols + want.Col - win.Col) * px
		copy(dst[to:to+want.Cols*px], c.out[from:])
	}
	return nil
}

// cutCollar puts no data where the mosaic has ended.
func (f *Field) cutCollar(c *canvas, need grid.Window, px int) {
	c.sharp.set(need.Col, need.Cols, f.nodeStep)
	seen := c.line[0][:need.Cols]
	var none [4]byte
	size := f.scene.Sensor.sampleBytes()
	if size == 4 {
		binary.LittleEndian.PutUint32(none[:], math.Float32bits(f.scene.Sensor.noData()))
	}
	for r := range need.Rows {
		f.seen.line(seen, &c.sharp, need.Row+r, c.node)
		for x, v := range seen {
			if v >= 0 {
				continue
			}
			out := c.out[(r*need.Cols+x)*px:][:px]
			for k := range out {
				out[k] = none[k%size]
			}
		}
	}
}

// vivid is a camera's colour rendering of n pixels: it takes off part of the
// haze as black and pulls the colours apart, in linear light.
func vivid(red, green, blue []float32, n int) {
	const black, apart = 0.006, 1.2
	for i := range n {
		r, g, b := red[i], green[i], blue[i]
		grey := float32(0.3*r) + float32(0.6*g) + float32(0.1*b)
		red[i] = grey + float32(apart*(r-grey)) - black
		green[i] = grey + float32(apart*(g-grey)) - black
		blue[i] = grey + float32(apart*(b-grey)) - black
	}
}

// asCamera says whether the picture goes through a camera's colour rendering
// and JPEG: colour does, but for plain scenes.
func (f *Field) asCamera() bool {
	return f.scene.Sensor == ColorJPEGLike8 && f.scene.Noise > 0
}

// paintBlock paints reflectance times light of a block and its padding.
func (f *Field) paintBlock(c *canvas, need grid.Window) {
	bands := f.scene.Sensor.bands()
	win := grid.Window{Col: need.Col - pad, Row: need.Row - pad, Cols: need.Cols + 2*pad, Rows: need.Rows + 2*pad}
	c.reset(win, len(bands))
	f.strew(c)
	c.sharp.set(win.Col, win.Cols, f.nodeStep)
	c.smooth.set(win.Col, win.Cols, 4*f.nodeStep)
	for r := range win.Rows {
		f.paintRow(c, r, bands)
	}
}

// The lines of a canvas: one layer each along the row that is painted.
const (
	lineStand = iota
	lineTone
	lineWet
	lineGrass
	lineCloud
	lineAcross
	lineTrack
	lineBank
	lineDitch
	lineRoad
	linePond
	lineTree
	lineShade
	lineGlint
	lineTrail
)

// readLayers interpolates all layers along one row.
func (f *Field) readLayers(c *canvas, row int) (some [15]bool) {
	for k, l := range [...]*layer{f.stand, f.tone, f.wet, f.grass, f.cloud, f.across, f.track} {
		some[k] = l.line(c.line[k], &c.smooth, row, c.node)
	}
	for k, l := range [...]*layer{f.bank, f.ditch, f.road, f.pond, f.tree, f.shade} {
		some[lineBank+k] = l.line(c.line[lineBank+k], &c.sharp, row, c.node)
	}
	if f.glint != nil {
		some[lineGlint] = f.glint.line(c.line[lineGlint], &c.smooth, row, c.node)
	}
	if f.trail != nil {
		some[lineTrail] = f.trail.line(c.line[lineTrail], &c.sharp, row, c.node)
	}
	return some
}

// paintRow paints one row of the canvas in every band.
func (f *Field) paintRow(c *canvas, r int, bands []int) {
	row := c.win.Row + r
	some := f.readLayers(c, row)
	fine, tuft, slow := f.fine.row(row), f.tuft.row(row+1000), f.slow.row(row)
	xf, xt, xs := wrap(c.win.Col, f.fine.side), wrap(c.win.Col+37, f.tuft.side), wrap(c.win.Col, f.slow.side)
	built := some[lineBank] || some[lineRoad] || some[linePond] || some[lineTree]
	nb := len(bands)
	for x := range c.win.Cols {
		at := r*c.cols + x
		g := grain{fine[xf], tuft[xt], slow[xs]}
		xf, xt, xs = next(xf, f.fine.side), next(xt, f.tuft.side), next(xs, f.slow.side)
		px := f.cropPixel(c, x, at, g)
		if built {
			f.buildOver(c, x, &px, g)
		}
		f.clumpsOver(c, at, &px, g)
		if some[lineTree] {
			px.over(c.line[lineTree][x], &leafTree, 1+0.35*g.slow+0.2*g.tuft)
		}
		f.lightOn(c, x, &px)
		for b := range nb {
			c.band[b][at] = px[bands[b]]
		}
	}
}

// next is the column after x in a tile.
func next(x, side int) int {
	if x++; x == side {
		return 0
	}
	return x
}

// grain is the texture at a pixel: leaf, tuft and clump of tufts wide, mean 0
// and spread 1.
type grain struct{ fine, tuft, slow float32 }

// over lays a material with cover a and brightness light over s.
func (s *spectrum) over(a float32, m *spectrum, light float32) {
	if a <= 0 {
		return
	}
	for b := range s {
		s[b] += float32(a * (float32(m[b]*light) - s[b]))
	}
}

// cropPixel is the crop and the ground between its plants.
func (f *Field) cropPixel(c *canvas, x, at int, g grain) (px spectrum) {
	stand, wet := c.line[lineStand][x], c.line[lineWet][x]
	ditch := c.line[lineDitch][x]
	open := 1 - stand
	cover := stand + float32(f.look.texture*open*(float32(0.5*g.tuft)+float32(0.35*g.fine)+float32(0.3*g.slow)))
	if f.look.row > 0 {
		cover += float32(f.look.row * (0.25 + open) * f.drillRow(c.line[lineAcross][x]))
	}
	ditch *= clampF(1+0.4*g.slow, 0, 1.3)
	cover *= (1 - c.hole[at]) * (1 - 0.72*min(ditch, 1))
	wet += float32(ditch * (1.45 - wet))
	if t := c.line[lineTrack][x]; t > 0 {
		rut := t * f.rut(c.line[lineAcross][x])
		cover *= 1 - float32(0.75*rut)
		wet += float32(0.25 * rut)
	}
	if f.trail != nil {
		if t := c.line[lineTrail][x]; t > 0 {
			t = clampF(t*(1+0.35*g.slow), 0, 1)
			cover *= 1 - float32(0.85*t)
			wet += float32(0.45 * t)
		}
	}
	cover = clampF(cover, 0, 0.985)
	leaf := 1 + float32(f.look.leaf*(float32(0.6*g.fine)+float32(0.6*g.tuft)+float32(0.25*g.slow)))
	earth := (1 - float32(0.42*cover)) * (1 + float32(f.look.leaf*(float32(0.7*g.tuft)+float32(0.4*g.fine))))
	tone := c.line[lineTone][x] + float32(0.10*f.look.leaf*10*g.slow*0.3)
	lo, hi, w := &soilDry, &soilWet, wet
	if wet > 1 {
		lo, hi, w = &soilWet, &waterMuddy, min(wet-1, 1)
	}
	for b := range px {
		plant := leafDark[b] + float32(tone*(leafPale[b]-leafDark[b]))
		ground := lo[b] + float32(w*(hi[b]-lo[b]))
		px[b] = float32(cover*plant*leaf) + float32((1-cover)*ground*earth)
	}
	if f.glint != nil {
		if m := c.line[lineGlint][x]; m > 0 && wet > 1 {
			mirror(&px, m*min(wet-1, 1)*(1-cover), g)
		}
	}
	return px
}

// drillRow is the wave of the drill rows at q metres across them, -1 to 1.
func (f *Field) drillRow(q float32) float32 {
	const rowM = 7.5 * 0.0254
	i := int(float64(q)*(256/rowM)+(1<<30)) & 255
	return f.look.wave[i]
}

// rut is how much of the ground at q metres across the drill is a wheel track:
// pairs of ruts 1.9 m apart, a pair every 18.3 m (60 ft).
func (f *Field) rut(q float32) float32 {
	const every, half, wide = 18.3, 0.95, 0.21
	k := float32(math.Floor(float64(q / every)))
	d := q - float32((k+0.5)*every)
	if d < 0 {
		d = -d
	}
	d -= half
	if d < 0 {
		d = -d
	}
	return clampF(1-(d-wide)/0.12, 0, 1)
}

// buildOver lays bank, road and pond over the ground.
func (f *Field) buildOver(c *canvas, x int, px *spectrum, g grain) {
	if bank := c.line[lineBank][x]; bank > 0 {
		// The edge of a bank is ragged, not smooth.
		a := clampF((bank-0.5)*1.8+0.5+0.16*g.slow*4*bank*(1-bank), 0, 1)
		grass := clampF(c.line[lineGrass][x]+float32(0.20*g.slow)+float32(0.12*g.tuft), 0, 1)
		light := 1 + float32(0.10*g.tuft) + float32(0.07*g.fine)
		var m spectrum
		for b := range m {
			m[b] = soilDry[b] + float32(grass*(leafLevee[b]-soilDry[b]))
		}
		px.over(a, &m, light)
	}
	if road := c.line[lineRoad][x]; road > 0 {
		px.over(min(road, 1), &gravel, 1+float32(0.06*g.fine)+float32(0.08*g.slow))
		px.over(road-1, &concrete, 1+float32(0.02*g.slow))
	}
	if pond := c.line[linePond][x]; pond > 0 {
		px.over(pond, &waterMuddy, 1+float32(0.03*g.slow))
		if f.glint != nil {
			mirror(px, c.line[lineGlint][x]*min(pond, 1), g)
		}
	}
}

// mirror adds a share a of the sun's mirror on water: white, and broken by
// ripples.
func mirror(px *spectrum, a float32, g grain) {
	for b := range px {
		px[b] += float32(0.28 * a * clampF(0.6+0.4*g.fine+0.3*g.tuft, 0, 1.6))
	}
}

// clumpsOver lays weeds and dead leaves over the pixel.
func (f *Field) clumpsOver(c *canvas, at int, px *spectrum, g grain) {
	brown, lush := c.brown[at], c.lush[at]
	sum := brown + lush
	if sum <= 0 {
		return
	}
	light := c.light[at] * (1 + float32(0.12*g.fine) + float32(0.08*g.tuft))
	for b := range px {
		plant := float32(brown*leafDead[b]) + float32(lush*leafWeed[b])
		px[b] = float32(px[b]*(1-sum)) + float32(plant*light)
	}
}

// lightOn puts the pixel under cloud and trees.
func (f *Field) lightOn(c *canvas, x int, px *spectrum) {
	cloud, shade := c.line[lineCloud][x], c.line[lineShade][x]
	if cloud == 1 && shade == 0 {
		return
	}
	for b := range px {
		px[b] *= cloud * (1 - float32(shade*(1-shadeLight[b])))
	}
}

// A cameraNoise is one band's noise: spread^2 = read + shot x light.
const (
	readNoise = 0.0011 // reflectance
	shotNoise = 2.2e-5 // reflectance; at 5 % light this is a spread of 0.1 %
)

// develop turns painted light into the samples of the block: blur, shift,
// gain, haze, noise, counts.
func (f *Field) develop(c *canvas, need grid.Window) {
	bands := f.scene.Sensor.bands()
	size := f.scene.Sensor.sampleBytes()
	px := len(bands) * size
	n := need.Cols * need.Rows * px
	if cap(c.out) < n {
		c.out = make([]byte, n)
	}
	c.out = c.out[:n]
	c.smooth.set(need.Col, need.Cols, 4*f.nodeStep)
	for b := range bands {
		f.expose(c, need, b)
	}
	if f.asCamera() {
		vivid(c.band[0], c.band[1], c.band[2], need.Cols*need.Rows)
	}
	for b := range bands {
		for r := range need.Rows {
			f.store(c.out[r*need.Cols*px+b*size:], px, b, c.band[b][r*need.Cols:][:need.Cols])
		}
	}
}

// expose replaces one band's painted light, padding and all, by what the
// camera measured in the window.
func (f *Field) expose(c *canvas, need grid.Window, b int) {
	gain := c.line[1][:need.Cols]
	haze := float32(hazeFull * f.scene.Haze * float64(skyGlow[f.scene.Sensor.bands()[b]]))
	f.blurAcross(c, b)
	veil := c.line[2][:need.Cols]
	for r := range need.Rows {
		line := c.band[b][r*need.Cols:][:need.Cols]
		f.blurDown(c, b, r, line)
		for x := range gain {
			gain[x] = 1
		}
		if f.gain != nil {
			f.gain[b].line(gain, &c.smooth, need.Row+r, c.node)
		}
		if f.veil != nil {
			f.veil.line(veil, &c.smooth, need.Row+r, c.node)
			full := float32(hazeFull * skyGlow[f.scene.Sensor.bands()[b]])
			for x, v := range veil {
				line[x] += float32((1 - line[x]) * full * v)
			}
		}
		f.measure(line, gain, haze, b, need.Col, need.Row+r)
	}
}

// blurAcross blurs a band along its rows into the canvas' spare plane.
func (f *Field) blurAcross(c *canvas, b int) {
	k := &f.kernels[b]
	w := c.cols
	for r := range c.win.Rows {
		src, dst := c.band[b][r*w:(r+1)*w], c.tmp[r*w:(r+1)*w]
		for x := pad; x < w-pad; x++ {
			s := src[x-k.dx-1 : x-k.dx+2]
			dst[x] = float32(k.kx[2]*s[0]) + float32(k.kx[1]*s[1]) + float32(k.kx[0]*s[2])
		}
	}
}

// blurDown blurs one row of the spare plane downwards into line.
func (f *Field) blurDown(c *canvas, b, r int, line []float32) {
	k := &f.kernels[b]
	w := c.cols
	top := c.tmp[(r+pad-k.dy-1)*w+pad:][:len(line)]
	mid := c.tmp[(r+pad-k.dy)*w+pad:][:len(line)]
	low := c.tmp[(r+pad-k.dy+1)*w+pad:][:len(line)]
	for x := range line {
		line[x] = float32(k.ky[2]*top[x]) + float32(k.ky[1]*mid[x]) + float32(k.ky[0]*low[x])
	}
}

// measure puts haze, gain and noise on a row.
func (f *Field) measure(line, gain []float32, haze float32, band, col, row int) {
	noise := float32(f.scene.Noise)
	if noise == 0 {
		return
	}
	seed := f.look.noiseSeed + uint64(band)*0x9E3779B97F4A7C15
	var h uint64
	for x := range line {
		// One hash serves the five pixels from a multiple of five on.
		k := (col + x) % 5
		if k == 0 || x == 0 {
			h = mix(seed, (col+x)/5, row)
		}
		v := float32((line[x]*(1-haze) + haze) * gain[x])
		sd := float32(math.Sqrt(float64(readNoise*readNoise + shotNoise*max(v, 0))))
		line[x] = v + float32(noise*sd*f.normal[h>>(12*k)&4095])
	}
}

// colourGain is how much light a colour camera is given: closed canopy then
// lies a little under the middle of the codes.
const colourGain = 2.3

// nirGain is the same for the near infrared, in which a crop is bright.
const nirGain = 1.3

// hazeFull is the reflectance that haze 1 adds in the blue.
const hazeFull = 0.018

// fourBandScale is counts a unit of reflectance.
const fourBandScale = 20000

// store writes a row of the sensor's band into dst, a sample every px bytes.
func (f *Field) store(dst []byte, px, band int, line []float32) {
	switch f.scene.Sensor {
	case ColorJPEGLike8:
		for x, v := range line {
			dst[x*px] = f.curve.at(v * colourGain)
		}
	case ColorNIR8:
		gain := float32(colourGain)
		if band == 3 {
			gain = nirGain
		}
		for x, v := range line {
			dst[x*px] = f.curve.at(v * gain)
		}
	case FourBand16:
		for x, v := range line {
			n := min(max(float32(v*fourBandScale)+0.5, 1), 65535)
			binary.LittleEndian.PutUint16(dst[x*px:], uint16(n))
		}
	case FiveBandFloat:
		for x, v := range line {
			binary.LittleEndian.PutUint32(dst[x*px:], math.Float32bits(v))
		}
	}
}
