package skip

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"bittern/internal/doubt"
	"bittern/internal/unit"
)

const (
	guardDeg    = 20.0 // degrees between the mapping lines and a heading that was typed, under which they run as the passes do
	measuredDeg = 8.0  // degrees between the mapping lines and strips, both read from the picture to a degree
	alongDeg    = 4.0  // degrees, under which the two run along each other
	alongNear   = 0.5  // of the highest comb, that a spacing must have then: it has to be clear that theirs is another
	guardWithin = 0.05 // of the spacing
	surelyLine  = 4.5  // spreads, two lines on even places that no field without strips has had
	leastChance = 0.01
	strongLine  = 3.5 // spreads, a line that counts as a witness by itself
	farSteps    = 2   // spacings between the two strips nearest to each other, above which the spacing is read from none of them
)

// witnesses is how many lines on the lattice stand out by least or more.
func (w *work) witnesses(least float64) int {
	n := 0
	for _, i := range w.even.fit {
		if w.found.lines[i].stands >= least {
			n++
		}
	}
	return n
}

// enough says whether the strips found can be no chance: the votes lie in order,
// or three strips at equal distances are witness, or so many lie on even places
// that chance would not put them there. Where swath and heading are given less is
// needed, since little was searched: two neighbours that both stand out surely will do. Where the spacing was read from the strips
// two of them must be near: straight levees far apart have some spacing that goes
// into all their distances.
func (w *work) enough() bool {
	n := w.witnesses(strongLine)
	if n < 2 {
		return false
	}
	if w.swathGiven() && w.headingGiven() {
		near := w.even.nearest() <= farSteps
		return n >= 3 || len(w.even.fit) >= 3 && w.even.even || near && (w.order >= givenOrder || w.witnesses(surelyLine) >= 2)
	}
	return n >= 3 && w.even.nearest() <= farSteps && (w.even.even || w.order >= blindOrder || w.even.chance(w.found.lines, w.spans()[0]) <= leastChance)
}

// half says whether straight strips stand out, but too few to say that they are
// evenly apart.
func (w *work) half() bool {
	n := w.witnesses(surelyLine)
	return n >= 3 || n >= 2 && w.headingGiven()
}

// multiples of a spacing at which mapping lines could make strips of it.
var multiples = [...]float64{0.5, 1, 2}

// cameraCould says whether mapping lines within so many degrees of rad could have
// made strips of that spacing.
func (w *work) cameraCould(rad, spacing, within float64) bool {
	if w.lens == nil || between(w.lens.rad, rad) >= within*deg {
		return false
	}
	least := alongNear * w.lens.top
	if between(w.lens.rad, rad) >= alongDeg*deg {
		if w.lens.top < lensLeast {
			return false
		}
		least = max(lensNear*w.lens.top, lensLeast)
	}
	for _, times := range multiples {
		if w.lens.fits(spacing*times, guardWithin, least) {
			return true
		}
	}
	return false
}

// between is the angle between two lines, radians, 0 to a right angle.
func between(a, b float64) float64 {
	d := math.Mod(math.Abs(a-b), math.Pi)
	return min(d, math.Pi-d)
}

// trueDeg turns a bearing of the grid into a line's heading from true north.
func (w *work) trueDeg(rad float64) float64 {
	h := math.Mod(rad/deg+w.s.Grid.ConvergenceDeg, 180)
	if h < 0 {
		h += 180
	}
	return h
}

func (w *work) feet(gridM float64) string {
	return strconv.Itoa(int(math.Round(float64(unit.Meters(gridM*w.scale).Feet())))) + " ft"
}

func (w *work) headingWords(rad float64) string {
	return strconv.Itoa(int(math.Round(w.trueDeg(rad)))%180) + " degrees"
}

