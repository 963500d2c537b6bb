package structure

import (
	"math"

	"bittern/internal/cells"
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A view is the flight as this stage looks at it: logarithms of the bands
// against green, which light and gain hardly change, of green itself, and of how much green
// varies from pixel to pixel.
type view struct {
	size   stat.Size
	inside []bool
	known  []bool      // there is a picture
	ratio  [][]float32 // ln(band/green), a band a slice; 0 where not known
	names  []string    // the bands of ratio
	base   string      // "green", or the flight's first band when it has none
	bright []float32   // ln(green); 0 where not known

	texture []float32 // ln of the deviation of green within a cell over its mean; 0 where not known, nil when it says nothing

	workers int     // goroutines that take part
	picks   []int32 // what sample gave
}

// softness keeps a ratio of dark, coarsely counted pixels from running away: this
// share of the band's median is added to a band before its logarithm.
const softness = 0.03

// newView takes the logarithms of the bands that the flight has, inside the
// field.
func newView(s *cells.Summary, workers int) *view {
	v := &view{size: stat.Size{Cols: s.Grid.Cols, Rows: s.Grid.Rows}, inside: s.Inside, workers: workers}
	v.known = known(s, workers)
	base := 0
	for i, name := range s.Bands {
		if name == "green" {
			base = i
		}
	}
	if len(s.Bands) > 0 {
		v.base = s.Bands[base]
	}
	picks := v.sample()
	v.bright = v.logs(s.Mean[base], picks, nil)
	v.texture = v.textureOf(s, base, picks)
	for i, name := range s.Bands {
		if i == base {
			continue
		}
		v.ratio, v.names = append(v.ratio, v.logs(s.Mean[i], picks, v.bright)), append(v.names, name)
	}
	return v
}

const (
	leastTexture = 0.01 // a crop smoother than this says nothing by its texture
	finePixels   = 9    // pixels in a cell, from which a deviation within it means anything
)

// textureOf is ln(deviation/mean) of a band; nil where cells hold too few pixels, or the crop shows
// no texture.
func (v *view) textureOf(s *cells.Summary, band int, picks []int32) []float32 {
	perCell := s.Grid.CellM / s.PixelM
	if band >= len(s.Spread) || s.Spread[band] == nil || !(perCell*perCell >= finePixels) {
		return nil
	}
	deviation := stat.Median(pick(s.Spread[band], picks))
	if !(deviation >= leastTexture*stat.Median(pick(s.Mean[band], picks))) {
		return nil
	}
	return v.logs(s.Spread[band], picks, v.bright)
}

// inBands calls fn for bands of cells, whole rows, at the same time. Each may
// write the cells of its own.
func (v *view) inBands(fn func(from, to int)) {
	raster.Bands(v.workers, v.size.Rows, func(from, to int) { fn(from*v.size.Cols, to*v.size.Cols) })
}

// known says where, inside the field, every band has a finite mean.
func known(s *cells.Summary, workers int) []bool {
	out := make([]bool, s.Grid.Len())
	raster.Bands(workers, len(out), func(from, to int) {
		for i := from; i < to; i++ {
			out[i] = s.Inside[i] && len(s.Mean) > 0 && (s.Pixels == nil || s.Pixels[i] > 0)
		}
		for _, band := range s.Mean {
			for i, x := range band[from:to] {
				if !(x-x == 0) { // NaN or infinite
					out[from+i] = false
				}
			}
		}
	})
	return out
}

// sample picks about cropSample known cells inside, the same ones each time.
func (v *view) sample() []int32 {
	if v.picks != nil {
		return v.picks
	}
	v.picks = stat.Places(v.crop(), cropSample)
	return v.picks
}

func pick(v []float32, at []int32) []float32 {
	out := make([]float32, len(at))
	for k, i := range at {
		out[k] = v[i]
	}
	return out
}

// logs is the logarithm of a band in each known cell, less what base is there unless it is nil; 0 elsewhere.
func (v *view) logs(band []float32, picks []int32, base []float32) []float32 {
	out := make([]float32, len(band))
	m := stat.Median(pick(band, picks))
	if !(m > 0) {
		m = 1
	}
	soft, least := float32(softness*m), float32(softness*m/4)
	v.inBands(func(from, to int) {
		known := v.known[from:to]
		out, band := out[from:to][:len(known)], band[from:to][:len(known)]
		for i, is := range known {
			if is {
				x := band[i] + soft
				if x < least {
					x = least
				}
				out[i] = ln32(x)
			}
		}
		if base == nil {
			return
		}
		for i, b := range base[from:to][:len(known)] {
			out[i] -= b
		}
	})
	return out
}

// ln32 is the natural logarithm of a positive normal number, to 1e-6: the series
// of the inverse hyperbolic tangent on a mantissa of sqrt(1/2) to sqrt(2).
func ln32(x float32) float32 {
	const one, half = 0x3f800000, 0x3f3504f4 // bits of 1, and of the least mantissa, just above sqrt(1/2)
	bits := math.Float32bits(x) + (one - half)
	e := int32(bits>>23) - 127
	m := math.Float32frombits(bits&0x7fffff + half)
	t := (m - 1) / (m + 1)
	q := t * t
	p := float32(q*float32(1.0/7)) + float32(1.0/5)
	p = float32(q*p) + float32(1.0/3)
	p = float32(q*p) + 1
	return float32(2*t*p) + float32(float32(e)*0.6931472)
}

// halve returns the view on cells of twice the side; a cell is known when one of
// its four is, and inside when two are.
func (v *view) halve() *view {
	s := halfSize(v.size)
	out := &view{size: s, names: v.names, base: v.base, workers: v.workers}
	out.inside, out.known, out.bright = make([]bool, s.Len()), make([]bool, s.Len()), make([]float32, s.Len())
	for range v.ratio {
		out.ratio = append(out.ratio, make([]float32, s.Len()))
	}
	if v.texture != nil {
		out.texture = make([]float32, s.Len())
	}
	planes, to := append(v.features(), v.texture), append(out.features(), out.texture)
	raster.Bands(v.workers, s.Rows, func(first, last int) {
		halveMask(out.inside, v.inside, v.size, s, 2, first, last)
		halveMask(out.known, v.known, v.size, s, 1, first, last)
		h := newHalving(v.known, v.size, s)
		for y := first; y < last; y++ {
			h.take(y)
			for k, plane := range planes {
				if plane != nil {
					h.means(to[k], plane)
				}
			}
		}
	})
	return out
}

func halfSize(s stat.Size) stat.Size {
	return stat.Size{Cols: (s.Cols + 1) / 2, Rows: (s.Rows + 1) / 2}
}

// halveMask says of rows first to last of out which of its cells have at least
// least cells of in.
func halveMask(out, in []bool, from, to stat.Size, least, first, last int) {
	none := make([]bool, from.Cols)
	for y := first; y < last; y++ {
		upper, lower := in[2*y*from.Cols:][:from.Cols], none
		if 2*y+1 < from.Rows {
			lower = in[(2*y+1)*from.Cols:][:from.Cols]
		}
		row := out[y*to.Cols:][:to.Cols]
		for x := range row {
			n, i := 0, 2*x
			if upper[i] {
				n++
			}
			if lower[i] {
				n++
			}
			if i++; i < len(upper) && upper[i] {
				n++
			}
			if i < len(lower) && lower[i] {
				n++
			}
			row[x] = n >= least
		}
	}
}

// A halving takes means of the known cells of one row of a raster of half the size after the other.
type halving struct {
	known    []bool
	from, to stat.Size
	y        int
	none     []bool
	upper    []bool // the known cells of both rows that lie in row y
	lower    []bool
	whole    []bool // of which all four are known
}

func newHalving(known []bool, from, to stat.Size) *halving {
	return &halving{known: known, from: from, to: to, none: make([]bool, from.Cols), whole: make([]bool, to.Cols)}
}

// take goes to row y.
func (h *halving) take(y int) {
	h.y, h.upper, h.lower = y, h.known[2*y*h.from.Cols:][:h.from.Cols], h.none
	if 2*y+1 < h.from.Rows {
		h.lower = h.known[(2*y+1)*h.from.Cols:][:h.from.Cols]
	}
	for x := range h.whole {
		i := 2 * x
		h.whole[x] = i+1 < len(h.upper) && h.upper[i] && h.upper[i+1] && h.lower[i] && h.lower[i+1]
	}
}

// means puts those of v into its row of out, 0 where nothing is known.
func (h *halving) means(out, v []float32) {
	upper := v[2*h.y*h.from.Cols:][:h.from.Cols]
	lower := upper
	if 2*h.y+1 < h.from.Rows {
		lower = v[(2*h.y+1)*h.from.Cols:][:h.from.Cols]
	}
	row := out[h.y*h.to.Cols:][:h.to.Cols]
	for x, whole := range h.whole[:len(row)] {
		i := 2 * x
		if whole {
			a, b := upper[i:i+2], lower[i:i+2]
			row[x] = (a[0] + a[1] + b[0] + b[1]) / 4
			continue
		}
		var sum, n float32
		for k := i; k < min(i+2, len(upper)); k++ {
			if h.upper[k] {
				sum += upper[k]
				n++
			}
		}
		for k := i; k < min(i+2, len(lower)); k++ {
			if h.lower[k] {
				sum += lower[k]
				n++
			}
		}
		row[x] = 0
		if n > 0 {
			row[x] = sum / n
		}
	}
}

// crop is where cells are likely to be the field's own ground.
func (v *view) crop() []bool {
	out := make([]bool, len(v.inside))
	for i := range out {
		out[i] = v.inside[i] && v.known[i]
	}
	return out
}

// Settings of the distance from the crop.
const (
	cropShare   = 0.6   // of the cells that the crop's norm rests on
	cropFloor   = 0.05  // ln units, least spread
	cropSample  = 20000 // cells that the norm is taken from
	farFromCrop = 8.0   // spreads; more counts as this
	stepsPer    = 31.0  // steps of the quantised distance in one spread
)

// A cropNorm is the crop's colour over a whole field.
type cropNorm struct {
	stat.Ellipsoid
	bright, brightSpread float64 // ln(green)
}

// norm estimates the crop's colour from the cells inside.
func (v *view) norm() (cropNorm, error) {
	picks := v.sample()
	p := len(v.ratio)
	x := make([]float64, 0, p*len(picks))
	for _, i := range picks {
		for _, r := range v.ratio {
			x = append(x, float64(r[i]))
		}
	}
	e, err := stat.Concentrate(x, p, stat.Concentration{Share: cropShare, Steps: 8, Floor: cropFloor})
	n := cropNorm{Ellipsoid: e}
	n.bright, n.brightSpread = stat.CenterSpread(pick(v.bright, picks))
	return n, err
}

// distances is the robust distance of each known cell from the crop in steps
// (see stepsPer), 0 elsewhere.
func (v *view) distances(n *cropNorm) []uint8 {
	out := make([]uint8, len(v.known))
	w := whiten(&n.Ellipsoid)
	v.inBands(func(from, to int) {
		var d [mostFeatures]float32
		for i := from; i < to; i++ {
			if v.known[i] {
				for j, r := range v.ratio[:w.p] {
					d[j] = r[i]
				}
				out[i] = stepsOf(w.squared(&d))
			}
		}
	})
	return out
}

// A whitener turns ratios into independent spreads: the inverse of the lower
// triangle that the covariance is the square of.
type whitener struct {
	p      int
	center [mostFeatures]float32
	rows   [mostFeatures][mostFeatures]float32
}

// mostFeatures is four ratios of five bands, and brightness.
const mostFeatures = 5

func whiten(n *stat.Ellipsoid) whitener {
	w := whitener{p: min(len(n.Center), mostFeatures)}
	root := n.Whitener()
	for j := range w.p {
		w.center[j] = float32(n.Center[j])
	}
	for i := range w.p {
		for j := range i + 1 {
			w.rows[i][j] = float32(root[i*len(n.Center)+j])
		}
	}
	return w
}

// squared is the square of the distance of d from the centre, in spreads. Features beyond p
// have no weight. It is written out, since it is asked of every cell.
func (w *whitener) squared(d *[mostFeatures]float32) float32 {
	x0, x1, x2, x3, x4 := d[0]-w.center[0], d[1]-w.center[1], d[2]-w.center[2], d[3]-w.center[3], d[4]-w.center[4]
	r := &w.rows
	t0 := float32(r[0][0] * x0)
	t1 := float32(r[1][0]*x0) + float32(r[1][1]*x1)
	t2 := float32(r[2][0]*x0) + float32(r[2][1]*x1) + float32(r[2][2]*x2)
	t3 := float32(r[3][0]*x0) + float32(r[3][1]*x1) + float32(r[3][2]*x2) + float32(r[3][3]*x3)
	t4 := float32(r[4][0]*x0) + float32(r[4][1]*x1) + float32(r[4][2]*x2) + float32(r[4][3]*x3) + float32(r[4][4]*x4)
	return float32(t0*t0) + float32(t1*t1) + float32(t2*t2) + float32(t3*t3) + float32(t4*t4)
}

// stepsOf is a distance in steps, capped.
func stepsOf(squared float32) uint8 {
	if !(squared < farFromCrop*farFromCrop) {
		return farFromCrop * stepsPer
	}
	return uint8(float32(math.Sqrt(float64(squared)))*stepsPer + 0.5)
}
