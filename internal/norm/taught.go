package norm

import (
	"bittern/internal/raster"
	"bittern/internal/stat"
)

// A Taught is what the weeds of one field look like, learnt from those that are sure.
// The weights of evidence are the same for every field, while cameras blur, soils
// and varieties differ; weeds of one field, under one treatment and one camera, are alike.
type Taught struct {
	weights [figureCount]float64 // evidence for each unit of a figure
	bias    float64
}

const (
	sureFrom   = 1.0   // evidence of the cells of a patch that teach
	sureM2     = 300.0 // m2 of such cells, below which nothing is taught
	sureLow    = -1.5  // evidence that belongs to a patch
	sureHigh   = 2.5   // evidence that it reaches somewhere, or
	sureMass   = 250.0 // what its evidence has above sureLow, summed over its square metres
	sureLeast  = 40.0  // m2, the least patch
	sureAway   = 8.0   // m from a patch, from where ground is surely crop
	sureCrop   = 3.0   // evidence above the median, below which it is
	sureMost   = 20000 // cells that a mean is taken of
	taughtTo   = 10.0  // evidence from the crop's middle to that of the sure weeds
	taughtPart = 0.5   // of the evidence that is what the field taught; the rest stays what holds for all fields
	ownScatter = 0.5   // part of a figure's own variance added to it, so that no weight rests on how two figures go together by chance
)

// teach replaces a part of the evidence by what the field's own sure weeds teach.
func (w *work) teach(e []float32) {
	t := w.p.Taught
	if w.p.Given == nil {
		t = w.learn(e)
		w.out.Taught = t
	}
	if t == nil {
		return
	}
	s := nans(len(e))
	raster.Bands(w.p.Workers, w.pool.size.Rows, func(from, to int) {
		for at := from * w.pool.size.Cols; at < to*w.pool.size.Cols; at++ {
			if e[at] == e[at] {
				f := w.figuresAt(at, e)
				sum := t.bias
				for k, x := range f {
					sum += float64(t.weights[k] * x)
				}
				s[at] = float32(sum)
			}
		}
	})
	s = w.smooth(w.smooth(s))
	for at, x := range s {
		if x == x {
			e[at] += float32(taughtPart * (x - e[at]))
		}
	}
}

// learn takes the direction from the crop to the field's sure weeds in which they
// lie apart most, for how each scatters (Fisher's linear discriminant, Annals of
// Eugenics 7 (1936), 179-188); nil where too few are sure.
func (w *work) learn(e []float32) *Taught {
	sure, crop := w.examples(e)
	side := w.s.Grid.CellM * float64(w.pool.fold)
	if float64(len(sure))*side*side < sureM2 || len(crop) < len(sure)/4 {
		return nil
	}
	weeds, rest := w.figuresOf(sure, e), w.figuresOf(crop, e)
	var center, toward figures
	column := make([]float64, 0, max(len(weeds), len(rest)))
	for k := range center {
		column = column[:0]
		for _, f := range rest {
			column = append(column, f[k])
		}
		center[k] = stat.Median(column)
		for _, f := range weeds {
			toward[k] += f[k]
		}
		toward[k] = toward[k]/float64(len(weeds)) - center[k]
	}
	cov := pooled(covariance(weeds), covariance(rest))
	ellipsoid := stat.NewEllipsoid(center[:], cov)
	direction := ellipsoid.Solve(toward[:])
	length, middle := 0.0, 0.0
	for k, d := range direction {
		length += float64(d * toward[k])
		middle += float64(d * center[k])
	}
	if !(length > 0) {
		return nil
	}
	t := &Taught{bias: center[figureEvidence] - float64(taughtTo*middle/length)}
	for k, d := range direction {
		t.weights[k] = taughtTo * d / length
	}
	return t
}

// examples are pool cells of sure weeds, and of ground that is surely crop.
func (w *work) examples(e []float32) (sure, crop []int) {
	size := w.pool.size
	side := w.s.Grid.CellM * float64(w.pool.fold)
	in := make([]bool, len(e))
	for at, x := range e {
		in[at] = x > sureLow // NaN is not
	}
	labels, sizes := stat.Components(in, size, true)
	mass, top := make([]float64, len(sizes)), make([]float32, len(sizes))
	for at, l := range labels {
		if l > 0 {
			mass[l] += float64(e[at] - sureLow)
			top[l] = max(top[l], e[at])
		}
	}
	for at, l := range labels {
		in[at] = l > 0 && float64(sizes[l])*side*side >= sureLeast && (top[l] >= sureHigh || mass[l]*side*side >= sureMass)
	}
	near := stat.Grow(in, size, sureAway/side)
	limit := float32(stat.Median(e) + sureCrop)
	for at, x := range e {
		switch {
		case x != x:
		case in[at] && x > sureFrom:
			sure = append(sure, at)
		case !near[at] && x < limit:
			crop = append(crop, at)
		}
	}
	return sure, crop
}

// figuresOf are the means of the figures over 3 m about some of the cells.
func (w *work) figuresOf(cells []int, e []float32) []figures {
	step := len(cells)/sureMost + 1
	out := make([]figures, (len(cells)+step-1)/step)
	size := w.pool.size
	raster.Bands(w.p.Workers, len(out), func(from, to int) {
		for k := from; k < to; k++ {
			col, row := cells[k*step]%size.Cols, cells[k*step]/size.Cols
			n := 0.0
			for y := max(row-1, 0); y <= min(row+1, size.Rows-1); y++ {
				for x := max(col-1, 0); x <= min(col+1, size.Cols-1); x++ {
					at := y*size.Cols + x
					if e[at] != e[at] {
						continue
					}
					n++
					for j, v := range w.figuresAt(at, e) {
						out[k][j] += v
					}
				}
			}
			for j := range out[k] {
				out[k][j] /= n
			}
		}
	})
	return out
}

// covariance is that of some places, row-major.
func covariance[T figures | spot](of []T) []float64 {
	var mean T
	n := float64(len(of))
	for i := range of {
		for k := range len(mean) {
			mean[k] += of[i][k] / n
		}
	}
	cov := make([]float64, len(mean)*len(mean))
	for i := range of {
		for j := range len(mean) {
			off := of[i][j] - mean[j]
			for k := range j + 1 {
				cov[j*len(mean)+k] += float64(off * (of[i][k] - mean[k]) / n)
			}
		}
	}
	for j := range len(mean) {
		for k := range j {
			cov[k*len(mean)+j] = cov[j*len(mean)+k]
		}
	}
	return cov
}

// pooled is the mean of two covariances, with a part of each figure's own variance
// added; a figure that the flight lacks has no variance and gets no weight.
func pooled(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range out {
		out[i] = (a[i] + b[i]) / 2
	}
	for k := range figureCount {
		at := k*figureCount + k
		if out[at] *= 1 + ownScatter; out[at] == 0 {
			out[at] = 1
		}
	}
	return out
}
