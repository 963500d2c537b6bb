package structure

import (
	"cmp"
	"math"
	"slices"

	"bittern/internal/geo"
	"bittern/internal/stat"
)

// Settings of following a line from cell to cell. Lengths in metres.
const (
	seedStrength   = 2.2 // spreads, a line begins where the filter says this
	paleSeed       = 1.2 // a pale one where it says this
	holdStrength   = 0.7 // and goes on while it says this
	stepM          = 2.0
	turnPerStep    = 24.0 // degrees, most that a line turns in one step
	bridgeM        = 14.0 // gap that a line crosses straight on
	claimM         = 5.0  // no second line begins or runs so near to a first
	shortestLineM  = 25.0
	strengthWeight = 0.02 // spreads that a turn of one degree costs
)

// A trace is a line as it was followed: points in cells of the filter's raster
// (x to the right, y downwards, cell middles at whole numbers).
type trace struct {
	pts      []geo.Point
	strength float64 // mean, spreads
	ends     [2]endKind
}

// An endKind says why a trace stopped.
type endKind uint8

const (
	openEnd   endKind = iota // the line was lost
	joinsLine                // it ran into an earlier line
	atEdge                   // it reached the perimeter
	hiddenEnd                // it goes on in dense weeds, where it cannot be seen
)

// lost says that a line was seen to come to nothing.
func (k endKind) lost() bool { return k == openEnd || k == hiddenEnd }

// A follower walks along the crests of a line field.
type follower struct {
	size     stat.Size
	cell     float64 // m
	f        lineField
	angle    []float64           // of the headings, radians
	allowed  []bool              // cells where a line may run
	broad    func(x, y int) bool // whether all stands out round about a cell
	seed     float64             // spreads, where a line begins
	owner    []int32             // line that claimed the cell, from 1; 0 none
	partners map[end]end         // ends that were joined
}

// follow returns the lines of the field that begin at so many spreads, strongest seed first, besides those that are known.
func (w *follower) follow(seed float64, known []trace) []trace {
	w.seed, w.owner = seed, make([]int32, w.size.Len())
	for i, t := range known {
		w.claim(t.pts, int32(i+1))
	}
	var out []trace
	for _, at := range w.seeds() {
		if w.owner[at] != 0 {
			continue
		}
		self := int32(len(known) + len(out) + 1)
		t := w.from(int(at), self)
		if pathLength(t.pts)*w.cell < shortestLineM {
			continue
		}
		out = append(out, t)
		w.claim(t.pts, self)
	}
	return out
}

// seeds are the crest cells of at least seedStrength, strongest first.
func (w *follower) seeds() []int32 {
	var out []int32
	s := w.size
	for y := 1; y < s.Rows-1; y++ {
		for x := 1; x < s.Cols-1; x++ {
			i := y*s.Cols + x
			if v := w.f.Strength[i]; float64(v) >= w.seed && w.allowed[i] && w.isCrest(i) {
				out = append(out, int32(i))
			}
		}
	}
	slices.SortFunc(out, func(a, b int32) int {
		return cmp.Or(cmp.Compare(w.f.Strength[b], w.f.Strength[a]), cmp.Compare(a, b))
	})
	return out
}

func (w *follower) isCrest(i int) bool {
	a := w.angle[w.f.Heading[i]]
	dx, dy := int(math.Round(math.Sin(a))), int(math.Round(math.Cos(a))) // across: a quarter turn, rows downwards
	j := dy*w.size.Cols + dx
	v := w.f.Strength[i]
	return v >= w.f.Strength[i+j] && v >= w.f.Strength[i-j]
}

// from follows the crest through cell at in both directions.
func (w *follower) from(at int, self int32) trace {
	p := geo.Point{X: float64(at % w.size.Cols), Y: float64(at / w.size.Cols)}
	h := -w.angle[w.f.Heading[at]] // rows run downwards
	ahead, e1 := w.walk(p, h, self)
	back, e0 := w.walk(p, h+math.Pi, self)
	slices.Reverse(back)
	t := trace{pts: append(append(back, p), ahead...), ends: [2]endKind{e0, e1}}
	sum := 0.0
	for _, q := range t.pts {
		sum += w.at(q)
	}
	t.strength = sum / float64(len(t.pts))
	return t
}

// walk goes on from p at heading h (radians, y downwards) until the line ends.
func (w *follower) walk(p geo.Point, h float64, self int32) ([]geo.Point, endKind) {
	var out []geo.Point
	step := stepM / w.cell
	for range 4 * (w.size.Cols + w.size.Rows) {
		q, turned, ok := w.best(p, h, step)
		if !ok {
			gap, at, heading, found := w.bridge(p, h)
			if !found {
				return out, w.endAt(p, openEnd)
			}
			out = append(out, gap...)
			p, h = at, heading
			continue
		}
		if near(out, q, step) {
			return out, joinsLine // it bit its own tail
		}
		out = append(out, q)
		if k := w.claimed(q); k != 0 && k != self {
			return out, joinsLine
		}
		p, h = q, turned
	}
	return out, openEnd
}