// judge gives the verdict.
func (w *work) judge(out *Finding, strips []Strip) {
	out.Votes, out.Order = len(w.votes), w.order
	if w.lens != nil {
		out.Camera = &Camera{HeadingDeg: w.trueDeg(w.lens.rad), SpacingM: w.lens.at * w.scale, Swing: w.lens.swing}
	}
	switch {
	case len(strips) > 0 && w.enough():
		out.HeadingDeg, out.SpacingM = w.trueDeg(w.found.rad), w.even.spacing*w.scale
		if w.cameraCould(w.found.rad, w.even.spacing, measuredDeg) {
			out.Verdict = CannotTell
			out.Why = w.seenWords(strips) + " But the picture's own lines run along " + w.headingWords(w.lens.rad) +
				" at a spacing that could be theirs, so it can't be told whether camera or sprayer made them. Fly the lines across the spray heading next time."
			return
		}
		out.Verdict, out.Strips = Named, strips
		out.Why = w.seenWords(strips) + w.acrossWords() + " That fits gaps between passes; which pass, and why, is a question for who flew it."
		out.Ground = make([]bool, len(w.l.Reason))
		for _, s := range strips {
			for _, i := range s.Cells {
				out.Ground[i] = true
			}
		}
	case w.lensHides():
		out.Verdict = CannotTell
		out.Why = "The picture's own lines run along " + w.headingWords(w.lens.rad) + ", as the passes do, at a spacing that fits the swath: " +
			"a strip that a pass missed could not be told from them. Fly the lines across the spray heading next time."
		if !w.headingGiven() {
			out.Why = "The picture's own lines run along " + w.headingWords(w.lens.rad) + " at a spacing that fits the swath: if the passes ran so too, " +
				"a strip that one missed could not be told from them. Give the spray heading."
		}
	case len(strips) > 0 && w.half():
		out.HeadingDeg, out.SpacingM = w.trueDeg(w.found.rad), w.even.spacing*w.scale
		out.Verdict = CannotTell
		out.Why = w.seenWords(strips) + " They are too few or too far apart to tell that spacing from chance." + w.askWords()
	default:
		out.Why = w.nothingWords()
	}
	if out.Verdict == CannotTell {
		out.Doubts = append(out.Doubts, doubt.Doubt{
			About: "skips", Weight: 0.45, Says: "Whether a pass missed strips cannot be told.", Settle: "Walk one strip, or fly the lines across the spray heading.",
		})
	}
}

// lensHides says whether mapping lines lie where passes were typed to lie. Where
// only the swath was typed nothing says that the two run alike: then the lines'
// own spacing must be that of passes, or every flight would be in doubt.
func (w *work) lensHides() bool {
	if w.lens == nil || !w.swathGiven() {
		return false
	}
	swath := w.p.SwathM / w.scale
	if w.headingGiven() {
		return w.cameraCould(w.givenRad(), swath, guardDeg)
	}
	return w.lens.top >= lensLeast && slices.ContainsFunc(multiples[:], func(times float64) bool { return math.Abs(w.lens.at/(swath*times)-1) <= guardWithin })
}

// askWords ask for what was not given.
func (w *work) askWords() string {
	switch {
	case !w.swathGiven() && !w.headingGiven():
		return " Give the swath and the spray heading."
	case !w.swathGiven():
		return " Give the swath."
	case !w.headingGiven():
		return " Give the spray heading."
	}
	return " Walk one."
}

func (w *work) seenWords(strips []Strip) string {
	narrow, wide := math.Inf(1), 0.0
	for _, s := range strips {
		narrow, wide = min(narrow, s.WidthM/w.scale), max(wide, s.WidthM/w.scale)
	}
	across := w.feet(narrow)
	if w.feet(wide) != across {
		across = strconv.Itoa(int(math.Round(float64(unit.Meters(narrow*w.scale).Feet())))) + " to " + w.feet(wide)
	}
	return fmt.Sprintf("%s straight strips lie along %s, %s wide, %s.", unit.Sentence(unit.Count(len(strips))), w.headingWords(w.found.rad), across, w.spacingWords())
}

// spacingWords says how the strips lie to each other.
func (w *work) spacingWords() string {
	s := w.feet(w.even.spacing) + " apart"
	for a := 1; a < len(w.even.steps); a++ {
		if w.even.steps[a]-w.even.steps[a-1] != 1 {
			s = "at distances of " + w.feet(w.even.spacing) + " or a multiple of it"
			break
		}
	}
	if !w.swathGiven() {
		return s
	}
	if math.Abs(w.even.spacing*w.scale/w.p.SwathM-1) <= spacingOff {
		return s + ", as the swath is"
	}
	return s + ", twice the swath, as when passes alternate"
}

func (w *work) acrossWords() string {
	if w.lens == nil {
		return ""
	}
	if between(w.lens.rad, w.found.rad) >= measuredDeg*deg {
		return " The picture's own lines run along " + w.headingWords(w.lens.rad) + ", so they did not make them."
	}
	return " The picture's own lines have another spacing, so they did not make them."
}

func (w *work) nothingWords() string {
	switch {
	case w.swathGiven() && w.headingGiven():
		return "No straight strips at the swath's spacing stand out along the passes."
	case w.swathGiven():
		return "No straight, parallel strips at the swath's spacing stand out; the spray heading was not given."
	case w.headingGiven():
		return "No straight, evenly spaced strips stand out along the passes; the swath was not given."
	}
	return "No straight, parallel, evenly spaced strips stand out; swath and spray heading were not given."
}
