package suspect

import (
	"context"
	"math"

	"bittern/internal/cells"
	"bittern/internal/geo"
	"bittern/internal/grid"
	"bittern/internal/norm"
	"bittern/internal/structure"
)

// Settings of weeds on levees. Lengths in metres.
const (
	bankPieceM = 32.0 // of levee that is read at a time
	bankReachM = 2.5  // from the bank's own half width, for its borrow ditch
	bankStepM  = 1.0  // from one station to the next
	bankRunM   = 4.0  // a shorter stretch is a tuft
	bankGapM   = 4.0  // a shorter gap does not part a stretch
)

// A BankWeeds says how much of a levee looks like escapes.
type BankWeeds struct {
	Levee   int        // index into Layout.Levees
	LengthM float64    // m of the grid's zone
	Parts   []geo.Line // m, grid zone: the stretches
}

// LeveeWeeds finds the stretches of levee whose own cells look like escapes:
// brown specks over living green, held against the norm of the checks beside
// them, as strong as a patch must be somewhere. They are told as a length, since
// people treat levees by the foot. told is false where it cannot be said, or the
// question does not ask for browned ground: dry
// grass on a bank is as brown and as rough as weeds, and only the near infrared
// shows that little in it lives.
func LeveeWeeds(ctx context.Context, s *cells.Summary, l *structure.Layout, d *norm.Departure, p Parameters) (found []BankWeeds, told bool, err error) {
	if nir, _ := s.Band("nir"); nir == nil || s.Ratio == "" || len(l.Levees) == 0 || p.Norm.Search != nil || !p.counts(norm.Browned) {
		return nil, false, nil
	}
	b := banks{s: s, l: l, p: p.Norm}
	b.p.Given, b.p.Workers, b.p.Progress = d.Norms, 1, nil
	for k := range l.Levees {
		line, err := b.walk(ctx, &l.Levees[k])
		if err != nil {
			return nil, false, err
		}
		if w := weedy(line, p.High); len(w.Parts) > 0 {
			w.Levee = k
			found = append(found, w)
		}
	}
	return found, true, nil
}

// A station is a place on a levee's line, with what its bank looks like there.
type station struct {
	at       geo.Point
	evidence float32 // the largest across the bank; NaN where none is known
}

// banks reads the ground of levees.
type banks struct {
	s *cells.Summary
	l *structure.Layout
	p norm.Parameters
}

// walk reads a levee piece by piece.
func (b *banks) walk(ctx context.Context, levee *structure.LeveeLine) ([]station, error) {
	var out []station
	line := levee.Line
	length := line.Length()
	n := max(1, int(math.Ceil(length/bankStepM)))
	for k := range n + 1 {
		out = append(out, station{at: along(line, length*float64(k)/float64(n)), evidence: float32(math.NaN())})
	}
	piece := max(2, int(bankPieceM/bankStepM))
	for from := 0; from < len(out); from += piece {
		if err := b.read(ctx, out[from:min(from+piece, len(out))], levee.WidthM/2); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// read finds the evidence of the banks' own cells about a few stations.
func (b *banks) read(ctx context.Context, piece []station, reachM float64) error {
	g := b.s.Grid
	reach := int(math.Ceil(reachM / g.CellM))
	c0, r0, c1, r1 := g.Cols, g.Rows, 0, 0
	for _, s := range piece {
		col, row := cellOf(g, s.at)
		c0, r0, c1, r1 = min(c0, col-reach), min(r0, row-reach), max(c1, col+reach+1), max(r1, row+reach+1)
	}
	win := clip(g, c0, r0, c1, r1)
	if win.Cols <= 0 || win.Rows <= 0 {
		return nil
	}
	s, l := cut(b.s, b.l, win)
	some := false
	for i, r := range l.Reason {
		if r != structure.Levee {
			l.Reason[i] = structure.Outside
			continue
		}
		l.Reason[i] = structure.LookedAt
		some = true
	}
	if !some {
		return nil
	}
	d, err := norm.Find(ctx, &s, &l, b.p)
	if err != nil {
		return err
	}
	for k := range piece {
		col, row := cellOf(g, piece[k].at)
		piece[k].evidence = top(d.Evidence, s.Grid, col-win.Col, row-win.Row, reach)
	}
	return nil
}

// top is the largest evidence within so many cells; NaN where none is known.
func top(v []float32, g grid.Grid, col, row, reach int) float32 {
	best := float32(math.NaN())
	for r := max(row-reach, 0); r <= min(row+reach, g.Rows-1); r++ {
		for c := max(col-reach, 0); c <= min(col+reach, g.Cols-1); c++ {
			if e := v[r*g.Cols+c]; (c-col)*(c-col)+(r-row)*(r-row) <= reach*reach && !(e <= best) && e == e {
				best = e
			}
		}
	}
	return best
}

func cellOf(g grid.Grid, p geo.Point) (col, row int) {
	return int(math.Floor((p.X - g.OriginX) / g.CellM)), int(math.Floor((g.OriginY - p.Y) / g.CellM))
}

// along is the point so far along a line.
func along(l geo.Line, m float64) geo.Point {
	for i := 1; i < len(l); i++ {
		d := l[i-1].Distance(l[i])
		if m <= d && d > 0 {
			t := m / d
			return geo.Point{X: l[i-1].X + float64(t*(l[i].X-l[i-1].X)), Y: l[i-1].Y + float64(t*(l[i].Y-l[i-1].Y))}
		}
		m -= d
	}
	return l[len(l)-1]
}

// weedy joins the stations that stand out into stretches.
func weedy(line []station, level float64) BankWeeds {
	var out BankWeeds
	gap, run := int(bankGapM/bankStepM), int(bankRunM/bankStepM)
	for from := 0; from < len(line); from++ {
		if !(float64(line[from].evidence) >= level) {
			continue
		}
		last := from
		for k := from + 1; k < len(line) && k-last <= gap; k++ {
			if float64(line[k].evidence) >= level {
				last = k
			}
		}
		if last-from >= run {
			var part geo.Line
			for _, s := range line[from : last+1] {
				part = append(part, s.at)
			}
			out.Parts = append(out.Parts, part)
			out.LengthM += part.Length()
		}
		from = last
	}
	return out
}
