package cells

import "math"

const (
	binWidth  = 0.15    // ln units, of one bin
	belowNorm = 0.7     // ln units from the lower edge of bin 0 to the median
	unitsABin = 1 << 16 // the logarithm tables count in bins / unitsABin
)

// A ratio puts pixels into bins by the logarithm of one sample over another.
//
// Integer samples go through a table of logarithms in units of 1/65536 bin,
// so an edge is exact to 2e-6 ln units; a value of 0 counts as one half.
// Float samples are divided as float32 and the quotient is compared with the
// edges; a quotient that is negative or 0/0 is in bin 0.
type ratio struct {
	over, under int                           // samples
	logs        []int32                       // of a stored integer value; nil for floats
	low         int32                         // lower edge of bin 0, in the units of logs
	edges       [Bins + 1]float32             // lower edges; the last is not a number
	slots       *[1 << (31 - slotShift)]uint8 // for floats
	bytes       *byteBins                     // for pixels of up to four samples of 8 bits
}

// newRatio prepares the logarithms of the values that layout l stores.
func newRatio(l *layout, over, under int) *ratio {
	r := &ratio{over: over, under: under}
	switch l.kind {
	case Float32:
	case Uint16:
		r.logs = logTable(1<<16, func(v int) float64 { return float64(v) })
	case Uint8:
		r.logs = logTable(256, func(v int) float64 { return float64(l.values.value[v]) })
	}
	return r
}

func logTable(n int, value func(int) float64) []int32 {
	t := make([]int32, n)
	for v := range t {
		x := value(v)
		if v == 0 {
			x = value(1) / 2
		}
		t[v] = int32(math.Round(math.Log(x) / binWidth * unitsABin))
	}
	return t
}

// setLow fixes the lower edge of bin 0, in ln units.
func (r *ratio) setLow(low float64) {
	r.low = int32(math.Round(low / binWidth * unitsABin))
	for k := range Bins {
		r.edges[k] = float32(math.Exp(low + float64(k)*binWidth))
	}
	r.edges[Bins] = float32(math.NaN())
	switch {
	case r.logs == nil:
		r.slots = slotBins(r)
	case len(r.logs) == 256 && max(r.over, r.under) < len(r.bytes):
		r.bytes = &byteBins{}
		for v, log := range r.logs {
			r.bytes[r.over][v] += log - r.low
			r.bytes[r.under][v] -= log
		}
	}
}

// integerBin is the bin of two stored integer values.
func (r *ratio) integerBin(over, under uint32) int {
	return min(max(int(r.logs[over]-r.logs[under]-r.low)>>16, 0), Bins-1)
}

// quotientBin is the bin of a quotient of floats.
func (r *ratio) quotientBin(q float32) int {
	bin := 0
	for k := 1; k < Bins; k++ {
		if q >= r.edges[k] {
			bin = k
		}
	}
	return bin
}

// bin is the bin of the pixel that px starts with.
func (r *ratio) bin(l *layout, px []byte) int {
	if l.kind == Float32 {
		return r.quotientBin(l.float(px, r.over) / l.float(px, r.under))
	}
	return r.integerBin(l.integer(px, r.over), l.integer(px, r.under))
}

// log is the logarithm of the pixel's ratio, and false where it has none.
func (r *ratio) log(l *layout, px []byte) (float64, bool) {
	if l.kind != Float32 {
		d := r.logs[l.integer(px, r.over)] - r.logs[l.integer(px, r.under)]
		return float64(d) * binWidth / unitsABin, true
	}
	q := float64(l.float(px, r.over) / l.float(px, r.under))
	return math.Log(q), q > 0 && !math.IsInf(q, 0)
}