func (w *follower) endAt(p geo.Point, otherwise endKind) endKind {
	x, y := int(p.X+0.5), int(p.Y+0.5)
	const reach = 4
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			if !w.on(x+dx, y+dy) || !w.allowed[(y+dy)*w.size.Cols+x+dx] {
				return atEdge
			}
		}
	}
	return otherwise
}

func (w *follower) on(x, y int) bool {
	return x >= 0 && y >= 0 && x < w.size.Cols && y < w.size.Rows
}

// near says whether q comes back to the path more than ten steps ago.
func near(path []geo.Point, q geo.Point, step float64) bool {
	for i := range max(len(path)-10, 0) {
		if math.Hypot(path[i].X-q.X, path[i].Y-q.Y) < step {
			return true
		}
	}
	return false
}

func (w *follower) claimed(q geo.Point) int32 {
	return w.owner[int(q.Y+0.5)*w.size.Cols+int(q.X+0.5)]
}

// best is the strongest step on from p, a little ahead counting too.
func (w *follower) best(p geo.Point, h, step float64) (geo.Point, float64, bool) {
	const tries = 4
	top, turn := math.Inf(-1), 0.0
	for k := -tries; k <= tries; k++ {
		d := turnPerStep * float64(k) / tries
		v := w.ray(p, h+d*math.Pi/180, step) - float64(strengthWeight*math.Abs(d))
		if v > top {
			top, turn = v, d*math.Pi/180
		}
	}
	if top < holdStrength {
		return p, h, false
	}
	q := ahead(p, h+turn, step)
	if !w.free(q) {
		return p, h, false
	}
	q = w.crest(q, h+turn)
	return q, h + turn/2, true
}

// crest moves q across the line to the crest, by at most half a cell.
func (w *follower) crest(q geo.Point, h float64) geo.Point {
	l, m, r := w.at(ahead(q, h-math.Pi/2, 1)), w.at(q), w.at(ahead(q, h+math.Pi/2, 1))
	bend := l + r - 2*m
	if bend >= 0 {
		return q
	}
	return ahead(q, h+math.Pi/2, max(-0.5, min(0.5, (l-r)/(2*bend))))
}

// ray is the mean strength one and two steps on.
func (w *follower) ray(p geo.Point, h, step float64) float64 {
	return (w.at(ahead(p, h, step)) + w.at(ahead(p, h, 2*step))) / 2
}

func ahead(p geo.Point, h, d float64) geo.Point {
	return geo.Point{X: p.X + float64(d*math.Cos(h)), Y: p.Y + float64(d*math.Sin(h))}
}

func (w *follower) free(q geo.Point) bool {
	x, y := int(q.X+0.5), int(q.Y+0.5)
	return w.on(x, y) && w.allowed[y*w.size.Cols+x]
}

// bridge looks straight on, within a little, for where the line comes back.
func (w *follower) bridge(p geo.Point, h float64) (gap []geo.Point, at geo.Point, heading float64, found bool) {
	step := stepM / w.cell
	for d := 2 * step; d <= bridgeM/w.cell; d += step / 2 {
		for _, turn := range [...]float64{0, 0.09, -0.09, 0.18, -0.18, 0.27, -0.27} {
			q := ahead(p, h+turn, d)
			if !w.free(q) || w.ray(q, h+turn, step) < (w.seed+holdStrength)/2 || w.at(q) < holdStrength {
				continue
			}
			for e := step; e < d; e += step {
				gap = append(gap, ahead(p, h+turn, e))
			}
			return append(gap, q), q, h + turn, true
		}
	}
	return nil, p, h, false
}

// at interpolates the strength; far below zero beyond the raster.
func (w *follower) at(q geo.Point) float64 {
	x, y := int(math.Floor(q.X)), int(math.Floor(q.Y))
	if x < 0 || y < 0 || x+1 >= w.size.Cols || y+1 >= w.size.Rows {
		return -1e3
	}
	fx, fy := q.X-float64(x), q.Y-float64(y)
	i := y*w.size.Cols + x
	a, b := float64(w.f.Strength[i]), float64(w.f.Strength[i+1])
	c, d := float64(w.f.Strength[i+w.size.Cols]), float64(w.f.Strength[i+w.size.Cols+1])
	top := a + float64(fx*(b-a))
	low := c + float64(fx*(d-c))
	return top + float64(fy*(low-top))
}

// claim keeps other lines off the path.
func (w *follower) claim(path []geo.Point, line int32) {
	r := claimM / w.cell
	for _, q := range path {
		for y := int(math.Ceil(q.Y - r)); float64(y) <= q.Y+r; y++ {
			for x := int(math.Ceil(q.X - r)); float64(x) <= q.X+r; x++ {
				if w.on(x, y) && w.owner[y*w.size.Cols+x] == 0 && math.Hypot(float64(x)-q.X, float64(y)-q.Y) <= r {
					w.owner[y*w.size.Cols+x] = line
				}
			}
		}
	}
}

func pathLength(path []geo.Point) float64 {
	sum := 0.0
	for i := 1; i < len(path); i++ {
		sum += math.Hypot(path[i].X-path[i-1].X, path[i].Y-path[i-1].Y)
	}
	return sum
}
