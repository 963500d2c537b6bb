package invent

import (
	"math"

	"bittern/internal/geo"
	"bittern/internal/grid"
)

// balance is the gain of a band at p by the half of the field in which it was
// taken: its camera's white balance.
func (f *Field) balance(band int, p geo.Point) float64 {
	w := f.scene.WhiteBalance
	if w == 0 || f.downwind(p) < 0.5 {
		return 1
	}
	switch bandNames[f.scene.Sensor.bands()[band]] {
	case "blue":
		return 1 - 0.06*w
	case "red":
		return 1 + 0.06*w
	}
	return 1 + 0.01*w
}

// downwind is how far across the field p lies, 0 to 1 in a direction of the
// day's.
func (f *Field) downwind(p geo.Point) float64 {
	u := p.X / f.halfW
	if f.day%2 == 1 {
		u = p.Y / f.halfH
	}
	if f.day%4 > 1 {
		u = -u
	}
	return clamp(0.5+0.5*u, 0, 1)
}

// spot is 1 in the middle of a spot that each frame of a mapping line leaves at
// the same place across the line, u and v in line spacings across and along.
func spot(u, v, phase float64) float64 {
	const apart, wide = 0.7, 0.16
	du := u - math.Floor(u) - phase
	dv := (v/apart - math.Floor(v/apart) - 0.5) * apart
	return math.Exp(-(float64(du*du) + float64(dv*dv)) / (2 * wide * wide))
}

// paintSeamed paints a block from the piece of the mosaic that it belongs to:
// pieces lie a little off their place, and along some of their seams two lie
// over each other. Seams follow the edges of blocks.
func (f *Field) paintSeamed(c *canvas, blk, need grid.Window) {
	if f.scene.Seams == 0 {
		f.paintBlock(c, need)
		return
	}
	first, second, between := f.pieces(blk)
	if ghost := between && unit01(mix(sub(f.day, 941), first, second)) < f.scene.Ghosts; ghost {
		f.paintBlock(c, f.shifted(blk, need, second))
		for b := range f.scene.Sensor.bands() {
			c.other[b] = append(c.other[b][:0], c.band[b]...)
		}
		f.paintBlock(c, f.shifted(blk, need, first))
		for b := range f.scene.Sensor.bands() {
			for i, v := range c.other[b] {
				c.band[b][i] = float32(0.55*c.band[b][i]) + float32(0.45*v)
			}
		}
		return
	}
	f.paintBlock(c, f.shifted(blk, need, first))
}

// pieceM is the mean side of a piece of the mosaic, in metres.
const pieceM = 34

// pieces returns the piece that a block belongs to, the next nearest, and
// whether the block lies about half-way between them.
func (f *Field) pieces(blk grid.Window) (first, second int, between bool) {
	side := pieceM / (blockSide * f.place.pixelM) // blocks
	x, y := (float64(blk.Col/blockSide)+0.5)/side, (float64(blk.Row/blockSide)+0.5)/side
	d1, d2 := math.Inf(1), math.Inf(1)
	for j := floor(y) - 1; j <= floor(y)+1; j++ {
		for i := floor(x) - 1; i <= floor(x)+1; i++ {
			h := mix(sub(f.day, 940), i, j)
			dx, dy := float64(i)+unit01(h)-x, float64(j)+unit01(h>>30)-y
			id := (i+1)*4096 + j + 1
			switch d := float64(dx*dx) + float64(dy*dy); {
			case d < d1:
				d1, d2, first, second = d, d1, id, first
			case d < d2:
				d2, second = d, id
			}
		}
	}
	return first, second, math.Sqrt(d2)-math.Sqrt(d1) < 0.8/side
}

// shifted is the window that a piece shows in the place of need, kept inside
// the picture by its whole block.
func (f *Field) shifted(blk, need grid.Window, piece int) grid.Window {
	h := mix(sub(f.day, 942), piece, 0)
	most := 0.5 * f.scene.Seams / f.place.pixelM
	dx, dy := int(math.Round(most*(2*unit01(h)-1))), int(math.Round(most*(2*unit01(h>>30)-1)))
	need.Col += min(max(dx, -blk.Col), f.place.cols-blk.Col-blk.Cols)
	need.Row += min(max(dy, -blk.Row), f.place.rows-blk.Row-blk.Rows)
	return need
}
