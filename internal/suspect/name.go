package suspect

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"slices"

	"bittern/internal/geo"
)

const (
	mostLetters = 9   // lettered suspects on paper and page
	placeM      = 5.0 // m, an id's place is rounded to this
)

// An overlap is how many cells of a suspect lie in an earlier one's outline.
type overlap struct{ now, before, cells int }

// overlaps finds which suspects lie on ground of earlier ones, the largest
// overlap first.
func (w *work) overlaps(now []Suspect, earlier []Earlier) []overlap {
	var out []overlap
	for k, e := range earlier {
		box := e.Outline.Bounds()
		for i, s := range now {
			n := 0
			for _, cell := range s.Cells {
				at := w.s.Grid.Center(int(cell)%w.size.Cols, int(cell)/w.size.Cols)
				if box.Meets(geo.Box{Min: at, Max: at}) && e.Outline.Contains(at) {
					n++
				}
			}
			if n > 0 {
				out = append(out, overlap{i, k, n})
			}
		}
	}
	slices.SortFunc(out, func(a, b overlap) int {
		return cmp.Or(cmp.Compare(b.cells, a.cells), cmp.Compare(a.before, b.before), cmp.Compare(a.now, b.now))
	})
	return out
}

// name gives every suspect its id and the most important ones their letters. A
// suspect on the ground of an earlier one takes over its id and letter.
func name(now []Suspect, epsg int, over []overlap, earlier []Earlier) {
	taken, used := map[string]bool{}, map[string]bool{}
	heir := make([]bool, len(earlier))
	for _, o := range over {
		if s, e := &now[o.now], earlier[o.before]; s.ID == "" && !heir[o.before] && !taken[e.ID] {
			s.ID, s.Letter = e.ID, e.Letter
			heir[o.before], taken[e.ID] = true, true
		}
	}
	for _, e := range earlier {
		used[e.Letter] = true
	}
	for i := range now {
		if now[i].ID == "" {
			now[i].ID = newID(now[i].Center, epsg, taken)
			taken[now[i].ID] = true
		}
	}
	letter(now, used)
}

// newID hashes the rounded place; where two places meet in one hash the later
// one moves on.
func newID(at geo.Point, epsg int, taken map[string]bool) string {
	for salt := 0; ; salt++ {
		h := fnv.New32a()
		fmt.Fprintf(h, "%d %d %d %d", epsg, int64(math.Round(at.X/placeM)), int64(math.Round(at.Y/placeM)), salt)
		sum := h.Sum32()
		id := fmt.Sprintf("s-%04x", (sum>>16)^(sum&0xffff))
		if !taken[id] || salt > 1<<20 {
			return id
		}
	}
}

// letter hands out free letters by importance to as many as there is room for,
// and then in the order of the checks and from north-west. Letters that were
// used before on other ground are handed out last.
func letter(now []Suspect, used map[string]bool) {
	var fresh []int
	room := mostLetters
	held := map[string]bool{}
	for i, s := range now {
		if s.Letter == "" {
			fresh = append(fresh, i)
		} else {
			held[s.Letter] = true
			room--
		}
	}
	slices.SortStableFunc(fresh, func(a, b int) int { return cmp.Compare(importance(now[b]), importance(now[a])) })
	fresh = fresh[:max(0, min(len(fresh), room))]
	slices.SortStableFunc(fresh, func(a, b int) int { return byPlace(now[a], now[b]) })
	var free, last []string
	for k := range mostLetters {
		switch l := string(rune('A' + k)); {
		case held[l]:
		case used[l]:
			last = append(last, l)
		default:
			free = append(free, l)
		}
	}
	free = append(free, last...)
	for k, i := range fresh {
		now[i].Letter = free[k]
	}
}

// importance weighs a suspect: its acres by how strongly it departs.
func importance(s Suspect) float64 { return s.Acres * (2 + max(s.Evidence, 0)) }

// byPlace orders by check and then from north-west.
func byPlace(a, b Suspect) int {
	return cmp.Or(cmp.Compare(checkNumber(a.Check), checkNumber(b.Check)), cmp.Compare(a.Check, b.Check),
		cmp.Compare(a.Center.X-a.Center.Y, b.Center.X-b.Center.Y), cmp.Compare(a.Center.X, b.Center.X), cmp.Compare(a.ID, b.ID))
}

// checkNumber reads a check's id as a number, so that 10 follows 9; what is no
// number comes last.
func checkNumber(id string) int {
	n := 0
	for _, c := range id {
		if c < '0' || c > '9' {
			return math.MaxInt
		}
		n = n*10 + int(c-'0')
	}
	if id == "" {
		return math.MaxInt
	}
	return n
}

// sort puts suspects in the order of their letters, the unlettered ones by
// acres downwards.
func (w *work) sort(now []Suspect) {
	slices.SortStableFunc(now, func(a, b Suspect) int {
		if (a.Letter == "") != (b.Letter == "") {
			if a.Letter == "" {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(a.Letter, b.Letter), cmp.Compare(b.Acres, a.Acres), byPlace(a, b))
	})
}
